package main

import (
	"fmt"
	"net/http/httptest"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"shimwright/bot/channel/sms"
	"shimwright/bot/channel/sms/gsm7"
	"shimwright/bot/channel/sms/kanneltest"
	"shimwright/store"
)

const (
	kimsPhone = "+447700900101" // Ofcom keeps 07700 900000 to 900999 free for stories
	smsSecret = "0123456789abcdef0123456789abcdef"
)

// phone is a whole service behind a real text gateway, and a handset.
type phone struct {
	*service
	gateway *kanneltest.Gateway
	handset *kanneltest.Handset
	parts   map[int]int // messages by how many parts they took
	longest string
}

// newPhone starts all of it. The clock is the real one: the gateway says when
// a text was sent.
func newPhone(t *testing.T, c kanneltest.Config) *phone {
	t.Helper()
	// The gateway must know our address and we its: our port comes first.
	front := httptest.NewUnstartedServer(nil)
	own := "http://" + front.Listener.Addr().String() + intakePath + sms.Name
	c.Inbound = own + "/in?key=" + smsSecret
	g := kanneltest.Start(t, c)
	s := newServiceOn(t, filepath.Join(t.TempDir(), "shop.db"), newTestClock(), func(cfg *Config) {
		cfg.SMS = smsSettings{Gateway: g.SendSMS, User: kanneltest.User, Password: NewSecret(kanneltest.Password),
			Secret: NewSecret(smsSecret), Own: own, People: []string{kimsPhone}}
	})
	live(t, s.clock)
	front.Config.Handler = s.app.server.routes()
	front.Start()
	t.Cleanup(front.Close)
	s.app.start()
	return &phone{service: s, gateway: g, handset: g.Handset(), parts: map[int]int{}}
}

// whole returns the next message, its parts joined.
func (p *phone) whole() string {
	p.Helper()
	first := p.handset.Next()
	if first.Kind == "ucs-2" {
		p.Errorf("a message needs 16 bits a character: %q", first.Body)
	}
	if first.Header == "" {
		p.parts[1]++
		return first.Body
	}
	var total int
	if _, err := fmt.Sscanf(first.Header[8:10], "%02x", &total); err != nil {
		p.Fatalf("the header of a part is %s", first.Header)
	}
	body := make([]string, total)
	for m := first; ; m = p.handset.Next() {
		var n int
		_, _ = fmt.Sscanf(m.Header[10:12], "%02x", &n)
		body[n-1] = m.Body
		if !slices.Contains(body, "") {
			break
		}
	}
	p.parts[total]++
	s := strings.Join(body, "")
	if len(s) > len(p.longest) {
		p.longest = s
	}
	return s
}

// last is the newest entry of a conversation.
func (p *phone) last(from string) store.Entry {
	p.Helper()
	list, err := p.store.Transcript(p.Context(), store.Conversation{Shop: homeShop, ID: from}, 0, 1)
	if err != nil {
		p.Fatal(err)
	}
	if len(list) == 0 {
		return store.Entry{}
	}
	return list[0]
}

