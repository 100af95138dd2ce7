// Command soak puts the real program under mixed load, kills it at random
// moments, starts it again, and checks that no acknowledged message is lost and
// that memory and goroutines stay flat:
//
//	go run ./deploy/soak -minutes 30
//
// It builds and starts the program itself, on a data folder of its own. With
// -redis it keeps the data there instead; the database must be empty.
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"time"
)

func main() {
	minutes := flag.Float64("minutes", 30, "how long")
	talkers := flag.Int("talkers", 16, "conversations at once")
	kill := flag.Duration("kill", 20*time.Second, "mean time between kills; none in the last half, in which memory is watched")
	redis := flag.String("redis", "", "address of an empty Redis database, e.g. redis://localhost:6379/9")
	seed := flag.Uint64("seed", uint64(time.Now().UnixNano()), "of what is said and when is killed")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	r, err := soak(ctx, options{Length: time.Duration(*minutes * float64(time.Minute)), Talkers: *talkers,
		Kill: *kill, Redis: *redis, Seed: *seed, Say: func(format string, args ...any) { fmt.Printf(format+"\n", args...) }})
	fmt.Println(r)
	if err != nil {
		fmt.Fprintln(os.Stderr, "soak: "+err.Error())
		os.Exit(1)
	}
}
