package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"shimwright/bot/channel"
	"shimwright/dialog"
	"shimwright/store"
	"shimwright/store/boltstore"
	"shimwright/store/redisstore"
	"shimwright/store/redistest"
)

// onEachStore runs a test on each engine; open makes another service on the
// same data, with nothing in its memory.
func onEachStore(t *testing.T, f func(t *testing.T, inner store.Store)) {
	t.Run("file", func(t *testing.T) {
		inner, err := boltstore.Open(filepath.Join(t.TempDir(), "test.db"))
		if err != nil {
			t.Fatal(err)
		}
		f(t, inner)
	})
	t.Run("redis", func(t *testing.T) {
		inner, err := redisstore.Open(t.Context(), redistest.Start(t).URL(0))
		if err != nil {
			t.Fatal(err)
		}
		f(t, inner)
	})
}

var shownCode = regexp.MustCompile(`[A-Z0-9]{4}-[A-Z0-9]{4}`)

// codeFrom finds the code in what was said.
func codeFrom(t *testing.T, texts ...string) string {
	t.Helper()
	code := shownCode.FindString(strings.Join(texts, "\n"))
	if code == "" {
		t.Fatalf("no code in %q", texts)
	}
	return code
}

func textsOf(a answer) (list []string) {
	for _, r := range a.Replies {
		list = append(list, r.Text)
	}
	return list
}

// from is a text of somebody in a conversation of their own.
func (p *paper) from(sender, text string) channel.Inbound {
	m := p.in(text)
	m.ID, m.Sender, m.Conversation = p.network.name+m.ID+sender, sender, sender
	return m
}

// tell brings a text of somebody and returns what is sent in answer.
func (p *paper) tell(sender, text string) []string {
	p.Helper()
	return p.after(p.from(sender, text))
}

// people are those of a shop.
func (s *service) people(shop string) dialog.People {
	s.Helper()
	p, _, err := loadPeople(s.Context(), s.store, shop)
	if err != nil {
		s.Fatal(err)
	}
	return p
}

