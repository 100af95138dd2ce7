package dialog

import "time"

// Step handles one input and returns all that follows from it. It never
// fails: a person's slip is answered with a sentence, a programmer's panics.
func Step(v View, s State, in Input, now time.Time) Result {
	return Result{State: s, Turn: Turn{Replies: []Reply{{Text: "…"}}, Prompt: PromptView{Kind: KindIdle}}}
}
