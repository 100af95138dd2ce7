package dialog

import (
	"slices"
	"time"

	"shimwright/calc"
	"shimwright/dialog/guard"
	"shimwright/dialog/wording"
)

// Procedure is one job as the trade names it. Run is a plain function that
// asks by calling the Script and goes on with what it gets; it is run again
// from the start for every message, over the answers given so far. So it must
// depend on nothing but the Script.
type Procedure interface {
	// Name is the job's own name, what a person types to start it.
	Name() string
	// Gives lists the characteristics that it measures. One that ends in ":"
	// stands for each stop of that kind that the saw has.
	Gives() []string
	// Needs lists the characteristics that must be fresh before it is of use.
	Needs() []string
	// Minimum is the least number of readings in which a true saw is shown to
	// be true.
	Minimum(p Profile) int
	// Run asks, computes, advises and records, until the job is done.
	Run(t *Script)
}

// Script replays one job. Each question either finds its answer among those
// given, or ends the replay there: that question is the next prompt.
type Script struct {
	job    *Job
	saw    *Saw
	person Person
	view   *View
	now    time.Time

	profile Profile
	cursor  int
	newest  int   // the answer that was given last
	path    []int // the answers that were used, in order
	numbers []int // those of them that are readings: fix 1 is numbers[0]

	// Since the answer that was given last:
	notes   []note
	later   []func()
	verdict *Verdict
	records []Record
	setSaw  *Profile
	setUser func(*Person)
	events  []string

	reached []string // the characteristics that it came to a record of, whenever that was written
	known   *known
	told    bool // it came to the adjustment that is outstanding
	prompt  guard.Prompt
	first   string // the procedure that has to come before this one goes on
	lead    string // the procedure that the finished job leads to
}

// note is a sentence for the person: its text, or what returns it.
type note struct {
	text wording.Text
	word func() wording.Text
}

// known is what was worked out in this step and would come out the same again.
type known struct {
	plainU map[calc.Tool]float64 // expanded uncertainty of a plain reading
}

// plainU returns the expanded uncertainty of a plain reading with a tool.
func (t *Script) plainU(tool calc.Tool) float64 {
	u, ok := t.known.plainU[tool]
	if !ok {
		u = must(tool.Read(0)).Estimate().U
		if t.known.plainU == nil {
			t.known.plainU = map[calc.Tool]float64{}
		}
		t.known.plainU[tool] = u
	}
	return u
}

// suspended ends a replay at an unanswered question.
type suspended struct{}

// outcome is where a replay ended.
type outcome struct {
	*Script
	done bool
}

// fold runs a procedure over the answers of a job.
func fold(p Procedure, v *View, saw *Saw, person Person, now time.Time, known *known) (o outcome) {
	t := &Script{known: known, job: saw.Running, saw: saw, person: person, view: v, now: now, profile: saw.Running.profile(saw)}
	n := len(t.job.Answers)
	t.newest = newest(t.job.Answers)
	t.path, t.numbers = make([]int, 0, n), make([]int, 0, n)
	o = outcome{Script: t}
	defer func() {
		switch r := recover().(type) {
		case nil:
		case suspended:
		case *calc.InputError:
			t.prompt = impossible()
		default:
			panic(r)
		}
	}()
	p.Run(t)
	o.done = true
	return o
}

// newest returns the index of the answer that was given last: what a procedure
// says after it has not been said yet.
func newest(answers []Answer) int {
	n := 0
	for i := range answers {
		if !answers[i].At.Before(answers[n].At) {
			n = i
		}
	}
	return n
}

// impossible is asked when readings, each taken because the person confirmed
// it, give no result together: one of them is to be corrected.
func impossible() guard.Prompt {
	a := question(Key{Name: "impossible"}, "impossible")
	a.Form, a.Choices, a.NoSkip = guard.Pick, choices("park"), true
	return guard.Plain(a)
}