// A number and a room become one person's by a code; a job begun on the page
// goes on on either, what was acknowledged holds in all of them, and what voids
// it in one voids it in all.
func TestOnePersonSeveralChannels(t *testing.T) {
	p := newPaper(t, true)
	room := p.beside("slate")
	p.app.server.intake.member = func(string, string) bool { return false }
	for _, text := range []string{"call me Kim", "level", "mm", "Blue", "left", "ok", "unplugged", "done", "0.01"} {
		p.sayHome(text)
	}
	asked := p.sayHome("0.02").Prompt
	code := codeFrom(t, textsOf(p.sayHome("link"))...)
	if got := p.tell("+447700900001", "Link "+strings.ToLower(code)+"."); !has(got, "You are Kim here too") || !has(got, "Support 2, outer side: how high?") || !has(got, "Unplugged, blade at rest") {
		t.Fatalf("the telephone is answered %q", got)
	}
	if got := p.tell("+447700900001", "0.03"); !has(got, "3: 0.03 mm high") {
		t.Errorf("the job does not go on there: %q", got)
	}
	// The code is used up: nobody else comes in by it.
	if got := p.tell("+447700900002", "link "+code); len(got) != 1 || !has(got, "only people who were let in") {
		t.Errorf("the same code again: %q", got)
	}
	code = codeFrom(t, p.tell("+447700900001", "link")...)
	if got := room.tell("@kim:shop.test", code); !has(got, "You are Kim here too") {
		t.Fatalf("the room is answered %q", got)
	}
	if n := len(p.people(homeShop).Persons); n != 1 {
		t.Errorf("%d persons", n)
	}
	// Power is a fact of the saw: it comes on in the room, and no hand is asked
	// for anywhere without a new word.
	if got := room.tell("@kim:shop.test", "power is on"); !has(got, "Answer with the word unplugged") {
		t.Errorf("power is on: %q", got)
	}
	if got := p.tell("+447700900001", "0.04"); has(got, "mm high") || !has(got, "unplugged") {
		t.Errorf("a reading is taken with the power on: %q", got)
	}
	// The word counts where the question was put last, and for the person.
	if got := p.tell("+447700900001", "unplugged"); !has(got, "Support 4") && !has(got, "Support 3") && !has(got, "Support 2") {
		t.Errorf("unplugged on the telephone: %q", got)
	}
	if got := room.tell("@kim:shop.test", "where"); !has(got, "Unplugged, blade at rest") {
		t.Errorf("in the room it does not hold: %q", got)
	}
	// Half an hour of silence on all of them ends it on all; a message on any
	// of them does not.
	p.clock.advance(20 * time.Minute)
	p.sayHome("where")
	p.clock.advance(20 * time.Minute)
	if got := room.tell("@kim:shop.test", "where"); !has(got, "Unplugged, blade at rest") {
		t.Errorf("heard on the page 20 minutes ago: %q", got)
	}
	p.clock.advance(31 * time.Minute)
	if got := room.tell("@kim:shop.test", "where"); has(got, "Unplugged, blade at rest") || !has(got, "Answer with the word unplugged") {
		t.Errorf("after half an hour: %q", got)
	}
	if asked.Number != 3 {
		t.Errorf("the question had the number %d", asked.Number)
	}
	// A place that is given up is a stranger's.
	if got := p.tell("+447700900001", "unlink"); !has(got, "…01 by paper") || !has(got, "@kim:shop.test by slate") {
		t.Errorf("unlink alone: %q", got)
	}
	if got := room.tell("@kim:shop.test", "unlink paper"); !has(got, "…01 by paper is no longer you") {
		t.Errorf("unlink: %q", got)
	}
	if got := p.tell("+447700900001", "0.05"); len(got) != 1 || !has(got, "only people who were let in") {
		t.Errorf("the number that was given up hears %q", got)
	}
	if _, err := p.store.Resolve(t.Context(), "paper:+447700900001"); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("the directory still knows it: %v", err)
	}
}

// Two who are known already become one, when the second says yes; what either
// acknowledged is asked afresh, and the job goes on.
func TestLinkingTwoKnown(t *testing.T) {
	p := newPaper(t, false)
	for _, text := range []string{"level", "mm", "Blue", "left", "ok", "unplugged"} {
		p.tell("kim", text)
	}
	if got := p.tell("kim", "done"); !has(got, "Unplugged, blade at rest") {
		t.Fatalf("not unplugged: %q", got)
	}
	code := codeFrom(t, p.tell("kim", "link")...)
	p.sayHome("call me Ada")
	if got := textsOf(p.sayHome("link " + code)); !has(got, "one person here, for good") {
		t.Fatalf("asked %q", got)
	}
	p.sayHome("no")
	if n := living(p.people(homeShop)); n != 2 {
		t.Fatalf("%d persons after no", n)
	}
	p.sayHome("link " + code)
	if got := textsOf(p.sayHome("yes")); !has(got, "You are Ada here too") || !has(got, "Answer with the word unplugged") {
		t.Errorf("yes is answered %q", got)
	}
	all := p.people(homeShop)
	if living(all) != 1 || all.Self(all.Persons[0].ID) != homeOwner || all.Self(all.Persons[1].ID) != homeOwner {
		t.Fatalf("people %+v", all.Persons)
	}
	if got := p.tell("kim", "0.01"); has(got, "mm high") {
		t.Errorf("what kim acknowledged before counts for Ada: %q", got)
	}
	p.tell("kim", "unplugged")
	if got := p.tell("kim", "people"); !has(got, "Ada: owns the shop") {
		t.Errorf("the telephone speaks as %q", got)
	}
	if got := p.tell("kim", "link "+code); !has(got, "not open here") {
		t.Errorf("the code again: %q", got)
	}
}

