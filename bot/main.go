// Command bot is the program: the service that a woodworker's phone, tablet or
// measuring program speaks with, and the commands around it. `bot help` lists
// them.
package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"
	_ "time/tzdata" // time zones also where the system has none
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	os.Exit(run(ctx, console{os.Stdin, os.Stdout, os.Stderr}, os.Args[1:]))
}

// console is where a command reads and writes.
type console struct {
	in       io.Reader
	out, err io.Writer
}

// command is one subcommand.
type command struct {
	name    string
	args    string // as help shows them
	meaning string
	run     func(ctx context.Context, c console, args []string) error
}

// commands lists the subcommands, in the order of help.
func commands() []command {
	return []command{
		{"serve", "", "answer on the network; what happens without a command", serve},
		{"chat", "", "hold the same conversation in this terminal", chat},
		{"pair", "[name [role]] | list | revoke ID", "print a one-time link for a phone or tablet", pair},
		{"matrix", "SERVER [FILE [ADDRESS]]", "write the registration file for a Matrix homeserver", matrixCommand},
		{"health", "", "ask the running service whether it is alive", health},
		{"doctor", "", "check the settings against what they name, and say what to do", doctor},
		{"backup", "FILE", "write a copy of everything while the service runs", backupCommand},
		{"restore", "FILE", "read a backup into an empty store", restoreCommand},
		{"move", "FROM TO", "copy everything from the data file to Redis, or back", moveCommand},
		{"dead", "[resend ID | resend all]", "list the messages that were given up, or send them again", deadCommand},
		{"tidy", "", "finish what was forgotten and cut off, and take out codes whose time is over", tidyCommand},
		{"export", "[-saw NAME] [FILE.json | FILE.csv]", "take everything of a shop away, or the records of it", exportCommand},
		{"import", "FILE", "bring back what export wrote", importCommand},
		{"report", "[-saw NAME] [FILE.html | FILE.pdf]", "write the page to print of a saw", reportCommand},
		{"label", "[-saw NAME] [-to page|sms|matrix] FILE.png | FILE.svg", "write a label to print, with a QR code", labelCommand},
		{"forget", "saw NAME | person NAME | shop", "delete for good", forgetCommand},
		{"demo", "[-fast] [FILE.html]", "watch one conversation about a virtual saw, and look at its report", demo},
		{"simulate", "[-saws N] [-slips N] [-out FOLDER]", "show on many virtual saws what the advice leads to", simulate},
		{"config", "", "print every setting, its default and its meaning", config},
		{"help", "", "print this", help},
	}
}

// run carries out a command and returns the exit status: 0, 1 when it failed,
// 2 when it was not understood.
func run(ctx context.Context, c console, args []string) int {
	if len(args) == 0 {
		args = []string{"serve"}
	}
	if asksHelp(args[0]) {
		args[0] = "help"
	}
	for _, cmd := range commands() {
		if cmd.name != args[0] {
			continue
		}
		if len(args) > 1 && asksHelp(args[1]) {
			fmt.Fprintf(c.out, "Usage: bot %s\n%s\n", strings.TrimSpace(cmd.name+" "+cmd.args), cmd.meaning)
			if strings.HasPrefix(cmd.args, "[-") { // the flags, each with its meaning
				_ = cmd.run(ctx, console{c.in, c.out, c.out}, []string{"-h"})
			}
			return 0
		}
		if cmd.args == "" && len(args) > 1 && cmd.name != "help" {
			fmt.Fprintf(c.err, "shimwright: %s takes nothing after it, and %q was given\n", cmd.name, args[1])
			return 2
		}
		if err := cmd.run(ctx, c, args[1:]); err != nil {
			fmt.Fprintln(c.err, "shimwright: "+err.Error())
			return 1
		}
		return 0
	}
	var names []string
	for _, cmd := range commands() {
		names = append(names, cmd.name)
	}
	meant := ""
	if n := nearest(args[0], names); n != "" {
		meant = "; " + n + " may be meant"
	}
	fmt.Fprintf(c.err, "shimwright: there is no command %q%s\n\n", args[0], meant)
	_ = help(ctx, console{out: c.err}, nil)
	return 2
}

// asksHelp reports whether an argument asks for help, as it does to any program:
// it is never the name of a file or of a person.
func asksHelp(arg string) bool { return arg == "-h" || arg == "-help" || arg == "--help" }

func help(_ context.Context, c console, _ []string) error {
	fmt.Fprintln(c.out, "Usage: bot [command]")
	fmt.Fprintln(c.out)
	for _, cmd := range commands() {
		fmt.Fprintf(c.out, "  %-42s %s\n", cmd.name+" "+cmd.args, cmd.meaning)
	}
	return nil
}

func config(_ context.Context, c console, _ []string) error { return printConfig(c.out) }
