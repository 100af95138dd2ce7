package dialog

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode"

	"shimwright/calc"
	"shimwright/dialog/guard"
	"shimwright/dialog/wording"
)

// Check reports, in a sentence for whoever brought it, what is wrong with a
// record that comes from outside: nothing that a later reckoning could stumble
// over, or that nobody could read, is taken.
func (r Record) Check() error {
	for _, f := range []struct{ name, text string }{{"id", r.ID}, {"saw", r.Saw}, {"procedure", r.Procedure}, {"characteristic", r.Characteristic}} {
		if f.text == "" {
			return fmt.Errorf("its %s is missing", f.name)
		}
	}
	for _, text := range []string{r.ID, r.Saw, r.Procedure, r.Characteristic, r.Person, r.Tool, r.Blade, r.Remarks, r.Corrects} {
		if i := strings.IndexFunc(text, func(c rune) bool { return unicode.IsControl(c) && c != '\n' || c == unicode.ReplacementChar }); i >= 0 {
			return fmt.Errorf("it holds a control character, in %q", text)
		}
	}
	switch {
	case !KnownCharacteristic(r.Characteristic):
		return fmt.Errorf("its characteristic %q is not one that is measured here; slider.level, slider.toe, crosscut:90 and tilt:45 are", r.Characteristic)
	case r.At.IsZero():
		return errors.New("its time is missing; times look like 2026-03-02T09:14:05Z")
	case r.Unit != "mm" && r.Unit != "rad":
		return fmt.Errorf("its unit is %q; lengths are kept in mm, angles in rad", r.Unit)
	case r.Decision != calc.Within.String() && r.Decision != calc.Outside.String() && r.Decision != calc.Undecided.String() && r.Decision != "open":
		return fmt.Errorf("its decision is %q; it is within, outside, undecided or open", r.Decision)
	case r.Corrects == r.ID:
		return errors.New("it corrects itself")
	case r.Low != nil && r.High != nil && *r.Low > *r.High:
		return fmt.Errorf("its tolerance goes from %g down to %g", *r.Low, *r.High)
	}
	return r.checkNumbers()
}

// span bounds what a record can hold: nothing at a saw is a kilometre long.
const span = 1e6

func (r Record) checkNumbers() error {
	numbers := []float64{r.Resolution}
	for _, m := range []*Measured{r.AsFound, r.AsLeft} {
		if m != nil {
			numbers = append(numbers, m.Value, m.Uncertainty)
			if m.Uncertainty < 0 {
				return fmt.Errorf("an uncertainty is %g; it cannot be negative", m.Uncertainty)
			}
		}
	}
	for _, v := range []*float64{r.Low, r.High} {
		if v != nil {
			numbers = append(numbers, *v)
		}
	}
	for _, q := range r.Readings {
		numbers = append(numbers, q.Low, q.High)
	}
	for _, v := range numbers {
		if math.IsNaN(v) || math.Abs(v) > span {
			return fmt.Errorf("it holds the number %g, which is none that was measured", v)
		}
	}
	return nil
}

// InUTC returns the record with its times in UTC, the form in which records
// are compared.
func (r Record) InUTC() Record {
	utc := func(m *Measured) *Measured {
		if m == nil {
			return nil
		}
		c := *m
		c.At = c.At.UTC()
		return &c
	}
	r.At, r.AsFound, r.AsLeft = r.At.UTC(), utc(r.AsFound), utc(r.AsLeft)
	list := make([]RecordReading, len(r.Readings))
	for i, q := range r.Readings {
		q.At = q.At.UTC()
		list[i] = q
	}
	if r.Readings = list; len(list) == 0 {
		r.Readings = nil
	}
	return r
}

// KnownCharacteristic reports whether something is measured under this name.
func KnownCharacteristic(c string) bool {
	voice := wording.NewVoice("", 0)
	if voice.Phrases("what."+c) != nil {
		return true
	}
	kind, stop, ok := strings.Cut(c, ":")
	degrees, err := strconv.ParseFloat(stop, 64)
	return ok && err == nil && degrees >= 0 && degrees <= 90 && degreesOf(degrees) == stop && voice.Phrases("what."+kind) != nil
}

// Elsewhere returns a saw as it comes from another shop or another time: no
// job runs, nothing that was acknowledged counts, no report page is open.
func (s Saw) Elsewhere(now time.Time) Saw {
	s.Report = ""
	if s.Running != nil {
		s.Parked = append(append([]Job{}, s.Parked...), *s.Running)
		s.Running = nil
	}
	if n := len(s.Power.Events); n > 0 {
		s.Power = s.Power.With(guard.Event{Kind: guard.Handed, Person: s.Power.Events[n-1].Person, At: now})
	}
	return s
}