func living(p dialog.People) (n int) {
	for _, q := range p.Persons {
		if !q.Removed {
			n++
		}
	}
	return n
}

// A stranger with the code of an invitation joins, in the role it gives; codes
// end, are used once, and are tried only so often; a wrong one, an old one and
// none at all look the same from outside.
func TestJoiningByCode(t *testing.T) {
	p := newPaper(t, true)
	p.app.server.intake.member = func(string, string) bool { return false }
	for _, text := range []string{"level", "mm", "Blue", "left", "ok", "park"} {
		p.sayHome(text)
	}
	code := codeFrom(t, textsOf(p.sayHome("invite to measure"))...)
	none := p.tell("+447700900010", "hello")
	wrong := p.tell("+447700900011", "join AAAA-BBBB")
	if len(none) != 1 || fmt.Sprint(none) != fmt.Sprint(wrong) {
		t.Errorf("a stranger hears %q, one with a wrong code %q", none, wrong)
	}
	p.clock.advance(8 * 24 * time.Hour)
	if old := p.tell("+447700900012", "join "+code); fmt.Sprint(old) != fmt.Sprint(none) {
		t.Errorf("an old code: %q", old)
	}
	code = codeFrom(t, textsOf(p.sayHome("invite to measure"))...)
	m := p.from("+447700900010", "join "+code)
	got := p.after(m)
	if !has(got, "You are in: measures") || !has(got, "What are you called?") {
		t.Fatalf("a good code: %q", got)
	}
	if again := p.after(m); len(again) != 0 {
		t.Errorf("brought again: %q", again)
	}
	if got := p.tell("+447700900010", "sam"); !has(got, "You are Sam here") {
		t.Errorf("a name: %q", got)
	}
	if got := p.tell("+447700900010", "menu"); !has(got, "Blue") {
		t.Errorf("the menu: %q", got)
	}
	if got := p.tell("+447700900010", "edit"); !has(got, "Only somebody who may set up") {
		t.Errorf("the role: %q", got)
	}
	if used := p.tell("+447700900013", "join "+code); fmt.Sprint(used) != fmt.Sprint(none) {
		t.Errorf("a used code: %q", used)
	}
	// Whoever tries codes is soon not looked at any more, though one be right.
	code = codeFrom(t, textsOf(p.sayHome("invite"))...)
	for i := range codeTries {
		p.tell("+447700900014", fmt.Sprintf("join AAAA-BBB%d", i))
	}
	if got := p.tell("+447700900014", "join "+code); len(got) != 0 {
		t.Errorf("after many tries: %q", got)
	}
	p.clock.advance(codeEvery + time.Minute)
	if got := p.tell("+447700900014", "join "+code); !has(got, "You are in: sets up and measures") {
		t.Errorf("later: %q", got)
	}
	// All strangers of a network together are answered only so often.
	answered := 0
	for i := range strangers + 20 {
		answered += len(p.tell(fmt.Sprintf("+4477009001%02d", i), "hi"))
	}
	if answered > strangers || answered < strangers/2 {
		t.Errorf("%d strangers were answered", answered)
	}
	hall, err := p.store.Load(t.Context(), store.Conversation{Shop: hallShop, ID: "+447700900010"}, m.ID)
	if err != nil || hall.Seen != nil || hall.Conversation.Version != 0 || hall.People.Version != 0 {
		t.Errorf("in the hall: %+v %v", hall, err)
	}
}

