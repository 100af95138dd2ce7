package main

import (
	"context"
	"fmt"
	"io"
	"time"
)

// level says how a finding of the doctor is meant.
type level string

// The levels.
const (
	fine  level = "ok"
	look  level = "look"  // it works; somebody should look at it
	fault level = "fault" // it does not work, or is not safe
)

// finding is one thing that the doctor looked at: what, how it is, and unless
// it is fine what to do.
type finding struct {
	level level
	part  string
	text  string
}

// visit is one visit of the doctor.
type visit struct {
	cfg   Config
	now   time.Time
	found []finding
}

func (v *visit) say(l level, part, format string, args ...any) {
	v.found = append(v.found, finding{l, part, fmt.Sprintf(format, args...)})
}

// visitTime bounds the whole of a visit.
const visitTime = 30 * time.Second

// doctor is the command that checks the settings against the live parts that
// they name. It changes nothing and sends nobody a message.
func doctor(ctx context.Context, c console, _ []string) error {
	cfg, err := LoadConfig()
	if err != nil {
		return err // it names every fault
	}
	ctx, cancel := context.WithTimeout(ctx, visitTime)
	defer cancel()
	return report(c.out, examine(ctx, cfg, clock()))
}

// examine looks at everything that the settings name.
func examine(ctx context.Context, cfg Config, now time.Time) []finding {
	v := &visit{cfg: cfg, now: now}
	v.say(fine, "settings", "all of them can be read")
	v.zone()
	v.secrets()
	v.doors()
	if cfg.RedisURL.Empty() {
		v.folder()
		v.file(ctx)
	} else {
		v.redis(ctx)
	}
	running := v.service(ctx)
	if cfg.PublicURL != nil {
		v.public(ctx, running)
	}
	if cfg.CallbackURL != nil {
		v.callback(ctx)
	}
	if cfg.SMS.Gateway != "" {
		v.gateway(ctx)
	}
	if cfg.Matrix.Homeserver != "" {
		v.homeserver(ctx)
	}
	return v.found
}

// report prints the findings; its error counts the faults.
func report(w io.Writer, found []finding) error {
	faults := 0
	for _, f := range found {
		if f.level == fault {
			faults++
		}
		fmt.Fprintf(w, "%-6s %-15s %s\n", f.level, f.part, printable(f.text))
	}
	if faults > 0 {
		work := "do"
		if faults == 1 {
			work = "does"
		}
		return fmt.Errorf("%d of %s %s not work", faults, some(len(found), "part"), work)
	}
	return nil
}
