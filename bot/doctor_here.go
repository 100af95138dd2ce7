package main

import (
	"context"
	"encoding/base64"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"shimwright/store"
	"shimwright/store/redisstore"
)

// What the doctor looks at on this machine and in the store.

// Free space below which a disk is worth a look, and below which it is about
// to fail. A saw with years of records takes less than 1 MB.
const (
	lowSpace  = 500 << 20
	lastSpace = 50 << 20
)

func (v *visit) zone() {
	if v.cfg.Zone == "" {
		v.say(look, "time zone", "this machine does not say in which place's time it is, so people are asked without one to choose from; "+
			"set SHIMWRIGHT_ZONE, e.g. Europe/Berlin")
		return
	}
	v.say(fine, "time zone", "%s", v.cfg.Zone)
}

// secrets looks at the keys of signatures. A key of random bytes hardly ever
// repeats one often; text typed in by somebody does.
func (v *visit) secrets() {
	lists := []struct {
		part string
		list []Secret
	}{{"webhook secret", v.cfg.WebhookSecrets}}
	if !slices.Equal(v.cfg.CallbackSecrets, v.cfg.WebhookSecrets) {
		lists = append(lists, struct {
			part string
			list []Secret
		}{"callback secret", v.cfg.CallbackSecrets})
	}
	for _, l := range lists {
		for i, s := range l.list {
			key, _ := base64.StdEncoding.DecodeString(strings.TrimPrefix(s.Reveal(), "whsec_")) // checked with the settings
			switch {
			case slices.Index(l.list, s) < i:
				v.say(look, l.part, "number %d is there twice; leave one out", i+1)
			case weak(key):
				v.say(fault, l.part, "number %d is not random; make one with: echo whsec_$(openssl rand -base64 32)", i+1)
			default:
				v.say(fine, l.part, "number %d has %d random bytes", i+1, len(key))
			}
		}
	}
}

// weak reports whether a key looks written rather than drawn: few different
// bytes, or nothing but printable characters (of 24 random bytes that happens
// once in 10^10).
func weak(key []byte) bool {
	seen := map[byte]bool{}
	written := true
	for _, b := range key {
		seen[b] = true
		written = written && b >= ' ' && b < 0x7f
	}
	return written || len(seen) < len(key)/2
}

// doors looks at who can reach the service and how they are told apart.
func (v *visit) doors() {
	switch {
	case v.cfg.Loopback() && v.cfg.PublicURL == nil:
		v.say(fine, "reach", "only this machine reaches %s", v.cfg.Listen)
	case v.cfg.PublicURL == nil:
		v.say(look, "reach", "%s is open to the network without TLS, so whoever can listen there can read along and copy a device's cookie; "+
			"beyond a workshop of your own put a proxy with TLS in front and set SHIMWRIGHT_PUBLIC_URL", v.cfg.Listen)
	case v.cfg.PublicURL.Scheme != "https":
		v.say(look, "reach", "the public address is not https, so cookies go over the network in clear")
	case v.cfg.LocalOwner:
		v.say(look, "reach", "SHIMWRIGHT_LOCAL_OWNER is on behind a proxy: what the proxy passes on without an X-Forwarded-For header is the owner; turn it off")
	default:
		v.say(fine, "reach", "%s, told apart by pairing or signature", v.cfg.PublicURL)
	}
}

func (v *visit) folder() {
	const part = "data folder"
	i, err := os.Stat(v.cfg.Data)
	if errors.Is(err, os.ErrNotExist) {
		v.place(part)
		return
	}
	if err == nil && !i.IsDir() {
		err = errors.New("it is a file")
	}
	if err != nil {
		v.say(fault, part, "%s cannot be used (%v); set SHIMWRIGHT_DATA to another folder", v.cfg.Data, err)
		return
	}
	if f, err := os.CreateTemp(v.cfg.Data, ".doctor-*"); err != nil {
		v.say(fault, part, "this user cannot write in %s: chown it to the user of the service", v.cfg.Data)
		return
	} else {
		_ = f.Close()
		_ = os.Remove(f.Name())
	}
	for _, path := range []string{v.cfg.Data, filepath.Join(v.cfg.Data, dataFile)} {
		if i, err := os.Stat(path); err == nil && i.Mode().Perm()&0o077 != 0 {
			v.say(look, part, "other users of this machine can read %s: chmod go= it", path)
		}
	}
	free, known := freeSpace(v.cfg.Data)
	switch {
	case known && free < lastSpace:
		v.say(fault, part, "only %d MB are free on its disk; messages will soon be refused: make room", free>>20)
	case known && free < lowSpace:
		v.say(look, part, "%d MB are free on its disk", free>>20)
	default:
		v.say(fine, part, "%s, %d MB free", v.cfg.Data, free>>20)
	}
}

