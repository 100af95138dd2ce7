package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"shimwright/bot/testenv"
	"shimwright/dialog"
	"shimwright/store"
)

// runCommand runs a command of the program on a data folder and returns what it
// wrote and its exit status.
func runCommand(t *testing.T, folder, stdin string, args ...string) (string, string, int) {
	t.Helper()
	for _, name := range []string{testenv.All, long} { // not settings of the program
		t.Setenv(name, "")
		os.Unsetenv(name)
	}
	t.Setenv("SHIMWRIGHT_DATA", folder)
	var out, err bytes.Buffer
	status := run(t.Context(), console{in: strings.NewReader(stdin), out: &out, err: &err}, args)
	return out.String(), err.String(), status
}

// demoFile writes the demo shop where a command can read it.
func demoFile(t *testing.T, c shopCopy) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "shop.json")
	if err := os.WriteFile(path, encodePretty(c), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// Taken away and brought back, by the commands: the records are the same to the
// byte, as JSON and as CSV; a second time nothing is added.
func TestTakenAwayAndBroughtBack(t *testing.T) {
	first, second, third := t.TempDir(), t.TempDir(), t.TempDir()
	demo := demoShop()
	out, said, status := runCommand(t, first, "", "import", demoFile(t, demo))
	if status != 0 || out != fmt.Sprintf("%d records added, 0 were there already; 1 saw and 2 people added.\n", len(demo.Records)) {
		t.Fatalf("%d: %s%s", status, out, said)
	}
	out, _, _ = runCommand(t, first, "", "import", demoFile(t, demo))
	if want := fmt.Sprintf("0 records added, %d were there already; 0 saws and 0 people added.\n", len(demo.Records)); out != want {
		t.Errorf("again: %s", out)
	}
	json1, csv1 := filepath.Join(first, "shop.json"), filepath.Join(first, "records.csv")
	for _, path := range []string{json1, csv1} {
		if _, said, status := runCommand(t, first, "", "export", path); status != 0 {
			t.Fatalf("%s: %s", path, said)
		}
	}
	if info, err := os.Stat(json1); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the file can be read by others: %v %v", info.Mode(), err)
	}
	// JSON into an empty place; CSV into one that has the saw only.
	bare := demo
	bare.Records = nil
	for folder, files := range map[string][]string{second: {json1}, third: {demoFile(t, bare), csv1}} {
		for _, f := range files {
			if _, said, status := runCommand(t, folder, "", "import", f); status != 0 {
				t.Fatalf("%s: %s", f, said)
			}
		}
		var got shopCopy
		text, said, status := runCommand(t, folder, "", "export")
		if status != 0 || json.Unmarshal([]byte(text), &got) != nil {
			t.Fatalf("%s: %s", said, text)
		}
		sameRecords(t, got.Records, demo.Records)
		if !reflect.DeepEqual(got.People, demo.People) || got.Saws[0].Profile.Name != "Old Blue" {
			t.Errorf("%s: people %+v", files, got.People)
		}
	}
	one, _, _ := runCommand(t, first, "", "export", "-saw", "old blue", "-format", "csv")
	whole, err := os.ReadFile(csv1)
	if err != nil || one != string(whole) {
		t.Errorf("the only saw's records are not those of the shop: %v", err)
	}
}

// sameRecords holds records, oldest first, to those that they should be.
func sameRecords(t *testing.T, got, want []dialog.Record) {
	t.Helper()
	bodies := map[string]string{}
	for _, r := range want {
		bodies[r.ID] = string(encode(r))
	}
	for i, r := range got {
		if body := string(encode(r)); body != bodies[r.ID] {
			t.Errorf("%s came back as\n%s\nwant\n%s", r.ID, body, bodies[r.ID])
		}
		if i > 0 && r.At.Before(got[i-1].At) {
			t.Errorf("%s stands after a later one", r.ID)
		}
	}
	if len(got) != len(want) {
		t.Errorf("%d records, want %d", len(got), len(want))
	}
}

