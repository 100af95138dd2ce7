package calc

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Point is a place in the frame of the package.
type Point struct{ X, Y, Z Length }

// Plane is a least-squares plane z = Z0 + SlopeX·x + SlopeY·y. A slope of 1 is
// one millimetre to the millimetre.
type Plane struct {
	Z0             Length
	SlopeX, SlopeY float64
	Residuals      []Length // z less the plane, in the order of the points
	S              Length   // standard deviation of the points about the plane; 0 for three points
	DoF            int      // degrees of freedom of S: points less three
}

// FitPlane fits a plane to three points or more that do not lie in one line as
// seen from above. Distances are taken along z (ISO 12781-1, LSPL, takes them
// square to the plane: at a slope of 1/1000 that differs by less than a
// millionth).
func FitPlane(points []Point) (Plane, error) {
	n := len(points)
	if n < 3 {
		return Plane{}, bad("points", "are fewer than three")
	}
	var c Point // centroid: about it the normal equations separate
	for _, p := range points {
		if err := finite("points", float64(p.X), float64(p.Y), float64(p.Z)); err != nil {
			return Plane{}, err
		}
		c.X += p.X / Length(n)
		c.Y += p.Y / Length(n)
		c.Z += p.Z / Length(n)
	}
	var reach float64
	for _, p := range points {
		reach = math.Max(reach, math.Hypot(float64(p.X-c.X), float64(p.Y-c.Y)))
	}
	if err := inRange("points", reach, float64(c.X), float64(c.Y), float64(c.Z)); err != nil {
		return Plane{}, err
	}
	slopeX, slopeY, err := slopes(points, c, reach)
	if err != nil {
		return Plane{}, err
	}
	pl := Plane{SlopeX: slopeX, SlopeY: slopeY, DoF: n - 3, Residuals: make([]Length, n)}
	pl.Z0 = c.Z - Length(slopeX)*c.X - Length(slopeY)*c.Y
	var ss float64
	for i, p := range points {
		pl.Residuals[i] = p.Z - c.Z - Length(slopeX)*(p.X-c.X) - Length(slopeY)*(p.Y-c.Y)
		ss += float64(pl.Residuals[i]) * float64(pl.Residuals[i])
	}
	if pl.DoF > 0 {
		pl.S = Length(math.Sqrt(ss / float64(pl.DoF)))
	}
	return pl, inRange("points", slopeX, slopeY, float64(pl.Z0), ss)
}

// slopes solves for the two slopes about the centroid c, in units of reach.
func slopes(points []Point, c Point, reach float64) (slopeX, slopeY float64, err error) {
	if reach == 0 {
		return 0, 0, bad("points", "lie all on one spot")
	}
	a := mat.NewDense(len(points), 2, nil)
	b := mat.NewVecDense(len(points), nil)
	for i, p := range points {
		a.Set(i, 0, float64(p.X-c.X)/reach)
		a.Set(i, 1, float64(p.Y-c.Y)/reach)
		b.SetVec(i, float64(p.Z-c.Z))
	}
	var qr mat.QR
	qr.Factorize(a)
	if !(qr.Cond() < 1e6) { // a millimetre across on a kilometre along: a line
		return 0, 0, bad("points", "lie in one line")
	}
	var s mat.VecDense
	if err := qr.SolveVecTo(&s, false, b); err != nil {
		return 0, 0, bad("points", "lie in one line")
	}
	return s.AtVec(0) / reach, s.AtVec(1) / reach, nil
}

// At returns the height of the plane over (x, y).
func (p Plane) At(x, y Length) Length {
	return p.Z0 + Length(p.SlopeX)*x + Length(p.SlopeY)*y
}
