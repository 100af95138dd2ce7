package main

import (
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"slices"
	"strings"
)

// hosts are the names under which browsers reach the service. An address in
// numbers is always one of them: only a name can be rebound to this machine by
// somebody else's name server.
type hosts struct {
	names  []string // lower case, without port
	public string   // scheme and host of the public address, "" when not set
}

// newHosts returns the configured names, the public address and this
// machine's own name, plain and as multicast DNS (RFC 6762) has it.
func newHosts(cfg Config, machine string) hosts {
	h := hosts{names: slices.Clone(cfg.Hosts)}
	if cfg.PublicURL != nil {
		h.public = cfg.PublicURL.Scheme + "://" + strings.ToLower(cfg.PublicURL.Host)
		h.names = append(h.names, strings.ToLower(cfg.PublicURL.Hostname()))
	}
	if machine = strings.ToLower(machine); machine != "" {
		short, _, _ := strings.Cut(machine, ".")
		h.names = append(h.names, machine, short+".local")
	}
	return h
}

// check refuses a request that was not meant for the service, or that a page
// of another origin makes. Its error is a *problem.
func (h hosts) check(r *http.Request) error {
	name := hostName(r.Host)
	if !h.ours(name) {
		return wrongHost()
	}
	origin := r.Header.Get("Origin")
	switch {
	case origin == "" && r.Header.Get("Sec-Fetch-Site") == "cross-site" && r.Header.Get("Sec-Fetch-Mode") != "navigate":
		return forbidden("Another site asked for this.")
	case origin == "" || h.sameOrigin(origin, r):
		return nil
	}
	return forbidden("A page of %s asked for this; only the service's own page may.", clip(origin))
}

func (h hosts) ours(name string) bool {
	if _, err := netip.ParseAddr(name); err == nil {
		return true
	}
	return loopbackHost(name) || slices.Contains(h.names, name)
}

// sameOrigin reports whether the origin is the page that was called: the same
// host and port, or, behind a proxy that changes the Host, the public address.
func (h hosts) sameOrigin(origin string, r *http.Request) bool {
	u, err := url.Parse(origin)
	if err != nil || u.Host == "" {
		return false // "null" too: a page without an origin
	}
	if h.public != "" && strings.EqualFold(origin, h.public) {
		return true
	}
	return strings.EqualFold(u.Host, r.Host)
}

// hostName is a Host without its port and brackets, in lower case.
func hostName(host string) string {
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	return strings.ToLower(strings.TrimSuffix(strings.Trim(host, "[]"), "."))
}

// loopbackHost reports whether a name means this machine and nothing else
// (RFC 6761, section 6.3).
func loopbackHost(name string) bool {
	if ip, err := netip.ParseAddr(name); err == nil {
		return ip.IsLoopback()
	}
	return name == "localhost" || strings.HasSuffix(name, ".localhost")
}
