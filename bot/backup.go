package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"shimwright/store"
	"shimwright/store/redisstore"
)

// backupCommand writes a consistent copy of everything while the service runs.
func backupCommand(ctx context.Context, c console, args []string) (err error) {
	if len(args) != 1 {
		return errors.New("say where the backup goes, e.g. backup shimwright-2026-03-02.jsonl, or - for standard output")
	}
	cfg, err := LoadConfig()
	if err != nil {
		return err
	}
	k, err := openKeeper(ctx, cfg)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, k.close()) }()
	if args[0] == "-" {
		_, err := dump(ctx, k, c.out)
		return err
	}
	sum, err := dumpTo(ctx, k, args[0])
	if err != nil {
		return fmt.Errorf("no backup was made: %w", err)
	}
	fmt.Fprintf(c.out, "%s: %s. Whoever reads it reads everything; keep it accordingly.\n", args[0], sum)
	return nil
}

// dumpTo writes a backup to a file, which appears whole and synced or not at
// all.
func dumpTo(ctx context.Context, k keeper, path string) (holding, error) {
	f, err := os.CreateTemp(filepath.Dir(path), ".backup-*") // mode 0600
	if err != nil {
		return holding{}, err
	}
	defer os.Remove(f.Name())
	sum, err := dump(ctx, k, f)
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return sum, err
	}
	return sum, os.Rename(f.Name(), path)
}

// holding is what a backup holds.
type holding struct {
	lines map[string]int // by kind
	hash  [sha256.Size]byte
}

func (t holding) String() string {
	return fmt.Sprintf("%s, %s, %s, %s handled, %d waiting, %d given up, %s",
		some(t.lines[store.LineShop], "shop"), some(t.lines[store.LineDocument], "document"), some(t.lines[store.LineRecord], "record"),
		some(t.lines[store.LineEntry], "message"), t.lines[store.LineOut], t.lines[store.LineDead], some(t.lines[store.LineReminder], "reminder"))
}

// dump writes a backup to w and reads it on the way, so that one that is cut
// short or damaged is found now and not when it is needed.
func dump(ctx context.Context, k keeper, w io.Writer) (holding, error) {
	r, pipe := io.Pipe()
	type counted struct {
		holding
		err error
	}
	read := make(chan counted, 1)
	go func() {
		t, err := count(r)
		_, _ = io.Copy(io.Discard, r) // the writer is not held up
		read <- counted{t, err}
	}()
	err := k.backup(ctx, io.MultiWriter(w, pipe))
	_ = pipe.CloseWithError(err) // nil: the end
	got := <-read
	if err == nil {
		err = got.err
	}
	return got.holding, err
}

// count reads a backup and says what it holds.
func count(r io.Reader) (holding, error) {
	t := holding{lines: map[string]int{}}
	h := sha256.New()
	err := store.ReadDump(io.TeeReader(r, h), func(l store.Line) error {
		t.lines[l.Kind]++
		return nil
	})
	h.Sum(t.hash[:0])
	return t, err
}

// restoreCommand reads a backup into an empty store.
func restoreCommand(ctx context.Context, c console, args []string) (err error) {
	if len(args) != 1 {
		return errors.New("say which backup, e.g. restore shimwright-2026-03-02.jsonl")
	}
	cfg, err := LoadConfig()
	if err != nil {
		return err
	}
	f, err := os.Open(args[0])
	if err != nil {
		return err
	}
	defer f.Close()
	if cfg.RedisURL.Empty() {
		if _, err := findDesk(cfg.Data); err == nil {
			return errors.New("a service runs on this data folder: stop it, and restore into an empty folder (SHIMWRIGHT_DATA)")
		}
	}
	s, err := openStore(ctx, cfg)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	if err := s.Restore(ctx, f); err != nil {
		return fmt.Errorf("nothing was restored: %w", err)
	}
	sum, err := checked(ctx, s)
	if err != nil {
		return err
	}
	fmt.Fprintf(c.out, "Restored: %s.\n", sum)
	return nil
}

// checked lets a store check itself and counts what is in it.
func checked(ctx context.Context, s store.Store) (holding, error) {
	faults, err := s.Check(ctx)
	if err != nil {
		return holding{}, err
	}
	if len(faults) > 0 {
		return holding{}, fmt.Errorf("the store is not consistent: %s", strings.Join(faults, "; "))
	}
	return dump(ctx, ownStore{s}, io.Discard)
}

// moveCommand copies everything from one store to another that is empty.
func moveCommand(ctx context.Context, c console, args []string) (err error) {
	if len(args) != 2 {
		return errors.New("say from where and to where: file, redis (as the settings name them), a folder, or the address of a Redis server; " +
			"e.g. move file redis")
	}
	cfg, err := LoadConfig()
	if err != nil {
		return err
	}
	from, err := openPlace(ctx, cfg, args[0], true)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, from.Close()) }()
	to, err := openPlace(ctx, cfg, args[1], false)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, to.Close()) }()
	sum, err := move(ctx, from, to)
	if err != nil {
		return err
	}
	fmt.Fprintf(c.out, "Moved and compared: %s.\nWhat it was moved from is unchanged; remove it when the service runs on the other.\n", sum)
	return nil
}

// openPlace opens what an argument of move names. A source must be there.
func openPlace(ctx context.Context, cfg Config, name string, source bool) (store.Store, error) {
	switch {
	case name == "redis" && cfg.RedisURL.Empty():
		return nil, errors.New("SHIMWRIGHT_REDIS_URL is not set; set it, or give the address itself")
	case name == "redis":
		return openRedis(ctx, cfg.RedisURL)
	case strings.Contains(name, "://"):
		f := &faults{}
		url := redisURL(f, name)
		if f.err() != nil {
			return nil, fmt.Errorf("%q is not the address of a Redis server; it looks like %s", name, redisstore.Forms)
		}
		return openRedis(ctx, url)
	case name == "file":
		name = cfg.Data
	}
	cfg.RedisURL, cfg.Data = Secret{}, name
	if _, err := findDesk(name); err == nil {
		return nil, fmt.Errorf("a service runs on %s; stop it first, so that nothing is written meanwhile", name)
	}
	if source {
		if err := existing(name); err != nil {
			return nil, err
		}
	}
	return openStore(ctx, cfg)
}

// move copies from one store into an empty one and compares the two. What is
// compared is the whole of their backups, whose form is the same for every
// engine; so a service that still writes to the old one is found out.
func move(ctx context.Context, from, to store.Store) (holding, error) {
	f, err := os.CreateTemp("", "shimwright-move-*") // mode 0600
	if err != nil {
		return holding{}, err
	}
	defer os.Remove(f.Name())
	defer f.Close()
	before, err := dump(ctx, ownStore{from}, f)
	if err != nil {
		return before, fmt.Errorf("nothing was moved: %w", err)
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return before, err
	}
	if err := to.Restore(ctx, f); err != nil {
		return before, fmt.Errorf("nothing was moved: %w", err)
	}
	there, err := checked(ctx, to)
	if err != nil {
		return there, err
	}
	after, err := dump(ctx, ownStore{from}, io.Discard)
	if err != nil {
		return after, err
	}
	switch {
	case !bytes.Equal(before.hash[:], after.hash[:]):
		return after, errors.New("something was written to the old store meanwhile: stop every service on it, empty the new one, and move again")
	case !bytes.Equal(before.hash[:], there.hash[:]):
		return there, fmt.Errorf("the copy differs from what was to be moved: %s against %s; keep the old one", there, before)
	}
	return there, nil
}
