package main

import (
	"bytes"
	"context"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"shimwright/bot/channel/matrix"
	"shimwright/bot/channel/matrix/dendritetest"
	"shimwright/store"
)

const shimwrightID = "@shimwright:" + dendritetest.ServerName

// matrixRoom is a whole service behind a real homeserver, and a person there.
type matrixRoom struct {
	*service
	home *dendritetest.Server
	kim  *dendritetest.Person
	room string
}

func newMatrixRoom(t *testing.T) *matrixRoom {
	t.Helper()
	front := httptest.NewUnstartedServer(nil)
	r := matrix.Registration{URL: "http://" + front.Listener.Addr().String() + intakePath + matrix.Name,
		User: shimwrightID, ASToken: "as-token-of-this-test", HSToken: "hs-token-of-this-test"}
	file, err := r.YAML()
	if err != nil {
		t.Fatal(err)
	}
	home := dendritetest.Start(t, file)
	s := newServiceOn(t, filepath.Join(t.TempDir(), "shop.db"), newTestClock(), func(cfg *Config) {
		cfg.Matrix = matrixSettings{Homeserver: home.URL, User: r.User, ASToken: NewSecret(r.ASToken), HSToken: NewSecret(r.HSToken),
			People: []string{"@kim:" + dendritetest.ServerName}}
	})
	live(t, s.clock)
	front.Config.Handler = s.app.server.routes()
	front.Start()
	t.Cleanup(front.Close)
	s.app.start()
	return &matrixRoom{service: s, home: home, kim: home.Person("kim")}
}

// last is the newest entry of the room.
func (m *matrixRoom) last() store.Entry {
	m.Helper()
	list, err := m.store.Transcript(m.Context(), store.Conversation{Shop: homeShop, ID: m.room}, 0, 1)
	if err != nil {
		m.Fatal(err)
	}
	if len(list) == 0 {
		return store.Entry{}
	}
	return list[0]
}

// entry waits until a message is handled and returns its entry.
func (m *matrixRoom) entry(event string) store.Entry {
	m.Helper()
	var e store.Entry
	for range 6000 {
		if e = m.last(); e.Inbound.ID == event {
			return e
		}
		time.Sleep(10 * time.Millisecond)
	}
	m.Fatalf("%s was not handled; the last was %+v\n%s", event, e.Inbound, m.home.Log())
	return e
}

// handled waits until a message is handled, and returns its answer after the
// person has all of it.
func (m *matrixRoom) handled(event string) (answer, []dendritetest.Event) {
	m.Helper()
	a := decodeAnswer(m, m.entry(event).Answer)
	var got []dendritetest.Event
	for i, r := range a.Replies {
		next := m.kim.Next(m.room)
		if !strings.HasPrefix(next.Body(), r.Text) || next.Sender != shimwrightID {
			m.Errorf("reply %d is %q from %s, want %q", i+1, next.Body(), next.Sender, r.Text)
		}
		got = append(got, next)
		for range r.Media {
			got = append(got, m.kim.Next(m.room))
		}
	}
	return a, got
}

func (m *matrixRoom) say(text string) (answer, []dendritetest.Event) {
	m.Helper()
	return m.handled(m.kim.Say(m.room, text))
}

