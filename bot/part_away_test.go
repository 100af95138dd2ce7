package main

import (
	"fmt"
	"strings"
	"testing"

	"shimwright/store/redisstore"
	"shimwright/store/redistest"
)

// TestAPartOfTheStoreIsAway: with one master of a cluster gone, the shops of the
// others are served, and the replica stays ready for them; those of the one that
// is gone are asked to come again. With all gone it is not ready.
func TestAPartOfTheStoreIsAway(t *testing.T) {
	cluster := redistest.StartCluster(t, false)
	inner, err := redisstore.Open(t.Context(), cluster.URL())
	if err != nil {
		t.Fatal(err)
	}
	s := newServiceWith(t, inner, newTestClock())
	const conversations = 24
	say := func(n int) (answered, later int) {
		for i := range conversations {
			m := posted{ID: fmt.Sprint("m-", n), Conversation: fmt.Sprint("tablet-", i), Sender: "kim", Text: "menu"}
			switch res := s.request("POST", "/v1/messages", bodyOf(m), s.signed); {
			case res.StatusCode == 200:
				answered++
			case res.StatusCode == 503 && res.Header.Get("Retry-After") != "":
				later++
			default:
				t.Errorf("status %d: %s", res.StatusCode, res.body)
			}
		}
		return answered, later
	}
	if n, _ := say(1); n != conversations {
		t.Fatalf("%d of %d were answered with everything there", n, conversations)
	}
	cluster.Masters[1].Kill()
	if answered, later := say(2); answered == 0 || later == 0 {
		t.Errorf("with a part away %d were answered and %d asked to come again", answered, later)
	}
	if res := s.request("GET", "/readyz", ""); res.StatusCode != 200 || !strings.Contains(string(res.body), "part of the store") {
		t.Errorf("with a part away: %d %s", res.StatusCode, res.body)
	}
	cluster.Masters[1].Restart(t)
	redistest.Eventually(t, "all to be answered again", func() error {
		if n, _ := say(2); n < conversations {
			return fmt.Errorf("%d of %d", n, conversations)
		}
		return nil
	})
	for _, m := range cluster.Masters {
		m.Kill()
	}
	if res := s.request("GET", "/readyz", ""); res.StatusCode != 503 {
		t.Errorf("with everything away: %d %s", res.StatusCode, res.body)
	}
}
