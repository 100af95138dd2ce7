package calc

// Checks of the geometry's inputs. Each returns an InputError that names the
// input.

// named is a number with the name that its function's documentation gives it.
type named struct {
	name  string
	value float64
}

// finiteEach refuses the first value that is NaN or infinite.
func finiteEach(values ...named) error {
	for _, v := range values {
		if err := finite(v.name, v.value); err != nil {
			return err
		}
	}
	return nil
}

// positiveEach refuses the first value that is not a finite one above zero.
func positiveEach(values ...named) error {
	for _, v := range values {
		if err := positive(v.name, Length(v.value)); err != nil {
			return err
		}
	}
	return nil
}

// largestAngle is where an error stops being one of adjustment. A reading that
// gives more is a slip.
const largestAngle = 10 * Degree

func smallAngle(input string, a Angle) error {
	if err := finite(input, float64(a)); err != nil {
		return err
	}
	if a.Abs() > largestAngle {
		return bad(input, "is more than ten degrees")
	}
	return nil
}

// positive returns an InputError unless the length is a finite one above zero.
func positive(input string, l Length) error {
	if err := finite(input, float64(l)); err != nil {
		return err
	}
	if l <= 0 {
		return bad(input, "is not positive")
	}
	return nil
}

// notNegative returns an InputError unless the length is finite and not below zero.
func notNegative(input string, l Length) error {
	if err := finite(input, float64(l)); err != nil {
		return err
	}
	if l < 0 {
		return bad(input, "is negative")
	}
	return nil
}

// checked returns a result that could be calculated.
func checked(input string, l Length) (Length, error) {
	if err := inRange(input, float64(l)); err != nil {
		return 0, err
	}
	return l, nil
}

// sameCount returns an InputError when a list has not one entry per support.
func sameCount(input string, got, want int) error {
	if got != want {
		return bad(input, "do not have one entry for each support")
	}
	return nil
}

func finiteLengths(input string, values []Length) error {
	for _, v := range values {
		if err := finite(input, float64(v)); err != nil {
			return err
		}
	}
	return nil
}

func sq(v float64) float64 { return v * v }
