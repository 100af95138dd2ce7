package main

import (
	"net/netip"
	"strconv"
	"strings"

	"shimwright/bot/channel/matrix"
	"shimwright/bot/channel/sms"
)

// smsSettings are those of text messages; Gateway is "" when they are off.
type smsSettings struct {
	Gateway  string
	User     string
	Password Secret
	Secret   Secret
	From     string
	Own      string
	Region   string
	Parts    int
	People   []string // numbers of those who may write, in the form of E.164
}

// readSMS reads the settings of text messages. The gateway's address turns
// them on; without it the others would be a slip.
func (s settings) readSMS(f *faults, listen netip.AddrPort) smsSettings {
	c := smsSettings{User: s.SmsUser, Password: NewSecret(s.SmsPassword), Secret: NewSecret(s.SmsSecret), From: s.SmsFrom,
		Own: s.SmsOwn, Region: strings.ToUpper(s.SmsRegion), Parts: int(number(f, "SMS_PARTS", s.SmsParts, 1, 255))}
	if s.SmsGateway == "" {
		if s.SmsUser+s.SmsPassword+s.SmsSecret+s.SmsFrom+s.SmsPeople+s.SmsOwn+s.SmsRegion != "" {
			f.add("SMS_GATEWAY", "is not set, but other settings of text messages are; give the sendsms address of the gateway, "+
				"e.g. http://127.0.0.1:13013/cgi-bin/sendsms")
		}
		return smsSettings{}
	}
	c.Gateway = s.SmsGateway
	if c.Own == "" {
		c.Own = "http://127.0.0.1:" + strconv.Itoa(int(listen.Port())) + intakePath + sms.Name
	}
	for _, p := range fields(s.SmsPeople) {
		n, ok := sms.Number(p, c.Region)
		if !ok || !strings.HasPrefix(p, "+") && c.Region == "" {
			f.add("SMS_PEOPLE", "holds %q; give numbers with their country code, e.g. +4915550000001", mask(p))
			continue
		}
		c.People = append(c.People, n)
	}
	if len(f.list) == 0 {
		if _, err := sms.New(c.options(clock)); err != nil {
			f.add("SMS_GATEWAY", "is set, but text messages cannot be set up: %v", err)
		}
	}
	return c
}

// matrixSettings are those of Matrix; Homeserver is "" when it is off.
type matrixSettings struct {
	Homeserver string
	User       string
	ASToken    Secret
	HSToken    Secret
	People     []string // users and servers who may write
}

// readMatrix reads the settings of Matrix. The homeserver's address turns it
// on.
func (s settings) readMatrix(f *faults) matrixSettings {
	if s.MatrixHomeserver == "" {
		if s.MatrixUser+s.MatrixAsToken+s.MatrixHsToken+s.MatrixPeople != "" {
			f.add("MATRIX_HOMESERVER", "is not set, but other settings of Matrix are; give the homeserver's address, e.g. http://127.0.0.1:8008")
		}
		return matrixSettings{}
	}
	c := matrixSettings{Homeserver: s.MatrixHomeserver, User: s.MatrixUser,
		ASToken: NewSecret(s.MatrixAsToken), HSToken: NewSecret(s.MatrixHsToken)}
	for _, p := range fields(s.MatrixPeople) {
		if err := matrix.CheckAllowed(p); err != nil {
			f.add("MATRIX_PEOPLE", "holds %q; each entry %v", p, err)
			continue
		}
		c.People = append(c.People, p)
	}
	if len(f.list) == 0 {
		if _, err := matrix.New(c.options(clock, nil)); err != nil {
			f.add("MATRIX_HOMESERVER", "is set, but Matrix cannot be set up: %v", err)
		}
	}
	return c
}