// The commands speak to a running service, which has the file to itself.
func TestArchiveOfARunningService(t *testing.T) {
	folder := t.TempDir()
	s := newServiceOn(t, filepath.Join(folder, dataFile), newTestClock())
	desk, err := openDesk(s.app, folder, s.web.Listener.Addr())
	if err != nil {
		t.Fatal(err)
	}
	defer desk.close()
	big := demoShop()
	for i := range 400 { // more than one commit, and more than the desk's usual body
		r := big.Records[0]
		r.ID = fmt.Sprintf("more-%d", i)
		r.Remarks = strings.Repeat("said ", 60)
		big.Records = append(big.Records, r)
	}
	if out, said, status := runCommand(t, folder, "", "import", demoFile(t, big)); status != 0 {
		t.Fatalf("%s%s", out, said)
	}
	text, said, status := runCommand(t, folder, "", "export")
	var got shopCopy
	if status != 0 || json.Unmarshal([]byte(text), &got) != nil || len(got.Records) != len(big.Records) {
		t.Fatalf("%d records: %s", len(got.Records), said)
	}
	if _, said, status := runCommand(t, folder, "Old Blue\n", "forget", "saw", "Old Blue"); status != 0 {
		t.Errorf("forget: %s", said)
	}
	if res := s.request("GET", "/v1/machines/saw-1/records", ""); res.StatusCode != 404 {
		t.Errorf("records of a forgotten saw: %d", res.StatusCode)
	}
}

// What is refused, and how it is told. Nothing of a refused file is written.
func TestImportRefuses(t *testing.T) {
	s := newService(t)
	if _, err := bringIn(t.Context(), s.store, importing{Shop: homeShop, Copy: demoShop()}, s.clock.now()); err != nil {
		t.Fatal(err)
	}
	before := s.everything()
	nan := math.NaN()
	for want, change := range map[string]func(*shopCopy){
		"is here already and differs; records never change":    func(c *shopCopy) { c.Records[3].AsLeft.Value += 1e-9 },
		"is of the saw saw-9, which is not here":               func(c *shopCopy) { c.Records[3].Saw = "saw-9" },
		`the saw saw-1 is "Old Blue" here and "Bench"`:         func(c *shopCopy) { c.Saws[0].Profile.Name = "Bench" },
		`the person p-kim is "Kim Osei" here and "Max"`:        func(c *shopCopy) { c.People[1].Name = "Max" },
		"its characteristic \"slider.smell\" is not one that":  func(c *shopCopy) { c.Records[3].Characteristic = "slider.smell" },
		"its unit is \"inch\"":                                 func(c *shopCopy) { c.Records[3].Unit = "inch" },
		"its time is missing":                                  func(c *shopCopy) { c.Records[3].At = time.Time{} },
		"its decision is \"fine\"":                             func(c *shopCopy) { c.Records[3].Decision = "fine" },
		"its id is missing":                                    func(c *shopCopy) { c.Records[3].ID = "" },
		"an uncertainty is -1":                                 func(c *shopCopy) { c.Records[3].AsLeft.Uncertainty = -1 },
		"its tolerance goes from 1 down to 0":                  func(c *shopCopy) { c.Records[3].Low, c.Records[3].High = ptr(1), ptr(0) },
		"which is none that was measured":                      func(c *shopCopy) { c.Records[3].Low = &nan },
		"it holds a control character":                         func(c *shopCopy) { c.Records[3].Remarks = "a\rb" },
		"corrects gone, which is neither here nor in the file": func(c *shopCopy) { c.Records[3].ID, c.Records[3].Corrects = "new", "gone" },
		"it corrects itself":                                   func(c *shopCopy) { c.Records[3].Corrects = c.Records[3].ID },
		"the file says that it is of form 2":                   func(c *shopCopy) { c.Form = 2 },
		"a saw has the id \"../x\"":                            func(c *shopCopy) { c.Saws[0].ID = "../x" },
		"and 29 more": func(c *shopCopy) {
			c.Saws[0].ID = "saw-2"
			c.Saws[0].Profile.Name = "Two"
			for i := range c.Records {
				c.Records[i].Unit = ""
			}
		},
	} {
		c := demoShop()
		change(&c)
		_, err := bringIn(t.Context(), s.store, importing{Shop: homeShop, Copy: c}, s.clock.now())
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", want, err)
		}
		if after := s.everything(); after != before {
			t.Fatalf("%q: something was written", want)
		}
	}
	// A correction is taken, and takes the place of what it corrects.
	c := demoShop()
	fixed := c.Records[0]
	fixed.ID, fixed.Corrects = "fixed", fixed.ID
	c.Records = append(c.Records, fixed)
	if sum, err := bringIn(t.Context(), s.store, importing{Shop: homeShop, Copy: c}, s.clock.now()); err != nil || sum.Records != 1 {
		t.Errorf("a correction: %+v, %v", sum, err)
	}
}

