package main

import (
	"encoding/base64"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/netip"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/kelseyhightower/envconfig"

	"shimwright/store/redisstore"
)

// prefix is that of every setting in the environment.
const prefix = "SHIMWRIGHT"

// settings is the environment as it is written, one field a variable. Each is
// text here, so that every fault can be told at once; read turns it into a
// Config. The order is that of `config`.
type settings struct {
	Listen           string `default:"127.0.0.1:8080" desc:"address and port to listen on; beyond this machine it needs pairing or a webhook secret"`
	PublicURL        string `split_words:"true" desc:"address under which others reach the service, e.g. https://saw.example.org; also marks cookies as https only"`
	Hosts            string `desc:"further names under which browsers may reach the service, separated by commas"`
	Pairing          string `default:"on" desc:"on: phones and tablets may be paired by a one-time link; off: programs with a secret only"`
	LocalOwner       string `split_words:"true" default:"auto" desc:"on: a browser on this machine needs no pairing and is the owner; auto: on unless SHIMWRIGHT_PUBLIC_URL is set; off"`
	Data             string `desc:"folder of the data file; by default a folder of the user's own"`
	RedisURL         string `split_words:"true" desc:"keep sessions in Redis instead of the data file, e.g. redis://localhost:6379/0"`
	WebhookSecrets   string `split_words:"true" desc:"secrets (whsec_...) of programs that sign their messages, separated by commas; several while one is replaced"`
	CallbackURL      string `split_words:"true" desc:"where messages that nobody asked for (reminders) are posted, signed"`
	CallbackSecrets  string `split_words:"true" desc:"secrets (whsec_...) that sign what is posted there; by default SHIMWRIGHT_WEBHOOK_SECRETS"`
	SmsGateway       string `split_words:"true" desc:"sendsms address of a text gateway (Kannel), e.g. http://127.0.0.1:13013/cgi-bin/sendsms; turns text messages on"`
	SmsUser          string `split_words:"true" desc:"user of the gateway's sendsms service"`
	SmsPassword      string `split_words:"true" desc:"its password"`
	SmsSecret        string `split_words:"true" desc:"secret of 16 characters or more, key=... in the address that the gateway calls for a text"`
	SmsFrom          string `split_words:"true" desc:"number that texts come from; by default the gateway's global-sender"`
	SmsPeople        string `split_words:"true" desc:"numbers of those who may write, with country code, separated by commas; others get one polite sentence, unless they bring a code"`
	SmsOwn           string `split_words:"true" desc:"address where the gateway reaches this service; by default http://127.0.0.1, the port of SHIMWRIGHT_LISTEN and /v1/channels/sms"`
	SmsRegion        string `split_words:"true" desc:"country of numbers that the gateway gives without country code, e.g. DE; by default it always gives one"`
	SmsParts         string `split_words:"true" default:"6" desc:"most parts of one text, the gateway's max-messages"`
	MatrixHomeserver string `split_words:"true" desc:"address of a Matrix homeserver, e.g. http://127.0.0.1:8008; turns Matrix on (write its registration file with: bot matrix)"`
	MatrixUser       string `split_words:"true" desc:"who the service is there, e.g. @shimwright:shop.example"`
	MatrixAsToken    string `split_words:"true" desc:"as_token of the registration file"`
	MatrixHsToken    string `split_words:"true" desc:"hs_token of the registration file"`
	MatrixPeople     string `split_words:"true" desc:"users (@kim:shop.example) and whole servers (shop.example) who may write, separated by commas; others get one polite sentence, unless they bring a code"`
	Zone             string `default:"Local" desc:"time zone of people who have not chosen one, e.g. Europe/Berlin"`
	Log              string `default:"info" desc:"least level that is logged: debug, info, warn or error"`
	LogFormat        string `split_words:"true" default:"text" desc:"text or json"`
	Rate             string `default:"10" desc:"messages a second of one sender, in the long run"`
	Burst            string `default:"100" desc:"messages of one sender at once"`
	Shutdown         string `default:"15s" desc:"how long a stop may take to finish what was begun"`
}

// Config is every setting, checked.
type Config struct {
	Listen          netip.AddrPort
	PublicURL       *url.URL // nil when not set
	Hosts           []string // lower case, without port
	Pairing         bool
	LocalOwner      bool
	Data            string
	RedisURL        Secret
	WebhookSecrets  []Secret
	CallbackURL     *url.URL // nil when not set
	CallbackSecrets []Secret
	SMS             smsSettings
	Matrix          matrixSettings
	Zone            string // of the tz database; "" where only the offset is known
	Log             slog.Level
	LogJSON         bool
	Rate            float64
	Burst           int
	Shutdown        time.Duration
}

// Loopback reports whether only this machine reaches the service.
func (c Config) Loopback() bool { return c.Listen.Addr().IsLoopback() }

