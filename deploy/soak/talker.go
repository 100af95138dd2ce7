package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"slices"
	"time"
)

// message is one message, and the answer that acknowledged it.
type message struct{ id, text, answer string }

// talker holds one conversation. It sends a message until it is acknowledged,
// always under the same id, as a careful client does.
type talker struct {
	conversation string
	url          string
	random       *rand.Rand
	http         *http.Client
	acknowledged []message
	retried      int
	wrong        error // an answer that should not be
}

func newTalker(i int, url string, seed uint64) *talker {
	return &talker{conversation: fmt.Sprint("soak-", i), url: url, random: rand.New(rand.NewPCG(seed, uint64(i)+2)),
		http: &http.Client{Timeout: 15 * time.Second, Transport: &http.Transport{}}}
}

// words are what people say: jobs, readings, corrections, commands, and what
// nobody understands.
var words = []string{"menu", "level", "ok", "mm", "unplugged", "done", "0.02", "-0.11", "3 thou low", "where", "why", "back", "fix 2",
	"park", "resume", "history", "due", "crosscut", "parallel", "skip", "how far", "units inch", "units mm", "guarded", "moved",
	"what is this", "0,05", "flush", "12.5", "Bench saw", "yes", "HELP"}

// talk goes on until ctx ends, and finishes the message under way.
func (t *talker) talk(ctx context.Context) {
	defer t.http.CloseIdleConnections()
	for n := 0; ctx.Err() == nil && t.wrong == nil; n++ {
		m := message{id: fmt.Sprint("m-", n), text: words[t.random.IntN(len(words))]}
		if t.random.IntN(4) == 0 {
			t.read(ctx)
		}
		status, body, err := t.post(context.WithoutCancel(ctx), m)
		for tries := 0; (err != nil || status >= 500) && tries < 200; tries++ {
			if ctx.Err() != nil {
				return // never acknowledged
			}
			t.retried++
			time.Sleep(time.Duration(20+t.random.IntN(80)) * time.Millisecond)
			status, body, err = t.post(context.WithoutCancel(ctx), m)
		}
		switch {
		case err != nil:
			t.wrong = fmt.Errorf("%s %s was not taken: %w", t.conversation, m.id, err)
		case status != http.StatusOK:
			t.wrong = fmt.Errorf("%s %s %q: status %d: %s", t.conversation, m.id, m.text, status, body)
		default:
			m.answer = string(body)
			t.acknowledged = append(t.acknowledged, m)
		}
		time.Sleep(time.Duration(t.random.IntN(20)) * time.Millisecond)
	}
}

func (t *talker) post(ctx context.Context, m message) (int, []byte, error) {
	body, err := json.Marshal(map[string]string{"id": m.id, "conversation": t.conversation, "text": m.text})
	if err != nil {
		return 0, nil, err
	}
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, t.url+"/v1/messages", bytes.NewReader(body))
	if err != nil {
		return 0, nil, err
	}
	r.Header.Set("Content-Type", "application/json")
	res, err := t.http.Do(r)
	if err != nil {
		return 0, nil, err
	}
	defer res.Body.Close()
	answer, err := io.ReadAll(res.Body)
	return res.StatusCode, answer, err
}

// read reads the conversation, as a page does.
func (t *talker) read(ctx context.Context) {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, t.url+"/v1/conversations/"+t.conversation+"?max=20", nil)
	if err != nil {
		return
	}
	if res, err := t.http.Do(r); err == nil {
		_, _ = io.Copy(io.Discard, res.Body)
		res.Body.Close()
	}
}

// lookBack sends every acknowledged message once more: each gets the answer
// that it got, byte for byte. One that rested on an unplugged saw may be
// withheld by now (410), which only a message that was stored can be. It also
// reads the conversation back, in order.
func (t *talker) lookBack(ctx context.Context) (withheld int, err error) {
	defer t.http.CloseIdleConnections()
	var lost []error
	for _, m := range t.acknowledged {
		status, body, err := t.post(ctx, m)
		switch {
		case err == nil && status == http.StatusGone:
			withheld++
		case err != nil || status != http.StatusOK || string(body) != m.answer:
			lost = append(lost, fmt.Errorf("%s %s %q was acknowledged and is lost: status %d, %v", t.conversation, m.id, m.text, status, err))
		}
	}
	ids, err := t.transcript(ctx)
	if err != nil {
		return withheld, err
	}
	want := make([]string, len(t.acknowledged))
	for i, m := range t.acknowledged {
		want[i] = m.id
	}
	if n := len(ids); n > 0 && !slices.Contains(want, ids[n-1]) {
		ids = ids[:n-1] // stored, although its acknowledgement was cut off
	}
	if len(want) > newest/2 && len(ids) > newest/2 {
		want = want[max(0, len(want)-len(ids)):]
	}
	if !slices.Equal(ids, want) {
		lost = append(lost, fmt.Errorf("%s: the transcript ends with other messages, or in another order, than the acknowledged ones", t.conversation))
	}
	return withheld, errors.Join(lost...)
}

// newest is how many entries of a conversation are read back.
const newest = 200

// transcript returns the ids of the newest messages of the conversation.
func (t *talker) transcript(ctx context.Context) ([]string, error) {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, fmt.Sprintf("%s/v1/conversations/%s?max=%d", t.url, t.conversation, newest), nil)
	if err != nil {
		return nil, err
	}
	res, err := t.http.Do(r)
	if err != nil {
		return nil, err
	}
	defer res.Body.Close()
	var page struct {
		Entries []struct {
			Message *struct {
				ID string `json:"id"`
			} `json:"message"`
		} `json:"entries"`
	}
	if err := json.NewDecoder(res.Body).Decode(&page); err != nil {
		return nil, err
	}
	var ids []string
	for _, e := range page.Entries {
		if e.Message != nil {
			ids = append(ids, e.Message.ID)
		}
	}
	return ids, nil
}