// Removed, or with a lost phone, a number is a stranger's again: one sentence,
// and then nothing; a new code lets it in.
func TestShutOut(t *testing.T) {
	p := newPaper(t, true)
	p.sayHome("call me Ada")
	for _, text := range []string{"menu", "call me Kim"} {
		p.tell("+447700900001", text)
	}
	p.sayHome("lost phone of Kim")
	if got := p.tell("+447700900001", "menu"); len(got) != 1 || !has(got, "only people who were let in") {
		t.Errorf("the lost phone hears %q", got)
	}
	if got := p.tell("+447700900001", "menu"); len(got) != 0 {
		t.Errorf("and then %q", got)
	}
	code := codeFrom(t, textsOf(p.sayHome("invite"))...)
	if got := p.tell("+447700900001", "join "+code); !has(got, "You are in") {
		t.Errorf("with a code: %q", got)
	}
	p.tell("+447700900001", "Kim B")
	p.sayHome("remove Kim B")
	p.sayHome("yes")
	if got := p.tell("+447700900001", "menu"); len(got) != 0 {
		t.Errorf("removed, it hears %q", got)
	}
	if n := living(p.people(homeShop)); n != 2 {
		t.Errorf("%d persons; Kim stays without a phone", n)
	}
}

// A program's conversation joins the shop of this machine: what it was answered
// before comes along, and the old place is left.
func TestProgramJoins(t *testing.T) {
	s := newService(t)
	s.sayHome("call me Ada")
	for _, text := range []string{"level", "mm", "Blue", "left", "ok", "park"} {
		s.sayHome(text)
	}
	first := posted{ID: "m-1", Conversation: "rig", Sender: "kim", Text: "menu"}
	was := s.post(first, s.signed)
	old, err := s.store.Resolve(t.Context(), conversationAddress("rig"))
	if err != nil {
		t.Fatal(err)
	}
	code := codeFrom(t, textsOf(s.sayHome("invite"))...)
	m := posted{ID: "m-2", Conversation: "rig", Sender: "kim", Text: "join " + code}
	got := s.post(m, s.signed)
	if !has(textsOf(got), "You are in: sets up and measures") {
		t.Fatalf("answered %q", textsOf(got))
	}
	for _, again := range []struct {
		m posted
		a answer
	}{{first, was}, {m, got}} {
		if a := s.post(again.m, s.signed); string(encode(a)) != string(encode(again.a)) {
			t.Errorf("%s again: %s, first %s", again.m.ID, encode(a), encode(again.a))
		}
	}
	s.post(posted{ID: "m-3", Conversation: "rig", Sender: "kim", Text: "Kim"}, s.signed)
	if a := s.post(posted{ID: "m-4", Conversation: "rig", Sender: "kim", Text: "menu"}, s.signed); !has(textsOf(a), "Blue") {
		t.Errorf("the menu: %q", textsOf(a))
	}
	if p := s.people(old); p.Gone != homeShop || len(p.Moves) != 0 || living(p) != 0 {
		t.Errorf("left behind: %+v", p)
	}
	res := s.request("GET", "/v1/conversations/rig", "", s.signed)
	if res.StatusCode != 200 || strings.Count(string(res.body), `"in_reply_to":"m-1"`) != 1 {
		t.Errorf("the conversation: %d %s", res.StatusCode, res.body)
	}
}

// Who cannot leave is told so, and nothing changes.
func TestMayNotLeave(t *testing.T) {
	s := newService(t)
	code := codeFrom(t, textsOf(s.sayHome("invite"))...)
	n := 0
	say := func(sender, text string) []string {
		n++
		return textsOf(s.post(posted{ID: fmt.Sprint("m-", n), Conversation: "rig", Sender: sender, Text: text}, s.signed))
	}
	for _, text := range []string{"level", "mm", "Old Blue", "left", "ok"} {
		say("kim", text)
	}
	if got := say("kim", "join "+code); !has(got, "cannot leave this one now") || !has(got, "unplugged") {
		t.Errorf("in a job: %q", got)
	}
	say("kim", "park")
	if got := say("kim", "join "+code); !has(got, "cannot leave this one now") {
		t.Errorf("with a saw: %q", got)
	}
	shop, _ := s.store.Resolve(t.Context(), conversationAddress("rig"))
	if p := s.people(shop); len(p.Moves) != 0 || p.Gone != "" || len(s.people(homeShop).Joins) != 1 {
		t.Errorf("something changed: %+v", p)
	}
	// This machine's own browser stays in its shop.
	other := codeFrom(t, say("kim", "invite")...)
	if got := textsOf(s.sayHome("join " + other)); !has(got, "cannot leave this one now") {
		t.Errorf("the page: %q", got)
	}
}

