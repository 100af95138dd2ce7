package dialog_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"shimwright/dialog"
)

// TestWhoMayWhat goes through what each role may ask for.
func TestWhoMayWhat(t *testing.T) {
	for _, c := range []struct {
		text               string
		owner, setter, any bool // who may
	}{
		{"invite", true, false, false},
		{"remove Kim", true, false, false},
		{"interval 3", true, false, false},
		{"forget this machine", true, false, false},
		{"may measure Kim", true, false, false},
		{"lost phone of Max", true, false, false},
		{"report", true, true, false},
		{"revoke report", true, true, false},
		{"copy saw", true, true, false},
		{"people", true, true, true},
		{"due this month", true, true, true},
		{"history", true, true, true},
		{"remind me", true, true, true},
		{"zone Sydney", true, true, true},
		{"lost phone", true, true, true},
		{"moved", true, true, true},
	} {
		for role, may := range map[dialog.Role]bool{dialog.Owner: c.owner, dialog.Setter: c.setter, dialog.Measure: c.any} {
			sh := crew()
			sh.view.People.Persons[0].Role = role
			got := said(sh.say(c.text))
			refused := strings.Contains(got, "Only the owner") || strings.Contains(got, "Only somebody who may set up")
			if refused == may || strings.Contains(got, "I did not understand") {
				t.Errorf("%s, %q: %q", role, c.text, got)
			}
		}
	}
}

// crew is a shop of three, each with a phone, and one saw.
func crew() *shop {
	sh := keeper("Europe/Berlin", "Old Blue")
	sh.view.Token = "K7F3Q9M2A4B5C6D7E8F9G2H3J4K5"
	sh.view.People.Persons = []dialog.Person{
		{ID: "owner", Name: "Ada", Role: dialog.Owner, Zone: "Europe/Berlin"},
		{ID: "kim", Name: "Kim", Role: dialog.Setter, Consent: &dialog.Consent{Given: true}, Devices: []dialog.Device{{Hash: "11"}, {Hash: "12"}},
			Links: []dialog.LinkCode{{Hash: "l"}}, Addresses: []dialog.Address{{Channel: "sms", To: "+4915550000001", Conversation: "c-kim"}}},
		{ID: "max", Name: "Max", Role: dialog.Measure, Devices: []dialog.Device{{Hash: "21"}}},
	}
	return sh
}

func TestRemovePerson(t *testing.T) {
	sh := crew()
	sh.plant("saw-1", sh.now.AddDate(0, 0, 9))
	kims := dialog.Reminder{ID: "check-saw-1-kim", Person: "kim", Saw: "saw-1", Due: sh.now.AddDate(0, 0, 9)}
	sh.remind[kims.ID] = kims
	sh.stage("kim")
	sh.say("level")
	sh.stage("owner")
	if got := said(sh.say("remove somebody")); !strings.Contains(got, "Nobody here is called") {
		t.Errorf("a stranger: %q", got)
	}
	if got := said(sh.say("remove Ada")); !strings.Contains(got, "cannot do that to yourself") {
		t.Errorf("herself: %q", got)
	}
	sh.say("remove kim")
	sh.say("no")
	if sh.view.People.Persons[1].Removed {
		t.Fatal("removed although the answer was no")
	}
	sh.say("remove kim")
	got := said(sh.say("yes"))
	kim := sh.view.People.Persons[1]
	if !kim.Removed || kim.Consent != nil || len(kim.Links) > 0 || slices.ContainsFunc(kim.Devices, func(d dialog.Device) bool { return !d.Revoked }) {
		t.Errorf("after %q: %+v", got, kim)
	}
	if _, still := sh.remind[kims.ID]; still || len(sh.remind) != 1 {
		t.Errorf("reminders %v", sh.remind)
	}
	if saw := sh.view.Saws[0]; saw.Running != nil || len(saw.Parked) != 1 {
		t.Errorf("Kim's job: %+v", saw.Running)
	}
	sh.stage("kim")
	if got := said(sh.say("level")); !strings.Contains(got, "I do not know this number") {
		t.Errorf("Kim still hears %q", got)
	}
	sh.stage("owner")
	if got := said(sh.say("people")); strings.Contains(got, "Kim") || !strings.Contains(got, "Ada: owns the shop.") || !strings.Contains(got, "Max: measures.") {
		t.Errorf("people: %q", got)
	}
}

