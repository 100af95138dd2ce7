package page

import (
	"context"
	"crypto/tls"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"shimwright/bot/testenv"
)

// publicName is the name in the examples of deploy/proxy.
const publicName = "saw.example.org"

// TestThroughAProxy runs the examples of deploy/proxy as they stand, but for the
// port and the certificate, in front of the program, and comes as a phone does: to
// https://saw.example.org with no port in it, by a one-time link.
func TestThroughAProxy(t *testing.T) {
	for _, proxy := range []string{"nginx", "caddy"} {
		t.Run(proxy, func(t *testing.T) { throughProxy(t, proxy) })
	}
}

func throughProxy(t *testing.T, proxy string) {
	program := testenv.Program(t, proxy)
	p := startProgram(t, "SHIMWRIGHT_PUBLIC_URL=https://"+publicName)
	port := testenv.FreePorts(t, 2)
	dir := t.TempDir()
	testenv.Certificate(t, dir, publicName)
	if proxy == "nginx" {
		startNginx(t, program, dir, port, p.url)
	} else {
		startCaddy(t, program, dir, port, p.url)
	}
	answers(t, port[0])
	outside(t, port)

	pair := exec.Command(p.bin, "pair")
	pair.Env = p.env
	said, err := pair.CombinedOutput()
	link := regexp.MustCompile(`https://\S+/pair/\S+`).FindString(string(said))
	if err != nil || link == "" {
		t.Fatalf("pair: %v\n%s", err, said)
	}
	b := attach(t, browserFor(t, port[0]), link, 390, 844)
	b.click("form button")
	b.do(chromedp.WaitReady(chromedp.ID("log")))
	b.says("One question at a time")
	b.sends("menu")
	b.says("No saw is set up yet")
	if !js[bool](b, `isSecureContext && location.protocol === "https:" && document.cookie === ""`) {
		t.Error("the page is no secure one, or a script can read the cookie")
	}
	b.quiet()
}

// outside looks at what a stranger gets: no figures of the shop, the name once
// and for all by TLS (RFC 6797), and from plain HTTP, which is where a name goes
// that is typed in, the way there.
func outside(t *testing.T, port []int) {
	t.Helper()
	get := func(port int, url string) *http.Response {
		t.Helper()
		r, err := throughTLS(port).Get(url)
		if err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
		return r
	}
	if r := get(port[0], "https://"+publicName+"/metrics"); r.StatusCode != http.StatusNotFound {
		t.Errorf("/metrics: a stranger gets status %d", r.StatusCode)
	}
	if r := get(port[0], "https://"+publicName+"/"); !strings.HasPrefix(r.Header.Get("Strict-Transport-Security"), "max-age=") {
		t.Errorf("a browser is not told to come by TLS: %v", r.Header)
	}
	to := get(port[1], "http://"+publicName+"/pair/x").Header.Get("Location")
	if !strings.HasPrefix(to, "https://"+publicName) || !strings.HasSuffix(to, "/pair/x") {
		t.Errorf("plain HTTP leads to %q", to)
	}
}

// TestABareProxyMakesNoOwner: nginx with one line passes requests on by HTTP/1.0,
// as from this machine to this machine (nginx, ngx_http_proxy_module: the defaults
// of proxy_http_version and proxy_set_header Host). Whoever comes by it is not the
// owner who sits at this machine.
func TestABareProxyMakesNoOwner(t *testing.T) {
	program := testenv.Program(t, "nginx")
	p := startProgram(t)
	port := testenv.FreePorts(t, 1)[0]
	dir := t.TempDir()
	conf := filepath.Join(dir, "nginx.conf")
	write(t, conf, fmt.Sprintf("daemon off;\npid %s/pid;\nevents {}\nhttp {\naccess_log off;\nserver {\nlisten 127.0.0.1:%d;\nlocation / {\nproxy_pass %s;\n}\n}\n}\n",
		dir, port, strings.TrimSuffix(p.url, "/")))
	var n testenv.Process
	n.Start(t, dir, program, "-p", dir, "-e", filepath.Join(dir, "log"), "-c", conf)
	defer n.End(syscall.SIGTERM)
	const owners = "v1/conversations/page" // there is none yet, as the owner is told
	for want, base := range map[int]string{http.StatusNotFound: p.url, http.StatusUnauthorized: fmt.Sprintf("http://127.0.0.1:%d/", port)} {
		var r *http.Response
		var err error
		for range 100 {
			if r, err = http.Get(base + owners); err == nil {
				break
			}
			time.Sleep(50 * time.Millisecond)
		}
		if err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
		if r.StatusCode != want {
			t.Errorf("%s answers with status %d, not %d", base, r.StatusCode, want)
		}
	}
}

