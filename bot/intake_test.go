package main

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"shimwright/bot/channel"
	"shimwright/dialog"
	"shimwright/store"
)

// The same delivery twenty times at once, and once more under the same id
// later: one change, one reply.
func TestIntakeTwentyAtOnce(t *testing.T) {
	p := newPaper(t, false)
	m := p.in("level")
	var wg sync.WaitGroup
	for range 20 {
		wg.Go(func() {
			if status := p.bring(m); status != 200 {
				t.Errorf("answered with %d", status)
			}
		})
	}
	wg.Wait()
	p.deliver()
	first := len(p.network.sent())
	if got := p.after(m); len(got) != 0 || first == 0 {
		t.Errorf("%d replies, then %q", first, got)
	}
	ids := map[string]bool{}
	for _, s := range p.network.sent() {
		if ids[s.id] || s.to != "room" {
			t.Errorf("%s to %s is sent twice, or to the wrong place", s.id, s.to)
		}
		ids[s.id] = true
	}
	list, err := p.store.Transcript(t.Context(), store.Conversation{Shop: homeShop, ID: "room"}, 0, 50)
	if err != nil || len(list) != 1 {
		t.Errorf("%d entries (%v)", len(list), err)
	}
}

// An edit of a reading enters that reading again, the last or an earlier one;
// any other edit is told how a reading is corrected, and changes nothing.
func TestIntakeEdit(t *testing.T) {
	p := newPaper(t, false)
	open := func() dialog.PromptView {
		list, err := p.store.Transcript(t.Context(), store.Conversation{Shop: homeShop, ID: "room"}, 0, 1)
		if err != nil || len(list) != 1 {
			t.Fatal(list, err)
		}
		return decodeAnswer(t, list[0].Answer).Prompt
	}
	for _, text := range []string{"level", "mm", "Blue", "left", "ok", "unplugged", "done", "0.01"} {
		p.say(text)
	}
	if open().Name != "slider.height" {
		t.Fatalf("the question is %+v, not the first height", open())
	}
	reading := p.in("0.03")
	if got := p.after(reading); !has(got, "0.03") {
		t.Fatalf("the reading is answered with %q", got)
	}
	second := open()
	edit := channel.Inbound{ID: "edit-1", Kind: channel.KindEdit, Edits: reading.ID, Sender: "kim", Conversation: "room", Text: "0.08", SentAt: p.clock.now()}
	got := p.after(edit)
	if !has(got, "0.08") || has(got, "0.03") {
		t.Errorf("the edit is answered with %q", got)
	}
	if now := open(); *now.At != *second.At || now.Number != second.Number {
		t.Errorf("after the edit the question is %+v, want the one before it, %+v", now, second)
	}
	if again := p.after(edit); len(again) != 0 {
		t.Errorf("the edit, brought again, is answered with %q", again)
	}
	// One that was not understood is put right by its edit.
	slip := p.in("zip five")
	if got := p.after(slip); has(got, "0.05 mm") {
		t.Fatalf("a slip was understood: %q", got)
	}
	put := edit
	put.ID, put.Edits, put.Text = "edit-0", slip.ID, "0.05"
	if got := p.after(put); !has(got, "0.05") {
		t.Errorf("the edit of a slip is answered with %q", got)
	}
	if answer := p.say("0.04"); !has(answer, "0.04") {
		t.Errorf("going on after an edit: %q", answer)
	}
	third := open()
	late := edit
	late.ID, late.Text = "edit-2", "0.11"
	if got := p.after(late); !has(got, "2: 0.11 mm high") {
		t.Errorf("an edit of an earlier reading is answered with %q", got)
	}
	if now := open(); *now.At != *third.At || now.Number != third.Number {
		t.Errorf("after it the question is %+v, want %+v", now, third)
	}
	if again := p.after(late); len(again) != 0 {
		t.Errorf("it, brought again, is answered with %q", again)
	}
	// Of a word, of something unknown, and of a slip that was made good since.
	word := p.in("where")
	p.after(word, p.in("why"))
	for i, id := range []string{word.ID, "e1", "never seen", slip.ID} {
		other := edit
		other.ID, other.Edits, other.Text = fmt.Sprint("edit-x", i), id, "0.77"
		if got := p.after(other); !has(got, "fix") || has(got, "0.77") {
			t.Errorf("an edit of %s is answered with %q", id, got)
		}
	}
	if now := open(); *now.At != *third.At {
		t.Errorf("after them the question is %+v, want %+v", now, third)
	}
}

