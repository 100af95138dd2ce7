package virtualsaw

import "testing"

// A reading that was questioned is taken as it was meant, its side included.
func TestAmount(t *testing.T) {
	for _, c := range []struct{ said, offered string }{
		{"0.526 low", "0.526 mm low"}, {"-0.53", "0.53 mm low"}, {"+0.06", "0.06 mm high"}, {"3.5 thou high", "3.5 thou high"},
		{"at the bottom 0.10 goes, 0.15 doesn't", "0.10 open at the bottom"},
	} {
		if amount(c.said) != amount(c.offered) {
			t.Errorf("%q is %s, %q is %s", c.said, amount(c.said), c.offered, amount(c.offered))
		}
	}
	if amount("0.526 low") == amount("0.526 mm high") {
		t.Error("low is taken for high")
	}
}