// pairIn pairs a browser for somebody of a shop, and returns its cookie.
func (s *service) pairIn(shop, name string) (cookie string) {
	s.Helper()
	l, err := s.app.pairing.invite(s.Context(), invitation{Shop: shop, Name: name})
	if err != nil {
		s.Fatal(err)
	}
	if cookie, err = s.app.pairing.accept(s.Context(), l.Token, "Mozilla/5.0 (Linux; Android 14) Test"); err != nil {
		s.Fatal(err)
	}
	return cookie
}

// A paired browser moves to another shop by a code, as a telephone does: the
// cookie then opens that shop and nothing of the old one, what was answered
// before comes along, and reading goes on though the entries are numbered anew.
// Another browser of the same person stays.
func TestBrowserJoins(t *testing.T) {
	s := newService(t)
	for _, text := range []string{"call me Ada", "level", "mm", "Blue", "left", "ok", "park"} {
		s.sayHome(text)
	}
	const old = "shop-two"
	phone, tablet, owner := s.pairIn(old, "Lee"), s.pairIn(old, "Lee"), s.pairIn(old, "")
	n := 0
	say := func(cookie, conversation, text string) answer {
		t.Helper()
		n++
		return s.post(posted{ID: fmt.Sprint("m-", n), Conversation: conversation, Sender: "somebody else", Text: text}, header("Cookie", cookieName+"="+cookie))
	}
	read := func(after int) (int, string) {
		res := s.request("GET", fmt.Sprintf("/v1/conversations/page-lee?after=%d", after), "", header("Cookie", cookieName+"="+phone))
		return res.StatusCode, string(res.body)
	}
	say(owner, "page-owner", "menu")
	say(phone, "page-lee", "español")
	was := say(phone, "page-lee", "menu")
	firstID := fmt.Sprint("m-", n)
	for range 5 {
		say(tablet, "page-lee-2", "menu")
	}
	if got := textsOf(say(phone, "page-lee", "join AAAA-BBBB")); !has(got, "Ese código no") {
		t.Errorf("a code that nobody knows: %q", got)
	}
	if got := textsOf(say(owner, "page-owner", "join "+codeFrom(t, textsOf(s.sayHome("invite"))...))); !has(got, "cannot leave this one now") {
		t.Errorf("the only owner: %q", got)
	}
	join := posted{ID: "m-join", Conversation: "page-lee", Text: "join " + codeFrom(t, textsOf(s.sayHome("invite to measure"))...)}
	by := header("Cookie", cookieName+"="+phone)
	got := s.post(join, by)
	if !has(textsOf(got), "Ya estás dentro: mide") || has(textsOf(got), "idioma") {
		t.Fatalf("answered %q", textsOf(got))
	}
	if again := s.post(join, by); string(encode(again)) != string(encode(got)) {
		t.Errorf("the same message again: %s, first %s", encode(again), encode(got))
	}
	if again := s.post(posted{ID: firstID, Conversation: "page-lee", Text: "menu"}, by); string(encode(again)) != string(encode(was)) {
		t.Errorf("what was answered before: %s, first %s", encode(again), encode(was))
	}
	if got := textsOf(say(phone, "page-lee", "Lee")); !has(got, "Lee") {
		t.Errorf("a name: %q", got)
	}
	if got := textsOf(say(phone, "page-lee", "menu")); !has(got, "Blue") {
		t.Errorf("the menu of the new shop: %q", got)
	}
	if status, body := read(1 << 40); status != 200 || !strings.Contains(body, `"in_reply_to":"m-join"`) {
		t.Errorf("reading on from the old numbers: %d %s", status, body)
	}
	here, there := s.people(homeShop), s.people(old)
	if len(here.Moves)+len(there.Moves) != 0 || living(here) != 2 || living(there) != 2 {
		t.Errorf("people %+v and %+v", here, there)
	}
	list, err := s.app.pairing.devices(t.Context(), old)
	if err != nil || len(list) != 2 {
		t.Errorf("devices left behind: %+v, %v", list, err)
	}
	if got := textsOf(say(tablet, "page-lee-2", "menu")); !has(got, "Aún no hay ninguna sierra") {
		t.Errorf("the tablet: %q", got)
	}
	if list, err = s.app.pairing.devices(t.Context(), homeShop); err != nil || len(list) != 1 || list[0].Person != "Lee" || list[0].Label != "Linux; Android 14" {
		t.Errorf("devices: %+v, %v", list, err)
	}
	// A device that was shut out brings itself in by no code.
	if err := s.app.pairing.revoke(t.Context(), homeShop, list[0].ID); err != nil {
		t.Fatal(err)
	}
	res := s.request("POST", "/v1/messages", bodyOf(posted{ID: "m-out", Conversation: "page-lee", Text: "join " + codeFrom(t, textsOf(s.sayHome("invite"))...)}),
		by, header("X-Forwarded-For", "203.0.113.9"))
	if res.StatusCode != 401 {
		t.Errorf("shut out, it is answered %d %s", res.StatusCode, res.body)
	}
}