// take returns the answer to a question, when it was given.
func (t *Script) take(k Key) (*Answer, bool) {
	if t.job.Fix != nil && *t.job.Fix == k {
		return nil, false
	}
	i := t.cursor
	if i >= len(t.job.Answers) || t.job.Answers[i].Key != k {
		for i = 0; i < len(t.job.Answers) && t.job.Answers[i].Key != k; i++ {
		}
		if i == len(t.job.Answers) {
			return nil, false
		}
	}
	t.cursor = i + 1
	t.path = append(t.path, i)
	if i == t.newest {
		t.notes, t.later, t.verdict, t.records, t.setSaw, t.setUser, t.events = t.notes[:0], t.later[:0], nil, nil, nil, nil, nil
	}
	return &t.job.Answers[i], true
}

func (t *Script) suspend(p guard.Prompt) {
	t.prompt = p
	panic(suspended{})
}

// ask ends the replay with a question, behind whatever acknowledgement its
// kind needs.
func (t *Script) ask(a guard.Ask, caution wording.Text) {
	switch {
	case guard.NeedsPower(a.Key.Name):
		t.suspend(guard.Powered(t.ready(), caution, a))
	case guard.NeedsHands(a.Key.Name):
		t.suspend(guard.HandsOn(t.isolated(), caution, a))
	default:
		t.suspend(guard.Plain(a))
	}
}

// Value is a reading as a procedure gets it: Low = High unless the tool only
// bounds it.
type Value struct {
	Low, High float64 // mm, rad or a count
	Skipped   bool
	At        time.Time
	Number    int // for fix N
	answer    int // index in the job's answers
}

// Mid returns the middle of the value.
func (v Value) Mid() float64 { return v.Low + (v.High-v.Low)/2 }

// Length returns the middle of the value as a length.
func (v Value) Length() calc.Length { return calc.Length(v.Mid()) }

// Reading returns the value with the tool it was read with.
func (v Value) Reading(tool calc.Tool) calc.Reading {
	if v.Low == v.High {
		if r, err := tool.Read(calc.Length(v.Low)); err == nil {
			return r
		}
	}
	return calc.Reading{Low: calc.Length(v.Low), High: calc.Length(v.High), Tool: tool}
}

// Read asks for a number. caution is used where the prompt's name says that a
// hand comes near the saw.
func (t *Script) Read(a guard.Ask, caution wording.Text) Value {
	if v, ok := t.reading(a.Key); ok {
		return v
	}
	a.Form = guard.Reading
	t.ask(a, caution)
	return Value{}
}

// ReadAt is Read for a question that costs something to build: f is called only
// when the question is put.
func (t *Script) ReadAt(k Key, caution wording.Text, f func() guard.Ask) Value {
	if v, ok := t.reading(k); ok {
		return v
	}
	a := f()
	a.Key, a.Form = k, guard.Reading
	t.ask(a, caution)
	return Value{}
}

// reading returns the reading that answered a question, when it was given.
func (t *Script) reading(k Key) (Value, bool) {
	ans, ok := t.take(k)
	if !ok {
		return Value{}, false
	}
	t.numbers = append(t.numbers, t.cursor-1)
	return Value{Low: ans.Low, High: ans.High, Skipped: ans.Skipped, At: ans.At, Number: len(t.numbers), answer: t.cursor - 1}, true
}

// Said reports whether a safety word was given in place of a reading: see
// guard.Ask.Instead.
func (t *Script) Said(word string) bool {
	_, ok := t.take(Key{Name: word})
	return ok
}

// Pick asks for one of a few answers and returns its value. The first is the
// default, taken by `ok` and by `skip`.
func (t *Script) Pick(a guard.Ask, caution wording.Text) string {
	a.Form = guard.Pick
	if ans, ok := t.take(a.Key); ok {
		return ans.Text
	}
	t.ask(a, caution)
	return ""
}

// Words asks for a text.
func (t *Script) Words(a guard.Ask) string {
	a.Form = guard.Words
	if ans, ok := t.take(a.Key); ok {
		return ans.Text
	}
	t.ask(a, wording.Text{})
	return ""
}

// Confirm asks that something be done, and goes on when it is.
func (t *Script) Confirm(a guard.Ask, caution wording.Text) {
	a.Form = guard.Confirm
	if a.Word == "" {
		a.Word = "word.done"
	}
	if _, ok := t.take(a.Key); !ok {
		t.ask(a, caution)
	}
}

// Cut asks for a powered step. Its name must be one of those.
func (t *Script) Cut(a guard.Ask, caution wording.Text) { t.Confirm(a, caution) }

