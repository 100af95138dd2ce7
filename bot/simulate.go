package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"shimwright/bot/virtualsaw"
)

// simulation is what the command is asked for.
type simulation struct {
	seed        uint64
	saws, slips int
	jobs        []string
	workers     int
	claims      string // file for every verdict, "" for none
}

// slipSeeds is where the seeds of saws with a slip begin, apart from the others.
const slipSeeds = 1_000_000

// sawsOfBench is how many saws one service gets: its data do not grow for ever.
const sawsOfBench = 50

// simulate is the command that shows, on many virtual saws, what the advice
// leads to.
func simulate(ctx context.Context, c console, args []string) error {
	f := flag.NewFlagSet("simulate", flag.ContinueOnError)
	f.SetOutput(c.err)
	var s simulation
	f.Uint64Var(&s.seed, "seed", 1, "seed of the first saw")
	f.IntVar(&s.saws, "saws", 100, "number of saws")
	f.IntVar(&s.slips, "slips", 0, "number of saws for each slip")
	f.IntVar(&s.workers, "workers", runtime.NumCPU(), "how many at once")
	f.StringVar(&s.claims, "claims", "", "file for every single verdict beside the truth, as CSV")
	jobs := f.String("jobs", strings.Join(virtualsaw.Jobs[:], ","), "jobs, in this order")
	out := f.String("out", "", "folder for the report: report.md, tables as CSV, plots as SVG and PNG; otherwise the tables are printed")
	show := f.Bool("show", false, "print the conversation about the first saw instead")
	slip := f.String("slip", "", "with -show: the slip that happens")
	if err := f.Parse(args); err != nil {
		return err
	}
	s.jobs = strings.Split(*jobs, ",")
	for _, j := range s.jobs {
		if !slices.Contains(virtualsaw.Jobs[:], j) {
			return fmt.Errorf("there is no job %q to simulate; give some of %s", j, strings.Join(virtualsaw.Jobs[:], ","))
		}
	}
	if s.saws < 0 || s.slips < 0 || s.saws+s.slips == 0 || s.workers < 1 {
		return errors.New("nothing would be simulated: give one saw or more and one worker or more, e.g. simulate -saws 20")
	}
	if *slip != "" && !slices.Contains(virtualsaw.SlipKinds[:], virtualsaw.SlipKind(*slip)) {
		return fmt.Errorf("there is no slip %q; give one of %q", *slip, virtualsaw.SlipKinds)
	}
	if *show {
		return s.show(ctx, c.out, virtualsaw.SlipKind(*slip))
	}
	study, err := s.run(ctx, c.err)
	if err != nil {
		return err
	}
	if *out == "" {
		return study.Report(c.out)
	}
	return writeStudy(study, *out)
}

// show plays the first saw and prints what is said.
func (s simulation) show(ctx context.Context, w io.Writer, slip virtualsaw.SlipKind) (err error) {
	b, err := newBench()
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, b.close()) }()
	t := virtualsaw.NewTalk(b, s.seed, slip)
	t.Heard = func(text string, a virtualsaw.Answer) { fmt.Fprintf(w, "> %s\n%s\n\n", text, a.Text()) }
	for _, job := range s.jobs {
		course, err := t.Do(ctx, job)
		if err != nil {
			return err
		}
		course.Describe(w)
	}
	return nil
}

// task is one saw to be gone through.
type task struct {
	seed uint64
	slip virtualsaw.SlipKind
}

// tasks lists every saw.
func (s simulation) tasks() []task {
	var out []task
	for i := range s.saws {
		out = append(out, task{s.seed + uint64(i), ""})
	}
	for _, k := range virtualsaw.SlipKinds {
		for i := range s.slips {
			out = append(out, task{s.seed + slipSeeds + uint64(i), k})
		}
	}
	return out
}

// run goes through every saw, several at once, each worker with a service of
// its own, and counts. Progress is written to w.
func (s simulation) run(ctx context.Context, w io.Writer) (*virtualsaw.Study, error) {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	tasks, next, trials := s.tasks(), make(chan task), make(chan done)
	go func() {
		defer close(next)
		for _, t := range tasks {
			select {
			case next <- t:
			case <-ctx.Done():
				return
			}
		}
	}()
	var workers sync.WaitGroup
	for range max(1, s.workers) {
		workers.Go(func() {
			if err := s.work(ctx, next, trials); err != nil {
				cancel(err)
			}
		})
	}
	go func() { workers.Wait(); close(trials) }()
	study, said := virtualsaw.NewStudy(), time.Now()
	var verdicts strings.Builder
	n := 0
	for d := range trials {
		study.Add(d.slip, d.trial)
		if s.claims != "" {
			d.trial.Claims(&verdicts)
		}
		if n++; time.Since(said) > 10*time.Second {
			said = time.Now()
			fmt.Fprintf(w, "%d of %d saws\n", n, len(tasks))
		}
	}
	if err := context.Cause(ctx); err != nil {
		return nil, err
	}
	if s.claims != "" {
		return study, os.WriteFile(s.claims, []byte(virtualsaw.ClaimsHead+verdicts.String()), 0o644)
	}
	return study, nil
}

// done is a task that was carried out.
type done struct {
	task
	trial virtualsaw.Trial
}

// work carries out tasks.
func (s simulation) work(ctx context.Context, next <-chan task, trials chan<- done) (err error) {
	var b *bench
	end := func() error {
		if b == nil {
			return nil
		}
		return b.close()
	}
	defer func() { err = errors.Join(err, end()) }()
	n := 0
	for t := range next {
		if n%sawsOfBench == 0 {
			if err := end(); err != nil {
				return err
			}
			if b, err = newBench(); err != nil {
				return err
			}
		}
		n++
		d := done{task: t}
		if t.slip == "" {
			d.trial = virtualsaw.Try(ctx, b, t.seed, s.jobs, "")
		} else {
			d.trial = virtualsaw.Try(ctx, b, t.seed, []string{"slider-level"}, t.slip)
		}
		if ctx.Err() != nil {
			return nil // a conversation that was broken off says nothing
		}
		trials <- d
	}
	return nil
}

// writeStudy writes the report into a folder.
func writeStudy(study *virtualsaw.Study, folder string) error {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return fmt.Errorf("the folder for the report cannot be made: %w", err)
	}
	file := func(name string, write func(io.Writer) error) error {
		f, err := os.Create(filepath.Join(folder, name))
		if err != nil {
			return err
		}
		return errors.Join(write(f), f.Close())
	}
	figures, err := study.Figures()
	if err != nil {
		return err
	}
	err = file("report.md", func(w io.Writer) error {
		if err := study.Report(w); err != nil {
			return err
		}
		for _, f := range figures {
			fmt.Fprintf(w, "![%s](%s.svg)\n\n", f.Alt, f.Name)
		}
		return nil
	})
	for _, t := range study.Tables() {
		err = errors.Join(err, file(t.Name+".csv", t.CSV))
	}
	for _, f := range figures {
		err = errors.Join(err, f.Save(filepath.Join(folder, f.Name+".svg")), f.Save(filepath.Join(folder, f.Name+".png")))
	}
	return err
}