// A person invites us, we join and answer, and the whole conversation to a
// levelled slider is held in the room, with the drawings as pictures. On the
// way the store is away once, and the homeserver brings the message again.
func TestMatrixHoldsAWholeConversation(t *testing.T) {
	t.Parallel()
	m := newMatrixRoom(t)
	m.room = m.kim.Room(shimwrightID, false)
	if hello := m.kim.Next(m.room); !strings.Contains(hello.Body(), "level") {
		t.Errorf("the invitation is answered with %q", hello.Body())
	}
	if got := m.kim.Members(m.room)[shimwrightID]; got != "join" {
		t.Errorf("in the room we are %q", got)
	}
	m.kim.Quiet(m.room, 300*time.Millisecond)
	n, pictures, bold := 0, 0, 0
	all, err := newBenchSaw(7).level(func(text string) (answer, error) {
		if n++; n == 5 {
			m.store.down.Store(true)
			time.AfterFunc(time.Second, func() { m.store.down.Store(false) })
		}
		a, events := m.say(text)
		for _, e := range events {
			html, _ := e.Content["formatted_body"].(string)
			if strings.HasPrefix(html, "<strong>Unplugged") {
				bold++
			}
			if e.Content["msgtype"] == "m.image" {
				pictures++
				if uri, _ := e.Content["url"].(string); !strings.HasPrefix(uri, "mxc://"+dendritetest.ServerName+"/") || len(e.Body()) < 20 {
					t.Errorf("a picture is %+v", e.Content)
				}
			}
		}
		return a, nil
	})
	if err != nil {
		t.Fatalf("after %d messages: %v", n, err)
	}
	if pictures == 0 || bold == 0 {
		t.Errorf("%d pictures, %d cautions in bold", pictures, bold)
	}
	if records, err := m.store.Records(t.Context(), recordsOf(homeShop, "saw-1")); err != nil || len(records) == 0 {
		t.Errorf("%d records (%v)", len(records), err)
	}
	if extra := m.kim.Quiet(m.room, time.Second); len(extra) != 0 {
		t.Errorf("messages that answer nothing: %+v", extra)
	}
	if !strings.Contains(m.log.String(), `"status":503`) {
		t.Error("the store was not missed: no call of the homeserver failed")
	}
	t.Logf("%d messages, %d pictures", len(all), pictures)
}

// An edit of the last reading is that reading given again.
func TestMatrixEdit(t *testing.T) {
	t.Parallel()
	m := newMatrixRoom(t)
	m.room = m.kim.Room(shimwrightID, false)
	m.kim.Next(m.room)
	m.kim.Quiet(m.room, 300*time.Millisecond)
	for _, text := range []string{"level", "mm", "Blue", "left", "ok", "unplugged", "done", "0.01"} {
		m.say(text)
	}
	slip := m.kim.Say(m.room, "0.03")
	a, _ := m.handled(slip)
	for end := time.Now().Add(10 * time.Second); m.kim.Read(shimwrightID) != slip && time.Now().Before(end); {
		m.kim.Sync(200 * time.Millisecond)
	}
	if got := m.kim.Read(shimwrightID); got != slip {
		t.Errorf("the message is not marked as read; the last mark is on %q", got)
	}
	edit := m.kim.Edit(m.room, slip, "0.08")
	b, got := m.handled(edit)
	if !slices.ContainsFunc(got, func(e dendritetest.Event) bool { return strings.Contains(e.Body(), "0.08") }) {
		t.Errorf("the edit is answered with %+v", got)
	}
	if *a.Prompt.At != *b.Prompt.At {
		t.Errorf("after the edit %+v is asked, want %+v", b.Prompt.At, a.Prompt.At)
	}
	// A thumb is no answer, a notice is another program's, and our own
	// messages come back to us: none of them is answered.
	m.kim.Send(m.room, "m.reaction", map[string]any{"m.relates_to": map[string]any{"rel_type": "m.annotation", "event_id": slip, "key": "👍"}})
	m.kim.Send(m.room, "m.room.message", map[string]any{"msgtype": "m.notice", "body": "0.99"})
	if extra := m.kim.Quiet(m.room, time.Second); len(extra) != 0 {
		t.Errorf("answered: %+v", extra)
	}
	m.kim.Send(m.room, "m.room.message", map[string]any{"msgtype": "m.image", "body": "dial.jpg", "url": "mxc://x/y"})
	if next := m.kim.Next(m.room); !strings.Contains(next.Body(), "nothing I can read") {
		t.Errorf("a picture is answered with %q", next.Body())
	}
}

