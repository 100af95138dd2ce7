package calc

import (
	"math"
	"sort"
)

// Straight is how far a line of points is from straight, by three references.
// Each value is the largest less the smallest distance from its reference, so
// none is negative; the least-squares and end-point values are never below the
// minimum zone.
type Straight struct {
	LeastSquares Length // about the least-squares line (ISO 12780-1, STRt with LSLI)
	MinimumZone  Length // between the closest pair of parallel lines (ISO 1101)
	EndPoint     Length // about the line through the first and last point (ISO 230-1)
	Line         Line   // the least-squares line, mm over mm
}

// Straightness returns the straightness of heights z at stations x, three or
// more in any order. Distances are taken along z, as an indicator does.
func Straightness(x, z []Length) (Straight, error) {
	fx, fz := bare(x), bare(z)
	line, err := FitLine(fx, fz)
	if err != nil {
		return Straight{}, renamed(err, "y", "z")
	}
	order := make([]int, len(x))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(i, j int) bool { return fx[order[i]] < fx[order[j]] })
	sx, sz := make([]float64, len(x)), make([]float64, len(x))
	for i, k := range order {
		sx[i], sz[i] = fx[k], fz[k]
	}
	n := len(sx)
	ends := (sz[n-1] - sz[0]) / (sx[n-1] - sx[0])
	s := Straight{
		Line:         line,
		LeastSquares: Length(band(sx, sz, line.B)),
		EndPoint:     Length(band(sx, sz, ends)),
		MinimumZone:  Length(minimumZone(sx, sz)),
	}
	return s, inRange("z", float64(s.LeastSquares), float64(s.EndPoint), float64(s.MinimumZone))
}

// band returns the largest less the smallest of z − slope·x.
func band(x, z []float64, slope float64) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range x {
		r := (z[i] - z[0]) - slope*(x[i]-x[0])
		lo, hi = math.Min(lo, r), math.Max(hi, r)
	}
	return hi - lo
}

// minimumZone returns the narrowest band, along z, of points sorted by x. The
// width is a convex, piecewise linear function of the slope, whose corners are
// the slopes of the edges of the convex hull: the narrowest band lies along
// one of them.
func minimumZone(x, z []float64) float64 {
	best := math.Inf(1)
	for _, side := range []float64{1, -1} { // lower hull, upper hull
		hull := hullSide(x, z, side)
		for k := 1; k < len(hull); k++ {
			i, j := hull[k-1], hull[k]
			if x[j] > x[i] {
				best = math.Min(best, band(x, z, (z[j]-z[i])/(x[j]-x[i])))
			}
		}
	}
	return best
}

// hullSide returns the indices of the lower convex hull (side 1) or the upper
// one (side −1) of points sorted by x (Andrew's monotone chain).
func hullSide(x, z []float64, side float64) []int {
	var hull []int
	for i := range x {
		if n := len(hull); n > 0 && x[hull[n-1]] == x[i] { // a station read twice
			if (z[i]-z[hull[n-1]])*side >= 0 {
				continue
			}
			hull = hull[:n-1]
		}
		for len(hull) >= 2 {
			a, b := hull[len(hull)-2], hull[len(hull)-1]
			turn := (x[b]-x[a])*(z[i]-z[a]) - (z[b]-z[a])*(x[i]-x[a])
			if turn*side > 0 {
				break
			}
			hull = hull[:len(hull)-1]
		}
		hull = append(hull, i)
	}
	return hull
}

// Flatness returns the flatness of four points or more about their
// least-squares plane, the largest less the smallest residual (ISO 12781-1,
// FLTt with LSPL), and the plane.
func Flatness(points []Point) (Length, Plane, error) {
	if len(points) < 4 {
		return 0, Plane{}, bad("points", "are fewer than four, which always fit a plane")
	}
	p, err := FitPlane(points)
	if err != nil {
		return 0, Plane{}, err
	}
	lo, hi := p.Residuals[0], p.Residuals[0]
	for _, r := range p.Residuals {
		lo, hi = min(lo, r), max(hi, r)
	}
	return hi - lo, p, nil
}

// bare returns lengths as bare numbers of millimetres.
func bare(l []Length) []float64 {
	f := make([]float64, len(l))
	for i, v := range l {
		f[i] = float64(v)
	}
	return f
}

// renamed returns err with its input called to instead of from, for a function
// that passes its inputs on under other names.
func renamed(err error, from, to string) error {
	if e, ok := err.(*InputError); ok && e.Input == from {
		return bad(to, e.Reason)
	}
	return err
}