// A reading that is taken back at once is asked again. What is deleted later, was no
// reading, or is another's stays as it is, without a word; and nobody edits what
// another said.
func TestIntakeTakenBack(t *testing.T) {
	p := newPaper(t, false)
	for _, text := range []string{"level", "mm", "Blue", "left", "ok", "unplugged", "done", "0.01"} {
		p.say(text)
	}
	first, second, third := p.in("0.03"), p.in("0.05"), p.in("0.04")
	p.after(first)
	p.after(second)
	back := channel.Inbound{ID: "back-1", Kind: channel.KindRedact, Edits: second.ID, Sender: "kim", Conversation: "room", SentAt: p.clock.now()}
	if got := p.after(back); !has(got, "Support 2, outer side: how high?") {
		t.Errorf("a reading taken back is answered with %q", got)
	}
	if got := p.after(back); len(got) != 0 {
		t.Errorf("it, brought again, is answered with %q", got)
	}
	if got := p.after(third); !has(got, "3: 0.04 mm high at support 2, outer side") {
		t.Errorf("the reading given again is answered with %q", got)
	}
	late, foreign, edit := back, back, back
	late.ID, late.Edits = "back-2", first.ID
	foreign.ID, foreign.Edits, foreign.Sender = "back-3", third.ID, "sam"
	edit.ID, edit.Edits, edit.Sender, edit.Kind, edit.Text = "edit-3", third.ID, "sam", channel.KindEdit, "0.99"
	for _, in := range []channel.Inbound{late, foreign, edit} {
		if got := p.after(in); len(got) != 0 {
			t.Errorf("%+v is answered with %q", in, got)
		}
	}
	word := p.in("where")
	p.after(word)
	late.ID, late.Edits = "back-4", word.ID
	if got := p.after(late); len(got) != 0 {
		t.Errorf("a word taken back is answered with %q", got)
	}
}

// A picture with a caption is its caption; without one, and a recording, it
// gets one sentence.
func TestIntakeOtherKinds(t *testing.T) {
	p := newPaper(t, false)
	p.say("level")
	kind := func(k channel.Kind, text string) channel.Inbound {
		in := p.in(text)
		in.Kind = k
		return in
	}
	for _, k := range []channel.Kind{channel.KindPicture, channel.KindRecording, channel.KindOther} {
		if got := p.after(kind(k, "")); len(got) != 2 || !strings.Contains(got[0], "nothing I can read") {
			t.Errorf("%s is answered with %q; want one clear sentence and the question", k, got)
		}
	}
	if got := p.after(kind(channel.KindRecording, "mm")); len(got) != 2 || !strings.Contains(got[0], "nothing I can read") {
		t.Errorf("a recording's title was taken for an answer: %q", got)
	}
	if got := p.after(kind(channel.KindPicture, "mm")); has(got, "nothing I can read") {
		t.Errorf("a picture with the caption mm is answered with %q", got)
	}
	for range 3 {
		got := p.after(kind(channel.KindSecret, ""))
		if p.n < 8 && len(got) != 1 || len(got) > 1 || len(got) == 1 && !strings.Contains(got[0], "encrypted") {
			t.Errorf("an encrypted message is answered with %q", got)
		}
	}
	if got := p.after(kind(channel.KindInvite, "")); len(got) == 0 {
		t.Error("an invitation is not answered")
	}
	stranger := kind(channel.KindInvite, "")
	stranger.Sender, stranger.Conversation = "stranger", "elsewhere"
	if got := p.after(stranger); len(got) != 0 {
		t.Errorf("a stranger's invitation is answered with %q", got)
	}
}

// Nothing is answered as taken before it is stored: with the store away a
// call fails, and brought again it has its effect once.
func TestIntakeStoreAway(t *testing.T) {
	p := newPaper(t, false)
	a, b := p.in("level"), p.in("mm")
	p.store.down.Store(true)
	if status := p.bring(a, b); status != 503 {
		t.Errorf("with the store away: %d, want 503", status)
	}
	p.store.down.Store(false)
	// Away between two messages of one call.
	n := 0
	hook := storeHook(func() {
		if n++; n == 1 {
			p.store.down.Store(true)
		}
	})
	p.store.before.Store(&hook)
	if status := p.bring(a, b); status != 503 {
		t.Errorf("with the store away half way: %d, want 503", status)
	}
	p.store.before.Store(nil)
	p.store.down.Store(false)
	if status := p.bring(a, b); status != 200 {
		t.Errorf("with the store back: %d", status)
	}
	list, err := p.store.Transcript(t.Context(), store.Conversation{Shop: homeShop, ID: "room"}, 0, 50)
	if err != nil || len(list) != 2 || list[0].Inbound.ID != a.ID || list[1].Inbound.ID != b.ID {
		t.Errorf("%+v, %v; want both once, in order", list, err)
	}
}

