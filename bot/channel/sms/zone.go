package sms

import (
	"slices"
	"strings"

	"github.com/nyaruka/phonenumbers"
	"golang.org/x/text/language"
)

// Language returns the language that most speak where a number, in the form of
// E.164, is used, as CLDR's likely subtags have it: de for +49; "" where the
// number says nothing.
func Language(number string) string {
	n, err := phonenumbers.Parse(number, "")
	if err != nil {
		return ""
	}
	code := phonenumbers.GetRegionCodeForNumber(n)
	if code == "" { // a number that is not in use, as far as is known
		code = phonenumbers.GetRegionCodeForCountryCode(int(n.GetCountryCode()))
	}
	region, err := language.ParseRegion(code)
	if err != nil || !region.IsCountry() {
		return ""
	}
	tag, err := language.Compose(region)
	if err != nil {
		return ""
	}
	base, sure := tag.Base()
	if sure == language.No {
		return ""
	}
	return base.String()
}

// maxZones is how many time zones can be offered to a person at once.
const maxZones = 4

// Zones returns the time zones of the tz database in which a number, in the
// form of E.164, is used, parted by spaces: what its country and area code say.
// near decides where it is one of several; "" where a number says nothing.
func Zones(number, near string) string {
	list, err := phonenumbers.GetTimezonesForPrefix(number)
	switch {
	case err != nil || slices.Equal(list, []string{phonenumbers.UNKNOWN_TIMEZONE}):
		return ""
	case slices.Contains(list, near):
		return near
	case len(list) > maxZones:
		return ""
	}
	return strings.Join(list, " ")
}