// failingStore stops after some writes, as a machine does that crashes.
type failingStore struct {
	store.Store
	left atomic.Int64
}

func (f *failingStore) write() error {
	if f.left.Add(-1) < 0 {
		return fmt.Errorf("%w: the crash", store.ErrUnavailable)
	}
	return nil
}

func (f *failingStore) Commit(ctx context.Context, c store.Commit) error {
	if err := f.write(); err != nil {
		return err
	}
	return f.Store.Commit(ctx, c)
}

func (f *failingStore) Point(ctx context.Context, address, from, to string) error {
	if err := f.write(); err != nil {
		return err
	}
	return f.Store.Point(ctx, address, from, to)
}

func (f *failingStore) Erase(ctx context.Context, s store.Scope) error {
	if err := f.write(); err != nil {
		return err
	}
	return f.Store.Erase(ctx, s)
}

// keptOpen is a store that the next service takes over.
type keptOpen struct{ store.Store }

func (keptOpen) Close() error { return nil }

// A move cut off at each of its writes is made good by whatever comes next: the
// same message brought again, or another one. The person is then in the new
// shop once, the code used up, what was handled before has no second effect, and
// nothing is left of the way.
func TestMoveCutOff(t *testing.T) {
	for _, c := range []struct {
		name   string
		kind   callerKind
		writes int // of a whole move
	}{{"from the hall", messenger, 6}, {"from a shop", program, 6}, {"a browser from a shop", paired, 6}} {
		t.Run(c.name, func(t *testing.T) {
			onEachStore(t, func(t *testing.T, inner store.Store) {
				t.Cleanup(func() { _ = inner.Close() })
				for cut := range c.writes + 1 {
					for _, same := range []bool{true, false} {
						cutOff(t, inner, c.kind, cut, same)
					}
				}
			})
		})
	}
}

