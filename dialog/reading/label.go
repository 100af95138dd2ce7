package reading

// labelled reads a message that names its points: "front 0 back -3", or with
// the value first, "0 front, -3 back".
func (p *parser) labelled(items []item) Result {
	items = trim(items)
	first := items[0].kind == kLabel
	var out Result
	seen := uint64(0)
	for i := 0; i < len(items); {
		at := find(items, kLabel, i)
		if at < 0 {
			return refuse(TwoNumbers) // a value after the last label
		}
		seg, next := items[i:at], at+1
		if first {
			end := find(items, kLabel, at+1)
			if end < 0 {
				end = len(items)
			}
			seg, next = items[at+1:end], end
		} else if find(items, kLabel, at+1) < 0 && !anyOf(items[at+1:], kQuantity) {
			seg, next = append(append([]item(nil), seg...), items[at+1:]...), len(items) // "3 at the front, low"
		}
		l := int(p.toks[items[at].tok].label)
		r := p.point(l, trim(seg))
		if l < 64 && seen&(1<<l) != 0 {
			r = refuse(SameLabel)
		}
		seen |= 1 << (l & 63)
		out.join(p.e.Labels[l].Key, r)
		i = next
	}
	return out
}

// trim drops commas and "and" at both ends.
func trim(items []item) []item {
	loose := func(k kind) bool { return k == kComma || k == kAnd }
	for len(items) > 0 && loose(items[0].kind) {
		items = items[1:]
	}
	for len(items) > 0 && loose(items[len(items)-1].kind) {
		items = items[:len(items)-1]
	}
	return items
}

// point reads the value of one label, by its own question if it has one.
func (p *parser) point(label int, items []item) Result {
	if len(items) == 0 {
		return refuse(NoNumber)
	}
	for i, it := range items {
		if it.kind == kUnknown && i > 0 && anyOf(items[:i], kQuantity) && anyOf(items[i:], kQuantity) {
			return refuse(UnknownLabel)
		}
	}
	all := p.e
	defer func() { p.e = all }()
	if own := all.Labels[label].Expect; own != nil {
		p.e = own
	}
	return p.value(items)
}

// severity orders what may have become of a point, best first.
var severity = [...]int{Taken: 0, Doubt: 1, AskBack: 2, Refused: 3}

// join adds the result of one point. The whole is as good as its worst point.
func (r *Result) join(key string, one Result) {
	r.Labelled = append(r.Labelled, Labelled{Key: key, Value: one.Value, Status: one.Status,
		Alternatives: one.Alternatives, Slips: one.Slips, Reason: one.Reason})
	if len(r.Labelled) == 1 || severity[one.Status] > severity[r.Status] {
		r.Status, r.Reason = one.Status, one.Reason
		r.Value, r.Alternatives, r.Slips = one.Value, one.Alternatives, one.Slips
	}
	if len(r.Labelled) > 1 && r.Status == Taken {
		r.Value = Value{}
	}
}
