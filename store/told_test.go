package store

import (
	"sync"
	"testing"
	"time"
)

func TestToldOnlyGoesForward(t *testing.T) {
	var told Told
	if !told.Now().IsZero() || !told.Raise(time.Time{}).IsZero() {
		t.Error("it knows a time before it was told one")
	}
	noon := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	if got := told.Raise(noon); !got.Equal(noon) {
		t.Errorf("told %v, it says %v", noon, got)
	}
	if got := told.Raise(noon.Add(-time.Hour)); !got.Equal(noon) {
		t.Errorf("went back to %v", got)
	}
	var wg sync.WaitGroup
	for lane := range 8 {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for i := range 1000 {
				at := noon.Add(time.Duration(i*8+lane) * time.Millisecond)
				if got := told.Raise(at); got.Before(at) {
					t.Errorf("told %v, it says %v", at, got)
				}
			}
		}()
	}
	wg.Wait()
	if want := noon.Add(7999 * time.Millisecond); !told.Now().Equal(want) {
		t.Errorf("at the end %v, want %v", told.Now(), want)
	}
}

func TestExpired(t *testing.T) {
	noon := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		expires, now time.Time
		want         bool
	}{
		{time.Time{}, noon, false},
		{noon, time.Time{}, false},
		{noon, noon.Add(-time.Millisecond), false},
		{noon, noon, true},
		{noon, noon.Add(time.Millisecond), true},
	} {
		if got := Expired(c.expires, c.now); got != c.want {
			t.Errorf("expires %v, now %v: %v", c.expires, c.now, got)
		}
	}
}
