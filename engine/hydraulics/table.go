package hydraulics

import (
	"fmt"
	"math"
)

// Table is a head–flow curve stored as Q² over h, which for holes is nearly a straight line, with a monotone cubic
// between the points. It is plain data: the three slices have one entry per point and may be stored and read back.
//
// Below the first point nothing flows. Beyond the last one Q² goes on in a straight line with the last slope, so that
// flow grows by the square root of head, as it does at high head where friction is fully quadratic.
type Table struct {
	Head        []float64 // h [m], strictly rising
	FlowSquared []float64 // Q² [m⁶/s²], never falling
	Slope       []float64 // dQ²/dh at the points [m⁵/s²]
}

// TableError says that points do not make a curve.
type TableError struct {
	Index int // the first point that is wrong
}

// Error names the point.
func (e TableError) Error() string {
	return fmt.Sprintf("head-flow table: point %d does not rise", e.Index)
}

// NewTable makes a curve through points of head [m] and flow [m³/s]. Heads must rise strictly, flows must not fall nor
// be negative.
func NewTable(head, flow []float64) (Table, error) {
	if len(head) != len(flow) || len(head) < 2 {
		return Table{}, TableError{Index: min(len(head), len(flow))}
	}
	t := Table{
		Head: append([]float64(nil), head...), FlowSquared: make([]float64, len(flow)), Slope: make([]float64, len(flow)),
	}
	for i, q := range flow {
		if !(q >= 0) || math.IsInf(q, 0) || math.IsInf(head[i], 0) || math.IsNaN(head[i]) ||
			(i > 0 && (!(head[i] > head[i-1]) || q < flow[i-1])) {
			return Table{}, TableError{Index: i}
		}
		t.FlowSquared[i] = q * q
	}
	t.setSlopes()
	return t, nil
}

// setSlopes chooses the slopes of the cubic.
func (t *Table) setSlopes() { monotoneSlopes(t.Head, t.FlowSquared, t.Slope) }

// monotoneSlopes fills in the slopes that keep a cubic through rising points monotone: the weighted harmonic mean of the
// neighbouring secants.
// Source: F. N. Fritsch, R. E. Carlson, SIAM J. Numer. Anal. 17 (1980) 238–246 for the condition; the harmonic mean is
// the choice of F. N. Fritsch, J. Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300–304.
func monotoneSlopes(x, y, slope []float64) {
	n := len(x)
	secant := func(i int) float64 { return (y[i+1] - y[i]) / (x[i+1] - x[i]) }
	slope[0], slope[n-1] = secant(0), secant(n-2)
	for i := 1; i < n-1; i++ {
		a, b := secant(i-1), secant(i)
		if a <= 0 || b <= 0 {
			slope[i] = 0
			continue
		}
		left, right := x[i]-x[i-1], x[i+1]-x[i]
		slope[i] = 3 * (left + right) / ((left+2*right)/a + (2*left+right)/b)
	}
}

// FlowAt returns the flow [m³/s] at head h [m].
func (t *Table) FlowAt(h float64) float64 {
	q, _ := t.flow(h)
	return q
}

// flow returns the flow and its derivative by head.
func (t *Table) flow(h float64) (q, slope float64) {
	square, rise := t.square(h)
	if square <= 0 {
		return 0, 0
	}
	q = math.Sqrt(square)
	return q, rise / (2 * q)
}

// square returns Q² and its derivative by head.
func (t *Table) square(h float64) (square, rise float64) {
	n := len(t.Head)
	if n == 0 || h <= t.Head[0] {
		return 0, 0
	}
	if h >= t.Head[n-1] {
		return t.FlowSquared[n-1] + t.Slope[n-1]*(h-t.Head[n-1]), t.Slope[n-1]
	}
	i := t.interval(h)
	w := t.Head[i+1] - t.Head[i]
	s := (h - t.Head[i]) / w
	y0, y1, m0, m1 := t.FlowSquared[i], t.FlowSquared[i+1], t.Slope[i]*w, t.Slope[i+1]*w
	// Hermite form in powers of s.
	c2 := 3*(y1-y0) - 2*m0 - m1
	c3 := 2*(y0-y1) + m0 + m1
	return y0 + s*(m0+s*(c2+s*c3)), (m0 + s*(2*c2+s*3*c3)) / w
}

// interval returns the last point that is no higher than h, of those before the last; h must not lie under the first.
func (t *Table) interval(h float64) int {
	lo, hi := 0, len(t.Head)-1
	for hi-lo > 1 {
		if mid := int(uint(lo+hi) / 2); t.Head[mid] <= h {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}

// HeadFor returns the least head [m] at which the flow reaches q [m³/s]. ok is false where no head does.
func (t *Table) HeadFor(q float64) (h float64, ok bool) {
	n := len(t.Head)
	if n == 0 || !(q > 0) {
		return 0, false
	}
	if last := t.FlowSquared[n-1]; q*q > last {
		if t.Slope[n-1] <= 0 {
			return 0, false
		}
		return t.Head[n-1] + (q*q-last)/t.Slope[n-1], true
	}
	return bisect(t.Head[0], t.Head[n-1], func(h float64) bool { s, _ := t.square(h); return s >= q*q }), true
}

// bisect returns the least x in [lo, hi], to the last bit, at which reached holds; reached must hold at hi and not go
// back once it holds.
func bisect(lo, hi float64, reached func(float64) bool) float64 {
	for {
		mid := lo + (hi-lo)/2
		if mid <= lo || mid >= hi {
			return hi
		}
		if reached(mid) {
			hi = mid
		} else {
			lo = mid
		}
	}
}
