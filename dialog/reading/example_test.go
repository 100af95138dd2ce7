package reading_test

import (
	"fmt"

	"shimwright/dialog/reading"
)

// The same words mean different things for different questions.
func ExampleParse() {
	height := reading.Expect{Quantity: reading.Length, Unit: reading.Inch, Lang: "en", Signed: true,
		Min: -1.5, Max: 1.5, Resolution: 0.0254}
	for _, text := range []string{"3 thou low", "point oh oh three", "3000 inch", "under 3 thou", "0.3", "3 bananas"} {
		r := reading.Parse(text, height)
		fmt.Printf("%s: %s", text, r.Status)
		switch r.Status {
		case reading.Taken:
			fmt.Printf(" %s", reading.Format(r.Value.Low, reading.Length, reading.Inch, "en", 0))
		case reading.Refused:
			fmt.Printf(" %s", r.Reason)
		}
		for i, a := range r.Alternatives {
			fmt.Printf(" [%s%s]", reading.Format(a.Low, reading.Length, reading.Inch, "en", 0), r.Slips[i])
		}
		fmt.Println()
	}
	// Output:
	// 3 thou low: Taken -3 thou
	// point oh oh three: Taken 3 thou
	// 3000 inch: Taken 3 thou
	// under 3 thou: AskBack [-3 thou]
	// 0.3: Doubt [12 thouUnitSlip] [30 thouPointSlip] [3 thouPointSlip]
	// 3 bananas: Refused Unclear
}

func ExampleCommand() {
	vocabulary := reading.NewVocabulary(reading.Done.String(), reading.Fix.String(), reading.Where.String(), "slider-level")
	for _, text := range []string{"Done, thanks mate 👍", "fxi 3", "where is that?", "slider level", "not done"} {
		word, rest, ok := reading.Command(text, "en", vocabulary)
		fmt.Printf("%q %q %v\n", word, rest, ok)
	}
	// Output:
	// "done" "" true
	// "fix" "3" true
	// "where" "" true
	// "slider-level" "" true
	// "" "" false
}
