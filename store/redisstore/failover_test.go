package redisstore

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"shimwright/store"
	"shimwright/store/redistest"
	"shimwright/store/storetest"
)

// The master is killed under load and Sentinel puts a replica in its place.
// With wait_replicas=1 nothing acknowledged is lost.
func TestSentinelFailover(t *testing.T) {
	watched := redistest.StartSentinel(t, 2)
	url := watched.URL() + "?wait_replicas=1"
	w := begin(t, 4, openURL(t, url), openURL(t, url))
	for range long(1, 10) {
		w.progress(60)
		old := watched.Master(t)
		dead := watched.At(old)
		dead.Kill()
		redistest.Eventually(t, "another master", func() error {
			if watched.Master(t) == old {
				return errors.New("still the old one")
			}
			return nil
		})
		w.progress(60)
		dead.Restart(t) // and becomes a replica
	}
	if sum := w.end(openURL(t, url)); sum.lost+sum.differing+sum.twice+sum.unordered > 0 {
		t.Errorf("after a failover: %+v", sum)
	}
}

// Without wait_replicas a failover may lose what the replica had not got: here
// it is kept from getting it. What is there is whole.
func TestFailoverWithoutWaitingMayLose(t *testing.T) {
	watched := redistest.StartSentinel(t, 1)
	s := openURL(t, watched.URL())
	c := store.Conversation{Shop: "shop", ID: "c"}
	if _, err := deliver(s, c, "1-1"); err != nil {
		t.Fatal(err)
	}
	replica := watched.Servers[1]
	redistest.Eventually(t, "the replica to have the first", func() error {
		raw := redistest.Raw(t, replica.Client(t))
		if len(raw) == 0 {
			return errors.New("it has nothing")
		}
		return nil
	})
	// It stops, and what is sent to it from now on is lost with the connection.
	replica.Pause(t)
	if err := watched.Servers[0].Client(t).ClientKillByFilter(t.Context(), "TYPE", "replica").Err(); err != nil {
		t.Fatal(err)
	}
	for n := 2; n <= 5; n++ {
		if _, err := deliver(s, c, fmt.Sprint("1-", n)); err != nil {
			t.Fatal(err)
		}
	}
	waiting := openURL(t, watched.URL()+"?wait_replicas=1")
	if _, err := deliver(waiting, c, "1-6"); !errors.Is(err, store.ErrUnavailable) {
		t.Errorf("acknowledged without a replica: %v", err)
	}
	if _, err := deliver(waiting, c, "1-6"); !errors.Is(err, store.ErrUnavailable) {
		t.Errorf("acknowledged again without a replica: %v", err)
	}
	watched.Servers[0].Kill()
	replica.Continue(t)
	var d store.Documents
	redistest.Eventually(t, "the replica to take over", func() (err error) {
		d, err = s.Load(context.Background(), c, "1-5")
		return err
	})
	if d.Seen != nil || string(d.Conversation.Body) != "1" {
		t.Errorf("the replica has what it was not sent: the document counts %s", d.Conversation.Body)
	}
	var sum tally
	if whole(t, s, c, &sum); sum.twice > 0 {
		t.Error("what is left is not whole")
	}
}

// A master of a three-master cluster is killed under load, and its replica
// takes over. The shops of the other masters are served meanwhile.
func TestClusterLosesAMaster(t *testing.T) {
	cluster := redistest.StartCluster(t, true)
	url := cluster.URL() + "?wait_replicas=1"
	w := begin(t, 12, openURL(t, url), openURL(t, url))
	w.progress(100)
	cluster.Masters[1].Kill()
	w.progress(20)
	heir := cluster.Replicas[1].Client(t)
	redistest.Eventually(t, "the replica to take over", func() error {
		info, err := heir.Info(t.Context(), "replication").Result()
		if err == nil && !strings.Contains(info, "role:master") {
			err = errors.New("it is still a replica")
		}
		return err
	})
	w.progress(100)
	cluster.Masters[1].Restart(t) // and becomes a replica
	w.progress(50)
	if sum := w.end(openURL(t, url)); sum.lost+sum.differing+sum.twice+sum.unordered > 0 {
		t.Errorf("after the loss of a master: %+v", sum)
	}
}

