package main

import (
	"encoding/base64"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/netip"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"

	"shimwright/store/redistest"
)

// visited is what the doctor found, by part.
func visited(t *testing.T, cfg Config) (byPart map[string][]finding, all string) {
	t.Helper()
	byPart = map[string][]finding{}
	var b strings.Builder
	found := examine(t.Context(), cfg, clock())
	for _, f := range found {
		byPart[f.part] = append(byPart[f.part], f)
	}
	_ = report(&b, found)
	return byPart, b.String()
}

// wantFinding wants one of that level about a part, with these words.
func wantFinding(t *testing.T, by map[string][]finding, part string, l level, words string) {
	t.Helper()
	for _, f := range by[part] {
		if f.level == l && strings.Contains(f.text, words) {
			return
		}
	}
	t.Errorf("about %s no %q with %q, but %v", part, l, words, by[part])
}

// doctorConfig are the settings of a service that does not run.
func doctorConfig(t *testing.T) Config {
	return Config{Listen: netip.MustParseAddrPort("127.0.0.1:" + freePort(t)), Pairing: true, LocalOwner: true,
		Data: filepath.Join(t.TempDir(), "data"), Zone: "Europe/Berlin"}
}

func TestDoctorOnANewMachine(t *testing.T) {
	cfg := doctorConfig(t)
	_, all := visited(t, cfg)
	if strings.Contains(all, string(fault)) || strings.Contains(all, string(look)) {
		t.Errorf("defaults are not in order:\n%s", all)
	}
	if _, err := os.Stat(cfg.Data); !os.IsNotExist(err) {
		t.Error("the doctor made the data folder")
	}
	if out := runWith(t, true, cfg.Data, []string{prefix + "_LISTEN=" + cfg.Listen.String(), prefix + "_ZONE=Europe/Berlin"}, "doctor"); !strings.Contains(out, "none runs on") {
		t.Errorf("the command says %q", out)
	}
	if out := runWith(t, false, cfg.Data, []string{prefix + "_ZONE=Mars"}, "doctor"); !strings.Contains(out, "SHIMWRIGHT_ZONE") {
		t.Errorf("with a setting that cannot be read: %q", out)
	}
}

