// Package kanneltest runs a real text gateway for a test: Kannel's bearerbox
// and smsbox on free ports of loopback, with the fake network that comes with
// it, and a handset on that network.
package kanneltest

import (
	"bytes"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"shimwright/bot/testenv"
)

// Number is ours on the fake network.
const Number = "15550100"

// User and Password are those of the gateway's sendsms service.
const (
	User     = "shop"
	Password = "local-password"
)

// Config is what a test sets of the gateway.
type Config struct {
	Inbound  string        // the address that is called for a text; the rest of its query is added
	Retries  int           // http-request-retry
	Pause    time.Duration // between retries, whole seconds; 0: one second
	Timeout  time.Duration // of a call, whole seconds; 0: the gateway's default
	Parts    int           // max-messages; 0: 6
	OneByOne bool          // calls us for one text at a time (max-pending-requests = 1)
	File     string        // a whole configuration to run instead, with our ports and secrets in it
}

// Gateway is a gateway that runs until the test ends.
type Gateway struct {
	SendSMS string // address of sendsms

	t       testing.TB
	dir     string
	conf    string
	network int // port of the fake network
	admin   int
	smsbox  string // program
	bearer  testenv.Process
	sms     testenv.Process
}

// Start starts a gateway, or skips the test where none is installed.
func Start(t testing.TB, c Config) *Gateway {
	t.Helper()
	bearerbox, smsbox := program(t, "bearerbox"), program(t, "smsbox")
	ports := testenv.FreePorts(t, 4)
	g := &Gateway{t: t, dir: t.TempDir(), network: ports[0], admin: ports[1], smsbox: smsbox,
		SendSMS: fmt.Sprintf("http://127.0.0.1:%d/cgi-bin/sendsms", ports[3])}
	g.conf = filepath.Join(g.dir, "kannel.conf")
	text := configuration(c, g.dir, ports)
	if c.File != "" {
		text = fitted(t, c, g.dir, ports)
	}
	if err := os.WriteFile(g.conf, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(g.stop)
	g.bearer.Start(t, g.dir, bearerbox, "-v", "1", g.conf)
	g.await("the fake network", g.network)
	g.await("the administration", g.admin)
	g.await("the port for smsbox", ports[2]) // smsbox gives up at once where nobody listens
	g.sms.Start(t, g.dir, smsbox, "-v", "1", g.conf)
	g.await("sendsms", ports[3])
	g.joined()
	return g
}

// program finds one of the boxes: a package puts them where only the
// administrator's path leads.
func program(t testing.TB, name string) string {
	for _, dir := range []string{"", "/usr/sbin/", "/usr/local/sbin/"} {
		if p, err := exec.LookPath(dir + name); err == nil {
			return p
		}
	}
	testenv.Need(t, name+" (package kannel)", false)
	return ""
}

func configuration(c Config, dir string, ports []int) string {
	if c.Parts == 0 {
		c.Parts = 6
	}
	in, err := url.Parse(c.Inbound)
	if err != nil {
		panic(err)
	}
	join := "?"
	if in.RawQuery != "" {
		join = "&"
	}
	var b strings.Builder
	fmt.Fprintf(&b, `group = core
admin-port = %d
admin-interface = 127.0.0.1
admin-password = local-admin
smsbox-port = %d
smsbox-interface = 127.0.0.1
box-allow-ip = "127.0.0.1"
admin-allow-ip = "127.0.0.1"
store-type = file
store-location = %s/store

group = smsc
smsc = fake
smsc-id = FAKE
port = %d
connect-allow-ip = 127.0.0.1

group = smsbox
bearerbox-host = 127.0.0.1
sendsms-port = %d
sendsms-interface = 127.0.0.1
global-sender = %s
http-request-retry = %d
http-queue-delay = %d
`, ports[1], ports[2], dir, ports[0], ports[3], Number, c.Retries, max(1, int(c.Pause.Seconds())))
	if c.Timeout > 0 {
		fmt.Fprintf(&b, "http-timeout = %d\n", int(c.Timeout.Seconds()))
	}
	if c.OneByOne {
		fmt.Fprintf(&b, "max-pending-requests = 1\n")
	}
	fmt.Fprintf(&b, `
group = sendsms-user
username = %s
password = %s
max-messages = %d
concatenation = true
user-allow-ip = "127.0.0.1"

group = sms-service
keyword = default
post-url = "%s%sfrom=%%p&to=%%P&id=%%I&ts=%%T&coding=%%c&charset=%%C&text=%%a"
max-messages = 0
catch-all = true
`, User, Password, c.Parts, c.Inbound, join)
	return b.String()
}

// fitted puts the ports and secrets of this test into a configuration.
func fitted(t testing.TB, c Config, dir string, ports []int) string {
	t.Helper()
	b, err := os.ReadFile(c.File)
	if err != nil {
		t.Fatal(err)
	}
	in, err := url.Parse(c.Inbound)
	if err != nil {
		t.Fatal(err)
	}
	text := strings.NewReplacer("admin-password = PASSWORD", "admin-password = local-admin", "PASSWORD", Password,
		"127.0.0.1:8080", in.Host, "SECRET", in.Query().Get("key"), "kannel.store", filepath.Join(dir, "store")).Replace(string(b))
	for i, port := range []int{10000, 13000, 13001, 13013} {
		text = strings.Replace(text, fmt.Sprintf("port = %d\n", port), fmt.Sprintf("port = %d\n", ports[i]), 1)
	}
	return text
}

// await waits until something listens on a port.
func (g *Gateway) await(what string, port int) {
	g.t.Helper()
	for range 200 {
		c, err := net.DialTimeout("tcp", fmt.Sprintf("127.0.0.1:%d", port), time.Second)
		if err == nil {
			_ = c.Close()
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	g.t.Fatalf("%s does not listen\nbearerbox: %s\nsmsbox: %s", what, g.bearer.Log(), g.sms.Log())
}

// joined waits until the two boxes have found each other.
func (g *Gateway) joined() {
	g.t.Helper()
	for range 200 {
		r, err := http.Get(fmt.Sprintf("http://127.0.0.1:%d/status.txt?password=local-admin", g.admin))
		if err == nil {
			var b bytes.Buffer
			_, _ = b.ReadFrom(r.Body)
			_ = r.Body.Close()
			if strings.Contains(b.String(), "smsbox:") {
				return
			}
		}
		time.Sleep(50 * time.Millisecond)
	}
	g.t.Fatalf("the boxes do not find each other\nbearerbox: %s\nsmsbox: %s", g.bearer.Log(), g.sms.Log())
}

// KillSMSBox ends smsbox as a crash would; StartSMSBox starts it again.
func (g *Gateway) KillSMSBox() { g.sms.End(syscall.SIGKILL) }

// StartSMSBox starts smsbox after it was killed.
func (g *Gateway) StartSMSBox() {
	g.t.Helper()
	g.sms.Start(g.t, g.dir, g.smsbox, "-v", "1", g.conf)
	u, _ := url.Parse(g.SendSMS)
	var port int
	_, _ = fmt.Sscanf(u.Port(), "%d", &port)
	g.await("sendsms", port)
	g.joined()
}

// Log is what the boxes have written, for a test that fails.
func (g *Gateway) Log() string {
	return "bearerbox: " + g.bearer.Log() + "\nsmsbox: " + g.sms.Log()
}

// stop ends both, smsbox first, and waits: a bearerbox that starts while an old
// one still holds the port comes up dead.
func (g *Gateway) stop() {
	g.sms.End(syscall.SIGTERM)
	g.bearer.End(syscall.SIGTERM)
}
