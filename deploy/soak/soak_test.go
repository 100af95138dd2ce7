package main

import (
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"shimwright/bot/testenv"
	"shimwright/store/redistest"
)

// TestSoak is the short form: some kills, and nothing acknowledged is lost, on
// either engine.
func TestSoak(t *testing.T) {
	testenv.Long(t)
	_, err := exec.LookPath("go")
	testenv.Need(t, "the go command", err == nil)
	bin := filepath.Join(t.TempDir(), "shimwright")
	if err := build(t.Context(), bin); err != nil {
		t.Fatal(err)
	}
	t.Run("a loss is found", func(t *testing.T) { lossIsFound(t, bin) })
	for _, engine := range []string{"file", "Redis"} {
		t.Run(engine, func(t *testing.T) {
			o := options{Length: 10 * time.Second, Talkers: 6, Kill: time.Second, Seed: 7, Say: t.Logf, Bin: bin}
			if engine == "Redis" {
				o.Redis = redistest.Start(t).URL(0)
			}
			r, err := soak(t.Context(), o)
			t.Log(r)
			if err != nil {
				t.Fatal(err)
			}
			if r.Kills == 0 || r.Acknowledged < 20 {
				t.Errorf("too little happened: %s", r)
			}
		})
	}
}

// lossIsFound: a message that was never stored, and an answer that differs, are
// found; so the check can fail.
func lossIsFound(t *testing.T, bin string) {
	p, err := start(bin, t.TempDir(), "")
	if err != nil {
		t.Fatal(err)
	}
	defer p.kill()
	one := newTalker(0, p.url, 1)
	status, body, err := one.post(t.Context(), message{id: "m-0", text: "menu"})
	if err != nil || status != 200 {
		t.Fatal(status, err)
	}
	one.acknowledged = []message{{"m-0", "menu", string(body)}}
	if _, err := one.lookBack(t.Context()); err != nil {
		t.Errorf("nothing is lost: %v", err)
	}
	one.acknowledged = append(one.acknowledged, message{"m-1", "menu", string(body)})
	if _, err := one.lookBack(t.Context()); err == nil || !strings.Contains(err.Error(), "m-1") {
		t.Errorf("a message that was never stored: %v", err)
	}
	other := newTalker(0, p.url, 1)
	other.acknowledged = []message{{"m-0", "menu", "{}"}}
	if _, err := other.lookBack(t.Context()); err == nil {
		t.Error("another answer was not noticed")
	}
}

// TestFlat: what grows is told from what breathes.
func TestFlat(t *testing.T) {
	var steady, grows, leaks []sample
	for i := range 40 {
		breath := float64(i%5) * (1 << 20)
		steady = append(steady, sample{40<<20 + breath, 20 + float64(i%3)})
		grows = append(grows, sample{40<<20 + float64(i)*(4<<20), 20})
		leaks = append(leaks, sample{40 << 20, 20 + float64(2*i)})
	}
	if err := flat(steady); err != nil {
		t.Error(err)
	}
	if flat(grows) == nil || flat(leaks) == nil || flat(nil) == nil {
		t.Error("growth was not noticed")
	}
}
