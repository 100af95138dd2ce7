package main

import (
	"fmt"
	"io"
	"net"
	"net/netip"
	"strings"
	"time"

	"rsc.io/qr"
)

// browserURL is the address to open in a browser on this machine.
func browserURL(at net.Addr) string {
	ap, err := netip.ParseAddrPort(at.String())
	if err != nil {
		return "http://" + at.String()
	}
	if ap.Addr().IsUnspecified() {
		ap = netip.AddrPortFrom(netip.AddrFrom4([4]byte{127, 0, 0, 1}), ap.Port())
	}
	return "http://" + ap.String()
}

// linkURL is the address of a pairing link: under the public address where
// there is one, otherwise under the address by which the workshop's network
// reaches this machine.
func linkURL(cfg Config, at net.Addr, token string) string {
	return baseURL(cfg, at) + "/pair/" + token
}

// baseURL is that address without a path.
func baseURL(cfg Config, at net.Addr) string {
	if cfg.PublicURL != nil {
		return strings.TrimSuffix(cfg.PublicURL.String(), "/")
	}
	if ap, err := netip.ParseAddrPort(at.String()); err == nil && ap.Addr().IsUnspecified() {
		if ip, ok := networkAddress(); ok {
			return "http://" + netip.AddrPortFrom(ip, ap.Port()).String()
		}
	}
	return browserURL(at)
}

// knownBase is the base address as the settings alone tell it, "" where they
// leave the port open.
func knownBase(cfg Config) string {
	if cfg.PublicURL == nil && cfg.Listen.Port() == 0 {
		return ""
	}
	return baseURL(cfg, net.TCPAddrFromAddrPort(cfg.Listen))
}

// networkAddress is the address of this machine in its network: IPv4 where
// there is one, a private one first.
func networkAddress() (netip.Addr, bool) {
	list, err := net.InterfaceAddrs()
	if err != nil {
		return netip.Addr{}, false
	}
	var best netip.Addr
	most := 0
	for _, a := range list {
		p, err := netip.ParsePrefix(a.String())
		if err != nil || !p.Addr().IsGlobalUnicast() {
			continue
		}
		score := 1
		if p.Addr().Is4() {
			score = 2
			if p.Addr().IsPrivate() {
				score = 3
			}
		}
		if score > most {
			best, most = p.Addr(), score
		}
	}
	return best, most > 0
}

// printLink shows a pairing link, in letters and as a QR code.
func printLink(w io.Writer, url string, l link, now time.Time) {
	fmt.Fprintf(w, "\nTo pair a phone or tablet for %s, open this link on it, once, within %d minutes:\n\n  %s\n\n",
		l.Person, int(l.Expires.Sub(now).Round(time.Minute).Minutes()), url)
	if code, err := qr.Encode(url, qr.L); err == nil {
		fmt.Fprintln(w, qrText(code))
	}
}

// border is the empty border of a QR code: four modules, as ISO/IEC 18004 asks.
const border = 4

// qrText draws a QR code with half blocks, two modules a character, light on
// dark so that it reads on a dark and, with the drawn border, on a light
// terminal.
func qrText(c *qr.Code) string {
	var b strings.Builder
	light := func(x, y int) bool { return !c.Black(x, y) }
	for y := -border; y < c.Size+border; y += 2 {
		for x := -border; x < c.Size+border; x++ {
			switch top, bottom := light(x, y), light(x, y+1) || y+1 >= c.Size+border; {
			case top && bottom:
				b.WriteRune('█')
			case top:
				b.WriteRune('▀')
			case bottom:
				b.WriteRune('▄')
			default:
				b.WriteRune(' ')
			}
		}
		b.WriteByte('\n')
	}
	return b.String()
}
