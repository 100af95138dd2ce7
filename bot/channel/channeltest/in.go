package channeltest

import (
	"bytes"
	"math/rand/v2"
	"net/http"
	"reflect"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
	"unicode/utf8"

	"shimwright/bot/channel"
)

// arrival is when the suite's requests arrive; adapters that check a
// timestamp get it from the request.
var arrival = time.Date(2026, 3, 2, 9, 14, 5, 0, time.UTC)

func runIn(t *testing.T, rig Rig) {
	c := rig.New(t, "http://127.0.0.1:9")
	t.Run("text", func(t *testing.T) { text(t, rig, c) })
	t.Run("odd encodings", func(t *testing.T) { encodings(t, rig, c) })
	t.Run("duplicates", func(t *testing.T) { duplicates(t, rig, c) })
	t.Run("reordering", func(t *testing.T) { reordering(t, rig, c) })
	t.Run("batch", func(t *testing.T) { batch(t, rig, c) })
	t.Run("kinds", func(t *testing.T) { kinds(t, rig, c) })
	t.Run("forged", func(t *testing.T) { forged(t, rig, c) })
	t.Run("oversize", func(t *testing.T) { oversize(t, rig, c) })
	t.Run("nonsense", func(t *testing.T) { nonsense(t, rig, c) })
}

// one receives a request that must give exactly one message.
func one(t *testing.T, c channel.Channel, r channel.Request) channel.Inbound {
	t.Helper()
	in, ack, err := c.Receive(r)
	if err != nil || len(in) != 1 {
		t.Fatalf("Receive: %d messages, %v; want one", len(in), err)
	}
	if ack.Status != http.StatusOK && ack.Status != http.StatusAccepted {
		t.Fatalf("the request is answered with %d; networks count only 200 and 202 as taken", ack.Status)
	}
	return in[0]
}

func wanted(rig Rig, text string) string {
	if rig.In.WantText != nil {
		return rig.In.WantText(text)
	}
	return text
}

func text(t *testing.T, rig Rig, c channel.Channel) {
	in := one(t, c, rig.In.Text("t-1", "3 thou low", arrival))
	if in.Kind != channel.KindText || in.Text != "3 thou low" {
		t.Errorf("received %q %q", in.Kind, in.Text)
	}
	if in.ID == "" || in.Sender == "" || in.Conversation == "" {
		t.Errorf("id %q, sender %q or conversation %q is empty", in.ID, in.Sender, in.Conversation)
	}
	if !in.SentAt.IsZero() && !in.SentAt.Equal(arrival) {
		t.Errorf("sent at %v, received as %v", arrival, in.SentAt)
	}
}

func encodings(t *testing.T, rig Rig, c channel.Channel) {
	for i, s := range []string{
		"0,12 mm ± 0,01", "¼ turn", "−3 thou", "drei Tausendstel zu tief, äöüß", "tres milésimas más bajo, ñ ¿?",
		"👍", "👩🏽‍🔧 done", "מדידה שלוש", "٣ mm", "a\u0301 combining", "\u200bdone\u200b", "tab\there", "two\nlines",
		"  spaces  ", "+1 & 2=3 %41 #4 ;x", `"quoted" \n {"text":"x"}`, "<b>done</b>", "nul\u2400", "€ [~] {^}", "\u202edone\u202c",
		strings.Repeat("e\u0301", 400),
	} {
		in := one(t, c, rig.In.Text("e-"+strconv.Itoa(i), s, arrival))
		if want := wanted(rig, s); in.Text != want {
			t.Errorf("sent %+q, received %+q", want, in.Text)
		}
		if !utf8.ValidString(in.Text) {
			t.Errorf("sent %+q, received text that is not UTF-8", s)
		}
	}
}

// duplicates: the same request twenty times at once gives the same message
// each time, so that the store's id check can make one change of it.
func duplicates(t *testing.T, rig Rig, c channel.Channel) {
	r := rig.In.Text("d-1", "done", arrival)
	first := one(t, c, r)
	got := make([][]channel.Inbound, 20)
	var wg sync.WaitGroup
	for i := range got {
		wg.Go(func() {
			later := r
			later.At = r.At.Add(time.Duration(i) * time.Second)
			got[i], _, _ = c.Receive(later)
		})
	}
	wg.Wait()
	for i, in := range got {
		if len(in) != 1 || !reflect.DeepEqual(in[0], first) {
			t.Errorf("delivery %d gave %+v, the first %+v", i+2, in, first)
		}
	}
	if other := one(t, c, rig.In.Text("d-2", "done", arrival)); other.ID == first.ID {
		t.Errorf("two messages have the same id %q", other.ID)
	}
}

func reordering(t *testing.T, rig Rig, c channel.Channel) {
	a := rig.In.Text("o-1", "first", arrival)
	b := rig.In.Text("o-2", "second", arrival.Add(2*time.Second))
	a1, b1 := one(t, c, a), one(t, c, b)
	b2, a2 := one(t, c, b), one(t, c, a)
	if !reflect.DeepEqual(a1, a2) || !reflect.DeepEqual(b1, b2) {
		t.Error("a message is received otherwise when another came before it")
	}
}