// TestDoctorBeforeTheStart: what would stop the service is told before it is started.
func TestDoctorBeforeTheStart(t *testing.T) {
	cfg := doctorConfig(t)
	if err := os.WriteFile(cfg.Data, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	by, _ := visited(t, cfg)
	wantFinding(t, by, "data folder", fault, "it is a file")
	cfg.Listen = netip.MustParseAddrPort("192.0.2.1:8080") // nobody's: RFC 5737
	by, _ = visited(t, cfg)
	wantFinding(t, by, "service", fault, "no address 192.0.2.1")
	if runtime.GOOS == "linux" {
		cfg.Data = "/proc/shimwright/data" // where nobody can make a folder
		by, _ = visited(t, cfg)
		wantFinding(t, by, "data folder", fault, "cannot be made")
	}
}

func TestDoctorOnFiles(t *testing.T) {
	cfg := doctorConfig(t)
	fillFile(t, cfg.Data)
	by, _ := visited(t, cfg)
	wantFinding(t, by, "data file", fine, "consistent")
	wantFinding(t, by, "dead letters", look, "given up")
	if runtime.GOOS != "windows" {
		if err := os.Chmod(cfg.Data, 0o755); err != nil {
			t.Fatal(err)
		}
		by, _ = visited(t, cfg)
		wantFinding(t, by, "data folder", look, "chmod go= ")
	}
	if err := os.WriteFile(filepath.Join(cfg.Data, dataFile), []byte("this is something else entirely"), 0o600); err != nil {
		t.Fatal(err)
	}
	by, _ = visited(t, cfg)
	wantFinding(t, by, "data file", fault, "cannot be opened")
	cfg.Data = filepath.Join(cfg.Data, dataFile)
	by, _ = visited(t, cfg)
	wantFinding(t, by, "data folder", fault, "another folder")
	cfg.Zone = ""
	by, _ = visited(t, cfg)
	wantFinding(t, by, "time zone", look, "SHIMWRIGHT_ZONE")
}

func TestDoctorOnSecrets(t *testing.T) {
	cfg := doctorConfig(t)
	random := "whsec_" + base64.StdEncoding.EncodeToString([]byte(newToken()[:1]+string([]byte{
		0x9f, 2, 250, 13, 77, 129, 5, 201, 0, 33, 180, 91, 7, 254, 66, 19, 140, 222, 101, 3, 88, 170, 41})))
	cfg.WebhookSecrets = []Secret{NewSecret(random), NewSecret(testSecret), NewSecret(random),
		NewSecret("whsec_" + base64.StdEncoding.EncodeToString(make([]byte, 32)))}
	by, all := visited(t, cfg)
	wantFinding(t, by, "webhook secret", fine, "number 1")
	wantFinding(t, by, "webhook secret", fault, "number 2 is not random")
	wantFinding(t, by, "webhook secret", look, "number 3 is there twice")
	wantFinding(t, by, "webhook secret", fault, "number 4")
	if strings.Contains(all, strings.TrimPrefix(random, "whsec_")[:8]) {
		t.Error("it shows a secret")
	}
}

func TestDoctorOnRedis(t *testing.T) {
	server := redistest.Start(t)
	cfg := doctorConfig(t)
	cfg.RedisURL = NewSecret(server.URL(0))
	by, all := visited(t, cfg)
	wantFinding(t, by, "Redis", look, "appendfsync always")
	wantFinding(t, by, "Redis", fine, "consistent")
	if strings.Contains(all, string(fault)) {
		t.Errorf("faults:\n%s", all)
	}
	c := server.Client(t)
	info, err := c.Info(t.Context(), "memory").Result()
	if err != nil {
		t.Fatal(err)
	}
	_, used, _ := strings.Cut(info, "used_memory:")
	bytes, err := strconv.Atoi(strings.TrimSpace(strings.SplitN(used, "\n", 2)[0]))
	if err != nil {
		t.Fatal(err)
	}
	for _, set := range []struct {
		name, value string
		level       level
		words       string
	}{
		{"appendfsync", "always", fine, "loses nothing"},
		{"appendfsync", "no", fault, "never syncs"},
		{"maxmemory", strconv.Itoa(bytes + bytes/7), look, "MB; when it is full"},
		{"maxmemory", "1000", fault, "raise maxmemory"},
		{"maxmemory", "0", fault, "never syncs"},
		{"appendonly", "no", fault, "no append-only file"},
		{"maxmemory-policy", "allkeys-lru", fault, "noeviction"},
	} {
		if err := c.ConfigSet(t.Context(), set.name, set.value).Err(); err != nil {
			t.Fatal(err)
		}
		by, _ := visited(t, cfg)
		wantFinding(t, by, "Redis", set.level, set.words)
	}
	if err := c.ConfigSet(t.Context(), "maxmemory-policy", "noeviction").Err(); err != nil {
		t.Fatal(err)
	}
	if err := c.ConfigSet(t.Context(), "requirepass", "board").Err(); err != nil {
		t.Fatal(err)
	}
	for url, words := range map[string]string{
		"redis://" + server.Addr + "/0":              "wants a password",
		"redis://:canary-4711@" + server.Addr + "/0": "correct them",
		"redis://:board@" + server.Addr + "/99999":   "no database of the number",
		"rediss://:board@" + server.Addr + "/0":      "TLS",
	} {
		cfg.RedisURL = NewSecret(url)
		by, _ := visited(t, cfg)
		wantFinding(t, by, "Redis", fault, words)
	}
	server.Kill()
	cfg.RedisURL = NewSecret("redis://:canary-4711@" + server.Addr + "/0")
	by, all = visited(t, cfg)
	wantFinding(t, by, "Redis", fault, "connection refused")
	wantFinding(t, by, "Redis", fault, "correct SHIMWRIGHT_REDIS_URL")
	if strings.Contains(all, "canary") {
		t.Errorf("it shows the password:\n%s", all)
	}
}

// TestDoctorBehindAProxy: a real service, a real proxy, and what each slip in
// either looks like from outside.
func TestDoctorBehindAProxy(t *testing.T) {
	p := startProgram(t, t.TempDir(), prefix+"_PUBLIC_URL=http://saw.example.org")
	target, _ := url.Parse(p.url)
	proxy := func(edit func(*httputil.ProxyRequest)) string {
		web := httptest.NewServer(&httputil.ReverseProxy{Rewrite: func(r *httputil.ProxyRequest) {
			r.SetURL(target)
			edit(r)
		}})
		t.Cleanup(web.Close)
		return web.URL
	}
	cfg := doctorConfig(t)
	cfg.LocalOwner = false
	look4 := func(address string) map[string][]finding {
		cfg.PublicURL, _ = url.Parse(address)
		by, _ := visited(t, cfg)
		return by
	}
	keep := proxy(func(r *httputil.ProxyRequest) { r.Out.Host = r.In.Host; r.SetXForwarded() })
	wantFinding(t, look4(keep), "public address", fine, "lets no stranger in")
	wantFinding(t, look4(keep), "reach", look, "not https")
	renamed := proxy(func(r *httputil.ProxyRequest) { r.Out.Host = "backend.internal" })
	wantFinding(t, look4(renamed), "public address", fault, "keep the Host header")

	trusting := startProgram(t, t.TempDir(), prefix+"_LOCAL_OWNER=on")
	target, _ = url.Parse(trusting.url)
	bare := proxy(func(r *httputil.ProxyRequest) { r.Out.Host = target.Host })
	wantFinding(t, look4(bare), "public address", fault, "taken for the owner")

	leads := httptest.NewServer(http.RedirectHandler("https://elsewhere.example/", http.StatusMovedPermanently))
	defer leads.Close()
	wantFinding(t, look4(leads.URL), "public address", fault, "leads elsewhere")
	other := httptest.NewServer(http.NotFoundHandler())
	defer other.Close()
	wantFinding(t, look4(other.URL), "public address", fault, "something else answers")
	wantFinding(t, look4("http://127.0.0.1:"+freePort(t)), "public address", fault, "cannot be called")
	untrusted := httptest.NewTLSServer(http.NotFoundHandler())
	untrusted.Config.ErrorLog = quietLog()
	defer untrusted.Close()
	wantFinding(t, look4(untrusted.URL), "public address", fault, "certificate")
}

func TestDoctorOnTheService(t *testing.T) {
	folder := t.TempDir()
	p := startProgram(t, folder)
	cfg := doctorConfig(t)
	cfg.Data = folder
	by, _ := visited(t, cfg)
	wantFinding(t, by, "service", fine, "ready on "+p.url)
	wantFinding(t, by, "data file", fine, "a running service has it")
	other := httptest.NewServer(http.NotFoundHandler())
	defer other.Close()
	cfg = doctorConfig(t)
	cfg.Listen = netip.MustParseAddrPort(strings.TrimPrefix(other.URL, "http://"))
	by, _ = visited(t, cfg)
	wantFinding(t, by, "service", fault, "something else answers")
}

// TestDoctorOnWhatIsCalled: the callback, the gateway and the homeserver, with
// real servers of this machine that are right, wrong or not there.
func TestDoctorOnWhatIsCalled(t *testing.T) {
	cfg := doctorConfig(t)
	status := http.StatusMethodNotAllowed
	called := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodOptions {
			t.Errorf("the doctor sent a %s", r.Method)
		}
		w.Header().Set("Location", "https://elsewhere.example")
		w.WriteHeader(status)
	}))
	defer called.Close()
	for _, c := range []struct {
		status int
		level  level
		words  string
	}{{405, fine, "answers"}, {302, fault, "leads elsewhere"}, {503, look, "503"}} {
		status = c.status
		cfg.CallbackURL, _ = url.Parse(called.URL + "/hook?key=canary")
		by, all := visited(t, cfg)
		wantFinding(t, by, "callback", c.level, c.words)
		if strings.Contains(all, "canary") {
			t.Errorf("it shows the address: %s", all)
		}
	}
	cfg.CallbackURL, _ = url.Parse("http://127.0.0.1:" + freePort(t) + "/canary")
	cfg.SMS.Gateway = "http://127.0.0.1:" + freePort(t) + "/cgi-bin/sendsms"
	cfg.Matrix = matrixSettings{Homeserver: "http://127.0.0.1:" + freePort(t), User: "@shimwright:shop.example"}
	by, all := visited(t, cfg)
	wantFinding(t, by, "callback", fault, "reminders wait")
	wantFinding(t, by, "text gateway", fault, "texts wait")
	wantFinding(t, by, "homeserver", fault, "cannot be called")
	if strings.Contains(all, "canary") {
		t.Errorf("it shows the address: %s", all)
	}
	cfg.SMS.Gateway = called.URL
	cfg.Matrix.Homeserver = called.URL
	status = http.StatusNotFound
	cfg.CallbackURL = nil
	cfg.Matrix = matrixSettings{}
	by, _ = visited(t, cfg)
	wantFinding(t, by, "text gateway", fine, "it listens")
	wantFinding(t, by, "text gateway", look, "SHIMWRIGHT_SMS_PEOPLE")
}