// browserFor starts a browser that finds the public name at a port of this
// machine and takes a certificate that nobody signed.
func browserFor(t *testing.T, port int) context.Context {
	t.Helper()
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(testenv.Program(t, "chromium", "chromium-browser", "google-chrome", "google-chrome-stable")),
		chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true),
		chromedp.Flag("ignore-certificate-errors", true),
		chromedp.Flag("host-resolver-rules", fmt.Sprintf("MAP %s 127.0.0.1:%d", publicName, port)))
	alloc, end := chromedp.NewExecAllocator(context.Background(), options...)
	t.Cleanup(end)
	ctx, cancel := chromedp.NewContext(alloc)
	t.Cleanup(cancel)
	if err := chromedp.Do(ctx); err != nil {
		t.Fatal(err)
	}
	return ctx
}

// answers waits until a proxy listens.
func answers(t *testing.T, port int) {
	t.Helper()
	client := throughTLS(port)
	var err error
	for range 100 {
		var r *http.Response
		if r, err = client.Get("https://" + publicName + "/healthz"); err == nil {
			r.Body.Close()
			if r.StatusCode == http.StatusOK {
				return
			}
			err = fmt.Errorf("status %d", r.StatusCode)
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Fatalf("the proxy does not answer: %v", err)
}

// throughTLS is a client that finds every name at a port of this machine.
func throughTLS(port int) *http.Client {
	at := fmt.Sprintf("127.0.0.1:%d", port)
	return &http.Client{
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		Transport: &http.Transport{DisableKeepAlives: true, DialContext: dialTo(at),
			TLSClientConfig: &tls.Config{InsecureSkipVerify: true, ServerName: publicName}}}
}

func startNginx(t *testing.T, program, dir string, port []int, to string) {
	t.Helper()
	site := example(t, "nginx.conf", map[string]string{"/etc/ssl/saw.example.org": dir,
		"listen 443": fmt.Sprintf("listen 127.0.0.1:%d", port[0]), "listen 80": fmt.Sprintf("listen 127.0.0.1:%d", port[1]),
		"http://127.0.0.1:8080": strings.TrimSuffix(to, "/")})
	conf := filepath.Join(dir, "nginx.conf")
	write(t, conf, fmt.Sprintf("daemon off;\npid %[1]s/pid;\nevents {}\nhttp {\naccess_log off;\n%[2]s}\n", dir, site))
	var n testenv.Process
	n.Start(t, dir, program, "-p", dir, "-e", filepath.Join(dir, "log"), "-c", conf)
	t.Cleanup(func() { n.End(syscall.SIGTERM) })
}

func startCaddy(t *testing.T, program, dir string, port []int, to string) {
	t.Helper()
	site := example(t, "Caddyfile", map[string]string{
		"\nsaw.example.org {": "\nsaw.example.org {\ntls " + dir + "/fullchain.pem " + dir + "/privkey.pem",
		"127.0.0.1:8080":      strings.TrimSuffix(strings.TrimPrefix(to, "http://"), "/")})
	conf := filepath.Join(dir, "Caddyfile")
	write(t, conf, fmt.Sprintf("{\nadmin off\nhttp_port %d\nhttps_port %d\ndefault_bind 127.0.0.1\n}\n%s", port[1], port[0], site))
	t.Setenv("XDG_CONFIG_HOME", dir)
	t.Setenv("XDG_DATA_HOME", dir)
	var c testenv.Process
	c.Start(t, dir, program, "run", "--adapter", "caddyfile", "--config", conf)
	t.Cleanup(func() { c.End(syscall.SIGTERM) })
}

// example reads one of deploy/proxy and puts other things in the place of some;
// each must be there.
func example(t *testing.T, name string, change map[string]string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "deploy", "proxy", name))
	if err != nil {
		t.Fatal(err)
	}
	text := string(b)
	for from, to := range change {
		if !strings.Contains(text, from) {
			t.Errorf("%s lacks %q", name, from)
		}
		text = strings.ReplaceAll(text, from, to)
	}
	return text
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

func dialTo(at string) func(context.Context, string, string) (net.Conn, error) {
	return func(ctx context.Context, network, _ string) (net.Conn, error) {
		return new(net.Dialer).DialContext(ctx, network, at)
	}
}