// LoadConfig reads the environment. Its error names every fault in it.
func LoadConfig() (Config, error) {
	var s settings
	var f faults
	f.unknown(&s)
	if err := envconfig.Process(prefix, &s); err != nil {
		return Config{}, err // cannot happen: every field is text
	}
	s.trim()
	c := s.read(&f)
	return c, f.err()
}

// faults gathers what is wrong with the environment.
type faults struct{ list []string }

func (f *faults) add(variable, format string, args ...any) {
	f.list = append(f.list, prefix+"_"+variable+" "+fmt.Sprintf(format, args...))
}

func (f *faults) err() error {
	slices.Sort(f.list)
	switch len(f.list) {
	case 0:
		return nil
	case 1:
		return errors.New("a setting is wrong: " + f.list[0])
	}
	return fmt.Errorf("%d settings are wrong:\n  %s", len(f.list), strings.Join(f.list, "\n  "))
}

// unknown finds the variables with the prefix that are no setting, or that are
// set and empty: both are slips that would otherwise go unnoticed.
func (f *faults) unknown(s *settings) {
	known := map[string]settingInfo{}
	var names []string
	for _, i := range describe(s) {
		known[i.Name], names = i, append(names, i.Name)
	}
	for _, pair := range os.Environ() {
		name, value, _ := strings.Cut(pair, "=")
		if !strings.HasPrefix(name, prefix+"_") {
			continue
		}
		short := strings.TrimPrefix(name, prefix+"_")
		i, ok := known[name]
		switch {
		case !ok && nearest(name, names) != "":
			f.add(short, "is not a setting; %s may be meant", nearest(name, names))
		case !ok:
			f.add(short, "is not a setting; `config` lists all of them")
		case strings.TrimSpace(value) == "" && i.Default != "":
			f.add(short, "is empty; leave it out for its default, %s", i.Default)
		case strings.TrimSpace(value) == "":
			f.add(short, "is empty; leave it out, or give it a value: %s", i.Meaning)
		}
	}
	if len(f.list) == 0 {
		// The library has the last word on what it would ignore.
		if err := envconfig.CheckDisallowed(prefix, s); err != nil {
			f.list = append(f.list, err.Error())
		}
	}
}

// read turns the settings into a Config.
func (s settings) read(f *faults) Config {
	c := Config{
		Listen:         s.listen(f),
		PublicURL:      webURL(f, "PUBLIC_URL", s.PublicURL, "https://saw.example.org"),
		Hosts:          hostList(f, s.Hosts),
		Pairing:        onOff(f, "PAIRING", s.Pairing),
		Data:           s.data(f),
		RedisURL:       redisURL(f, s.RedisURL),
		WebhookSecrets: secretList(f, "WEBHOOK_SECRETS", s.WebhookSecrets),
		CallbackURL:    webURL(f, "CALLBACK_URL", s.CallbackURL, "https://example.org/saw"),
		Zone:           zone(f, s.Zone),
		LogJSON:        s.LogFormat == "json",
		Rate:           number(f, "RATE", s.Rate, 0.01, 10000),
		Burst:          int(number(f, "BURST", s.Burst, 1, 100000)),
		Shutdown:       duration(f, "SHUTDOWN", s.Shutdown, time.Second, 10*time.Minute),
	}
	c.LocalOwner = s.LocalOwner == "on" || s.LocalOwner == "auto" && c.PublicURL == nil
	if s.LocalOwner != "auto" && s.LocalOwner != "on" && s.LocalOwner != "off" && s.LocalOwner != "" {
		f.add("LOCAL_OWNER", "is %q; give auto, on or off", s.LocalOwner)
	}
	if s.LogFormat != "text" && s.LogFormat != "json" && s.LogFormat != "" {
		f.add("LOG_FORMAT", "is %q; give text or json", s.LogFormat)
	}
	if s.Log != "" && c.Log.UnmarshalText([]byte(s.Log)) != nil {
		f.add("LOG", "is %q; give debug, info, warn or error", s.Log)
	}
	c.CallbackSecrets = c.WebhookSecrets
	if s.CallbackSecrets != "" {
		c.CallbackSecrets = secretList(f, "CALLBACK_SECRETS", s.CallbackSecrets)
	}
	c.SMS = s.readSMS(f, c.Listen)
	c.Matrix = s.readMatrix(f)
	c.together(f)
	return c
}

// together checks the settings that depend on each other.
func (c Config) together(f *faults) {
	if len(f.list) > 0 {
		return
	}
	if !c.Loopback() && !c.Pairing && len(c.WebhookSecrets) == 0 {
		f.add("LISTEN", "is %s, which other machines reach, but nobody could be told apart there: "+
			"set SHIMWRIGHT_PAIRING=on for phones, give SHIMWRIGHT_WEBHOOK_SECRETS for programs, or listen on 127.0.0.1", c.Listen)
	}
	if c.CallbackURL != nil && len(c.CallbackSecrets) == 0 {
		f.add("CALLBACK_URL", "is set, but there is no secret to sign with: give SHIMWRIGHT_CALLBACK_SECRETS")
	}
}