// Adjust asks for moves and returns what became of them. plan is called only
// when they have not been told yet: what was told stands.
func (t *Script) Adjust(k Key, caution wording.Text, plan func() guard.Adjustment) []Made {
	if ans, ok := t.take(k); ok {
		return ans.Moves
	}
	told := t.job.Told
	t.told = told != nil && told.Key == k
	if t.person.Role == Measure {
		a := question(Key{Name: "adjuster"}, "adjuster")
		a.Form, a.Choices, a.NoSkip = guard.Pick, choices("park"), true
		t.suspend(guard.Plain(a))
	}
	iso := t.isolated()
	if t.told {
		t.suspend(guard.AdjustAgain(iso, caution, k, func() guard.Adjustment {
			a := again(plan)
			a.Key, a.Moves = k, told.Moves
			return a
		}))
	}
	a := plan()
	a.Key = k
	t.suspend(guard.Adjust(iso, caution, a))
	return nil
}

// turned reports whether a move of this kind was made in this job, whatever its round:
// also before the saw was hit or given another blade, when the replay no longer comes
// to it.
func (t *Script) turned(name string, index int) bool {
	return slices.ContainsFunc(t.job.Answers, func(a Answer) bool {
		return a.Key.Name == name && a.Key.Index == index && anyMade(a.Moves)
	})
}

// again words a plan that was told. What was told stands, also where a later
// version of the program would find nothing to do.
func again(plan func() guard.Adjustment) (a guard.Adjustment) {
	defer func() {
		switch r := recover().(type) {
		case nil, suspended, *calc.InputError:
		default:
			panic(r)
		}
	}()
	return plan()
}

// Say adds a sentence before the next question.
func (t *Script) Say(id string, args ...any) {
	t.notes = append(t.notes, note{text: wording.T(id, args...)})
}

// SayLazily is Say for a sentence of every round: f is called only when it is to
// be said.
func (t *Script) SayLazily(f func() wording.Text) { t.notes = append(t.notes, note{word: f}) }

// Later adds sentences that cost something to find out: f is called only when
// they are to be said, and says them with Say.
func (t *Script) Later(f func()) { t.later = append(t.later, f) }

// Judge adds a verdict for programs to the next answer.
func (t *Script) Judge(v Verdict) { t.verdict = &v }

// Record writes a record. It takes effect with the answer that led to it.
func (t *Script) Record(r Record) {
	r.Saw, r.Procedure, r.Person, r.At = t.saw.ID, t.job.Procedure, t.person.ID, t.now
	r.Blade = t.profile.BladeName
	t.records, t.reached = append(t.records, r), append(t.reached, r.Characteristic)
}

// Happened notes something that happened to the saw and makes more stale than
// the record of this job does: see spoils.
func (t *Script) Happened(kind string) { t.events = append(t.events, kind) }

// SetProfile changes the saw's profile from here on.
func (t *Script) SetProfile(p Profile) { t.profile, t.setSaw = p, &p }

// SetPerson changes what is known of the person.
func (t *Script) SetPerson(f func(*Person)) { t.setUser = f }

// Profile returns the profile of the saw as this job knows it.
func (t *Script) Profile() Profile { return t.profile }

// Tool returns the person's tool of a kind, or the practice for it.
func (t *Script) Tool(kind string) Tool { return t.profile.tool(kind) }

// before ends the replay where another procedure has to come first. The person
// is led to it at once, and back here when it is done.
func (t *Script) before(procedure string) {
	t.first = procedure
	a := question(Key{Name: "before"}, "before", "First", titleOf(procedure, t.profile), "Job", titleOf(t.job.Procedure, t.profile))
	a.Form, a.Choices, a.NoSkip = guard.Pick, choices("goon"), true
	t.suspend(guard.Plain(a))
}

// Lead says which procedure follows when this job is done.
func (t *Script) Lead(procedure string) { t.lead = procedure }

// suspendParked ends the replay at a point from which only another job, or
// leaving this one, leads on.
func (t *Script) suspendParked() {
	a := question(Key{Name: "stopped"}, "stopped")
	a.Form, a.Choices, a.NoSkip = guard.Pick, choices("park"), true
	t.suspend(guard.Plain(a))
}
