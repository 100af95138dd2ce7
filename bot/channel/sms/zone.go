package sms

import (
	"slices"
	"strings"

	"github.com/nyaruka/phonenumbers"
)

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