// A master that is back before its replica has taken over goes on with what its
// own disk has, and its replica follows it: what the replica had more is gone.
// So wait_replicas needs appendfsync always beside it.
func TestClusterMasterComesBack(t *testing.T) {
	cluster := redistest.StartCluster(t, true, "--appendfsync", "always")
	url := cluster.URL() + "?wait_replicas=1"
	w := begin(t, 12, openURL(t, url), openURL(t, url))
	for range long(3, 40) {
		w.progress(60)
		cluster.Masters[1].Kill()
		cluster.Masters[1].Restart(t)
	}
	w.progress(50)
	if sum := w.end(openURL(t, url)); sum.lost+sum.differing+sum.twice+sum.unordered > 0 {
		t.Errorf("after a master came back: %+v", sum)
	}
}

// A master that is gone, or answers nothing, and that nobody replaces: what
// waits on the others goes out all the same, a batch a second at the least.
func TestClusterMasterGoneHoldsUpNoOther(t *testing.T) {
	for name, strike := range map[string]func(*redistest.Server){
		"killed": func(s *redistest.Server) { s.Kill() },
		"silent": func(s *redistest.Server) { s.Pause(t) },
	} {
		t.Run(name, func(t *testing.T) {
			cluster := redistest.StartCluster(t, false)
			s := openURL(t, cluster.URL()).(*Store)
			first, last := cluster.Range(1)
			elsewhere := map[string]bool{}
			for i := range 300 {
				shop := fmt.Sprint("shop-", i)
				slot, err := cluster.Masters[0].Client(t).ClusterKeySlot(t.Context(), partitionOf(shop).key("n")).Result()
				if err != nil {
					t.Fatal(err)
				}
				if int(slot) < first || int(slot) > last {
					elsewhere[shop] = true
				}
				err = s.Commit(t.Context(), store.Commit{Shop: shop, At: storetest.Noon,
					Outbox: []store.Out{{ID: "o", Conversation: "c", Channel: "x"}}})
				if err != nil {
					t.Fatal(err)
				}
			}
			strike(cluster.Masters[1])
			redistest.Eventually(t, "the others to be sent", func() error {
				claimed, _ := s.Claim(t.Context(), storetest.Noon, time.Hour, 48)
				for _, d := range claimed {
					if !elsewhere[d.Shop] {
						t.Errorf("%s was claimed", d.Shop)
					}
					delete(elsewhere, d.Shop)
				}
				if len(elsewhere) > 0 {
					return fmt.Errorf("%d are left", len(elsewhere))
				}
				return nil
			})
		})
	}
}

// The same message is delivered to three replicas at the same instant, again
// and again: 300 times, 10,000 in the long form. One effect, one answer.
func TestDeliveredToThreeReplicasAtTheSameInstant(t *testing.T) {
	d := &databases{server: redistest.Start(t)}
	stores := []store.Store{d.open(t)}
	for range 2 {
		stores = append(stores, d.at(t, dbOf(stores[0])))
	}
	c := store.Conversation{Shop: "shop", ID: "c"}
	times := long(300, 10_000)
	for n := range times {
		var answers [3]string
		var wg sync.WaitGroup
		for i, s := range stores {
			wg.Add(1)
			go func() {
				defer wg.Done()
				for {
					answer, err := deliver(s, c, fmt.Sprint("1-", n+1))
					if errors.Is(err, store.ErrStale) {
						continue
					}
					if err != nil {
						t.Error(err)
					}
					answers[i] = answer
					return
				}
			}()
		}
		wg.Wait()
		if answers[0] != answers[1] || answers[1] != answers[2] {
			t.Fatalf("message %d: %q", n, answers)
		}
		if n%100 == 99 { // or the queue fills
			for _, s := range stores[:1] {
				err := s.Commit(t.Context(), store.Commit{Shop: c.Shop, Conversation: c.ID, At: storetest.Noon, Silence: true})
				if err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	var sum tally
	whole(t, stores[0], c, &sum)
	docs, err := stores[0].Load(t.Context(), c, "")
	if err != nil || sum.twice > 0 || string(docs.Conversation.Body) != fmt.Sprint(times) {
		t.Errorf("the document counts %s of %d: %v", docs.Conversation.Body, times, err)
	}
}
