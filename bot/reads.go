package main

import (
	"encoding/json"
	"errors"
	"net/http"
	"strconv"
	"time"

	"github.com/gorilla/mux"

	"shimwright/store"
)

// Limits of reading a transcript.
const (
	defaultEntries = 50
	maxEntries     = 200
	maxWait        = 25 * time.Second
	lookAgain      = 3 * time.Second // while waiting, for what another replica stored
)

// transcript is GET /v1/conversations/{id}.
type transcript struct {
	Conversation string  `json:"conversation"`
	Entries      []entry `json:"entries"`
	Next         uint64  `json:"next"` // to be given as after the next time
}

// entry is what came in and what was answered. Message is missing where nobody
// had asked.
type entry struct {
	Seq     uint64          `json:"seq"`
	At      time.Time       `json:"at"`
	Message *entryMessage   `json:"message,omitempty"`
	Answer  json.RawMessage `json:"answer"`
}

type entryMessage struct {
	ID     string `json:"id"`
	Person string `json:"person,omitempty"`
	Text   string `json:"text"`
}

// getConversation is GET /v1/conversations/{id}: the newest entries, or those
// after one, and with wait the next one as soon as there is one.
func (s *server) getConversation(w http.ResponseWriter, r *http.Request) error {
	c, err := s.conversation(r)
	if err != nil {
		return err
	}
	q := r.URL.Query()
	after, err := wholeNumber(q.Get("after"), "after", 0, 1<<62)
	if err != nil {
		return err
	}
	limit, err := wholeNumber(q.Get("max"), "max", defaultEntries, maxEntries)
	if err != nil {
		return err
	}
	wait, err := waitTime(q.Get("wait"))
	if err != nil {
		return err
	}
	woken, stop := s.page.Listen(c.ID)
	defer stop()
	t, err := s.read(r, c, after, int(limit))
	if err == nil && len(t.Entries) == 0 && wait > 0 {
		t, err = s.await(w, r, c, after, int(limit), wait, woken)
	}
	if err != nil {
		return err
	}
	return writeJSON(w, t)
}

// conversation returns the conversation that a request may read.
func (s *server) conversation(r *http.Request) (store.Conversation, error) {
	who, err := s.guard.identify(r, nil)
	if err != nil {
		return store.Conversation{}, err
	}
	id := mux.Vars(r)["id"]
	shop, err := s.places.find(r.Context(), who, id)
	if errors.Is(err, store.ErrNotFound) {
		return store.Conversation{}, noConversation()
	}
	return store.Conversation{Shop: shop, ID: id}, storeProblem(err)
}

func noConversation() error {
	return notFound("There is no conversation of this name; the first message makes it.")
}

// read returns the entries that there are now.
func (s *server) read(r *http.Request, c store.Conversation, after uint64, limit int) (transcript, error) {
	t := transcript{Conversation: c.ID, Entries: []entry{}, Next: after}
	list, err := s.store.Transcript(r.Context(), c, after, limit)
	if err != nil {
		return t, storeProblem(err)
	}
	if len(list) == 0 && after > 0 {
		// Read beyond the end: it is another shop's conversation since the browser
		// moved there, and numbered anew.
		if newest, err := s.store.Transcript(r.Context(), c, 0, 1); err != nil {
			return t, storeProblem(err)
		} else if len(newest) > 0 && newest[0].Seq < after {
			return s.read(r, c, 0, limit)
		}
	}
	if len(list) == 0 {
		_, err := s.store.Get(r.Context(), c.Shop, store.KindConversation, c.ID)
		if errors.Is(err, store.ErrNotFound) {
			return t, noConversation()
		}
		return t, storeProblem(err)
	}
	for _, e := range list {
		line, shown, err := shownEntry(e, s.now())
		if err != nil {
			return t, err
		}
		if shown {
			t.Entries = append(t.Entries, line)
		}
		t.Next = e.Seq
	}
	return t, nil
}

// shownEntry is a stored entry as it may be shown now; an entry that says
// nothing is not shown.
func shownEntry(e store.Entry, now time.Time) (entry, bool, error) {
	line := entry{Seq: e.Seq, At: e.At, Answer: e.Answer}
	if e.Fired == "" && !isUnasked(e) {
		line.Message = &entryMessage{ID: e.Inbound.ID, Person: e.Inbound.From, Text: string(e.Inbound.Text)}
	}
	if len(e.Answer) == 0 {
		return line, false, nil // it was erased
	}
	var a answer
	if err := json.Unmarshal(e.Answer, &a); err != nil {
		return line, false, internal(err)
	}
	if a.withhold(now) {
		line.Answer = encode(a)
	}
	return line, line.Message != nil || len(a.Replies) > 0, nil
}

func isUnasked(e store.Entry) bool {
	return len(e.Inbound.ID) > 0 && e.Inbound.ID[:1] == unaskedMark
}

// await reads again whenever the conversation goes on, until there is
// something or the time is over.
func (s *server) await(w http.ResponseWriter, r *http.Request, c store.Conversation, after uint64, limit int, wait time.Duration, woken <-chan struct{}) (transcript, error) {
	began := s.stopwatch()
	defer func() { info(r).waited = s.stopwatch().Sub(began) }()
	// The limits of a connection are for those who send and read slowly; this
	// one waits because it was asked to.
	connection := http.NewResponseController(w)
	_ = connection.SetReadDeadline(began.Add(wait + readTime))
	_ = connection.SetWriteDeadline(began.Add(wait + writeTime))
	end := time.NewTimer(wait)
	defer end.Stop()
	look := time.NewTicker(lookAgain)
	defer look.Stop()
	for {
		over := false
		select {
		case <-woken:
		case <-look.C:
		case <-end.C:
			over = true
		case <-s.closing.Done():
			over = true
		case <-r.Context().Done():
			over = true
		}
		t, err := s.read(r, c, after, limit)
		if err != nil || len(t.Entries) > 0 || over {
			return t, err
		}
		after = max(after, t.Next)
	}
}

// wholeNumber reads a query parameter.
func wholeNumber(text, name string, missing, most uint64) (uint64, error) {
	if text == "" {
		return missing, nil
	}
	n, err := strconv.ParseUint(text, 10, 64)
	if err != nil || n > most || name == "max" && n == 0 {
		return 0, badField(name, "The parameter %q must be a whole number, at most %d.", name, most)
	}
	return n, nil
}

// waitTime reads how many seconds a reader would wait.
func waitTime(text string) (time.Duration, error) {
	n, err := wholeNumber(text, "wait", 0, uint64(maxWait/time.Second))
	return time.Duration(n) * time.Second, err
}

func writeJSON(w http.ResponseWriter, v any) error {
	h := w.Header()
	h.Set("Content-Type", "application/json")
	h.Set("Cache-Control", "no-store")
	_, _ = w.Write(append(encode(v), '\n'))
	return nil
}