// A person who is removed with the saw open leaves a warning behind.
func TestRemovedWithTheSawOpen(t *testing.T) {
	sh := crew()
	sh.stage("kim")
	sh.say("level")
	for _, text := range []string{"done", "unplugged"} {
		sh.say(text)
	}
	if !sh.view.Saws[0].Power.Open() {
		t.Fatalf("the saw is not open: %+v", sh.view.Saws[0].Power)
	}
	sh.stage("owner")
	sh.say("remove kim")
	if got := said(sh.say("yes")); !strings.Contains(got, "Do not run Old Blue") {
		t.Errorf("said %q", got)
	}
	if _, held := sh.view.Saws[0].Power.Isolated("kim", sh.now); held {
		t.Error("what was acknowledged still counts")
	}
}

// STOP says that an open saw must not be run to whoever it was handed to as well,
// though another opened it; somebody with no part in it hears nothing of it. It
// voids what its sender acknowledged.
func TestStopWithTheSawOpen(t *testing.T) {
	for who, warned := range map[string]bool{"kim": true, "owner": true, "max": false} {
		sh := crew()
		sh.stage("kim")
		sh.say("level")
		sh.say("unplugged")
		if who == "owner" {
			sh.say("hand to Ada")
		}
		sh.stage(who)
		if got := said(sh.say("STOP")); strings.Contains(got, "Do not run the saw") != warned {
			t.Errorf("%s: %q", who, got)
		}
		if _, held := sh.view.Saws[0].Power.Isolated("kim", sh.now); held != (who == "max") {
			t.Errorf("after STOP of %s, what Kim acknowledged counts: %v", who, held)
		}
	}
}

func TestLostPhone(t *testing.T) {
	sh := crew()
	sh.say("lost phone of kim")
	p := sh.view.People.Persons
	if p[1].Removed || !p[1].Devices[0].Revoked || !p[1].Devices[1].Revoked || len(p[1].Links) > 0 || p[2].Devices[0].Revoked {
		t.Errorf("%+v", p)
	}
	sh.stage("max")
	sh.say("lost phone")
	if !sh.view.People.Persons[2].Devices[0].Revoked {
		t.Error("Max's own is not revoked")
	}
}

func TestInvite(t *testing.T) {
	sh := crew()
	res := sh.say("invite to measure")
	if got := said(res); !strings.Contains(got, "join K7F3-Q9M2") {
		t.Fatalf("said %q", got)
	}
	j := sh.view.People.Joins
	if len(j) != 1 || j[0].Role != dialog.Measure || j[0].Hash != dialog.JoinHash("k7f3 q9m2") || res.Join != j[0].Hash || j[0].Expires.Sub(sh.now) != 7*24*time.Hour {
		t.Errorf("%+v, joins %q", j, res.Join)
	}
	sh.now = sh.now.AddDate(0, 0, 8)
	sh.view.Token = "A2B3C4D5" + sh.view.Token[8:]
	sh.say("invite")
	if j := sh.view.People.Joins; len(j) != 1 || j[0].Role != dialog.Setter {
		t.Errorf("after the first has run out: %+v", j)
	}
}

func TestCallMe(t *testing.T) {
	sh := crew()
	sh.view.People.Persons[0].Name = ""
	sh.say("call me ada lovelace")
	if got := sh.view.People.Persons[0].Name; got != "Ada Lovelace" {
		t.Errorf("name %q", got)
	}
	if got := said(sh.say("my name is kim")); !strings.Contains(got, "called Kim already") {
		t.Errorf("said %q", got)
	}
	sh.say("Ada")
	if got := sh.view.People.Persons[0].Name; got != "Ada" {
		t.Errorf("name %q", got)
	}
}

// The report's link: made once, told again, revoked, another one after that.
func TestReportLink(t *testing.T) {
	sh := crew()
	sh.view.Base = "https://saw.example.org"
	res := sh.say("report")
	const token = "k7f3q9m2a4b5c6d7e8f9g2h3j4k5"
	if got := said(res); !strings.Contains(got, "https://saw.example.org/report/"+token) || res.Report != dialog.ReportHash(token) {
		t.Fatalf("said %q, hash %q", got, res.Report)
	}
	sh.view.Token = "Z" + sh.view.Token[1:]
	if got := said(sh.say("report of old blue")); !strings.Contains(got, token) {
		t.Errorf("asked again: %q", got)
	}
	res = sh.say("revoke report")
	if res.ReportEnd != dialog.ReportHash(token) || sh.view.Saws[0].Report != "" || sh.result.Silence {
		t.Errorf("revoked: %+v", res)
	}
	if got := said(sh.say("revoke report")); !strings.Contains(got, "There is no report") {
		t.Errorf("revoked twice: %q", got)
	}
	if got := said(sh.say("report")); !strings.Contains(got, "/report/z7f3") {
		t.Errorf("a new one: %q", got)
	}
	e := sh.view.Saws[0].Events
	if len(e) != 3 || e[0].Kind != "report" || e[0].What != "begin" || e[1].What != "end" || e[0].Person != "owner" {
		t.Errorf("events %+v", e)
	}
	sh.view.Token = "short"
	sh.say("revoke report")
	if got := said(sh.say("report")); strings.Contains(got, "/report/") {
		t.Errorf("without a token: %q", got)
	}
}