func ptr(v float64) *float64 { return &v }

// everything is the store as a backup has it.
func (s *service) everything() string {
	s.Helper()
	var b bytes.Buffer
	if err := s.store.Backup(s.Context(), &b); err != nil {
		s.Fatal(err)
	}
	return b.String()
}

// Bad files are told apart, with their line.
func TestImportBadFiles(t *testing.T) {
	head := strings.Join(recordColumns(), ",") + "\r\n"
	row := string(recordsCSV(demoShop().Records[:1], nil, nil))
	row = row[strings.Index(row, "\n")+1:]
	for name, c := range map[string]struct{ body, want string }{
		"empty":          {"", "the file is empty"},
		"no column":      {strings.Replace(head, "decision,", "", 1), `the column "decision" is missing`},
		"a bare quote":   {head + `a"b` + row, `line 2: bare " in non-quoted`},
		"too few cells":  {head + "a,b\r\n", "line 2: wrong number of fields"},
		"a comma number": {head + strings.Replace(row, "-0.19", `"-0,19"`, 1), `line 2: the column "found" holds "-0,19"; it wants a number such as -0.19, with a point`},
		"a local time":   {head + strings.Replace(row, "2024-03-02T10:00:00Z", "02.03.2024 10:00", 1), `line 2: the column "at" holds "02.03.2024 10:00"; it wants a time such as 2026-03-02T09:14:05Z`},
		"half JSON":      {`{"shimwright_export":1,`, "the file cannot be read as JSON"},
		"no JSON":        {`{shop}`, "the file is not JSON: invalid character 's'"},
		"wrong type":     {`{"shimwright_export":"1"}`, "shimwright_export is a string where a int is wanted"},
		"more":           {`{"shimwright_export":1} {}`, "goes on after its JSON object"},
		"no number":      {head + strings.Replace(row, "-0.19", "NaN", 1), `it wants a number such as -0.19`},
		"yes or no":      {head + strings.Replace(row, ",true,", ",yes,", 1), `the column "adjusted" holds "yes"; it wants true or false`},
	} {
		_, err := readCopy(strings.NewReader(c.body), func() (shopCopy, error) { return shopCopy{}, nil })
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
	// A saw that is another one here is found out by its name in the CSV.
	c := demoShop()
	other := c
	other.Saws = []dialog.Saw{{ID: "saw-1", Profile: dialog.Profile{Name: "Bench"}}}
	body := recordsCSV(c.Records, c.sawNames(), nil)
	if _, err := readCopy(bytes.NewReader(body), func() (shopCopy, error) { return other, nil }); err == nil || !strings.Contains(err.Error(), "two saws would be mixed up") {
		t.Errorf("another saw: %v", err)
	}
}

// Two people import the same file at once, and an import is cut short: nothing
// is lost or doubled, and a repeat completes it.
func TestImportCutShort(t *testing.T) {
	s := newService(t)
	c := demoShop()
	for i := range 500 {
		r := c.Records[0]
		r.ID = fmt.Sprintf("more-%d", i)
		c.Records = append(c.Records, r)
	}
	commits := 0
	cut := &cutStore{Store: s.store, before: func() error {
		if commits++; commits == 2 {
			return store.ErrUnavailable
		}
		return nil
	}}
	if _, err := bringIn(t.Context(), cut, importing{Shop: homeShop, Copy: c}, s.clock.now()); err == nil {
		t.Fatal("it was not cut short")
	}
	done := make(chan error, 2)
	for range 2 {
		go func() {
			_, err := bringIn(context.Background(), s.store, importing{Shop: homeShop, Copy: c}, s.clock.now())
			done <- err
		}()
	}
	failed := 0
	for range 2 {
		if <-done != nil {
			failed++
		}
	}
	if failed > 1 {
		t.Error("both failed")
	}
	if _, err := bringIn(t.Context(), s.store, importing{Shop: homeShop, Copy: c}, s.clock.now()); err != nil {
		t.Fatal(err)
	}
	list, err := s.store.Records(t.Context(), store.RecordQuery{Shop: homeShop})
	if err != nil || len(list) != len(c.Records) {
		t.Errorf("%d records, want %d: %v", len(list), len(c.Records), err)
	}
}

type cutStore struct {
	store.Store
	before func() error
}

func (c *cutStore) Commit(ctx context.Context, k store.Commit) error {
	if err := c.before(); err != nil {
		return err
	}
	return c.Store.Commit(ctx, k)
}

// Any record comes back from CSV as it was, and the file is what RFC 4180
// allows, read by a reader of its own that follows the ABNF of section 2.
func TestCSVRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching("[a-zA-Z0-9 ,;\"'\n=äöü–°€]{0,12}")
		number := rapid.Float64Range(-1e6, 1e6)
		at := func(name string) time.Time {
			return time.UnixMilli(rapid.Int64Range(0, 4e12).Draw(t, name)).UTC()
		}
		measured := func(name string) *dialog.Measured {
			if rapid.Bool().Draw(t, name) {
				return nil
			}
			return &dialog.Measured{Value: number.Draw(t, name), Uncertainty: rapid.Float64Range(0, 10).Draw(t, name), At: at(name)}
		}
		limit := func(name string) *float64 {
			if rapid.Bool().Draw(t, name) {
				return nil
			}
			return ptr(number.Draw(t, name))
		}
		var want []dialog.Record
		for range rapid.IntRange(0, 4).Draw(t, "records") {
			r := dialog.Record{ID: text.Draw(t, "id"), Saw: text.Draw(t, "saw"), Procedure: text.Draw(t, "procedure"), Characteristic: text.Draw(t, "what"),
				At: at("at"), Person: text.Draw(t, "person"), Unit: text.Draw(t, "unit"), AsFound: measured("found"), AsLeft: measured("left"),
				Low: limit("low"), High: limit("high"), Decision: text.Draw(t, "decision"), Adjusted: rapid.Bool().Draw(t, "adjusted"),
				Tool: text.Draw(t, "tool"), Resolution: rapid.Float64Range(0, 1).Draw(t, "resolution"), Blade: text.Draw(t, "blade"),
				Remarks: text.Draw(t, "remarks"), Corrects: text.Draw(t, "corrects")}
			for range rapid.IntRange(0, 3).Draw(t, "readings") {
				r.Readings = append(r.Readings, dialog.RecordReading{Name: text.Draw(t, "name"), Label: text.Draw(t, "label"),
					Round: rapid.IntRange(0, 9).Draw(t, "round"), Low: number.Draw(t, "lo"), High: number.Draw(t, "hi"), At: at("read")})
			}
			want = append(want, r)
		}
		body := recordsCSV(want, nil, nil)
		got, _, err := parseRecordsCSV(bytes.NewReader(body))
		if err != nil {
			t.Fatalf("%v in\n%s", err, body)
		}
		if a, b := encode(got), encode(want); !bytes.Equal(a, b) && len(want) > 0 {
			t.Fatalf("came back as\n%s\nwant\n%s", a, b)
		}
		rows, err := rfc4180(string(body))
		if err != nil {
			t.Fatalf("%v in\n%q", err, body)
		}
		if len(rows) != len(want)+1 {
			t.Fatalf("%d rows for %d records", len(rows), len(want))
		}
		for i, r := range want {
			if strings.ReplaceAll(rows[i+1][20], "\r\n", "\n") != r.Remarks || len(rows[i+1]) != len(recordColumns()) {
				t.Fatalf("row %q for %+v", rows[i+1], r)
			}
		}
	})
}