// A message on which the program fails does not hold up what comes behind it
// for ever.
func TestIntakePoison(t *testing.T) {
	p := newPaper(t, false)
	p.app.handler.limits = func(string) dialog.Limits { panic("boom") }
	bad := p.in("level")
	for range poisonTries - 1 {
		if status := p.bring(bad); status != 500 {
			t.Fatalf("answered with %d, want 500", status)
		}
	}
	if status := p.bring(bad); status != 200 {
		t.Errorf("at the last try: %d, want it given up", status)
	}
	if !strings.Contains(p.log.String(), "was given up") {
		t.Error("the log does not say so")
	}
}

// An id used for two messages, and an answer whose time is over, are done with.
func TestIntakeConflict(t *testing.T) {
	p := newPaper(t, false)
	m := p.in("level")
	p.after(m)
	other := m
	other.Text = "menu"
	if got := p.after(other); len(got) != 0 {
		t.Errorf("an id used twice is answered with %q", got)
	}
}

func TestIntakeRefuses(t *testing.T) {
	p := newPaper(t, false)
	for _, c := range []struct {
		method, path, body string
		key                string
		want               int
	}{
		{"POST", intakePath + "paper/in", "[]", "", 401},
		{"POST", intakePath + "paper/in", "[]", "paper", 200},
		{"POST", intakePath + "paper/in", "{", "paper", 400},
		{"POST", intakePath + "pigeon/in", "[]", "paper", 404},
		{"POST", intakePath + "paper/in", strings.Repeat(" ", intakeBody+1), "paper", 413},
		{"DELETE", intakePath + "paper/in", "", "paper", 405},
	} {
		if got := p.call(c.method, c.path, c.body, c.key); got != c.want {
			t.Errorf("%s %s: %d, want %d", c.method, c.path, got, c.want)
		}
	}
}

// One sender who floods is slowed by himself; the others of the network go on.
func TestIntakeFlood(t *testing.T) {
	p := newPaper(t, false)
	p.app.server.intake.sender = newLimiter(p.store, "flood", 1, 5)
	for i := range 20 {
		m := p.in("menu")
		m.Sender, m.Conversation = "flood", "flood"
		m.ID = fmt.Sprint("f", i)
		if status := p.bring(m); status != 200 {
			t.Fatalf("message %d of a flood: %d; asking for it again would hold up others", i, status)
		}
	}
	list, err := p.store.Transcript(t.Context(), store.Conversation{Shop: homeShop, ID: "flood"}, 0, 50)
	if err != nil || len(list) != 5 {
		t.Errorf("%d of a flood are handled (%v), want 5", len(list), err)
	}
	if got := p.say("menu"); len(got) == 0 {
		t.Error("another sender is not answered")
	}
	p.app.server.intake.network = newLimiter(p.store, "floods", 1, 1)
	p.bring(p.in("menu"))
	if status := p.bring(p.in("menu")); status != 429 {
		t.Errorf("a network that floods gets %d, want 429", status)
	}
}

// On a telephone network nothing unasked goes to somebody who has said STOP,
// even when it was queued elsewhere or before.
func TestIntakeStopHoldsBackWhatIsUnasked(t *testing.T) {
	for _, phone := range []bool{true, false} {
		p := newPaper(t, phone)
		p.say("menu")
		if got := p.say("STOP"); len(got) != 1 {
			t.Errorf("STOP is answered with %q", got)
		}
		unasked := channel.Message{ID: "u-1", Conversation: "room", Text: "Sam took over Blue."}
		err := p.store.Commit(t.Context(), store.Commit{Shop: homeShop, At: p.clock.now(), Outbox: []store.Out{{
			ID: unasked.ID, Conversation: "room", Channel: "paper", To: "room", Body: encode(unasked)}}})
		if err != nil {
			t.Fatal(err)
		}
		before := len(p.network.sent())
		p.deliver()
		if went := len(p.network.sent()) - before; went == 1 == phone {
			t.Errorf("telephone %v: %d unasked messages after STOP", phone, went)
		}
		if got := p.say("menu"); (len(got) == 0) != phone {
			t.Errorf("telephone %v: after STOP a question is answered with %q", phone, got)
		}
		if got := p.say("START"); len(got) == 0 {
			t.Error("START is not answered")
		}
	}
}

