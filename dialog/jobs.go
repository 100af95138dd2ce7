package dialog

import (
	"slices"
	"strconv"
	"strings"

	"shimwright/dialog/guard"
	"shimwright/dialog/wording"
)

// maxParked bounds the jobs that wait on one saw.
const maxParked = 12

// procedures lists every procedure, in the order of a full run. Adding one is
// a line here.
var procedures = [...]Procedure{
	setup{},
	references{},
	runout{},
	knife{},
	level{},
	parallel{},
	tiltStops{},
	crosscut{},
	mitre{},
	ripFence{},
	scoring{},
	proof{},
	quickCheck{},
	trouble{},
	fullRun{},
}

// Procedures returns every procedure, in the order of a full run.
func Procedures() []Procedure { return procedures[:] }

// procedureNamed returns a procedure by its name, or nil.
func procedureNamed(name string) Procedure {
	for _, p := range procedures {
		if p.Name() == name {
			return p
		}
	}
	return nil
}

// edit returns a copy of the job whose lists may be appended to.
func (j *Job) edit() *Job {
	c := *j
	c.Answers = append(make([]Answer, 0, len(j.Answers)+4), j.Answers...)
	c.Wrote = slices.Clone(j.Wrote)
	if j.Told != nil {
		told := *j.Told
		told.Made = slices.Clone(j.Told.Made)
		c.Told = &told
	}
	return &c
}

func recordID(j *Job, characteristic string, n int) string {
	id := j.ID + "-" + strings.NewReplacer(":", "-", ".", "-").Replace(characteristic)
	if n > 0 {
		id += "-" + strconv.Itoa(n+1)
	}
	return id
}

// start begins a job on a saw, or takes a parked one of the same kind up.
func (st *step) start(saw *Saw, p Procedure) {
	if !applies(p, saw.Profile) {
		st.say(lacking(p))
		st.show()
		return
	}
	if !st.free(saw) {
		st.then(p.Name(), saw)
		return
	}
	st.s.Saw, st.s.Pending, st.s.Args = saw.ID, "", nil
	if r := saw.Running; r != nil && r.Person != st.person.ID {
		st.ask("takeover", map[string]string{"job": p.Name()})
		return
	}
	if saw.Running != nil && saw.Running.Procedure == p.Name() {
		st.show()
		return
	}
	if saw.Running != nil && !st.leave(saw, p.Name(), saw) {
		return
	}
	for i := len(saw.Parked) - 1; i >= 0; i-- {
		if saw.Parked[i].Procedure == p.Name() {
			st.ask("resume", map[string]string{"job": p.Name()})
			return
		}
	}
	st.begin(saw, p)
}

// begin starts a new job.
func (st *step) begin(saw *Saw, p Procedure) {
	st.enter(saw, p)
	st.sayNeeds(saw, p)
	st.show()
}

// sayNeeds says what a job rests on and has been upset since it was measured. The
// riving knife is left out: it comes first in any case.
func (st *step) sayNeeds(saw *Saw, p Procedure) {
	var list wording.List
	for _, c := range existing(p.Needs(), saw.Profile) {
		if c != knifeJob && standingOf(&st.v, saw, c, st.now).State == StaleNow {
			list = append(list, whatOf(c))
		}
	}
	if len(list) > 0 {
		st.say("job.needs", "List", list)
	}
}

// jobID names a new job by its saw, its procedure and the second; by a number too
// where others of its kind began in that second, as a program's do. Two jobs of one
// name would write two records of one name.
func (st *step) jobID(saw *Saw, p Procedure) string {
	first := saw.ID + "-" + p.Name() + "-" + strconv.FormatInt(st.now.Unix(), 36)
	id := first
	for n := 2; slices.ContainsFunc(saw.Parked, func(j Job) bool { return j.ID == id }) ||
		slices.ContainsFunc(st.v.Last, func(r Record) bool { return strings.HasPrefix(r.ID, id+"-") }); n++ {
		id = first + "-" + itoa(n)
	}
	return id
}

// enter makes a new job the running one.
func (st *step) enter(saw *Saw, p Procedure) {
	profile := saw.Profile
	st.touch(saw).Running = &Job{
		ID: st.jobID(saw, p), Procedure: p.Name(), Person: st.person.ID, Started: st.now.Add(-1),
		Answers: []Answer{{Key: Key{Name: "profile"}, At: st.now, Person: st.person.ID, Profile: &profile}},
	}
	st.s.Saw = saw.ID
	if h := saw.Power.Holder(st.now); h != "" && h != st.person.ID {
		st.event(saw, guard.Handed, st.now)
	}
	st.fresh = true
}

// interrupt parks the running job and begins another one, or goes on with one
// that was left, after which the first goes on by itself.
func (st *step) interrupt(saw *Saw, p Procedure) {
	then := saw.Running.Procedure
	st.park(saw)
	if p.Name() != "setup" && st.unpark(saw, p.Name()) {
		st.say("resume.done", "Job", titleOf(p.Name(), saw.Profile), "Saw", wording.Raw(saw.Profile.Name))
	} else {
		st.enter(saw, p)
	}
	saw.Running.Then, saw.Running.Back = then, true
	st.show()
}

// goesOn reports whether a running job that is through leads straight back to
// the one it interrupted.
func (st *step) goesOn(saw *Saw) bool {
	j := saw.Running
	return j.Back && saw.waits(j.Then) &&
		(j.Procedure != "riving-knife" || knifeFits(&st.v, saw, st.now))
}

// waits reports whether a job of a procedure is parked.
func (s *Saw) waits(procedure string) bool {
	return slices.ContainsFunc(s.Parked, func(j Job) bool { return j.Procedure == procedure })
}

