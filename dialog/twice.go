package dialog

import (
	"time"

	"shimwright/dialog/reading"
)

// sentAgain is how much later than it was sent a message has to arrive to be long under
// way: gateways tell the time in whole seconds.
const sentAgain = time.Second

// twice reports whether a message is the one before it once more, sent when the question
// that is now open had not been put yet. "done" would otherwise answer for a nut that
// nobody has heard of. It is said once and then taken: a network's clock may be slow.
func (st *step) twice(saw *Saw, text string) bool {
	late := saw.Running.Late
	if late == nil || late.Said != reading.Fold(bare(text)) || !st.sent.Before(late.Came.Add(-sentAgain)) {
		return false
	}
	j := saw.Running.edit()
	j.Late = nil
	st.touch(saw).Running = j
	return true
}

// underWay notes a message that changed the job when it had been long under way.
func (st *step) underWay(saw *Saw, before *Job, text string) {
	saw = st.saw(saw.ID)
	if saw == nil || saw.Running == nil || saw.Running == before || saw.Running.ID != before.ID {
		return
	}
	var late *Late
	if st.now.Sub(st.sent) > sentAgain {
		late = &Late{Said: reading.Fold(bare(text)), Came: st.now}
	}
	if late == nil && saw.Running.Late == nil {
		return
	}
	j := saw.Running.edit()
	j.Late = late
	st.touch(saw).Running = j
}