// rfc4180 reads a file by the ABNF of RFC 4180, section 2, with the letters of
// its UTF-8 counted as TEXTDATA (RFC 7111, section 5.1).
func rfc4180(s string) (rows [][]string, err error) {
	row := []string{}
	for len(s) > 0 {
		var field string
		if s[0] == '"' {
			s = s[1:]
			for {
				i := strings.IndexByte(s, '"')
				if i < 0 {
					return nil, fmt.Errorf("a quoted field does not end")
				}
				field, s = field+s[:i], s[i+1:]
				if !strings.HasPrefix(s, `"`) {
					break
				}
				field, s = field+`"`, s[1:]
			}
		} else {
			i := strings.IndexAny(s, ",\r\n\"")
			if i < 0 || s[i] == '"' {
				return nil, fmt.Errorf("a bare field holds a quote, or the last line does not end")
			}
			field, s = s[:i], s[i:]
		}
		row = append(row, field)
		switch {
		case strings.HasPrefix(s, ","):
			s = s[1:]
		case strings.HasPrefix(s, "\r\n"):
			rows, row, s = append(rows, row), []string{}, s[2:]
		default:
			return nil, fmt.Errorf("after %q stands %.4q", field, s)
		}
	}
	return rows, nil
}

// A word that asks for help is answered with help, whatever the command: it is
// no person to pair a phone for, and no file to write a backup to.
func TestHelpOfACommand(t *testing.T) {
	folder := t.TempDir()
	t.Chdir(folder)
	for _, c := range commands() {
		for _, word := range []string{"-h", "-help", "--help"} {
			out, said, status := runCommand(t, folder, "", c.name, word)
			if status != 0 || said != "" || !strings.Contains(out, "Usage: bot "+c.name) || !strings.Contains(out, c.meaning) {
				t.Errorf("%s %s: %d %q %q", c.name, word, status, out, said)
			}
		}
	}
	if left, err := os.ReadDir(folder); err != nil || len(left) != 0 {
		t.Errorf("written: %v, %v", left, err)
	}
}