// An encrypted room gets one sentence, once; a stranger's room is not joined;
// a stranger in a room of ours gets one sentence.
func TestMatrixWhomItDoesNotHear(t *testing.T) {
	t.Parallel()
	m := newMatrixRoom(t)
	m.room = m.kim.Room(shimwrightID, true)
	m.kim.Next(m.room) // it joins, as it does not know yet
	for range 3 {
		m.kim.Send(m.room, "m.room.encrypted", map[string]any{"algorithm": "m.megolm.v1.aes-sha2", "ciphertext": "x", "session_id": "x", "sender_key": "x", "device_id": "x"})
	}
	said := 0
	for _, e := range m.kim.Quiet(m.room, 3*time.Second) {
		if strings.Contains(e.Body(), "encrypted") {
			said++
		}
	}
	if said != 1 {
		t.Errorf("the encrypted room is told %d times, want once", said)
	}

	sam := m.home.Person("sam")
	theirs := sam.Room(shimwrightID, false)
	sam.Say(theirs, "hello?")
	if got := sam.Quiet(theirs, 2*time.Second); len(got) != 0 || sam.Members(theirs)[shimwrightID] != "invite" {
		t.Errorf("in a stranger's room: %+v, %q", got, sam.Members(theirs)[shimwrightID])
	}

	m.room = m.kim.Room(shimwrightID, false)
	m.kim.Next(m.room)
	m.kim.Call("POST", "/_matrix/client/v3/rooms/"+m.room+"/invite", map[string]any{"user_id": sam.ID}, nil)
	sam.Call("POST", "/_matrix/client/v3/join/"+m.room, map[string]any{}, nil)
	sam.Say(m.room, "level")
	sam.Say(m.room, "menu")
	var heard []string
	for _, e := range sam.Quiet(m.room, 3*time.Second) {
		if e.Sender == shimwrightID {
			heard = append(heard, e.Body())
		}
	}
	if n := strings.Count(strings.Join(heard, "\n"), "only people who were let in"); n != 1 {
		t.Errorf("a stranger heard %q", heard)
	}
	docs, err := m.store.Load(t.Context(), store.Conversation{Shop: homeShop, ID: m.room}, "")
	if err != nil || len(docs.Saws) != 0 {
		t.Errorf("the stranger set up %d saws, %v", len(docs.Saws), err)
	}
	// With a code sam is let in, there or by the words of an invitation, and a
	// room of theirs is entered.
	sam.Say(m.room, "join "+codeFrom(t, textsOf(m.sayHome("invite"))...))
	if got := heardFrom(sam, m.room); !strings.Contains(got, "You are in: sets up and measures") {
		t.Errorf("with a code sam hears %q", got)
	}
	own := sam.Room(shimwrightID, false)
	if got := heardFrom(sam, own); got == "" || sam.Members(own)[shimwrightID] != "join" {
		t.Errorf("in a room of sam's: %q, %q", got, sam.Members(own)[shimwrightID])
	}
	lee := m.home.Person("lee")
	theirs = lee.RoomWith(shimwrightID, "join "+codeFrom(t, textsOf(m.sayHome("invite to measure"))...))
	if got := heardFrom(lee, theirs); !strings.Contains(got, "You are in: measures") {
		t.Errorf("with a code in the invitation lee hears %q", got)
	}
	for _, secret := range []string{"as-token-of-this-test", "hs-token-of-this-test"} {
		if strings.Contains(m.log.String(), secret) {
			t.Error("the log holds a token")
		}
	}
}

// heardFrom is what we say in a room until it is quiet.
func heardFrom(p *dendritetest.Person, room string) string {
	var heard []string
	for _, e := range p.Quiet(room, 2*time.Second) {
		if e.Sender == shimwrightID {
			heard = append(heard, e.Body())
		}
	}
	return strings.Join(heard, "\n")
}

// A job begun on the page goes on in a room that is linked by a code.
func TestMatrixLink(t *testing.T) {
	t.Parallel()
	m := newMatrixRoom(t)
	for _, text := range []string{"call me Kim", "level", "mm", "Blue", "left", "ok", "unplugged", "done", "0.01"} {
		m.sayHome(text)
	}
	m.room = m.kim.Room(shimwrightID, false)
	heardFrom(m.kim, m.room) // the settings let kim in, as somebody new
	m.say("link " + codeFrom(t, textsOf(m.sayHome("link"))...))
	a, _ := m.say("yes")
	if !has(textsOf(a), "You are Kim here too") || a.Prompt.Acknowledge != "unplugged" {
		t.Errorf("linked: %q, %+v", textsOf(a), a.Prompt)
	}
	m.say("unplugged") // two were known here, so it is asked afresh
	a, events := m.say("0.02")
	if !has(textsOf(a), "2: 0.02 mm high") || len(events) == 0 {
		t.Errorf("the job goes on with %q", textsOf(a))
	}
}

