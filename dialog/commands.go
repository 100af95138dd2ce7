package dialog

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
	"sync"

	"shimwright/calc"
	"shimwright/dialog/guard"
	"shimwright/dialog/reading"
	"shimwright/dialog/wording"
)

// grammarWords are the canonical names of what may be typed anywhere. The
// languages' own words for them are in the reading grammar and in the
// catalogue (words.…, alternatives parted by "|").
var grammarWords = []string{
	reading.Back.String(), reading.Fix.String(), reading.Where.String(), reading.Skip.String(), reading.Park.String(),
	reading.Menu.String(), reading.Units.String(), reading.History.String(), reading.Due.String(), reading.Moved.String(),
	reading.Why.String(), reading.HowFar.String(), reading.Which.String(),
}

// phraseCommands are commands that the catalogue lists the words of.
var phraseCommands = [...]string{"bumped", "newblade", "resume", "saws", "takeover", "setup", "edit", "copy", "retire"}

// Vocabularies that are the same at any moment.
var (
	grammar  = reading.NewVocabulary(grammarWords...)
	network  = reading.NewVocabulary(reading.Stop.String(), reading.Start.String(), reading.Help.String())
	assent   = reading.NewVocabulary(reading.OK.String())
	finished = reading.NewVocabulary(reading.Done.String(), reading.Yes.String(), reading.OK.String())
)

// network handles the words that telephone networks reserve: they mean the
// same everywhere and are taken only as the whole message.
func (st *step) network(text string) bool {
	word := strings.ToUpper(strings.TrimSpace(text))
	if st.voice.Is("words.stopall", bare(text)) >= 0 {
		word = "STOPALL"
	}
	switch word {
	case "STOP", "STOPALL", "UNSUBSCRIBE", "QUIT", "END", "CANCEL", "REVOKE", "OPTOUT", "OPT OUT":
		st.stop()
	case "START", "UNSTOP":
		st.s.Stopped = false
		st.say("start.done")
		st.show()
	case "HELP", "INFO":
		st.say("help.text")
		st.show()
	default:
		return st.reserved()
	}
	return true
}

// reserved handles the language's own words for what networks reserve, which
// are taken only as the whole message too: Hilfe, ayuda.
func (st *step) reserved() bool {
	word, _, ok := st.typed.Command(st.voice.Lang(), network)
	return ok && st.network(word)
}

// language changes the language that a person is spoken to in, on its name in
// any language.
func (st *step) language(text string) bool {
	l, ok := wording.Named(strings.Trim(strings.TrimSpace(text), ".?"))
	if !ok {
		return false
	}
	st.person.Lang = l
	st.people = true
	st.speak(st.person.ID)
	st.say("language.set")
	st.show()
	return true
}

// guessLanguage gives a person who has chosen no language the one that their
// channel suggests, otherwise that of the shop that they are new to. Where it is
// not their own word, or the two differ, the others are offered.
func (st *step) guessLanguage() {
	guess := cmp.Or(st.v.LangGuess, st.v.LangHere)
	differs := st.v.LangHere != "" && st.v.LangHere != guess
	if st.person.Lang != "" || guess == "" || guess == string(st.voice.Lang()) && !differs {
		return
	}
	st.person.Lang, st.people = guess, true
	st.speak(st.person.ID)
	if st.v.LangUnsure || st.v.LangGuess == "" {
		st.say("language.offer")
	}
}

// stop ends unasked messages at once and leaves the job as it is. While the
// saw may be open it says that it must not be run.
func (st *step) stop() {
	st.s.Stopped = true
	st.res.Silence = true
	if c := st.person.Consent; c != nil && c.Given {
		st.person.Consent = &Consent{Given: false, At: st.now}
		st.people = true
	}
	for _, d := range st.v.Due {
		if d.Person == st.person.ID {
			st.res.Forget = append(st.res.Forget, d.ID)
		}
	}
	id := "stop.done"
	for i := range st.v.Saws {
		saw := &st.v.Saws[i]
		mine := saw.Running != nil && saw.Running.Person == st.person.ID || saw.ID == st.s.Saw
		if st.v.People.Self(saw.Power.Opened()) == st.person.ID || mine && saw.Power.Open() { // opened by who handed it over, perhaps
			id = "stop.open"
		}
		if st.v.People.Self(saw.Power.Holder(st.now)) == st.person.ID {
			st.event(saw, guard.Resumed, st.now) // told to put it right, they plug in perhaps: the plug afresh
		}
	}
	st.turn(Reply{Text: st.voice.Say(wording.T(id)), Caution: id == "stop.open"}, PromptView{Kind: KindIdle})
}

