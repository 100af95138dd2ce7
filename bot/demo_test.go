package main

import (
	"fmt"
	"math"
	"time"

	"shimwright/dialog"
)

// demoShop is a made-up shop with one saw that has been looked after for two
// years: every characteristic that is kept, several visits each.
func demoShop() shopCopy {
	saw := dialog.Saw{ID: "saw-1", Schema: 1, Profile: dialog.DefaultProfile()}
	saw.Profile.Name, saw.Profile.BladeName, saw.Profile.Stops = "Old Blue", "48 tooth combination", []float64{22.5, 30, 45}
	saw.Profile.Scoring = true
	c := shopCopy{Form: copyForm, Shop: homeShop, Saws: []dialog.Saw{saw}, People: []dialog.Person{
		{ID: homeOwner, Name: "Ada Berg", Role: dialog.Owner, Unit: "mm", Zone: "Europe/Berlin", Consent: &dialog.Consent{Given: true, At: demoDay(0)}},
		{ID: "p-kim", Name: "Kim Osei", Role: dialog.Setter, Unit: "in"}}}
	v := func(x float64) *float64 { return &x }
	add := func(characteristic, procedure, tool string, low, high *float64, u float64, visits ...[3]float64) {
		for i, x := range visits {
			at := demoDay(int(x[0]))
			r := dialog.Record{ID: fmt.Sprintf("saw-1-%s-%d", characteristic, i+1), Saw: "saw-1", Procedure: procedure, Characteristic: characteristic,
				At: at, Person: []string{homeOwner, "p-kim"}[i%2], Unit: "mm", Low: low, High: high, Decision: "within", Tool: tool, Resolution: 0.01,
				Adjusted: x[1] != x[2], Blade: saw.Profile.BladeName,
				AsFound: &dialog.Measured{Value: x[1], Uncertainty: u, At: at.Add(-time.Hour)}, AsLeft: &dialog.Measured{Value: x[2], Uncertainty: u, At: at},
				Readings: []dialog.RecordReading{{Name: "slider.height", Label: "support 1, blade side", Round: 1, Low: x[1], High: x[1], At: at.Add(-time.Hour)}}}
			if low == nil && x[2] > *high || low != nil && x[2]-u < *low && characteristic != "slider.level" {
				r.Decision = "undecided"
			}
			if characteristic == "runout.flange" {
				r.Remarks = "found at 0.031 mm, cleaned, and not taken apart again: the mounted blade is within its limit"
			}
			c.Records = append(c.Records, r)
		}
	}
	const degree = math.Pi / 180
	add("slider.level", "slider-level", "indicator", v(0), v(0.1), 0.012, [3]float64{0, -0.19, 0.04}, [3]float64{92, 0.05, 0.05}, [3]float64{270, 0.06, 0.06}, [3]float64{450, 0.075, 0.045}, [3]float64{640, 0.06, 0.06})
	add("slider.toe", "slider-parallel", "indicator", v(0), v(0.05), 0.008, [3]float64{0, 0.11, 0.02}, [3]float64{92, 0.026, 0.026}, [3]float64{270, 0.041, 0.021}, [3]float64{450, 0.036, 0.036}, [3]float64{640, 0.044, 0.024})
	add("crosscut:90", "crosscut-fence", "caliper", v(-0.05), v(0.05), 0.012, [3]float64{1, 0.21, 0.01}, [3]float64{95, 0.02, 0.02}, [3]float64{300, 0.035, 0.004}, [3]float64{641, 0.015, 0.015})
	add("ripfence.toe", "rip-fence", "caliper", v(0), v(0.05), 0.015, [3]float64{1, -0.04, 0.03}, [3]float64{270, 0.028, 0.028}, [3]float64{641, 0.03, 0.03})
	add("runout.blade", "runout", "indicator", nil, v(0.1), 0.009, [3]float64{0, 0.052, 0.052}, [3]float64{270, 0.061, 0.061}, [3]float64{640, 0.058, 0.058})
	add("runout.flange", "runout", "indicator", nil, v(0.02), 0.004, [3]float64{0, 0.031, 0.011}, [3]float64{640, 0.012, 0.012})
	add("riving-knife", "riving-knife", "feelers", v(-0.1), v(0.1), 0.03, [3]float64{0, 0.15, 0.02}, [3]float64{640, 0.03, 0.03})
	add("score.shift", "scoring", "caliper", v(-0.1), v(0.1), 0.02, [3]float64{2, 0.2, 0.01}, [3]float64{641, 0.02, 0.02})
	add("proof.rip", "proof", "caliper", v(-0.1), v(0.1), 0.02, [3]float64{3, 0.03, 0.03})
	n := len(c.Records)
	for _, stop := range []string{"90", "22.5", "30", "45"} {
		add("tilt:"+stop, "tilt-stops", "feelers", v(-0.05*degree), v(0.05*degree), 0.02*degree, [3]float64{2, 0.12 * degree, 0.01 * degree}, [3]float64{300, 0.02 * degree, 0.02 * degree}, [3]float64{642, 0.035 * degree, 0.035 * degree})
	}
	for i := range c.Records[n:] {
		c.Records[n+i].Unit, c.Records[n+i].Resolution = "rad", 0
	}
	return c
}

// demoDay is a day of the demo, counted from 2 March 2024 at ten in UTC.
func demoDay(n int) time.Time {
	return time.Date(2024, 3, 2, 10, 0, 0, 0, time.UTC).AddDate(0, 0, n)
}