// A hands-on message that could not be sent while it was valid never goes.
func TestIntakeHandsOnExpires(t *testing.T) {
	p := newPaper(t, false)
	for _, text := range []string{"level", "mm", "Blue", "left", "ok"} {
		p.say(text)
	}
	p.network.answer = func(context.Context, int, channel.Message) error { return channel.Temporary("out of reach") }
	p.say("unplugged")
	p.network.answer = nil
	before := len(p.network.sent())
	p.clock.advance(3 * time.Hour)
	p.deliver()
	for _, m := range p.network.sent()[before:] {
		if strings.Contains(m.text, "Unplugged") {
			t.Errorf("three hours later %q goes out", m.text)
		}
	}
	if w := waiting(t, p.store, p.clock.now()); w != 0 {
		t.Errorf("%d still wait", w)
	}
}

// A stranger is told once, and once more after a month.
func TestIntakeStranger(t *testing.T) {
	p := newPaper(t, false)
	from := func() channel.Inbound {
		in := p.in("level")
		in.Sender, in.Conversation = "stranger", "their room"
		return in
	}
	if got := p.after(from(), from()); len(got) != 1 || !strings.Contains(got[0], "only people who were let in") {
		t.Errorf("a stranger hears %q", got)
	}
	p.clock.advance(29 * 24 * time.Hour)
	if got := p.after(from()); len(got) != 0 {
		t.Errorf("within a month a stranger hears %q", got)
	}
	p.clock.advance(2 * 24 * time.Hour)
	if got := p.after(from()); len(got) != 1 {
		t.Errorf("after a month a stranger hears %q, want the sentence once", got)
	}
}

// A stranger who asks a telephone number for silence gets silence.
func TestIntakeStrangerSaysStop(t *testing.T) {
	p := newPaper(t, true)
	m := p.in(" Stop ")
	m.Sender = "stranger"
	if got := p.after(m); len(got) != 0 {
		t.Errorf("a stranger's STOP is answered with %q", got)
	}
}

// The link to a picture in a text message opens without pairing; a guessed one
// does not, and neither do the service's own addresses.
func TestPictureLink(t *testing.T) {
	p := newPaper(t, false)
	p.app.handler.absolute = func(path string) string { return "http://saw.example.org" + path }
	p.network.limits.Pictures = false
	saw := newBenchSaw(7)
	if _, err := saw.level(func(text string) (answer, error) {
		p.say(text)
		list, err := p.store.Transcript(t.Context(), store.Conversation{Shop: homeShop, ID: "room"}, 0, 1)
		if err != nil {
			return answer{}, err
		}
		return decodeAnswer(t, list[0].Answer), nil
	}); err != nil {
		t.Fatal(err)
	}
	var link string
	for _, m := range p.network.media() {
		link = m.URL
	}
	path, ok := strings.CutPrefix(link, "http://saw.example.org")
	if !ok || !strings.HasPrefix(path, picturePath) {
		t.Fatalf("the link is %q", link)
	}
	away := func(r *http.Request) { r.Header.Set("X-Forwarded-For", "203.0.113.7") } // nobody's own browser
	if r := p.request("GET", path, "", away); r.StatusCode != 200 || r.Header.Get("Content-Type") != "image/png" {
		t.Errorf("the link gives %d %s", r.StatusCode, r.Header.Get("Content-Type"))
	}
	for _, bad := range []string{path[:len(path)-4] + "AAAA", picturePath + homeShop + ".x", picturePath + "x", strings.Replace(path, homeShop+".", "s2.", 1)} {
		if r := p.request("GET", bad, "", away); r.StatusCode != 404 {
			t.Errorf("%s gives %d, want 404", bad, r.StatusCode)
		}
	}
	if r := p.request("GET", strings.Replace(path, picturePath, mediaPath, 1), "", away); r.StatusCode != 401 {
		t.Errorf("the service's own address gives %d to a stranger, want 401", r.StatusCode)
	}
}