// spoken is what may be typed anywhere in one language: commands, names of jobs,
// that power is on; the words at either end of a command about people; and what
// the supports of a slider are called.
type spoken struct {
	commands, jobs, powerOn *reading.Vocabulary
	people                  map[string]bool
	supports                []reading.Label
}

// languages holds that of each language.
var languages = sync.OnceValue(func() map[reading.Lang]spoken {
	all := map[reading.Lang]spoken{}
	for _, lang := range wording.Languages() {
		voice := wording.NewVoice(lang, reading.MM)
		commands := slices.Clone(grammarWords)
		for _, c := range phraseCommands {
			commands = append(commands, voice.Phrases("words."+c)...)
		}
		var jobs []string
		for _, p := range procedures {
			jobs = append(append(jobs, p.Name()), voice.Phrases("names."+p.Name())...)
		}
		all[voice.Lang()] = spoken{reading.NewVocabulary(commands...), reading.NewVocabulary(jobs...),
			reading.NewVocabulary(voice.Phrases("words.poweron")...), edges(voice, peopleCommands[:]), numbered(voice.Phrases("words.support"), 2*calc.MaxStations)}
	}
	return all
})

// edges returns the first and last words of all that means one of the commands.
func edges(voice *wording.Voice, commands []string) map[string]bool {
	words := map[string]bool{}
	for _, c := range commands {
		for _, forms := range voice.Forms("words." + c) {
			for _, f := range forms {
				parts := strings.Fields(f)
				words[parts[0]], words[parts[len(parts)-1]] = true, true
			}
		}
	}
	return words
}

// numbered names n points: each by its number, or by that after what such a
// point is called.
func numbered(called []string, n int) []reading.Label {
	labels := make([]reading.Label, n)
	for i := range labels {
		number := itoa(i + 1)
		labels[i] = reading.Label{Key: number, Names: []string{number}}
		for _, w := range called {
			labels[i].Names = append(labels[i].Names, w+" "+number)
		}
	}
	return labels
}

// vocabulary returns the commands that fit the moment; where one word stands for
// several, the earlier one counts. Where free text is asked, only the command
// words themselves count.
func (st *step) vocabulary() []*reading.Vocabulary {
	var saws []string
	for _, saw := range st.usable() {
		saws = append(saws, strings.ToLower(saw.Profile.Name))
	}
	here := languages()[st.voice.Lang()]
	return []*reading.Vocabulary{here.commands, reading.NewVocabulary(saws...), here.jobs}
}

// command handles a message that is a command. o is the open question, nil
// when no job runs.
func (st *step) command(text string, o *outcome) bool {
	if o != nil && o.prompt.Ask().Form == guard.Words && len(strings.Fields(text)) > 2 {
		return false
	}
	if o != nil && st.offered(o.prompt.Ask(), text) {
		return false
	}
	if st.workCommand(text, o) {
		return true
	}
	vocabulary := st.vocabulary()
	word, rest, ok := st.typed.Command(st.voice.Lang(), vocabulary...)
	if !ok || rest != "" && st.peoplePhrase(text) {
		return (o == nil || o.prompt.Ask().Form != guard.Words) && (st.peopleCommand(text) || st.foreign(o))
	}
	if o != nil && o.prompt.Ask().Form == guard.Words {
		if _, _, whole := st.typed.Whole(st.voice.Lang(), vocabulary...); !whole {
			return false // a near miss: a saw may be named "Parker"
		}
	}
	if saw := st.named(word); saw != nil {
		st.speakOf(saw)
		return true
	}
	if p := st.procedure(word); p != nil {
		st.called = word
		st.startBy(p)
		return true
	}
	for _, c := range phraseCommands {
		for _, w := range st.phrases("words." + c) {
			if w == word {
				if c == "resume" && o != nil && st.isOK(word) {
					return false // "continue" takes what was offered
				}
				return st.phrase(c, rest, o)
			}
		}
	}
	return st.word(reading.WordOf(word), rest, o)
}