func (s settings) listen(f *faults) netip.AddrPort {
	host, port, err := net.SplitHostPort(s.Listen)
	if err == nil {
		switch host {
		case "localhost":
			host = "127.0.0.1"
		case "":
			host = "0.0.0.0"
		}
		if at, err := netip.ParseAddrPort(net.JoinHostPort(host, port)); err == nil {
			return at
		}
	}
	if s.Listen != "" {
		f.add("LISTEN", "is %q; give an address of this machine and a port, e.g. 127.0.0.1:8080, or 0.0.0.0:8080 for all", s.Listen)
	}
	return netip.AddrPort{}
}

func (s settings) data(f *faults) string {
	if s.Data != "" {
		if abs, err := filepath.Abs(s.Data); err == nil {
			return abs
		}
	}
	dir, err := userData()
	if err != nil && s.RedisURL == "" {
		f.add("DATA", "is not set, and this user has no folder of their own (%v): give a folder for the data file", err)
	}
	return dir
}

func webURL(f *faults, name, s, example string) *url.URL {
	if s == "" {
		return nil
	}
	u, err := url.Parse(s)
	if err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" || u.User != nil || u.RawQuery != "" && name == "PUBLIC_URL" {
		f.add(name, "is not an address that can be used here; give one like %s", example)
		return nil
	}
	if name == "PUBLIC_URL" && strings.Trim(u.Path, "/") != "" {
		f.add(name, "goes on with %s behind the host, but the page and its links need a name of their own; give one like %s", u.Path, example)
		return nil
	}
	return u
}

func redisURL(f *faults, s string) Secret {
	if s == "" {
		return Secret{}
	}
	// The engine reads it; here only what is no such address at all is found.
	scheme, rest, _ := strings.Cut(s, "://")
	if kind, _, _ := strings.Cut(scheme, "+"); rest == "" || kind != "redis" && kind != "rediss" && kind != "unix" {
		f.add("REDIS_URL", "is not the address of a Redis server; it looks like %s", redisstore.Forms)
		return Secret{}
	}
	return NewSecret(s)
}

func hostList(f *faults, s string) []string {
	var hosts []string
	for _, h := range fields(s) {
		if strings.ContainsAny(h, "/:@ ") {
			f.add("HOSTS", "holds %q; give names only, without scheme and port, e.g. saw.local", h)
			continue
		}
		hosts = append(hosts, strings.ToLower(h))
	}
	return hosts
}

// secretList reads secrets as Standard Webhooks 1.0.0 writes them: whsec_ and
// the base64 of 24 to 64 bytes. Its faults never quote one.
func secretList(f *faults, name, s string) []Secret {
	var list []Secret
	for i, v := range fields(s) {
		key, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(v, "whsec_"))
		switch {
		case !strings.HasPrefix(v, "whsec_"):
			f.add(name, "holds something that does not begin with whsec_ (number %d of the list)", i+1)
		case err != nil:
			f.add(name, "holds a secret that is not whsec_ and base64 (number %d of the list)", i+1)
		case len(key) < 24 || len(key) > 64:
			f.add(name, "holds a secret of %d bytes (number %d of the list); it takes 24 to 64", len(key), i+1)
		default:
			list = append(list, NewSecret(v))
		}
	}
	return list
}

// zone returns the name of a time zone; that of this machine for "Local".
func zone(f *faults, s string) string {
	if s == "Local" {
		return machineZone()
	}
	if _, err := time.LoadLocation(s); err != nil {
		f.add("ZONE", "is %q, which is not a time zone; give one like Europe/Berlin or America/Chicago", s)
	}
	return s
}

func onOff(f *faults, name, s string) bool {
	if s != "on" && s != "off" && s != "" {
		f.add(name, "is %q; give on or off", s)
	}
	return s == "on"
}

func number(f *faults, name, s string, low, high float64) float64 {
	n, err := strconv.ParseFloat(s, 64)
	if s != "" && (err != nil || !(n >= low && n <= high)) {
		f.add(name, "is %q; give a number from %v to %v", s, low, high)
	}
	return n
}

func duration(f *faults, name, s string, low, high time.Duration) time.Duration {
	d, err := time.ParseDuration(s)
	if s != "" && (err != nil || d < low || d > high) {
		f.add(name, "is %q; give a time from %v to %v, e.g. 15s", s, low, high)
	}
	return d
}

// fields splits a list at commas and spaces.
func fields(s string) []string {
	return strings.FieldsFunc(s, func(r rune) bool { return r == ',' || r == ' ' || r == '\n' || r == '\t' })
}
