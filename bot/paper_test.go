package main

import (
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"

	"shimwright/bot/channel"
)

// paperNetwork is a network whose calls the test writes itself: the body is
// the Inbound as JSON. It sends by keeping what it was given.
type paperNetwork struct {
	*fakeNetwork
}

func (p paperNetwork) Receive(r channel.Request) ([]channel.Inbound, channel.Ack, error) {
	if r.Header.Get("Key") != "paper" {
		return nil, channel.Ack{}, channel.Refuse(http.StatusUnauthorized, "the key is wrong")
	}
	var list []channel.Inbound
	if err := json.Unmarshal(r.Body, &list); err != nil {
		return nil, channel.Ack{}, channel.Refuse(http.StatusBadRequest, "not a list of messages")
	}
	return list, channel.Ack{Status: 200, Type: "application/json", Body: []byte("{}")}, nil
}

// paper is a service that is spoken with over such a network.
type paper struct {
	*service
	network paperNetwork
	n       int
}

func newPaper(t *testing.T, phone bool) *paper {
	t.Helper()
	return newPaperOn(t, newService(t), phone)
}

// newPaperOn sets the network up on a service.
func newPaperOn(t *testing.T, s *service, phone bool) *paper {
	t.Helper()
	p := &paper{service: s, network: paperNetwork{newFake("paper", nil)}}
	p.network.limits.Telephone = phone
	k := s.app.server.intake
	k.channels["paper"] = p.network
	k.member = func(_, sender string) bool { return sender != "stranger" }
	s.app.deliverer.routes["paper"] = newRoute(p.network)
	s.app.handler.networks = []string{"paper"}
	is := telephones([]channel.Channel{p.network})
	s.app.handler.phone, s.app.deliverer.silenced = is, silenced(s.store, is)
	return p
}

// beside sets up a second network of the kind.
func (p *paper) beside(name string) *paper {
	p.Helper()
	q := &paper{service: p.service, network: paperNetwork{newFake(name, nil)}}
	p.app.server.intake.channels[name] = q.network
	p.app.deliverer.routes[name] = newRoute(q.network)
	p.app.handler.networks = append(p.app.handler.networks, name)
	return q
}

// bring delivers a call and returns its status.
func (p *paper) bring(list ...channel.Inbound) int {
	p.Helper()
	body, err := json.Marshal(list)
	if err != nil {
		p.Fatal(err)
	}
	return p.call("POST", intakePath+p.network.name+"/in", string(body), "paper")
}

// call makes a call as a network does; what a network may call is its own
// interface and not in the description of ours.
func (p *paper) call(method, path, body, key string) int {
	p.Helper()
	req, err := http.NewRequest(method, p.url+path, strings.NewReader(body))
	if err != nil {
		p.Fatal(err)
	}
	req.Header.Set("Key", key)
	res, err := p.plain.Do(req)
	if err != nil {
		p.Fatal(err)
	}
	_ = res.Body.Close()
	return res.StatusCode
}

// in is a text of kim's in a room.
func (p *paper) in(text string) channel.Inbound {
	p.n++
	return channel.Inbound{ID: fmt.Sprint("e", p.n), Kind: channel.KindText, Sender: "kim", Conversation: "room", Text: text, SentAt: p.clock.now()}
}

// say brings a text and returns what is sent in answer to it.
func (p *paper) say(text string) []string {
	p.Helper()
	return p.after(p.in(text))
}

// after brings something and returns what is sent because of it.
func (p *paper) after(list ...channel.Inbound) []string {
	p.Helper()
	before := len(p.network.sent())
	if status := p.bring(list...); status != 200 {
		p.Fatalf("%+v is answered with %d", list, status)
	}
	p.deliver()
	var texts []string
	for _, m := range p.network.sent()[before:] {
		texts = append(texts, m.text)
	}
	return texts
}

func (p *paper) deliver() {
	p.Helper()
	for {
		n, err := p.app.deliverer.once(p.Context())
		if err != nil {
			p.Fatal(err)
		}
		p.app.deliverer.idle()
		if n == 0 {
			return
		}
	}
}

func has(list []string, part string) bool {
	return slices.ContainsFunc(list, func(s string) bool { return strings.Contains(s, part) })
}