// foreign handles a command in another language than the person is spoken to
// in: a page or a habit may have it, and nothing else is meant by it.
func (st *step) foreign(o *outcome) bool {
	for _, l := range wording.Languages() {
		if word, rest, ok := st.typed.Whole(reading.Lang(l), grammar); ok {
			return st.word(reading.WordOf(word), rest, o)
		}
	}
	return false
}

// offered reports whether the text is one of the choices just offered, to the
// letter or in other words for it, or the beginning of one: "fence" or "slot" is
// then that choice and not the job.
func (st *step) offered(a guard.Ask, text string) bool {
	if _, ok := st.begun(a.Choices, text); ok && a.Form == guard.Pick {
		return true
	}
	return a.Form == guard.Pick && slices.ContainsFunc(a.Choices, func(c guard.Choice) bool {
		return same(text, st.voice.Say(c.Text)) || slices.ContainsFunc(st.phrases(c.Also), func(w string) bool { return same(text, w) })
	})
}

// same reports whether a text is a name or a choice, whatever its case and
// accents.
func same(text, name string) bool {
	return slices.Contains(reading.Spellings(name), reading.Fold(strings.ReplaceAll(strings.TrimSpace(text), "-", " ")))
}

// procedure returns the procedure that a word starts.
func (st *step) procedure(word string) Procedure {
	for _, p := range procedures {
		if p.Name() == word {
			return p
		}
		for _, n := range st.phrases("names." + p.Name()) {
			if n == word {
				return p
			}
		}
	}
	return nil
}

// startBy starts a procedure on the saw that is meant, or asks which.
func (st *step) startBy(p Procedure) {
	if p.Name() == "setup" {
		st.addSaw("")
		return
	}
	if saw := st.focus(); saw != nil {
		st.start(saw, p)
		return
	}
	if len(st.usable()) == 0 {
		st.addSaw(p.Name())
		return
	}
	st.ask("which", map[string]string{"job": p.Name()})
}

// word handles the commands of the grammar.
func (st *step) word(w reading.Word, rest string, o *outcome) bool {
	saw := st.active()
	switch w {
	case reading.Menu:
		st.menu()
	case reading.Units:
		st.units(rest)
	case reading.History:
		st.history()
	case reading.Due:
		st.dueList()
	case reading.Moved:
		if o != nil && o.prompt.Class() == guard.Adjusts {
			st.say("moves.moved") // the parts just told, or the whole saw?
			st.show()
			return true
		}
		st.happened("moved")
	case reading.Where, reading.Why, reading.Which, reading.HowFar:
		if o == nil {
			st.menu()
			return true
		}
		st.explain(saw, *o, w)
	case reading.Back:
		st.back(saw, o)
	case reading.Fix:
		st.fix(saw, o, rest)
	case reading.Skip:
		st.skip(saw, o)
	case reading.Park:
		if saw == nil {
			st.say("park.nothing")
			st.idle()
			return true
		}
		if st.leave(saw, "", nil) {
			st.idle()
		}
	default:
		return false
	}
	return true
}

// phrase handles the commands whose words the catalogue lists.
func (st *step) phrase(c, rest string, o *outcome) bool {
	switch c {
	case "bumped":
		st.happened("bumped")
	case "newblade":
		st.happened("blade")
	case "saws":
		st.sawList()
	case "setup":
		st.addSaw("")
	case "edit", "copy", "retire":
		st.manage(c)
	case "takeover":
		saw := st.focus()
		if saw == nil || saw.Running == nil || saw.Running.Person == st.person.ID {
			return false
		}
		st.takeOver(saw)
	case "resume":
		saw := st.waiting()
		if saw != nil && saw.Running != nil {
			st.say("resume.running", "Job", titleOf(saw.Running.Procedure, saw.Profile), "Saw", nameOf(saw),
				"Parked", titleOf(saw.Parked[len(saw.Parked)-1].Procedure, saw.Profile))
			st.show()
			return true
		}
		if saw == nil || !st.unpark(saw, "") {
			st.say("resume.nothing")
			st.show()
			return true
		}
		st.say("resume.done", "Job", titleOf(saw.Running.Procedure, saw.Profile), "Saw", nameOf(saw))
		st.show()
	}
	return true
}

