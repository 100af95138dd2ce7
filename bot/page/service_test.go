package page

import (
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"shimwright/bot/draw"
	"shimwright/dialog"
)

// service speaks the HTTP interface over real connections, with a small
// conversation of its own: enough of a saw to try the page on. Unlike the real
// one it can be made to fail in every way that the interface allows.
type service struct {
	t    *testing.T
	addr string

	mu       sync.Mutex
	web      *http.Server
	posts    []posted // as they came in, each attempt
	entries  []entry
	answers  map[string]json.RawMessage // by id
	changed  chan struct{}              // closed when an entry comes
	readings int
	refuse   func(w http.ResponseWriter, r *http.Request) bool // answers in place of the service
	expires  time.Duration                                     // of hands-on replies
	hold     chan struct{}                                     // a lost answer breaks off only when this is closed
	lose     bool                                              // handle the next message, but drop its answer
}

type posted struct {
	ID           string `json:"id"`
	Conversation string `json:"conversation"`
	Text         string `json:"text"`
	SentAt       string `json:"sent_at"`
}

type entry struct {
	Seq     int             `json:"seq"`
	At      time.Time       `json:"at"`
	Message *message        `json:"message,omitempty"`
	Answer  json.RawMessage `json:"answer"`
}

type message struct {
	ID   string `json:"id"`
	Text string `json:"text"`
}

type answer struct {
	Conversation string         `json:"conversation"`
	InReplyTo    string         `json:"in_reply_to,omitempty"`
	Replies      []reply        `json:"replies"`
	Prompt       map[string]any `json:"prompt"`
}

type reply struct {
	ID      string    `json:"id"`
	Text    string    `json:"text"`
	Caution bool      `json:"caution,omitempty"`
	Choices []string  `json:"choices,omitempty"`
	Media   []media   `json:"media,omitempty"`
	Expires time.Time `json:"expires,omitzero"`
	Expired bool      `json:"expired,omitempty"`
}

type media struct {
	URL  string `json:"url"`
	Type string `json:"type"`
	Alt  string `json:"alt"`
}

// newService starts the service on a free port of this machine.
func newService(t *testing.T) *service { return newServiceAt(t, "127.0.0.1") }

// newServiceAt starts it at one address of this machine.
func newServiceAt(t *testing.T, ip string) *service {
	s := &service{t: t, answers: map[string]json.RawMessage{}, changed: make(chan struct{}), expires: 30 * time.Minute}
	l, err := net.Listen("tcp", net.JoinHostPort(ip, "0"))
	if err != nil {
		t.Fatal(err)
	}
	s.addr = l.Addr().String()
	s.serve(l)
	t.Cleanup(s.stop)
	return s
}

func (s *service) url() string { return "http://" + s.addr + "/" }

func (s *service) serve(l net.Listener) {
	mux := http.NewServeMux()
	mux.Handle("/", Handler())
	mux.HandleFunc("POST /v1/messages", s.guarded(s.post))
	mux.HandleFunc("GET /v1/conversations/{id}", s.guarded(s.read))
	mux.HandleFunc("GET /v1/media/{token}", s.picture)
	web := &http.Server{Handler: mux}
	s.mu.Lock()
	s.web = web
	s.mu.Unlock()
	go web.Serve(l)
}

// stop takes the service away, with every connection.
func (s *service) stop() {
	s.mu.Lock()
	web := s.web
	s.web = nil
	s.mu.Unlock()
	if web != nil {
		web.Close()
	}
}

// start brings it back under the same address.
func (s *service) start() {
	s.t.Helper()
	l, err := net.Listen("tcp", s.addr)
	if err != nil {
		s.t.Fatal(err)
	}
	s.serve(l)
}

func (s *service) set(f func(*service)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	f(s)
}

// received returns what has been posted so far.
func (s *service) received() []posted {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.posts)
}

func (s *service) guarded(f http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		s.mu.Lock()
		refuse := s.refuse
		s.mu.Unlock()
		if refuse == nil || !refuse(w, r) {
			f(w, r)
		}
	}
}

func (s *service) post(w http.ResponseWriter, r *http.Request) {
	var m posted
	d := json.NewDecoder(r.Body)
	d.DisallowUnknownFields()
	if err := d.Decode(&m); err != nil {
		problem(w, 400, err.Error())
		return
	}
	s.mu.Lock()
	s.posts = append(s.posts, m)
	stored, seen := s.answers[m.ID]
	if !seen {
		stored = s.handle(m)
	}
	lose, hold := s.lose, s.hold
	s.lose = false
	s.mu.Unlock()
	if lose && hold != nil {
		<-hold
	}
	if lose {
		// Half an answer: a browser repeats by itself what got none at all.
		w.Header().Set("Content-Type", "application/json")
		w.Header().Set("Content-Length", strconv.Itoa(len(stored)))
		w.Write(stored[:len(stored)/2])
		http.NewResponseController(w).Flush()
		panic(http.ErrAbortHandler)
	}
	w.Header().Set("Content-Type", "application/json")
	w.Write(stored)
}

func (s *service) read(w http.ResponseWriter, r *http.Request) {
	after, _ := strconv.Atoi(r.URL.Query().Get("after"))
	wait, _ := strconv.Atoi(r.URL.Query().Get("wait"))
	end := time.After(time.Duration(wait) * time.Second)
	for over := wait == 0; ; {
		s.mu.Lock()
		changed := s.changed
		list := []entry{}
		for _, e := range s.entries {
			if e.Seq > after {
				list = append(list, e)
			}
		}
		begun := len(s.entries) > 0
		s.mu.Unlock()
		if !begun {
			problem(w, 404, "There is no conversation of this name; the first message makes it.")
			return
		}
		if len(list) > 0 || over {
			if len(list) > 0 {
				after = list[len(list)-1].Seq
			}
			w.Header().Set("Content-Type", "application/json")
			json.NewEncoder(w).Encode(map[string]any{"conversation": r.PathValue("id"), "entries": list, "next": after})
			return
		}
		select {
		case <-changed:
		case <-end:
			over = true
		case <-r.Context().Done():
			return
		}
	}
}