// The homeserver is killed and started again: what it brings once more has its
// effect once, and what was said while it was away waits and is taken after.
// Whether a client then sees it is the homeserver's affair: a killed one may
// forget where it was in its own queues.
func TestMatrixHomeserverKilled(t *testing.T) {
	t.Parallel()
	m := newMatrixRoom(t)
	m.room = m.kim.Room(shimwrightID, false)
	m.kim.Next(m.room)
	m.kim.Quiet(m.room, 300*time.Millisecond)
	m.say("level")

	// Taken by the homeserver, refused by us: it stays in its queue.
	m.store.down.Store(true)
	event := m.kim.Say(m.room, "mm")
	for range 500 {
		if strings.Contains(m.log.String(), `"status":503`) {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	m.home.Kill()
	m.store.down.Store(false)
	m.home.Run()
	m.entry(event)
	m.drained()
	list, err := m.store.Transcript(t.Context(), store.Conversation{Shop: homeShop, ID: m.room}, 0, 100)
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]int{}
	for _, e := range list {
		seen[e.Inbound.ID]++
	}
	if seen[event] != 1 {
		t.Errorf("the message was handled %d times", seen[event])
	}

	// Said while the homeserver is away.
	m.home.Kill()
	if _, err = m.app.handler.message(t.Context(), byHand(m.room, "menu")); err != nil {
		t.Fatal(err)
	}
	for range 500 {
		if strings.Contains(m.log.String(), "cannot be reached") {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	if waiting(t, m.store, m.clock.now()) == 0 {
		t.Error("nothing waits, although the homeserver is away")
	}
	m.home.Run()
	m.drained()
	ids := map[string]bool{}
	for _, e := range m.kim.Quiet(m.room, 2*time.Second) {
		if ids[e.ID] {
			t.Errorf("%q arrives twice", e.Body())
		}
		ids[e.ID] = true
	}
}

// drained waits until everything that waited to be sent was taken.
func (m *matrixRoom) drained() {
	m.Helper()
	for range 600 {
		if waiting(m, m.store, m.clock.now()) == 0 {
			return
		}
		time.Sleep(100 * time.Millisecond)
	}
	dead, _ := m.store.Dead(m.Context(), "", 10)
	m.Errorf("%d messages still wait; dead: %+v", waiting(m, m.store, m.clock.now()), dead)
}

// byHand is a message of kim's that comes by another way than the homeserver.
func byHand(room, text string) event {
	kim := "@kim:" + dendritetest.ServerName
	return event{shop: homeShop, conversation: room, channel: matrix.Name, from: kim,
		speaker: &speaker{kind: messenger, channel: matrix.Name, sender: kim, conversation: room},
		message: posted{ID: "by-hand", Conversation: room, Sender: kim, Text: text}}
}

// The command writes a registration file that fits the settings it prints, and
// replaces none.
func TestMatrixCommand(t *testing.T) {
	file := filepath.Join(t.TempDir(), "shimwright.yaml")
	var out, errs bytes.Buffer
	if status := run(context.Background(), console{out: &out, err: &errs}, []string{"matrix", "shop.example", file, "http://10.0.0.5:8080/"}); status != 0 {
		t.Fatalf("status %d: %s", status, errs.String())
	}
	body, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	info, _ := os.Stat(file)
	if info.Mode().Perm() != 0o600 {
		t.Errorf("others may read the file: %v", info.Mode())
	}
	for line := range strings.Lines(out.String()) {
		name, value, ok := strings.Cut(strings.TrimSpace(line), "=")
		if ok && strings.HasSuffix(name, "_TOKEN") && !strings.Contains(string(body), value) {
			t.Errorf("%s is not in the file", name)
		}
	}
	if !strings.Contains(string(body), `url: "http://10.0.0.5:8080/v1/channels/matrix"`) {
		t.Errorf("the file says\n%s", body)
	}
	for _, args := range [][]string{{"matrix", "shop.example", file}, {"matrix"}, {"matrix", "-x"}, {"matrix", "not a server", filepath.Join(t.TempDir(), "x")}} {
		errs.Reset()
		if status := run(context.Background(), console{out: &out, err: &errs}, args); status != 1 || errs.Len() == 0 {
			t.Errorf("%q: status %d, %q", args, status, errs.String())
		}
	}
	if again, _ := os.ReadFile(file); !bytes.Equal(again, body) {
		t.Error("the file was replaced")
	}
}
