package main

import (
	"image/png"
	"net/netip"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"
)

// The label of a saw, made by the command and read by a decoder of its own:
// it opens the page, a text message or a Matrix chat.
func TestLabelCommand(t *testing.T) {
	folder := t.TempDir()
	if _, said, status := runCommand(t, folder, "", "import", demoFile(t, demoShop())); status != 0 {
		t.Fatal(said)
	}
	t.Setenv("SHIMWRIGHT_PUBLIC_URL", "https://saw.example.org/")
	file := filepath.Join(folder, "label.png")
	out, said, status := runCommand(t, folder, "", "label", "-saw", "old blue", file)
	if status != 0 {
		t.Fatal(said)
	}
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	m, err := png.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	bits, err := gozxing.NewBinaryBitmapFromImage(m)
	if err != nil {
		t.Fatal(err)
	}
	r, err := qrcode.NewQRCodeReader().Decode(bits, nil)
	if err != nil {
		t.Fatal(err)
	}
	const want = "https://saw.example.org/?saw=Old%20Blue"
	if r.GetText() != want || !strings.Contains(out, want) {
		t.Errorf("the label reads %q, the command says %q", r.GetText(), out)
	}
	if u, err := url.Parse(r.GetText()); err != nil || u.Query().Get("saw") != "Old Blue" {
		t.Errorf("%v %v", u, err)
	}
	svg := filepath.Join(folder, "label.svg")
	if _, said, status := runCommand(t, folder, "", "label", svg); status != 0 {
		t.Error(said)
	}
	if b, err := os.ReadFile(svg); err != nil || !strings.HasPrefix(string(b), "<svg ") {
		t.Errorf("%v %.40s", err, b)
	}
	for want, args := range map[string][]string{
		"say where the label goes":              {"label"},
		"e.g. label old-blue.png":               {"label", "x.jpg"},
		`there is no saw "Bench"`:               {"label", "-saw", "Bench", file},
		"set SHIMWRIGHT_SMS_FROM":               {"label", "-to", "sms", file},
		"set SHIMWRIGHT_MATRIX_USER":            {"label", "-to", "matrix", file},
		"a label cannot open \"fax\"":           {"label", "-to", "fax", file},
		"cannot be written":                     {"label", filepath.Join(folder, "no", "label.png")},
		"flag provided but not defined: -print": {"label", "-print", file},
	} {
		if _, said, status := runCommand(t, folder, "", args...); status != 1 || !strings.Contains(said, want) {
			t.Errorf("%v: %d %s", args, status, said)
		}
	}
}

func TestLabelAddress(t *testing.T) {
	cfg := Config{SMS: smsSettings{From: "+4915550000001"}, Matrix: matrixSettings{User: "@shimwright:saw.example.org"}, Listen: netip.MustParseAddrPort("127.0.0.1:8080")}
	for to, want := range map[string]string{
		"page":   "http://127.0.0.1:8080/?saw=Old%20Blue%20&%202",
		"sms":    "sms:+4915550000001?body=Old%20Blue%20&%202",
		"matrix": "matrix:u/shimwright:saw.example.org?action=chat",
	} {
		got, err := labelAddress(cfg, to, "Old Blue & 2")
		if err != nil || got != want {
			t.Errorf("%s: %q %v, want %q", to, got, err, want)
		}
	}
}