// REVOKE alone is a word of the telephone networks and stops messages; it
// revokes no report.
func TestRevokeAloneIsStop(t *testing.T) {
	sh := crew()
	sh.say("report")
	sh.say("REVOKE")
	if sh.view.Saws[0].Report == "" || !sh.states["page-owner"].Stopped {
		t.Error("REVOKE was taken for the report")
	}
}

func TestForgetMachine(t *testing.T) {
	sh := crew()
	sh.say("report")
	token := sh.view.Saws[0].Report
	sh.plant("saw-1", sh.now.AddDate(0, 0, 9))
	sh.say("forget this machine")
	if res := sh.say("ok"); res.EraseSaw != "" {
		t.Fatal("ok deletes a saw")
	}
	sh.say("forget saw old blue")
	res := sh.say("forget")
	if res.EraseSaw != "saw-1" || res.ReportEnd != dialog.ReportHash(token) || len(sh.remind) > 0 || !res.Silence {
		t.Errorf("%+v, reminders %v", res, sh.remind)
	}
}

// TestUnpluggedUnasked: somebody says that the saw is unplugged, unasked, while
// another has it ready for a cut. It acknowledges nothing, but no cut is offered
// before the saw is checked again.
func TestUnpluggedUnasked(t *testing.T) {
	for _, ready := range [][]string{{"park", "guarded"}, {"guarded"}} { // the second with a cut offered
		sh := crew()
		sh.stage("kim")
		sh.says("proof", "unplugged", "fits")
		sh.says(ready...)
		if _, ok := sh.view.Saws[0].Power.Guarded("kim", sh.now); !ok {
			t.Fatalf("%v: the saw does not count as ready: %s", ready, said(sh.result))
		}
		sh.stage("owner")
		if p := sh.say("unplugged").Turn.Prompt; p.Name != "" {
			t.Errorf("%v: unasked, it leads to %s", ready, p.Name)
		}
		if _, ok := sh.view.Saws[0].Power.Guarded("kim", sh.now); ok {
			t.Errorf("%v: the saw still counts as ready", ready)
		}
		if sh.view.Saws[0].Power.Holder(sh.now) != "" {
			t.Errorf("%v: the word alone counts as an acknowledgement", ready)
		}
	}
}

// TestGuardedOvertaken: somebody answers that the saw is ready to cut while,
// unknown to them, the check has been overtaken. They may plug in now: nothing by
// hand is asked before they acknowledge the plug again, and the saw does not count
// as made ready.
func TestGuardedOvertaken(t *testing.T) {
	for _, news := range []string{"new blade", "bumped"} {
		sh := crew()
		sh.stage("kim")
		sh.say("proof")
		sh.say("unplugged")
		if p := sh.say("fits").Turn.Prompt; p.Name != "safety.guarded" {
			t.Fatalf("%s: %+v", news, p)
		}
		sh.stage("owner")
		sh.say(news)
		sh.stage("kim")
		if p := sh.say("guarded").Turn.Prompt; p.Name != "safety.unplugged" {
			t.Errorf("%s: after guarded, %s is asked: %s", news, p.Name, said(sh.result))
		}
		if p := sh.say("unplugged").Turn.Prompt; p.Name != "knife.thickness" {
			t.Errorf("%s: then %s", news, p.Name)
		}
		if sh.view.Saws[0].Power.Opened() != "kim" {
			t.Errorf("%s: the saw counts as closed up", news)
		}
	}
}

// TestQuestionOvertaken: whoever was asked whether to take a job over may say
// anything after that job has ended without them.
func TestQuestionOvertaken(t *testing.T) {
	for _, text := range []string{"START", "HELP", "deutsch", "power is on", "menu", "leave it", "take over", "units mm", "banana", "guarded"} {
		sh := crew()
		sh.stage("owner")
		sh.say("references")
		sh.stage("kim")
		if p := sh.say("references").Turn.Prompt; p.Name != "ask.takeover" {
			t.Fatalf("%+v", p)
		}
		sh.stage("owner")
		sh.say("park")
		sh.stage("kim")
		if p := sh.say(text).Turn.Prompt; p.Name == "ask.takeover" {
			t.Errorf("after %q: %+v", text, p)
		}
	}
}
