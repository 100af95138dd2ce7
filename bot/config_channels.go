package main

import (
	"net/netip"
	"strconv"
	"strings"

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