// say sends a text and returns its answer, after the handset has all of it.
func (p *phone) say(text string) answer {
	p.Helper()
	before := p.last(kimsPhone).Seq
	p.handset.Send(strings.TrimPrefix(kimsPhone, "+"), text)
	var e store.Entry
	for range 2000 {
		if e = p.last(kimsPhone); e.Seq != before {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	if string(e.Inbound.Text) != text {
		p.Fatalf("sent %q, handled %q\n%s", text, e.Inbound.Text, p.gateway.Log())
	}
	a := decodeAnswer(p, e.Answer)
	for i, r := range a.Replies {
		got := p.whole()
		if want := gsm7.Plain(strings.TrimSpace(r.Text)); !strings.HasPrefix(got, want) {
			p.Errorf("reply %d to %q:\n got %q\nwant %q", i+1, text, got, want)
		}
	}
	return a
}

// A handset holds the whole conversation, from set-up to a levelled slider,
// through a real gateway; twice on the way the store is away, and the gateway
// brings the text again.
func TestTextsHoldAWholeConversation(t *testing.T) {
	t.Parallel()
	p := newPhone(t, kanneltest.Config{Retries: 5, OneByOne: true})
	n := 0
	all, err := newBenchSaw(7).level(func(text string) (answer, error) {
		if n++; n == 4 || n == 12 {
			p.store.down.Store(true)
			time.AfterFunc(1500*time.Millisecond, func() { p.store.down.Store(false) })
		}
		return p.say(text), nil
	})
	if err != nil {
		t.Fatalf("after %d messages: %v", n, err)
	}
	records, err := p.store.Records(t.Context(), recordsOf(homeShop, "saw-1"))
	if err != nil || len(records) == 0 {
		t.Fatalf("%d records (%v)", len(records), err)
	}
	if extra := p.handset.Quiet(500 * time.Millisecond); len(extra) != 0 {
		t.Errorf("texts that answer nothing: %+v", extra)
	}
	if w := waiting(t, p.store, p.clock.now()); w != 0 {
		t.Errorf("%d messages still wait", w)
	}
	if !strings.Contains(p.log.String(), `"status":503`) {
		t.Error("the store was not missed: no call of the gateway failed")
	}
	t.Logf("%d texts, %d records; messages by parts: %v; the longest: %q", len(all), len(records), p.parts, p.longest)
}

// STOP is confirmed once and then there is silence, whatever is said, until
// START.
func TestTextsStopAndStart(t *testing.T) {
	t.Parallel()
	p := newPhone(t, kanneltest.Config{})
	p.say("menu")
	if a := p.say("STOP"); len(a.Replies) != 1 {
		t.Errorf("STOP is confirmed with %d messages", len(a.Replies))
	}
	for _, text := range []string{"menu", "STOP", "HELP", "3 thou low", "what now?"} {
		if a := p.say(text); len(a.Replies) != 0 {
			t.Errorf("after STOP %q is answered with %+v", text, a.Replies)
		}
	}
	if a := p.say("Start"); len(a.Replies) == 0 {
		t.Error("START is not answered")
	}
	if a := p.say("menu"); len(a.Replies) == 0 {
		t.Error("after START nothing is answered")
	}
	if extra := p.handset.Quiet(300 * time.Millisecond); len(extra) != 0 {
		t.Errorf("more texts than answers: %+v", extra)
	}
}

// A job begun on the page goes on on a telephone that is linked by a code, and a
// stranger with the code of an invitation joins; both speak the language of
// their number's country, unless they ask for another.
func TestTextsLinkAndJoin(t *testing.T) {
	t.Parallel()
	p := newPhone(t, kanneltest.Config{})
	for _, text := range []string{"call me Kim", "level", "mm", "Blue", "left", "ok", "unplugged", "done", "0.01"} {
		p.sayHome(text)
	}
	p.handset.Send("447700900177", "link "+codeFrom(t, textsOf(p.sayHome("link"))...))
	if got := p.whole(); !strings.Contains(got, "You are Kim here too") {
		t.Errorf("linked: %q", got)
	}
	if got := p.whole(); !strings.HasPrefix(got, "Unplugged, blade at rest") || !strings.Contains(got, "Support ") {
		t.Errorf("the job: %q", got)
	}
	p.handset.Send("447700900177", "0.02")
	if got := p.whole(); !strings.Contains(got, "2: 0.02 mm high") {
		t.Errorf("it goes on with %q", got)
	}
	p.whole()
	// A person who is known is not spoken to in another language all at once.
	p.handset.Send("4915550000003", "link "+codeFrom(t, textsOf(p.sayHome("link"))...))
	if got := p.whole(); !strings.Contains(got, "You are Kim here too") || strings.Contains(got, "Sprache") {
		t.Errorf("linked from another country: %q", got)
	}
	p.whole()
	p.handset.Send("4915550000001", "join "+codeFrom(t, textsOf(p.sayHome("invite"))...))
	if got := p.whole(); !strings.Contains(got, "Andere Sprache? Schick ihren Namen: english") || !strings.Contains(got, "Du bist dabei: stellt ein und misst.") {
		t.Errorf("joined: %q", got)
	}
	if got := p.whole(); got != "Wie heißt du?" {
		t.Errorf("asked %q", got)
	}
	p.handset.Send("4915550000001", "english")
	if got := p.whole(); got != "English from now on." {
		t.Errorf("another language: %q", got)
	}
	if got := p.whole(); got != "What are you called?" {
		t.Errorf("asked again %q", got)
	}
	p.handset.Send("4915550000002", "hallo")
	if got := p.whole(); got != "Ich antworte nur Leuten, die eingelassen wurden. Wer dir diese Adresse gab, kann das tun." {
		t.Errorf("a stranger from there: %q", got)
	}
	if extra := p.handset.Quiet(300 * time.Millisecond); len(extra) != 0 {
		t.Errorf("more texts than answers: %+v", extra)
	}
}

// A stranger gets one sentence and nothing else; data that is no
// text gets one from the dialog.
func TestTextsFromStrangers(t *testing.T) {
	t.Parallel()
	p := newPhone(t, kanneltest.Config{})
	for _, text := range []string{"level", "menu", "hello?"} {
		p.handset.Send("447700900199", text)
	}
	got := p.handset.Quiet(2 * time.Second)
	if len(got) != 1 || got[0].To != "+447700900199" || !strings.Contains(got[0].Body, "only people who were let in") {
		t.Fatalf("a stranger got %+v", got)
	}
	docs, err := p.store.Load(t.Context(), store.Conversation{Shop: homeShop, ID: "+447700900199"}, "")
	if err != nil || docs.People.Version != 0 || docs.Conversation.Version != 0 {
		t.Errorf("the stranger left something in the shop: %+v, %v", docs, err)
	}
	p.say("menu")
	p.handset.SendData(strings.TrimPrefix(kimsPhone, "+"), []byte{1, 2, 3})
	if s := p.whole(); !strings.Contains(s, "nothing I can read") {
		t.Errorf("data is answered with %q", s)
	}
	for _, secret := range []string{smsSecret, kanneltest.Password, "447700900199", "447700900101"} {
		if strings.Contains(p.log.String(), secret) {
			t.Errorf("the log holds %s", mask(secret))
		}
	}
}
