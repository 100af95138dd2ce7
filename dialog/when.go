package dialog

import (
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"shimwright/dialog/reading"
)

// when understands a day that a person names: "tomorrow", "in two weeks",
// "Saturday", "12 March", "2026-03-12". Words come from the catalogue. The day
// is in the person's zone and after today.
func (st *step) when(text string) (time.Time, bool) {
	words := dayWords(text)
	today := st.now.In(st.place(st.person))
	if d, err := time.ParseInLocation(time.DateOnly, strings.TrimSpace(text), today.Location()); err == nil {
		return d, d.After(today)
	}
	has := func(id string) (int, bool) { return st.oneOf(id, words) }
	n, year := 1, 0
	i, counted := has("words.numbers")
	if counted {
		n = i + 1
	}
	for _, w := range words {
		switch v, ok := st.ordinal(w); {
		case ok && v >= 1000:
			year = v
		case ok:
			n, counted = v, true
		}
	}
	if n < 1 || n > 400 {
		return time.Time{}, false
	}
	if m, ok := has("words.months"); ok {
		return dayOf(today, year, time.Month(m+1), n)
	}
	switch unit, ok := has("words.spans"); {
	case ok && (year != 0 || !counted):
		return time.Time{}, false
	case ok && unit == 0:
		return today.AddDate(0, 0, n), true
	case ok && unit == 1:
		return today.AddDate(0, 0, 7*n), true
	case ok && unit == 2:
		return monthsAfter(today, n), true
	case ok && unit == 3 && n <= 3:
		return monthsAfter(today, 12*n), true
	}
	if _, ok := has("words.tomorrow"); ok {
		return today.AddDate(0, 0, 1), true
	}
	if day, ok := has("words.weekdays"); ok {
		ahead := (day - int(today.Weekday()) + 7) % 7
		if ahead == 0 {
			ahead = 7
		}
		return today.AddDate(0, 0, ahead), true
	}
	return time.Time{}, false
}

// months understands how often a saw is to be checked, in whole months: "3",
// "two months", "month", "1 year". Days and weeks are none.
func (st *step) months(text string) (int, bool) {
	words := dayWords(text)
	n, counted := 1, false
	if i, ok := st.oneOf("words.numbers", words); ok {
		n, counted = i+1, true
	}
	for _, w := range words {
		if v, err := strconv.Atoi(w); err == nil {
			if counted {
				return 0, false
			}
			n, counted = v, true
		}
	}
	switch unit, ok := st.oneOf("words.spans", words); {
	case !ok:
		return n, counted
	case unit == 2:
		return n, true
	case unit == 3:
		return 12 * n, true
	}
	return 0, false
}

// aboutADay reports whether a text that names no day was meant to: it has a
// number, a weekday, a month or a span in it, and not the name of a saw.
func (st *step) aboutADay(text string) bool {
	words := dayWords(text)
	for _, saw := range st.usable() {
		if strings.HasSuffix(strings.Join(words, " "), strings.Join(dayWords(saw.Profile.Name), " ")) {
			return false
		}
	}
	for _, id := range []string{"words.spans", "words.months", "words.weekdays"} {
		if _, ok := st.oneOf(id, words); ok {
			return true
		}
	}
	return strings.ContainsFunc(text, unicode.IsDigit)
}

// dayWords are the words of a message about days.
func dayWords(text string) []string {
	return strings.FieldsFunc(reading.Fold(text), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) && r != '-' })
}

// oneOf returns which alternative of a catalogue entry stands among words.
func (st *step) oneOf(id string, words []string) (int, bool) {
	for i, forms := range st.voice.Forms(id) {
		for _, f := range forms {
			if slices.Contains(words, f) {
				return i, true
			}
		}
	}
	return 0, false
}

// ordinal reads a number, as 12 or 12th.
func (st *step) ordinal(w string) (int, bool) {
	for _, end := range st.phrases("words.ordinals") {
		w = strings.TrimSuffix(w, end)
	}
	n, err := strconv.Atoi(w)
	return n, err == nil
}

// dayOf is a day of a month; without a year the next one after today.
func dayOf(today time.Time, year int, month time.Month, day int) (time.Time, bool) {
	for y := today.Year(); y <= today.Year()+8; y++ { // 29 February may be that far
		d := time.Date(y, month, day, 0, 0, 0, 0, today.Location())
		if d.Day() == day && d.After(today) && (year == 0 || year == y) {
			return d, true
		}
	}
	return time.Time{}, false
}

// titled writes a name as the tz database does: America/New_York. Letters after
// a hyphen are capitals where hyphens is set: Porto-Novo, but Port-au-Prince.
func titled(s string, hyphens bool) string {
	r := []rune(strings.Join(strings.Fields(strings.ToLower(s)), "_"))
	for i := range r {
		if i == 0 || r[i-1] == '_' || r[i-1] == '/' || hyphens && r[i-1] == '-' {
			r[i] = unicode.ToUpper(r[i])
		}
	}
	return string(r)
}