// place looks whether the data folder, which is not there yet, can be made.
func (v *visit) place(part string) {
	above := filepath.Dir(v.cfg.Data)
	for _, err := os.Stat(above); errors.Is(err, os.ErrNotExist) && above != filepath.Dir(above); _, err = os.Stat(above) {
		above = filepath.Dir(above)
	}
	f, err := os.CreateTemp(above, ".doctor-*")
	if err != nil {
		v.say(fault, part, "%s cannot be made, because this user cannot write in %s; make it and chown it to the user of the service, or set SHIMWRIGHT_DATA to another",
			v.cfg.Data, above)
		return
	}
	_ = f.Close()
	_ = os.Remove(f.Name())
	v.say(fine, part, "%s will be made at the first start", v.cfg.Data)
}

// file looks into the data file, where no service has it.
func (v *visit) file(ctx context.Context) {
	const part = "data file"
	if _, err := findDesk(v.cfg.Data); err == nil {
		v.say(fine, part, "a running service has it")
		return
	}
	if existing(v.cfg.Data) != nil {
		v.say(fine, part, "will be made at the first start")
		return
	}
	s, err := openStore(ctx, v.cfg)
	switch {
	case errors.Is(err, store.ErrNewer):
		v.say(fault, part, "%v; run that version, or restore a backup of this one", err)
		return
	case err != nil:
		v.say(fault, part, "%v", err)
		return
	}
	defer s.Close()
	v.inside(ctx, part, s)
}

// inside looks at what lies in a store.
func (v *visit) inside(ctx context.Context, part string, s store.Store) {
	list, err := s.Check(ctx)
	switch {
	case err != nil:
		v.say(fault, part, "it could not be checked: %v", err)
	case len(list) > 0:
		v.say(fault, part, "%s, the first: %s; restore the last backup into a new store", some(len(list), "inconsistency"), list[0])
	default:
		v.say(fine, part, "consistent")
	}
	stats, err := s.Stats(ctx, v.now)
	if err != nil {
		return
	}
	if stats.Dead > 0 {
		v.say(look, "dead letters", "%s given up; `dead` lists them", some(stats.Dead, "message"))
	}
	if stats.Skew.Abs() > maxSkew {
		v.say(fault, "clocks", "the clock of the store differs by %s from this machine's; let both follow a time server (NTP)", stats.Skew)
	}
}

func (v *visit) redis(ctx context.Context) {
	const part = "Redis"
	s, err := openRedis(ctx, v.cfg.RedisURL)
	if errors.Is(err, store.ErrFull) {
		v.say(fault, part, "%v, so messages are refused: raise maxmemory", err)
		return
	}
	if errors.Is(err, store.ErrUnavailable) {
		v.say(fault, part, "%v: start it, let this machine reach it, or correct SHIMWRIGHT_REDIS_URL", err)
		return
	}
	if err != nil {
		v.say(fault, part, "%v", err) // it says what to do, without the address
		return
	}
	defer s.Close()
	v.inside(ctx, part, s)
	r, ok := s.(*redisstore.Store)
	if !ok {
		return
	}
	list, err := r.Servers(ctx)
	if err != nil {
		v.say(look, part, "it does not describe itself: %v", err)
	}
	for _, server := range list {
		v.durable(server)
	}
}

// durable says what a server may lose.
func (v *visit) durable(s redisstore.Server) {
	const part = "Redis"
	major, _, _ := strings.Cut(s.Version, ".")
	switch {
	case !s.AppendOnly:
		v.say(fault, part, "%s keeps no append-only file: a restart loses everything since the last snapshot; set appendonly yes", s.Address)
	case s.Fsync == "everysec":
		v.say(look, part, "%s syncs every second: a power cut loses up to about a second of what was acknowledged; appendfsync always loses nothing", s.Address)
	case s.Fsync == "no":
		v.say(fault, part, "%s never syncs: a power cut loses what the kernel had not written; set appendfsync always", s.Address)
	case s.Fsync == "":
		v.say(look, part, "%s does not tell its appendfsync; always loses nothing at a power cut, everysec about a second", s.Address)
	default:
		v.say(fine, part, "%s, version %s, loses nothing that was acknowledged", s.Address, s.Version)
	}
	if len(major) == 1 && major < "7" {
		v.say(look, part, "%s is version %s; 7.0 is what is tested", s.Address, s.Version)
	}
	if s.Limit > 0 && s.Used > s.Limit/10*8 {
		v.say(look, part, "%s uses %d of %d MB; when it is full, messages are refused", s.Address, s.Used>>20, s.Limit>>20)
	}
}