// TestDoctorOnAHomeserver: the answers of GET /account/whoami, as the Matrix
// client-server API (v1.11, section 5.8) has them. A real homeserver is asked
// in the tests of the channel; here it is the doctor's reading that counts.
func TestDoctorOnAHomeserver(t *testing.T) {
	cfg := doctorConfig(t)
	for _, c := range []struct {
		status      int
		body, words string
		level       level
	}{
		{200, `{"user_id":"@shimwright:shop.example"}`, "knows the service as", fine},
		{200, `{"user_id":"@other:shop.example"}`, "SHIMWRIGHT_MATRIX_USER", fault},
		{401, `{"errcode":"M_UNKNOWN_TOKEN","error":"Unrecognised access token."}`, "registration file", fault},
		{404, `not found`, "no Matrix homeserver", fault},
	} {
		web := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			if r.Header.Get("Authorization") != "Bearer as-token" || r.URL.Path != "/_matrix/client/v3/account/whoami" {
				t.Errorf("it asked for %s", r.URL)
			}
			w.WriteHeader(c.status)
			fmt.Fprint(w, c.body)
		}))
		cfg.Matrix = matrixSettings{Homeserver: web.URL, User: "@shimwright:shop.example", ASToken: NewSecret("as-token"), People: []string{"shop.example"}}
		by, _ := visited(t, cfg)
		wantFinding(t, by, "homeserver", c.level, c.words)
		web.Close()
	}
}
