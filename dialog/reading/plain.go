package reading

// What words are that give no reading: questions about a text as a whole.

// Plain reports whether a text says what it says without denying it, asking it,
// guessing it or offering another: "it's on the right", not "not the right", "right?",
// "maybe right", "left or right".
func Plain(text string, lang Lang) bool {
	return every(text, tableOf(lang), func(t *token) bool {
		switch t.kind {
		case kNot, kNo, kNoGo, kNoneGoes, kQuestion, kOr, kVague, kLess, kMore, kCorrection, kBetween:
			return false
		}
		return true
	})
}

// Idle reports whether a text adds nothing to what stands beside it: fillers, articles,
// "and", the names of things that are counted.
func Idle(text string, lang Lang) bool {
	return every(text, tableOf(lang), func(t *token) bool {
		switch t.kind {
		case kFiller, kArticle, kAnd, kOf, kNoun, kStop, kComma, kColon:
			return true
		}
		return false
	})
}

// bearsOut reports whether a text is nothing but a few, none, tight or loose ones, so
// that it goes with a yes or a no before it.
func bearsOut(text string, lang *table) bool {
	return every(text, lang, func(t *token) bool {
		switch t.kind {
		case kFiller:
			return t.val != yesWord
		case kArticle, kAnd, kOf, kNoun, kStop, kComma, kZero, kTight, kLoose, kCard, kDigits:
			return true
		}
		return false
	})
}

// every reports whether all the words of a text are so.
func every(text string, lang *table, so func(*token) bool) bool {
	if len(text) > MaxBytes {
		return false
	}
	p := parser{e: &Expect{}, t: lang, src: text}
	if p.lex() != NoReason {
		return false
	}
	p.classify()
	for i := range p.toks {
		if !so(&p.toks[i]) {
			return false
		}
	}
	return true
}