// Where nothing is said the one saw in use is meant, whatever is retired or
// still being set up.
func TestOneSaw(t *testing.T) {
	saw := func(id, name string, retired bool) dialog.Saw {
		return dialog.Saw{ID: id, Retired: retired, Profile: dialog.Profile{Name: name}}
	}
	blue, grey, old, begun := saw("saw-1", "Blue", false), saw("saw-2", "Grey", false), saw("saw-3", "Old", true), saw("saw-4", "", false)
	for _, c := range []struct {
		saws       []dialog.Saw
		said, want string
	}{
		{[]dialog.Saw{begun, old, blue}, "", "saw-1"},
		{[]dialog.Saw{blue, old}, "old", "saw-3"},
		{[]dialog.Saw{begun, blue}, "saw-4", "saw-4"},
		{[]dialog.Saw{blue, grey, begun}, "", `say which saw: -saw "Blue"; there are Blue, Grey`},
		{[]dialog.Saw{begun}, "", "no saw is set up yet"},
		{[]dialog.Saw{begun, blue}, "Red", `there is no saw "Red"; there are Blue`},
	} {
		got, err := oneSaw(c.saws, c.said)
		if said := got.ID; err != nil && err.Error() != c.want || err == nil && said != c.want {
			t.Errorf("%q: %q, %v; want %q", c.said, said, err, c.want)
		}
	}
}