// park leaves the running job for later, nothing lost.
func (st *step) park(saw *Saw) {
	j := saw.Running
	st.touch(saw).Running = nil
	saw.Parked = append(slices.Clone(saw.Parked), *j)
	if n := len(saw.Parked) - maxParked; n > 0 {
		saw.Parked = saw.Parked[n:]
	}
}

// unpark takes the newest parked job of a procedure ("": of any) up again.
// Whatever was acknowledged before is void.
func (st *step) unpark(saw *Saw, procedure string) bool {
	if !st.lift(saw, procedure) {
		return false
	}
	st.event(saw, guard.Resumed, st.now)
	return true
}

// lift makes the newest parked job of a procedure the running one.
func (st *step) lift(saw *Saw, procedure string) bool {
	for i := len(saw.Parked) - 1; i >= 0; i-- {
		if procedure == "" || saw.Parked[i].Procedure == procedure {
			j := saw.Parked[i]
			j.Person = st.person.ID
			st.touch(saw).Running = j.edit()
			saw.Parked = slices.Delete(slices.Clone(saw.Parked), i, i+1)
			st.s.Saw = saw.ID
			return true
		}
	}
	return false
}

// drop forgets the newest parked job of a procedure.
func (st *step) drop(saw *Saw, procedure string) {
	for i := len(saw.Parked) - 1; i >= 0; i-- {
		if saw.Parked[i].Procedure == procedure {
			st.touch(saw).Parked = slices.Delete(slices.Clone(saw.Parked), i, i+1)
			return
		}
	}
}

// leave parks the running job. While the saw is open it says so first and asks
// that it be put right; then names what the person wants to go on with: a
// procedure on saw on, what manage does with it, or "" for nothing. It reports
// whether that can begin now.
func (st *step) leave(saw *Saw, then string, on *Saw) bool {
	job := saw.Running
	st.park(saw)
	st.say("park.done", "Job", titleOf(job.Procedure, saw.Profile), "Saw", nameOf(saw))
	if !saw.Power.Open() {
		return true
	}
	st.askPutRight(saw)
	if then != "" && on != nil {
		st.then(then, on)
	}
	return false
}

// then notes what goes on, on which saw, once the saw that is open is put right.
func (st *step) then(what string, on *Saw) {
	st.s.Args = map[string]string{"then": what, "on": on.ID}
}

// free leaves the job that this person runs on another saw than the one meant,
// which may be nil for a new one. It reports whether nothing is in the way.
func (st *step) free(meant *Saw) bool {
	other := st.active()
	return other == nil || other == meant || st.leave(other, "", nil)
}

// askPutRight asks, outside of a job, that the saw be put right.
func (st *step) askPutRight(saw *Saw) {
	st.s.Saw = saw.ID
	st.s.Pending, st.s.Args = "putright", nil
	st.renderPrompt(saw, "", st.putRight(saw))
}

// finish ends a job whose questions are all answered, and goes on with the one
// that was to follow it.
func (st *step) finish(saw *Saw, o outcome) {
	job := saw.Running
	st.follow(o)
	if back := procedureNamed(job.Then); st.goesOn(saw) && job.Edits && !applies(back, saw.Profile) {
		st.drop(saw, job.Then) // the corrected saw has not got what that job is about
		st.touch(saw).Running = nil
		st.say(lacking(back))
		st.idle()
		return
	}
	if st.goesOn(saw) {
		// Nobody left the saw: the same person goes on where the job was
		// interrupted, so this is no resuming and what they acknowledged for the
		// knife stands, within its own limits. The checks before the cut follow.
		st.lift(saw, job.Then)
		saw.Running.Answers = append(saw.Running.Answers, Answer{Key: Key{Name: "ran", Index: len(saw.Running.Answers)},
			At: st.now, Person: st.person.ID, Text: job.Procedure})
		// What the interrupted job has said was said with its own answers; a full
		// run has none and speaks only now.
		st.fresh = job.Then == fullRun{}.Name()
		if job.Edits {
			profile := saw.Profile
			if was := saw.Running.profile(saw); len(saw.Running.Answers) > 2 && !was.countsAs(&profile) {
				st.say("edit.anew")
			}
			saw.Running.Answers = append(saw.Running.Answers, Answer{Key: Key{Name: "profile", Index: len(saw.Running.Answers)},
				At: st.now, Person: st.person.ID, Profile: &profile})
		}
		if job.Then != (fullRun{}).Name() {
			st.say("before.done", "Job", titleOf(job.Then, saw.Profile))
		}
		st.show()
		return
	}
	st.touch(saw).Running = nil
	if job.Back && saw.waits(job.Then) {
		st.say("before.waits", "Job", titleOf(job.Then, saw.Profile), "First", titleOf(job.Procedure, saw.Profile))
		st.idle()
		return
	}
	then := job.Then
	if o.lead != "" {
		then = o.lead
	}
	if next := procedureNamed(then); next != nil {
		st.sayUpset(saw, job)
		st.start(saw, next)
		return
	}
	if job.Procedure == (fullRun{}).Name() {
		st.remind(saw)
		return
	}
	if job.Procedure == (setup{}).Name() {
		st.say("setup.done", "Saw", nameOf(saw))
	}
	if len(job.Wrote) == 0 {
		st.idle()
		return
	}
	st.say("job.finished", "Job", titleOf(job.Procedure, saw.Profile))
	st.sayUpset(saw, job)
	st.remind(saw)
}

// sayUpset says what a job that moved something has made stale.
func (st *step) sayUpset(saw *Saw, job *Job) {
	if len(job.Wrote) == 0 {
		return
	}
	var list wording.List
	for _, c := range upset(&st.v, saw, job, st.now) {
		list = append(list, whatOf(c))
	}
	if len(list) > 0 {
		st.say("job.upset", "List", list)
	}
}