func (s *service) picture(w http.ResponseWriter, r *http.Request) {
	if strings.HasPrefix(r.PathValue("token"), "none") {
		problem(w, 404, "There is no such picture.")
		return
	}
	b, err := draw.PNG(dialog.Drawing{Kind: "slider", Title: "Slider from above: nuts to turn", Alt: "-",
		Words: dialog.DrawWords{Blade: "blade", Front: "front", Rear: "rear", Slider: "slider", Table: "main table", Operator: "operator"},
		Points: []dialog.DrawPoint{
			{Label: "support 1, blade side", X: 0, Y: 120, Reading: "0.08 mm low", Sign: -1, Move: "raise 1/8 turn", Dir: 1, Turns: 0.125, Clock: -1},
			{Label: "support 2, blade side", X: 1500, Y: 120, Reading: "0.02 mm high"},
		}})
	if err != nil {
		s.t.Error(err)
	}
	w.Header().Set("Content-Type", "image/png")
	w.Write(b)
}

func problem(w http.ResponseWriter, status int, detail string) {
	w.Header().Set("Content-Type", "application/problem+json")
	w.WriteHeader(status)
	json.NewEncoder(w).Encode(map[string]any{"title": "No", "status": status, "detail": detail})
}

// handle answers a message. The lock is held.
func (s *service) handle(m posted) json.RawMessage {
	a := s.say(m.Text)
	a.Conversation, a.InReplyTo = m.Conversation, m.ID
	for i := range a.Replies {
		a.Replies[i].ID = fmt.Sprintf("r-%s-%d", m.ID, i+1)
	}
	raw := s.enter(a, &message{ID: m.ID, Text: m.Text})
	s.answers[m.ID] = raw
	return raw
}

// enter adds an entry to the transcript. The lock is held.
func (s *service) enter(a answer, m *message) json.RawMessage {
	raw, err := json.Marshal(a)
	if err != nil {
		s.t.Error(err)
	}
	s.entries = append(s.entries, entry{Seq: 3 * (len(s.entries) + 1), At: time.Now(), Message: m, Answer: raw})
	close(s.changed)
	s.changed = make(chan struct{})
	return raw
}

// unasked sends something that nobody asked for.
func (s *service) unasked(text string, choices ...string) {
	kind := "idle"
	if len(choices) > 0 {
		kind = "choice"
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.enter(answer{Replies: []reply{{ID: fmt.Sprintf("u-%d", len(s.entries)), Text: text, Choices: choices}},
		Prompt: map[string]any{"kind": kind, "choices": choices}}, nil)
}

// say is the conversation. The lock is held.
func (s *service) say(text string) answer {
	job := "slider-level"
	hands := "Unplugged, blade at rest, hands clear of the teeth.\n"
	end := time.Now().Add(s.expires).UTC()
	ask := func(n int) answer {
		return answer{Replies: []reply{{Text: fmt.Sprintf("%sSupport %d, blade side: how high?", hands, n), Caution: true, Expires: end}},
			Prompt: map[string]any{"kind": "reading", "name": "slider.height", "job": job, "quantity": "height", "unit": "mm",
				"label": fmt.Sprintf("support %d, blade side", n)}}
	}
	switch {
	case text == "level":
		s.readings = 0
		return answer{Replies: []reply{{Text: "Before a hand goes near the saw: plug pulled and kept by you. Answer with the word unplugged.", Caution: true, Choices: []string{"unplugged"}}},
			Prompt: map[string]any{"kind": "confirm", "name": "safety.unplugged", "job": job, "acknowledge": "unplugged"}}
	case text == "unplugged":
		return ask(1)
	case strings.Trim(text, "-0123456789., lowhig") == "" && text != "":
		s.readings++
		if s.readings < 2 {
			return ask(2)
		}
		return answer{Replies: []reply{{Text: "Not level yet: worst 0.19 mm low."},
			{Text: hands + "1 support 1, blade side: 1/8 turn anticlockwise from above.\n2 support 2, blade side: leave it.\nTighten both, then answer done.",
				Caution: true, Expires: end, Choices: []string{"done", "2 stuck"},
				Media: []media{{URL: "/v1/media/home.token", Type: "image/png", Alt: "Slider from above. Support 1: raise 1/8 turn."}}}},
			Prompt: map[string]any{"kind": "confirm", "name": "slider.moves", "job": job, "acknowledge": "done"}}
	case text == "which":
		return answer{Replies: []reply{{Text: "Is the slider left or right of the blade?", Choices: []string{"left", "right"}}},
			Prompt: map[string]any{"kind": "choice", "choices": []string{"left", "right"}}}
	case text == "hostile":
		bad := `<img src=x onerror="document.title='owned'"><script>document.title='owned'</script>`
		return answer{Replies: []reply{{Text: bad, Caution: true, Choices: []string{bad},
			Media: []media{{URL: "https://example.org/x.png", Type: "image/png", Alt: bad}, {URL: "javascript:alert(1)", Type: "image/png", Alt: bad},
				{URL: "/v1/media/none.1", Type: "image/png", Alt: bad}}}},
			Prompt: map[string]any{"kind": "reading", "label": bad, "unit": bad, "quantity": bad}}
	}
	return answer{Replies: []reply{{Text: "You said: " + text}}, Prompt: map[string]any{"kind": "idle"}}
}