// waiting returns the saw whose job is to be taken up: the one that is spoken of,
// or the only one that has a job parked, before it has a name too.
func (st *step) waiting() *Saw {
	if saw := st.focus(); saw != nil && len(saw.Parked) > 0 {
		return saw
	}
	var only *Saw
	for i := range st.v.Saws {
		if s := &st.v.Saws[i]; !s.Retired && s.Running == nil && len(s.Parked) > 0 {
			if only != nil {
				return nil
			}
			only = s
		}
	}
	return only
}

// units sets the person's unit, or toggles it when none is named.
func (st *step) units(rest string) {
	unit := map[bool]string{true: "mm", false: "in"}[st.person.unit() == reading.Inch]
	for _, u := range []string{"mm", "in"} {
		if st.voice.Is("words.unit."+u, rest) >= 0 {
			unit = u
		}
	}
	st.person.Unit = unit
	st.people = true
	st.speak(st.person.ID)
	st.say("units.set." + unit)
	st.show()
}

// back takes the last answer away. A move that was made stays made: whether it
// was turned back is asked first.
func (st *step) back(saw *Saw, o *outcome) {
	if o == nil || saw == nil {
		st.say("back.nothing")
		st.show()
		return
	}
	i := lastGiven(saw.Running, *o)
	if i < 0 {
		st.say("back.nothing")
		st.show()
		return
	}
	if owing(saw, *o) {
		st.say("back.moves")
		st.show()
		return
	}
	if anyMade(saw.Running.Answers[i].Moves) {
		st.ask("turnedback", map[string]string{"i": strconv.Itoa(i)})
		return
	}
	st.take(saw, i)
	st.say("back.done")
	st.show()
}

// take removes an answer, and the outstanding advice that rested on it.
func (st *step) take(saw *Saw, i int) {
	j := saw.Running.edit()
	j.Answers = append(j.Answers[:i:i], j.Answers[i+1:]...)
	j.Told, j.Fix = nil, nil
	st.reread(saw, j)
}

// reread goes on with a job from which an answer was taken back or is asked again. A
// record that rests on it never changes, and is no longer to be relied on: from now on
// it is stale, until the job comes to it again and writes another one that points at
// it. Where the job is left before, it stays so: nobody has said that the reading was
// right after all.
func (st *step) reread(saw *Saw, j *Job) {
	was := st.current(saw).reached
	st.touch(saw).Running = j
	is := st.current(saw).reached
	for _, c := range was {
		if !slices.Contains(is, c) {
			saw.Events = append(slices.Clone(saw.Events), Event{Kind: "reread", What: c, Person: st.person.ID, At: st.now})
		}
	}
}

// lastGiven returns the index of the answer that was given last, of those that
// the replay used, or -1.
func lastGiven(j *Job, o outcome) int {
	last := -1
	for _, i := range o.path {
		if j.Answers[i].Key.Name != "profile" && (last < 0 || j.Answers[i].At.After(j.Answers[last].At)) {
			last = i
		}
	}
	return last
}

// fix asks a reading again, by its number.
func (st *step) fix(saw *Saw, o *outcome, rest string) {
	n, err := strconv.Atoi(strings.Trim(rest, " #.:"))
	if o == nil || err != nil || n < 1 || n > len(o.numbers) {
		count := 0
		if o != nil {
			count = len(o.numbers)
		}
		if count == 0 {
			st.say("fix.nothing")
		} else {
			st.say("fix.which", "Last", count)
		}
		st.show()
		return
	}
	if owing(saw, *o) {
		st.say("back.moves")
		st.show()
		return
	}
	k := saw.Running.Answers[o.numbers[n-1]].Key
	j := saw.Running.edit()
	j.Fix, j.Told = &k, nil
	st.reread(saw, j)
	st.say("fix.again", "Number", n)
	st.show()
}

// skip answers the open question with nothing, where that can be done.
func (st *step) skip(saw *Saw, o *outcome) {
	if o == nil || saw == nil {
		st.say("skip.nothing")
		st.show()
		return
	}
	a := o.prompt.Ask()
	if a.NoSkip || o.prompt.Class() == guard.Runs {
		st.say("skip.no")
		st.show()
		return
	}
	ans := Answer{Key: a.Key, Skipped: true}
	if a.Form == guard.Pick {
		ans.Text = a.Choices[0].Value
	}
	st.accept(saw, ans)
	st.say("skip.done")
	st.show()
}
