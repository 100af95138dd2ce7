package reading

import "testing"

// BenchmarkParse is one utterance of the corpus, all groups and languages in
// turn. The aim is under 20 µs.
func BenchmarkParse(b *testing.B) {
	contexts := readContexts(b)
	type one struct {
		text string
		e    Expect
	}
	var all []one
	for _, file := range corpusFiles(b, corpusDir) {
		for _, u := range readUtterances(b, file) {
			all = append(all, one{u.text, contexts[u.context]})
		}
	}
	b.ReportAllocs()
	b.ResetTimer()
	for i := range b.N {
		u := &all[i%len(all)]
		Parse(u.text, u.e)
	}
}

// BenchmarkParseLong is the longest message that is still read, several points
// in words.
func BenchmarkParseLong(b *testing.B) {
	e := readContexts(b)["points.in"]
	const text = "support 1 plus two and a half thou, support 2 three thousandths of an inch low, support 3 dead level, support 4 minus point oh oh three"
	b.ReportAllocs()
	for b.Loop() {
		Parse(text, e)
	}
}

// BenchmarkCommand looks for a command that is misspelt, among all.
func BenchmarkCommand(b *testing.B) {
	any := NewVocabulary(vocabularies()["any"]...)
	b.ReportAllocs()
	for b.Loop() {
		Command("crosscut fenec please", "en", any)
	}
}