func batch(t *testing.T, rig Rig, c channel.Channel) {
	if rig.In.Batch == nil {
		return
	}
	ids, texts := []string{"b-1", "b-2", "b-3"}, []string{"one", "two", "three"}
	in, _, err := c.Receive(rig.In.Batch(ids, texts, arrival))
	if err != nil || len(in) != len(texts) {
		t.Fatalf("a batch of %d gave %d messages, %v", len(texts), len(in), err)
	}
	seen := map[string]bool{}
	for i, m := range in {
		if m.Text != texts[i] || seen[m.ID] {
			t.Errorf("message %d of the batch: id %q (repeated: %v), text %q", i+1, m.ID, seen[m.ID], m.Text)
		}
		seen[m.ID] = true
	}
}

func kinds(t *testing.T, rig Rig, c channel.Channel) {
	for kind, make := range rig.In.Of {
		in := one(t, c, make("k-"+string(kind), arrival))
		if in.Kind != kind {
			t.Errorf("a request of kind %q is received as %q", kind, in.Kind)
		}
		switch kind {
		case channel.KindReceipt:
			if in.Receipt.Ref == "" || in.Receipt.Fate == "" {
				t.Errorf("the receipt %+v lacks its reference or fate", in.Receipt)
			}
		case channel.KindEdit:
			if in.Edits == "" || in.Text == "" {
				t.Errorf("the edit %+v lacks what it edits or the text", in)
			}
		default:
			if in.ID == "" || in.Sender == "" || in.Conversation == "" {
				t.Errorf("%s: id %q, sender %q or conversation %q is empty", kind, in.ID, in.Sender, in.Conversation)
			}
		}
	}
}

func forged(t *testing.T, rig Rig, c channel.Channel) {
	if len(rig.In.Forge) == 0 {
		t.Fatal("the rig knows no forged request")
	}
	for name, spoil := range rig.In.Forge {
		t.Run(name, func(t *testing.T) {
			r := rig.In.Text("f-"+name, "done", arrival)
			r.Header = r.Header.Clone()
			in, _, err := c.Receive(spoil(r))
			refused(t, rig, in, err, http.StatusUnauthorized, http.StatusForbidden, http.StatusNotFound)
		})
	}
	// The proof that the requests were good before they were spoiled.
	one(t, c, rig.In.Text("f-good", "done", arrival))
}

func refused(t *testing.T, rig Rig, in []channel.Inbound, err error, statuses ...int) {
	t.Helper()
	re, ok := err.(*channel.RequestError)
	if !ok || len(in) != 0 {
		t.Fatalf("Receive gave %+v, %v; want a *channel.RequestError", in, err)
	}
	clean(t, rig, err)
	for _, s := range statuses {
		if re.Status == s {
			return
		}
	}
	t.Errorf("refused with %d (%s), want one of %v", re.Status, re.Reason, statuses)
}

func oversize(t *testing.T, rig Rig, c channel.Channel) {
	max := rig.In.MaxText
	if max == 0 {
		max = 10_000
	}
	long := strings.Repeat("0.12 mm ", max/8)
	if in := one(t, c, rig.In.Text("l-1", long, arrival)); in.Text != wanted(rig, long) {
		t.Errorf("of a text of %d bytes %d arrive", len(long), len(in.Text))
	}
	in, _, err := c.Receive(rig.In.Text("l-2", strings.Repeat("x", 1<<20), arrival))
	if err == nil && len(in) == 1 && in[0].Kind == channel.KindOther && in[0].Text == "" {
		return // taken as something that is no answer: a refusal would hold up what comes behind it
	}
	refused(t, rig, in, err, http.StatusRequestEntityTooLarge, http.StatusBadRequest)
}

// nonsense: whatever the bytes, there is a refusal that helps, or nothing for
// us, and never a panic.
func nonsense(t *testing.T, rig Rig, c channel.Channel) {
	if rig.In.Raw == nil {
		return
	}
	bodies := [][]byte{nil, []byte("null"), []byte("{}"), []byte("[]"), []byte("[[]]"), []byte(`"text"`), []byte("1e999"),
		[]byte("\x00\x01\x02"), []byte("\xff\xfe{\x00}\x00"), []byte(`{"id":1}`), []byte(`{"id":{"id":{}}}`),
		[]byte(`{"events":[null,{},1,{"type":1}]}`), []byte("a=b&c=%zz"), bytes.Repeat([]byte("["), 5000), []byte(`{"a":"b"} trailing`)}
	rnd := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		b := make([]byte, rnd.IntN(200))
		for i := range b {
			b[i] = byte(rnd.UintN(256))
		}
		bodies = append(bodies, b)
	}
	for _, b := range bodies {
		in, _, err := c.Receive(rig.In.Raw(b, arrival))
		if err != nil {
			refused(t, rig, in, err, http.StatusBadRequest)
		}
		for _, m := range in {
			if !utf8.ValidString(m.Text) || m.Sender == "" || m.ID == "" {
				t.Errorf("the body %+q gave %+v", b, m)
			}
		}
	}
}
