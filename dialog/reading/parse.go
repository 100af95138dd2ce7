package reading

// Parse decides what text means as an answer to the question that e describes.
// It never guesses silently: a message is Taken only when exactly one meaning
// is plausible, and everything else comes back as a question, a doubt or a
// refusal with its reason.
func Parse(text string, e Expect) Result {
	if len(text) > MaxBytes {
		return refuse(TooLong)
	}
	var toks [16]token // on the heap, with the rest: room for what people type most
	var folded [64]byte
	var items [16]item
	var qs [4]quantity
	var cands [16]reading
	p := parser{e: &e, t: tableOf(e.Lang), src: noughts(text), typed: text, toks: toks[:0], folded: folded[:0], items: items[:0],
		qs: qs[:0], cands: cands[:0]}
	if r := p.lex(); r != NoReason {
		return refuse(r)
	}
	if p.blank() {
		return refuse(Empty)
	}
	p.classify()
	p.readItems()
	if find(p.items, kLabel, 0) >= 0 {
		return p.labelled(p.items)
	}
	return p.value(p.items)
}

// blank reports whether there is nothing but spaces, punctuation and emoji.
func (p *parser) blank() bool {
	for _, t := range p.toks {
		if t.kind != kStop && t.kind != kComma {
			return false
		}
	}
	return true
}
