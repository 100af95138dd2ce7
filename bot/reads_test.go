package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"image/png"
	"net/http"
	"strings"
	"testing"
	"time"

	"shimwright/dialog"
	"shimwright/store"
)

func recordsOf(shop, saw string) store.RecordQuery { return store.RecordQuery{Shop: shop, Saw: saw} }

// transcript reads a conversation.
func (s *service) transcript(path string, edit ...func(*http.Request)) transcript {
	s.Helper()
	res := s.request("GET", path, "", edit...)
	if res.StatusCode != 200 {
		s.Fatalf("status %d: %s", res.StatusCode, res.body)
	}
	var t transcript
	if err := json.Unmarshal(res.body, &t); err != nil {
		s.Fatal(err)
	}
	return t
}

func TestTranscript(t *testing.T) {
	s := newService(t)
	for i := range 5 {
		s.post(posted{ID: fmt.Sprint("m-", i), Conversation: "bench", Text: fmt.Sprint("menu ", i)})
	}
	all := s.transcript("/v1/conversations/bench")
	if len(all.Entries) != 5 || all.Entries[0].Message.ID != "m-0" || all.Entries[4].Message.Text != "menu 4" || all.Entries[4].Seq != all.Next {
		t.Fatalf("got %+v", all)
	}
	if newest := s.transcript("/v1/conversations/bench?max=2"); len(newest.Entries) != 2 || newest.Entries[0].Message.ID != "m-3" {
		t.Errorf("the newest two: %+v", newest)
	}
	rest := s.transcript(fmt.Sprint("/v1/conversations/bench?after=", all.Entries[2].Seq))
	if len(rest.Entries) != 2 || rest.Entries[0].Message.ID != "m-3" {
		t.Errorf("after the third: %+v", rest)
	}
	if end := s.transcript(fmt.Sprint("/v1/conversations/bench?after=", all.Next)); len(end.Entries) != 0 || end.Next != all.Next {
		t.Errorf("at the end: %+v", end)
	}
}

func TestTranscriptWaits(t *testing.T) {
	s := newService(t)
	s.post(posted{ID: "m-1", Conversation: "bench", Text: "menu"})
	at := s.transcript("/v1/conversations/bench").Next
	got := make(chan transcript)
	go func() { got <- s.transcript(fmt.Sprintf("/v1/conversations/bench?after=%d&wait=25", at)) }()
	for s.app.server.page.Listeners() == 0 {
		time.Sleep(time.Millisecond)
	}
	s.post(posted{ID: "m-2", Conversation: "bench", Text: "menu"})
	next := <-got
	if len(next.Entries) != 1 || next.Entries[0].Message.ID != "m-2" {
		t.Errorf("got %+v", next)
	}
	// Numbers beyond the end are of another shop: it is read from the beginning.
	if all := s.transcript(fmt.Sprintf("/v1/conversations/bench?after=%d&wait=25", at+100)); len(all.Entries) != 2 || all.Next != next.Next {
		t.Errorf("beyond the end: %+v", all)
	}
	// A stop lets those go who wait.
	go func() { got <- s.transcript(fmt.Sprintf("/v1/conversations/bench?after=%d&wait=25", next.Next)) }()
	for s.app.server.page.Listeners() == 0 {
		time.Sleep(time.Millisecond)
	}
	s.app.stop()
	if next := <-got; len(next.Entries) != 0 {
		t.Errorf("got %+v", next)
	}
}

// handsOn says what is needed until a hands-on message comes, and returns its
// message and answer.
func (s *service) handsOn(conversation string) (posted, answer) {
	s.Helper()
	bench, text := newBenchSaw(3), "level"
	for i := range 60 {
		m := posted{ID: fmt.Sprint("m-", i), Conversation: conversation, Text: text}
		a := s.post(m)
		for _, r := range a.Replies {
			if !r.Expires.IsZero() && len(a.Advice) > 0 {
				return m, a
			}
		}
		var err error
		if text, err = bench.reply(a); err != nil {
			s.Fatal(err)
		}
	}
	s.Fatal("no hands-on message came")
	return posted{}, answer{}
}

// TestExpiredAnswersAreWithheld: what rests on a saw that was unplugged half an
// hour ago is given to nobody any more, neither again nor as news.
func TestExpiredAnswersAreWithheld(t *testing.T) {
	s := newService(t)
	m, a := s.handsOn("bench")
	last := a.Replies[len(a.Replies)-1]
	s.clock.set(last.Expires.Add(-time.Millisecond))
	if again := s.post(m); string(encode(again)) != string(encode(a)) {
		t.Errorf("just before its end it was %s", encode(again))
	}
	if res := s.request("GET", last.Media[0].URL, ""); res.StatusCode != 200 {
		t.Errorf("its picture: %d", res.StatusCode)
	}
	s.clock.set(last.Expires)
	if res := s.request("POST", "/v1/messages", bodyOf(m)); res.StatusCode != http.StatusGone {
		t.Errorf("status %d: %s", res.StatusCode, res.body)
	}
	if res := s.request("GET", last.Media[0].URL, ""); res.StatusCode != http.StatusNotFound {
		t.Errorf("its picture afterwards: %d", res.StatusCode)
	}
	entries := s.transcript("/v1/conversations/bench").Entries
	shown := decodeAnswer(t, entries[len(entries)-1].Answer)
	r := shown.Replies[len(shown.Replies)-1]
	if r.Text != "" || !r.Expired || len(r.Media) != 0 || shown.Advice != nil || shown.Prompt.Kind != dialog.KindIdle {
		t.Errorf("the transcript shows %s", encode(shown))
	}
	if strings.Contains(string(encode(shown)), "turn") {
		t.Errorf("the transcript still says which way to turn: %s", encode(shown))
	}
}

