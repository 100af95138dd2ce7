package page

import "testing"

// A label's address names its saw: the page puts the name into the field, sends
// nothing by itself, and the address is clean afterwards. A word of safety that
// is being asked for is not put there.
func TestPageFromLabel(t *testing.T) {
	s := newService(t)
	b := open(t, s.url()+"?saw=Old%20Blue", 390, 844)
	b.until(`document.querySelector("#text").value === "Old Blue"`)
	b.until(`location.search === ""`)
	if list := s.received(); len(list) > 0 {
		t.Errorf("sent by itself: %+v", list)
	}
	b.quiet()
	b.sends("")
	b.says("You said: Old Blue")
	if got := said(s.received()); got != "Old Blue" {
		t.Errorf("sent %q", got)
	}

	b.sends("level")
	b.says("Answer with the word unplugged")
	again := b.another(s.url() + "?saw=unplugged")
	again.says("Answer with the word unplugged")
	again.until(`location.search === ""`)
	if got := js[string](again, `document.querySelector("#text").value`); got != "" {
		t.Errorf("a word of safety came from an address: %q", got)
	}
}
