package main

import (
	"net/http"
	"net/netip"
	"strings"
	"testing"
	"time"

	"shimwright/bot/testenv"
)

// TestPhoneInTheWorkshopsNetwork: from a second address of this machine, a
// device that is not paired gets nothing, and one that opened the link which
// the start prints holds the conversation.
func TestPhoneInTheWorkshopsNetwork(t *testing.T) {
	ip, ok := networkAddress()
	testenv.Need(t, "an address besides loopback", ok)
	p := startProgram(t, t.TempDir(), prefix+"_LISTEN=0.0.0.0:0")
	at := netip.MustParseAddrPort(strings.TrimPrefix(p.url, "http://"))
	base := "http://" + netip.AddrPortFrom(ip, at.Port()).String()
	phone := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }, Transport: &http.Transport{}}
	defer phone.CloseIdleConnections()
	_, err := postTo(phone, base, posted{ID: "m-1", Conversation: "phone", Text: "menu"})
	if err == nil || !strings.Contains(err.Error(), "status 401") {
		t.Fatalf("without pairing: %v", err)
	}
	if _, err := postTo(phone, base, posted{ID: "m-1", Conversation: "phone", Text: "menu"}, header("Host", at.String())); err == nil {
		t.Error("a false Host made it the owner")
	}
	link := p.printedLink(base)
	res, err := phone.Post(link, "application/x-www-form-urlencoded", nil)
	if err != nil || res.StatusCode != http.StatusSeeOther || len(res.Cookies()) != 1 {
		t.Fatalf("%v: %v", err, res)
	}
	res.Body.Close()
	cookie := func(r *http.Request) { r.AddCookie(res.Cookies()[0]) }
	all, err := newBenchSaw(2).level(func(text string) (answer, error) {
		body, err := postTo(phone, base, posted{ID: "m-" + newID(), Conversation: "phone", Text: text}, cookie)
		if err != nil {
			return answer{}, err
		}
		return decodeAnswer(t, body), nil
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d messages from %s", len(all), ip)
}

// printedLink is the pairing link in what the program printed; it must begin
// with the address by which the network reaches this machine.
func (p *process) printedLink(base string) string {
	p.Helper()
	for range 200 {
		for _, word := range strings.Fields(p.out.String()) {
			if strings.HasPrefix(word, base+"/pair/") {
				return word
			}
		}
		time.Sleep(10 * time.Millisecond)
	}
	p.Fatalf("no link under %s is printed:\n%s", base, p.out)
	return ""
}
