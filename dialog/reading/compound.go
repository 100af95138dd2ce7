package reading

// piece is a number word that may be a part of a longer one.
type piece struct {
	text string
	kind kind
	val  float64
	unit unit
}

// maxPieces bounds a number that is written together:
// neunhundertneunundneunzigtausend… is not read to its end.
const maxPieces = 12

// cut appends the parts of a number that is written together, such as
// drei-und-zwanzig or null-komma-null-acht, and reports whether the whole word
// is made of them.
func (p *parser) cut(out []token, word *token) ([]token, bool) {
	var parts [maxPieces]piece
	n := p.split(p.letters(word), parts[:0])
	if n == nil {
		return out, false
	}
	for i, part := range n {
		t := *word
		t.kind, t.val, t.unit = part.kind, part.val, part.unit
		t.spaceBefore = word.spaceBefore && i == 0
		t.spaceAfter = word.spaceAfter && i == len(n)-1
		out = append(out, t)
	}
	return out, true
}

// split finds pieces that make up the whole word, longest first, and nil when
// there are none.
func (p *parser) split(word []byte, parts []piece) []piece {
	if len(word) == 0 {
		return parts
	}
	if len(parts) == maxPieces {
		return nil
	}
	for _, piece := range p.t.pieces[word[0]] {
		if len(piece.text) > len(word) || string(word[:len(piece.text)]) != piece.text {
			continue
		}
		if all := p.split(word[len(piece.text):], append(parts, piece)); all != nil {
			return all
		}
	}
	return nil
}