func TestMedia(t *testing.T) {
	s := newService(t)
	_, a := s.handsOn("bench")
	m := a.Replies[len(a.Replies)-1].Media[0]
	if m.Alt == "" || m.Type != "image/png" {
		t.Errorf("media %+v", m)
	}
	for _, c := range []struct{ path, accept, kind string }{
		{m.URL, "", "image/png"},
		{m.URL, "*/*", "image/png"},
		{m.URL, "image/avif,image/webp,image/png,image/svg+xml,image/*;q=0.8,*/*;q=0.5", "image/png"},
		{m.URL, "image/svg+xml", "image/svg+xml"},
		{m.URL, "image/svg+xml;q=0.9, image/*;q=0.1", "image/svg+xml"},
		{m.URL, "image/png;q=0, */*", "image/svg+xml"},
		{m.URL + ".svg", "image/png", "image/svg+xml"},
		{m.URL + ".png", "image/svg+xml", "image/png"},
		{m.URL, "text/html", ""},
	} {
		res := s.request("GET", c.path, "", header("Accept", c.accept))
		if c.kind == "" {
			if res.StatusCode != http.StatusNotAcceptable {
				t.Errorf("%s as %q: status %d", c.path, c.accept, res.StatusCode)
			}
			continue
		}
		if res.StatusCode != 200 || res.Header.Get("Content-Type") != c.kind || !strings.HasPrefix(res.Header.Get("Cache-Control"), "private") {
			t.Errorf("%s as %q: status %d, %q", c.path, c.accept, res.StatusCode, res.Header.Get("Content-Type"))
		}
		if c.kind == "image/png" {
			if _, err := png.Decode(strings.NewReader(string(res.body))); err != nil {
				t.Errorf("the PNG image: %v", err)
			}
		} else if !strings.Contains(string(res.body), "<svg") {
			t.Errorf("no SVG image: %.80s", res.body)
		}
	}
}

func TestRecords(t *testing.T) {
	s := newService(t)
	s.levelled("bench", 11)
	const path = "/v1/machines/saw-1/records"
	var got struct {
		Machine string
		Records []dialog.Record
	}
	res := s.request("GET", path, "")
	if err := json.Unmarshal(res.body, &got); err != nil || got.Machine != "saw-1" || len(got.Records) == 0 {
		t.Fatalf("%v: %s", err, res.body)
	}
	table := s.request("GET", path, "", header("Accept", "text/csv"))
	rows, err := csv.NewReader(strings.NewReader(string(table.body))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != len(got.Records)+1 || strings.Join(rows[0], " ") != strings.Join(recordColumns(), " ") {
		t.Errorf("%d rows for %d records, header %v", len(rows), len(got.Records), rows[0])
	}
	// RFC 4180, section 2: every line ends in CRLF.
	if n := strings.Count(string(table.body), "\n"); n != strings.Count(string(table.body), "\r\n") || n != len(rows) {
		t.Errorf("%d line ends, %d of them CRLF, %d rows", n, strings.Count(string(table.body), "\r\n"), len(rows))
	}
	for i, r := range got.Records {
		if row := rows[i+1]; row[0] != r.ID || row[3] != r.Characteristic || row[15] != r.Decision {
			t.Errorf("row %v is not record %+v", row, r)
		}
	}
	one := s.request("GET", path+"?characteristic="+got.Records[0].Characteristic+"&since="+s.clock.now().Add(time.Hour).Format(time.RFC3339), "")
	if !strings.Contains(string(one.body), `"records":[]`) {
		t.Errorf("records of the future: %s", one.body)
	}
	if res := s.request("GET", path, "", header("Accept", "application/pdf")); res.StatusCode != http.StatusNotAcceptable {
		t.Errorf("as a PDF: status %d", res.StatusCode)
	}
	if res := s.request("GET", path, "", s.signed); res.StatusCode != 400 {
		t.Errorf("a program that does not say where: status %d", res.StatusCode)
	}
	if res := s.request("GET", path+"?conversation=nowhere", "", s.signed); res.StatusCode != 404 {
		t.Errorf("a program elsewhere: status %d", res.StatusCode)
	}
}

func TestRecordsCSVQuotes(t *testing.T) {
	v := -0.19
	r := dialog.Record{ID: "r1", Saw: "saw-1", At: time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC), Low: &v,
		AsLeft: &dialog.Measured{Value: v, Uncertainty: 0.02}, Remarks: "said \"fine\",\nthen left"}
	got := string(recordsCSV([]dialog.Record{r}, nil, map[string]string{"": "nobody"}))
	want := "r1,saw-1,,,2026-03-02T09:00:00Z,,,,,,-0.19,0.02,0001-01-01T00:00:00Z,-0.19,,,false,,0,,\"said \"\"fine\"\",\r\nthen left\",,,,nobody\r\n"
	if _, row, _ := strings.Cut(got, "\r\n"); row != want {
		t.Errorf("got\n%q\nwant\n%q", row, want)
	}
}
