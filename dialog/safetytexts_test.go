package dialog_test

import (
	"slices"
	"strings"
	"testing"

	"shimwright/dialog/reading"
	"shimwright/dialog/wording"
)

// said in a safety text: an item that has to be acknowledged, and a phrase for
// it in each language. The items are those of the project's contract on safety;
// behind them stand 29 CFR 1910.147 (a)(2)(iii)(A) for the plug in one's own
// keeping, 29 CFR 1910.213 (c)(1) and (2) for hood and spreader, HSE's page on
// circular saw benches for the guard, and for the rest common practice, no source.
type acknowledged struct {
	item    string
	phrases map[string]string
}

// unplugged is what a person confirms before a hand comes near the saw.
var unplugged = []acknowledged{
	{"the blade stands still", map[string]string{"en": "blade at rest", "de": "Blatt steht", "es": "disco parado"}},
	{"the plug is out", map[string]string{"en": "plug pulled", "de": "Stecker gezogen", "es": "enchufe sacado"}},
	{"the plug is in this person's keeping", map[string]string{"en": "kept by you", "de": "bei dir", "es": "contigo"}},
	{"without a plug: isolator off", map[string]string{"en": "hard-wired: isolator", "de": "fest angeschlossen: Trennschalter aus", "es": "conexión fija: seccionador cortado"}},
	{"and locked", map[string]string{"en": "locked off", "de": "abgeschlossen", "es": "candado"}},
	{"start was tried once", map[string]string{"en": "start pressed once", "de": "einmal Start gedrückt", "es": "marcha pulsada una vez"}},
	{"and nothing ran", map[string]string{"en": "nothing runs", "de": "nichts läuft", "es": "nada arranca"}},
	{"the switch is off again", map[string]string{"en": "switch back to off", "de": "Schalter wieder aus", "es": "interruptor otra vez en apagado"}},
	{"the blade is turned by its plate", map[string]string{"en": "by the plate", "de": "am Stammblatt", "es": "por el cuerpo"}},
	{"not by its teeth", map[string]string{"en": "not the teeth", "de": "nicht an den Zähnen", "es": "no por los dientes"}},
	{"a brake that holds it: the manual", map[string]string{"en": "brake that holds the blade: see the manual", "de": "Hält eine Bremse das Blatt: siehe Anleitung", "es": "Si un freno sujeta el disco: mira el manual"}},
	{"the manual goes first", map[string]string{"en": "The manual and", "de": "Anleitung und", "es": "El manual y"}},
	{"and local rules", map[string]string{"en": "local rules come first", "de": "örtliche Regeln gehen vor", "es": "las normas locales mandan"}},
}

// guarded is what a person confirms before a cut.
var guarded = []acknowledged{
	{"all this while it is still unplugged", map[string]string{"en": "Still unplugged", "de": "Noch ausgesteckt", "es": "Aún desenchufada"}},
	{"arbor nut tight", map[string]string{"en": "arbor nut tight", "de": "Wellenmutter fest", "es": "tuerca del eje apretada"}},
	{"wrench out", map[string]string{"en": "wrench, ", "de": "Schlüssel", "es": "llave, "}},
	{"spindle lock out", map[string]string{"en": "spindle lock out", "de": "Arretierung raus", "es": "bloqueo fuera"}},
	{"every lock nut tight", map[string]string{"en": "lock nuts", "de": "Kontermuttern", "es": "contratuercas"}},
	{"every bolt of the slider, the table or the trunnion", map[string]string{"en": "BOLTS", "de": "BOLTS", "es": "BOLTS"}},
	{"tilt lock tight", map[string]string{"en": "tilt lock", "de": "Schwenk-", "es": "bloqueos de inclinación"}},
	{"fence clamps tight", map[string]string{"en": "fence clamps tight", "de": "Anschlagklemmen fest", "es": "guías apretados"}},
	{"table insert in", map[string]string{"en": "table insert in", "de": "Einlage drin", "es": "placa puesta"}},
	{"scoring blade set or lowered", map[string]string{"en": "scoring blade set or down", "de": "Vorritzer gestellt oder unten", "es": "incisor listo o bajado"}},
	{"tools away", map[string]string{"en": "tools", "de": "Werk-", "es": "útiles"}},
	{"indicators away", map[string]string{"en": "indicators away", "de": "Messzeug weg", "es": "relojes fuera"}},
	{"the blade turned by hand, by its plate, one full turn", map[string]string{"en": "Turn the blade by the plate one full turn", "de": "Blatt am Stammblatt einmal herum", "es": "Gira el disco por el cuerpo una vuelta"}},
	{"the slider, or the gauge, its full stroke", map[string]string{"en": "SWEEP", "de": "SWEEP", "es": "SWEEP"}},
	{"at 90 degrees", map[string]string{"en": "at 90 deg", "de": "bei 90 Grad", "es": "a 90"}},
	{"and at the angle of the cut", map[string]string{"en": "the angle to be cut", "de": "Schnittwinkel", "es": "ángulo de corte"}},
	{"touching nothing", map[string]string{"en": "nothing touches", "de": "nichts streift", "es": "nada roza"}},
	{"then the guard", map[string]string{"en": "Then guard", "de": "Dann Haube", "es": "Luego protector"}},
	{"and the riving knife in place", map[string]string{"en": "riving knife on", "de": "Spaltkeil dran", "es": "cuchillo puestos"}},
	{"eyes protected", map[string]string{"en": "eyes", "de": "Augen", "es": "ojos"}},
	{"ears protected", map[string]string{"en": "ears protected", "de": "Ohren geschützt", "es": "oídos cubiertos"}},
	{"gloves off", map[string]string{"en": "gloves off", "de": "Handschuhe aus", "es": "sin guantes"}},
	{"sleeves tight", map[string]string{"en": "sleeves tight", "de": "Ärmel eng", "es": "mangas ceñidas"}},
	{"phone put down", map[string]string{"en": "phone down", "de": "Handy weg", "es": "móvil fuera"}},
	{"nobody in line", map[string]string{"en": "nobody in line", "de": "niemand in der Flucht", "es": "nadie en línea"}},
	{"extraction running", map[string]string{"en": "extraction on", "de": "Absaugung an", "es": "aspiración en marcha"}},
}

