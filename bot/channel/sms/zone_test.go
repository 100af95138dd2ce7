package sms

import (
	"strings"
	"testing"
	"time"
	_ "time/tzdata"
)

// Zones of numbers by their country and area codes. The codes are those of ITU-T
// E.164 and of the North American numbering plan (212 New York, 310 Los Angeles,
// 800 toll-free anywhere); the zones are common knowledge.
func TestZones(t *testing.T) {
	for _, c := range []struct{ number, near, want string }{
		{"+4915550000001", "", "Europe/Berlin"},
		{"+12125550100", "Europe/Berlin", "America/New_York"},
		{"+13105550100", "", "America/Los_Angeles"},
		{"+64211234567", "", "Pacific/Auckland"},
		{"+34600000000", "", "Europe/Madrid"},
		{"+351912345678", "", "Atlantic/Azores Europe/Lisbon"},
		{"+351912345678", "Europe/Lisbon", "Europe/Lisbon"},
		{"+18005550100", "", ""},
		{"+18005550100", "America/Denver", "America/Denver"},
		{"+9991234567", "", ""},
		{"", "", ""},
	} {
		got := Zones(c.number, c.near)
		if got != c.want {
			t.Errorf("%s near %q: %q, want %q", c.number, c.near, got, c.want)
		}
		for name := range strings.FieldsSeq(got) {
			if _, err := time.LoadLocation(name); err != nil {
				t.Errorf("%s: %v", c.number, err)
			}
		}
	}
}

// The languages are those of CLDR's likely subtags (supplemental data, und_DE →
// de_Latn_DE and so on), by the country of ITU-T E.164's list.
func TestLanguage(t *testing.T) {
	for number, want := range map[string]string{
		"+4915550000001": "de", "+436641234567": "de", "+41791234567": "de", "+34612345678": "es", "+525512345678": "es",
		"+5491123456789": "es", "+447700900123": "en", "+12125550123": "en", "+33612345678": "fr", "+81312345678": "ja",
		"+80012345678": "", "+999": "", "": "", "kim": "",
	} {
		if got := Language(number); got != want {
			t.Errorf("%s: %q, want %q", number, got, want)
		}
	}
}
