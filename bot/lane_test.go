package main

import (
	"context"
	"errors"
	"sync"
	"testing"
)

func TestLanesKeepTheOrderOfArrival(t *testing.T) {
	l := newLanes()
	leave, err := l.enter(t.Context(), "a")
	if err != nil {
		t.Fatal(err)
	}
	var mu sync.Mutex
	var order []int
	var wg sync.WaitGroup
	for i := range maxWaiting {
		wg.Go(func() {
			out, err := l.enter(t.Context(), "a")
			if err != nil {
				t.Error(err)
				return
			}
			mu.Lock()
			order = append(order, i)
			mu.Unlock()
			out()
		})
		l.untilWaiting("a", i+1)
	}
	if _, err := l.enter(t.Context(), "a"); !errors.Is(err, errCrowded) {
		t.Errorf("one too many: %v", err)
	}
	other, err := l.enter(t.Context(), "b") // another lane is free
	if err != nil {
		t.Fatal(err)
	}
	other()
	leave()
	wg.Wait()
	for i, n := range order {
		if n != i {
			t.Fatalf("the order was %v", order)
		}
	}
	if n := l.len(); n != 0 {
		t.Errorf("%d lanes are left", n)
	}
}

// TestLanesWithImpatientPeople: whoever gives up, at whatever moment, holds up
// nobody.
func TestLanesWithImpatientPeople(t *testing.T) {
	for range 200 {
		l := newLanes()
		leave, _ := l.enter(t.Context(), "a")
		var wg sync.WaitGroup
		for range 8 {
			ctx, cancel := context.WithCancel(t.Context())
			wg.Go(func() {
				if out, err := l.enter(ctx, "a"); err == nil {
					out()
				} else if !errors.Is(err, context.Canceled) {
					t.Error(err)
				}
			})
			wg.Go(cancel)
		}
		wg.Go(leave)
		wg.Wait()
		if n := l.len(); n != 0 {
			t.Fatalf("%d lanes are left", n)
		}
	}
}

// untilWaiting returns when n wait in a lane.
func (l *lanes) untilWaiting(key string, n int) {
	for {
		l.mu.Lock()
		q := l.m[key]
		done := q != nil && len(q.waiting) >= n
		l.mu.Unlock()
		if done {
			return
		}
	}
}