func cutOff(t *testing.T, inner store.Store, kind callerKind, cut int, same bool) {
	fromShop := kind != messenger
	name := fmt.Sprintf("cut after %d writes, the same message again %v", cut, same)
	rig := fmt.Sprintf("rig-%d-%v-%v", cut, same, kind)
	sender := fmt.Sprintf("+44770090%04d", 2*cut+100*len(rig))
	failing := &failingStore{Store: inner}
	failing.left.Store(1 << 30)
	clock := newTestClock()
	clock.advance(time.Duration(2*cut+len(rig)) * time.Hour) // the allowances lie in the store
	var cookie string
	say := func(p *paper, m posted) (string, int) {
		if fromShop {
			by := p.signed
			if kind == paired {
				by = header("Cookie", cookieName+"="+cookie)
			}
			res := p.request("POST", "/v1/messages", bodyOf(m), by)
			return string(res.body), res.StatusCode
		}
		in := p.from(sender, m.Text)
		in.ID = m.ID + rig
		return "", p.bring(in)
	}
	begin := func(t *testing.T) *paper {
		p := newPaperOn(t, newServiceWith(t, keptOpen{failing}, clock), true)
		p.app.server.intake.member = func(string, string) bool { return false }
		return p
	}
	first := posted{ID: "m-1", Conversation: rig, Sender: "kim", Text: "menu"}
	join := posted{ID: "m-2", Conversation: rig, Sender: "kim"}
	next := posted{ID: "m-3", Conversation: rig, Sender: "kim", Text: "call me kim " + rig}
	var was, old, code string
	t.Run("before", func(t *testing.T) {
		p := begin(t)
		switch kind {
		case program:
			was, _ = say(p, first)
			old, _ = p.store.Resolve(t.Context(), conversationAddress(rig))
		case paired:
			old = "shop-of-" + rig
			cookie = p.pairIn(old, "kim")
			was, _ = say(p, first)
		}
		code = codeFrom(t, textsOf(p.sayHome("invite"))...)
		join.Text = "join " + code
		failing.left.Store(int64(cut))
		say(p, join)
	})
	failing.left.Store(1 << 30)
	clock.advance(time.Minute)
	t.Run("after", func(t *testing.T) {
		p := begin(t)
		if same {
			if body, status := say(p, join); status != 200 {
				t.Errorf("%s: the message again: %d %s", name, status, body)
			}
		}
		if body, status := say(p, next); status != 200 {
			t.Errorf("%s: the next message: %d %s", name, status, body)
		}
		if cut == 0 && !same {
			return // it never came; nobody was let in
		}
		here := p.people(homeShop)
		found := 0
		for _, q := range here.Persons {
			for _, a := range q.Addresses {
				if a.Conversation == rig || a.To == sender {
					found++
					if !strings.EqualFold(q.Name, "kim "+rig[:min(len(rig), 26)]) || q.Removed || q.Role != dialog.Setter {
						t.Errorf("%s: let in as %+v", name, q)
					}
				}
			}
		}
		open := slices.ContainsFunc(here.Joins, func(j dialog.Join) bool { return j.Hash == dialog.JoinHash(code) })
		if found != 1 || open || len(here.Moves) != 0 {
			t.Errorf("%s: %d of them in the shop, the code open %v, %d on the way", name, found, open, len(here.Moves))
		}
		door := "paper:" + sender
		switch kind {
		case program:
			door = conversationAddress(rig)
		case paired:
			door = deviceAddress(tokenHash(cookie))
		}
		if shop, err := p.store.Resolve(t.Context(), door); err != nil || shop != homeShop {
			t.Errorf("%s: the directory says %q, %v", name, shop, err)
		}
		if fromShop {
			if again, status := say(p, first); status != 200 || again != was {
				t.Errorf("%s: what was handled before: %d %s\nwant %s", name, status, again, was)
			}
			left := p.people(old)
			if gone := left.Gone == homeShop; gone != (kind == program) || len(left.Moves) != 0 || living(left) != 0 {
				t.Errorf("%s: left behind: %+v", name, left)
			}
			for _, q := range left.Persons {
				if len(q.Devices) != 0 {
					t.Errorf("%s: the old shop still knows the device: %+v", name, q)
				}
			}
		} else if _, err := p.store.Get(t.Context(), hallShop, kindMove, moveID(door)); !errors.Is(err, store.ErrNotFound) {
			t.Errorf("%s: the note in the hall is still there: %v", name, err)
		}
		if faults, err := p.store.Check(t.Context()); err != nil || len(faults) > 0 {
			t.Errorf("%s: the store: %v %v", name, faults, err)
		}
	})
}
