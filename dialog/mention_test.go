package dialog_test

import (
	"strings"
	"testing"
)

// TestMentioned answers a choice in more words than were offered. A denial, a
// question, a guess or two choices at once choose nothing.
func TestMentioned(t *testing.T) {
	for _, c := range []struct{ lang, begin, say, want string }{
		{"en", "", "it's on the right", "setup.accept"}, {"en", "", "left of the blade", "setup.accept"}, {"en", "", "there is no slider", "setup.slot"},
		{"en", "", "not the right", "setup.hand"}, {"en", "", "right?", "setup.hand"}, {"en", "", "maybe left", "setup.hand"}, {"en", "", "left or right", "setup.hand"},
		{"en", "", "no idea", "setup.hand"}, {"en", "", "it isn't on the left", "setup.hand"}, {"en", "", "I left my glasses at home and the saw stands right there", "setup.hand"},
		{"en", "left", "it has 8 stations", "setup.stations"}, {"en", "left", "the blade is 12 inch", "setup.blade"}, {"en", "left", "fine thread nuts", "setup.thread"},
		{"en", "left", "bevel stops and tools", "setup.accept"}, {"en", "left", "nothing", "setup.accept"},
		{"en", "", "about right", "setup.hand"}, {"en", "", "that's right", "setup.hand"}, {"en", "", "the slider is left of the blade", "setup.accept"},
		{"de", "", "ist recht", "setup.hand"}, {"es", "", "todo derecho", "setup.hand"},
		{"de", "", "auf der rechten Seite, also rechts", "setup.accept"}, {"de", "", "nicht links", "setup.hand"}, {"de", "links", "vier Stationen", "setup.stations"},
		{"es", "", "está a la derecha", "setup.accept"}, {"es", "", "no a la derecha", "setup.hand"}, {"es", "izquierda", "son 4 apoyos", "setup.stations"},
	} {
		sh := newShop()
		sh.view.People.Persons[0].Lang = c.lang
		set := map[string]string{"en": "set up", "de": "einrichten", "es": "preparar"}[c.lang]
		sh.say(set)
		sh.say("mm")
		sh.say("Birch")
		if c.begin != "" {
			sh.say(c.begin)
		}
		if p := sh.say(c.say).Turn.Prompt; p.Name != c.want {
			t.Errorf("%s %q: %s is asked, want %s\n%s", c.lang, c.say, p.Name, c.want, said(sh.result))
		}
	}
}

// TestAQuestionIsAnswered asks back what nobody foresaw: what the open question is
// for is said, and it is put again. At a safety question only the word counts.
func TestAQuestionIsAnswered(t *testing.T) {
	sh := newShop()
	for _, text := range []string{"level", "mm", "Birch", "left", "ok"} {
		sh.say(text)
	}
	for _, c := range []struct{ say, name, want string }{
		{"is it live?", "safety.unplugged", "not the word"}, {"unplugged", "slider.clean", "Wipe"}, {"with what?", "slider.clean", "A chip under"}, {"done", "slider.play", "play"},
		{"how hard do I rock it?", "slider.play", "rollers"}, {"0.01", "slider.height", "Support 1"}, {"which side of it?", "slider.height", "must not stand below"},
	} {
		if p := sh.say(c.say).Turn.Prompt; p.Name != c.name || !strings.Contains(said(sh.result), c.want) {
			t.Errorf("%q: %s is asked, want %s, and %q said:\n%s", c.say, p.Name, c.name, c.want, said(sh.result))
		}
	}
}
