package virtualsaw

// thread is a thread of support nuts with its pitch: ISO 261 coarse and fine
// pitches, and UNC and UNF by their threads per inch (ASME B1.1).
type thread struct {
	name  string
	pitch float64
}

const inch = 25.4

// threads are those that saws are drawn with.
var threads = [...]thread{
	{"M8", 1.25}, {"M10", 1.5}, {"M12", 1.75}, {"M16", 2},
	{"M10x1.25", 1.25}, {"M12x1.25", 1.25}, {"M16x1.5", 1.5},
	{"5/16-18", inch / 18}, {"3/8-16", inch / 16}, {"1/2-13", inch / 13}, {"5/8-18", inch / 18},
}

// mistaken returns another thread of the same diameter, for which one may be
// taken that carries no mark; ok is false where there is none.
func (t thread) mistaken() (thread, bool) {
	same := [...][2]thread{
		{{"M8", 1.25}, {"M8x1", 1}},
		{{"M10", 1.5}, {"M10x1", 1}},
		{{"M10x1.25", 1.25}, {"M10", 1.5}},
		{{"M12", 1.75}, {"M12x1.25", 1.25}},
		{{"M12x1.25", 1.25}, {"M12", 1.75}},
		{{"M16", 2}, {"M16x1.5", 1.5}},
		{{"M16x1.5", 1.5}, {"M16", 2}},
		{{"5/16-18", inch / 18}, {"5/16-24", inch / 24}},
		{{"3/8-16", inch / 16}, {"3/8-24", inch / 24}},
		{{"1/2-13", inch / 13}, {"1/2-20", inch / 20}},
		{{"5/8-18", inch / 18}, {"5/8-11", inch / 11}},
	}
	for _, s := range same {
		if s[0].name == t.name {
			return s[1], true
		}
	}
	return thread{}, false
}
