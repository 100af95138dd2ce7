package calc

import (
	"errors"
	"math"
)

// reporter is what *testing.T and *rapid.T have in common, as far as needed.
type reporter interface {
	Helper()
	Errorf(format string, args ...any)
	Logf(format string, args ...any)
}

// within fails the test unless got is within tol of want.
func within(t reporter, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.12g, want %.12g ± %.3g", what, got, want, tol)
	}
}

// significant fails the test unless got agrees with want in n significant digits.
func significant(t reporter, what string, got, want float64, n int) {
	t.Helper()
	within(t, what, got, want, math.Abs(want)*0.5*math.Pow(10, float64(1-n)))
}

// refused fails the test unless err is an InputError that names the input.
func refused(t reporter, err error, input string) {
	t.Helper()
	var e *InputError
	if !errors.As(err, &e) {
		t.Errorf("error = %v, want an InputError for %s", err, input)
	} else if e.Input != input {
		t.Errorf("error = %v, want it to name %s", err, input)
	}
}

// sane fails the test when a calculation without error gave a NaN, or one with
// an error gave one that is not an InputError.
func sane(t reporter, err error, results ...float64) {
	t.Helper()
	var e *InputError
	if err != nil {
		if !errors.As(err, &e) || e.Input == "" || e.Reason == "" {
			t.Errorf("error %v is not an InputError that says which input", err)
		}
		return
	}
	for i, r := range results {
		if math.IsNaN(r) || math.IsInf(r, 0) {
			t.Errorf("result %d is %v without an error", i, r)
		}
	}
}

// Numbers that no reading can be.
var unusable = []float64{math.NaN(), math.Inf(1), math.Inf(-1)}
