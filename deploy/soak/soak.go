package main

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"sync"
	"time"
)

// options are those of a run.
type options struct {
	Length  time.Duration
	Talkers int
	Kill    time.Duration // mean time between kills
	Redis   string
	Seed    uint64
	Say     func(format string, args ...any)
	Bin     string // the program; "": it is built
}

// result is what a run saw.
type result struct {
	Acknowledged int // messages answered with 200
	Kills        int
	Retried      int // attempts that a kill cut off
	Withheld     int // acknowledged, and now too old to be followed
	Samples      []sample
}

func (r result) String() string {
	s := fmt.Sprintf("%d messages acknowledged, %d kills, %d attempts cut off and made again, %d answers withheld by now",
		r.Acknowledged, r.Kills, r.Retried, r.Withheld)
	if n := len(r.Samples); n > 0 {
		first, last := halves(r.Samples)
		s += fmt.Sprintf("; memory %.1f then %.1f MB, goroutines %.0f then %.0f", first.Bytes/(1<<20), last.Bytes/(1<<20), first.Goroutines, last.Goroutines)
	}
	return s
}

// Bounds of what counts as flat: the second half of the samples against the
// first, by their medians. The collector lets a heap breathe, and what is
// stored grows, of which the embedded store maps the file.
const (
	mostGrowth     = 1.3
	freeGrowth     = 24 << 20 // bytes, on top
	moreGoroutines = 20
)

// soak makes a run. Its error says what was lost or what grew.
func soak(ctx context.Context, o options) (result, error) {
	folder, err := os.MkdirTemp("", "shimwright-soak-*")
	if err != nil {
		return result{}, err
	}
	defer os.RemoveAll(folder)
	bin := o.Bin
	if bin == "" {
		bin = filepath.Join(folder, "shimwright")
		if err := build(ctx, bin); err != nil {
			return result{}, err
		}
	}
	p, err := start(bin, filepath.Join(folder, "data"), o.Redis)
	if err != nil {
		return result{}, err
	}
	defer func() { p.kill() }()
	var r result
	all := make([]*talker, o.Talkers)
	for i := range all {
		all[i] = newTalker(i, p.url, o.Seed)
	}
	talk, quiet := context.WithTimeout(ctx, o.Length)
	defer quiet()
	var wg sync.WaitGroup
	for _, t := range all {
		wg.Go(func() { t.talk(talk) })
	}
	random := rand.New(rand.NewPCG(o.Seed, 1))
	half := time.Now().Add(o.Length / 2)
	for time.Now().Before(half) && talk.Err() == nil {
		pause := time.Duration((0.2 + 1.6*random.Float64()) * float64(o.Kill))
		if !wait(talk, min(pause, time.Until(half))) || !time.Now().Before(half) {
			break
		}
		p.kill()
		if p, err = start(bin, filepath.Join(folder, "data"), o.Redis, p.url); err != nil {
			quiet()
			wg.Wait()
			return r, fmt.Errorf("it does not start after a kill: %w", err)
		}
		r.Kills++
	}
	o.Say("%d kills; from here on memory is watched", r.Kills)
	r.Samples = p.watch(talk, o.Length/60)
	wg.Wait()
	var lost []error
	for _, t := range all {
		r.Acknowledged += len(t.acknowledged)
		r.Retried += t.retried
		withheld, err := t.lookBack(ctx)
		r.Withheld += withheld
		lost = append(lost, err, t.wrong)
	}
	return r, errors.Join(errors.Join(lost...), flat(r.Samples), p.stop())
}

func build(ctx context.Context, bin string) error {
	if out, err := exec.CommandContext(ctx, "go", "build", "-o", bin, "shimwright/bot").CombinedOutput(); err != nil {
		return fmt.Errorf("building the program: %w\n%s", err, out)
	}
	return nil
}

// wait waits; false when ctx ended first.
func wait(ctx context.Context, d time.Duration) bool {
	select {
	case <-ctx.Done():
		return false
	case <-time.After(max(d, 0)):
		return true
	}
}

// sample is what the program said of itself at a moment.
type sample struct{ Bytes, Goroutines float64 }

// halves are the medians of the first and the second half.
func halves(list []sample) (first, last sample) {
	return median(list[:(len(list)+1)/2]), median(list[len(list)/2:])
}

func median(list []sample) sample {
	var bytes, goroutines []float64
	for _, s := range list {
		bytes, goroutines = append(bytes, s.Bytes), append(goroutines, s.Goroutines)
	}
	slices.Sort(bytes)
	slices.Sort(goroutines)
	return sample{bytes[len(bytes)/2], goroutines[len(goroutines)/2]}
}

// flat reports what grew.
func flat(list []sample) error {
	if len(list) < 4 {
		return errors.New("too few looks at memory and goroutines; give it more time")
	}
	first, last := halves(list)
	var errs []error
	if last.Bytes > mostGrowth*first.Bytes+freeGrowth {
		errs = append(errs, fmt.Errorf("memory grew from %.1f to %.1f MB", first.Bytes/(1<<20), last.Bytes/(1<<20)))
	}
	if last.Goroutines > first.Goroutines+moreGoroutines {
		errs = append(errs, fmt.Errorf("goroutines grew from %.0f to %.0f", first.Goroutines, last.Goroutines))
	}
	return errors.Join(errs...)
}