// putBack is what a person confirms when they leave a saw that was open.
var putBack = []acknowledged{
	{"it is not to be run as it is", map[string]string{"en": "Do not run the saw", "de": "nicht laufen", "es": "No pongas en marcha la sierra"}},
	{"nuts may be loose", map[string]string{"en": "nuts may be loose", "de": "Muttern können lose sein", "es": "puede haber tuercas flojas"}},
	{"the guard may be off", map[string]string{"en": "guard may be off", "de": "Haube kann fehlen", "es": "faltar el protector"}},
	{"all is tightened", map[string]string{"en": "Tighten every lock nut, bolt and clamp", "de": "Alle Kontermuttern, Schrauben und Klemmen fest", "es": "Aprieta cada contratuerca, tornillo y bloqueo"}},
	{"tools away", map[string]string{"en": "tools away", "de": "Werkzeug weg", "es": "útiles fuera"}},
	{"guard and riving knife back", map[string]string{"en": "guard and riving knife back in place", "de": "Haube und Spaltkeil wieder dran", "es": "protector y cuchillo divisor en su sitio"}},
}

// TestSafetyTexts holds what is asked before a hand comes near the saw, before a
// cut and when a saw is left, against the list of what has to be acknowledged, item by
// item and in every language, on every kind of saw: a text that is made shorter
// loses none. It fits a text message of three parts.
func TestSafetyTexts(t *testing.T) {
	for _, lang := range wording.Languages() {
		v := wording.NewVoice(lang, reading.MM)
		say := func(id string, args ...any) string { return v.Say(wording.T(id, args...)) }
		holds := func(what, text string, list []acknowledged, with *strings.Replacer) {
			t.Helper()
			for _, a := range list {
				phrase := with.Replace(a.phrases[lang])
				if phrase == "" || !strings.Contains(text, phrase) {
					t.Errorf("%s, %s: %s (%q) is not in: %s", lang, what, a.item, phrase, text)
				}
			}
			if n := septets(text); n > 3*153 {
				t.Errorf("%s, %s: %d characters, at most %d", lang, what, n, 3*153)
			}
		}
		asIs := strings.NewReplacer()
		holds("unplugged", say("safety.unplugged.ask"), unplugged, asIs)
		holds("put right", say("safety.putright.ask"), putBack, asIs)
		for _, kind := range [][2]string{{"slider", "slider"}, {"table", "gauge"}, {"trunnion", "gauge"}} {
			b, s := say("safety.bolts."+kind[0]), say("safety.guarded."+kind[1])
			scoring := say("safety.guarded.scoring") // only a saw with a slider may have it
			list := guarded
			if kind[0] != "slider" {
				scoring = ""
				list = slices.DeleteFunc(slices.Clone(guarded), func(a acknowledged) bool { return strings.HasPrefix(a.item, "scoring") })
			}
			text := say("safety.guarded.ask", "Bolts", b, "Sweep", s, "Scoring", scoring)
			holds("guarded, "+kind[0], text, list, strings.NewReplacer("BOLTS", b, "SWEEP", s))
		}
	}
}
