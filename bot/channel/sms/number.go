package sms

import (
	"regexp"
	"strings"

	"github.com/nyaruka/phonenumbers"
)

// e164 is a number of ITU-T recommendation E.164: a plus sign, a country code
// and at most 15 digits in all.
var e164 = regexp.MustCompile(`^\+[1-9][0-9]{6,14}$`)

// Number returns a sender's number in the form of E.164; false for what is not
// a subscriber's number (a word, a short code), which nobody can answer or
// which would answer by itself. region is where numbers without a country code
// belong; "" where the gateway always gives one, with or without the plus sign.
func Number(from, region string) (string, bool) {
	s := strings.Map(func(r rune) rune {
		if strings.ContainsRune(" -./()", r) {
			return -1
		}
		return r
	}, from)
	if rest, ok := strings.CutPrefix(s, "00"); ok && region == "" {
		s = "+" + rest
	}
	if digits := strings.TrimPrefix(s, "+"); len(digits) < 7 || strings.Trim(digits, "0123456789") != "" {
		return "", false
	}
	if region == "" && !strings.HasPrefix(s, "+") {
		s = "+" + s
	}
	n, err := phonenumbers.Parse(s, region)
	if err != nil || !phonenumbers.IsPossibleNumber(n) {
		return "", false
	}
	out := phonenumbers.Format(n, phonenumbers.E164)
	if !e164.MatchString(out) {
		return "", false
	}
	return out, true
}

func knownRegion(region string) bool {
	return phonenumbers.GetSupportedRegions()[region]
}
