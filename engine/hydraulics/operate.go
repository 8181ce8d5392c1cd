package hydraulics

import (
	"fmt"
	"math"

	"rillturn.example/rillturn/engine/unit"
)

// lowestHead is how far under the atmosphere the search for an operating point goes [m]: water columns break there.
const lowestHead = -10

// Operation is the joint operating point of a source and everything open on it.
type Operation struct {
	Head       float64   // at the source's outlet [m]
	Flows      []float64 // of each open curve, in the order given [m³/s]
	Total      float64   // [m³/s]
	Limited    bool      // the source's flow limit binds, not its curve
	Residual   float64   // |Σq - supply(h)| over the larger of them [-]
	Iterations int
}

// InfeasibleError says that what is open asks for more than the source can give at any head.
type InfeasibleError struct {
	Need, Have unit.Flow
}

// Error states both flows.
func (e InfeasibleError) Error() string {
	return fmt.Sprintf("open layouts need %.4g L/min, source gives %.4g L/min", e.Need.LitersPerMinute(), e.Have.LitersPerMinute())
}

// Operate finds the head at which everything open takes exactly what the source gives. That is one increasing function
// with one root, so the search brackets it and cannot miss. With nothing open the head is static.
//
// It returns InfeasibleError when regulated layouts ask for more than the source has at zero head.
func Operate(s Supply, open []HeadFlow) (Operation, error) {
	op := Operation{Head: s.HeadAt(0), Flows: make([]float64, len(open))}
	top := s.HeadAt(0)
	take := func(h float64) float64 {
		sum := 0.0
		for i, c := range open {
			op.Flows[i] = c.FlowAt(h)
			sum += op.Flows[i]
		}
		return sum
	}
	op.Total = take(top)
	if op.Total <= 0 {
		return op, nil
	}
	if s.Coefficient == 0 && op.Total <= s.FlowAt(math.Nextafter(s.Static, math.Inf(-1))) {
		return op, nil
	}
	low := math.Min(0, top)
	if take(low) > s.FlowAt(low) {
		need := op.Total
		if low = lowestHead; take(low) > s.FlowAt(low) {
			return Operation{}, InfeasibleError{Need: unit.Flow(need), Have: unit.Flow(s.FlowAt(0))}
		}
	}
	op.Head, op.Iterations = root(low, top, func(h float64) float64 { return take(h) - s.FlowAt(h) })
	op.Total = take(op.Head)
	have := s.FlowAt(op.Head)
	op.Limited = !math.IsInf(s.MaxFlow, 1) && s.HeadAt(op.Total) > op.Head+1e-9*math.Max(1, math.Abs(op.Head))
	op.Residual = math.Abs(op.Total-have) / math.Max(math.Max(op.Total, have), math.SmallestNonzeroFloat64)
	return op, nil
}

// root returns the zero of an increasing function between lo and hi to the last bits of x. It mixes bisection with
// inverse quadratic steps and keeps the bracket, so it ends whatever the function does.
// Source: T. R. Chandrupatla, Adv. Eng. Softw. 28 (1997) 145–149.
func root(lo, hi float64, f func(float64) float64) (x float64, iterations int) {
	a, b := hi, lo
	fa, fb := f(a), f(b)
	iterations = 2
	if fb >= 0 {
		return b, iterations
	}
	if fa <= 0 {
		return a, iterations
	}
	t := 0.5
	for iterations < 200 {
		x = a + t*(b-a)
		fx := f(x)
		iterations++
		c, fc := b, fb
		if (fx > 0) == (fa > 0) {
			c, fc = a, fa
		} else {
			b, fb = a, fa
		}
		a, fa = x, fx
		best, fbest := a, fa
		if math.Abs(fb) < math.Abs(fa) {
			best, fbest = b, fb
		}
		slack := 2 * rootTolerance * math.Abs(best) / math.Abs(b-a)
		if fbest == 0 || slack > 0.5 || b == a {
			return best, iterations
		}
		t = 0.5
		xi, phi := (a-b)/(c-b), (fa-fb)/(fc-fb)
		if phi*phi < xi && (1-phi)*(1-phi) < 1-xi {
			t = fa/(fb-fa)*fc/(fb-fc) + (c-a)/(b-a)*fa/(fc-fa)*fb/(fc-fb)
		}
		t = math.Min(1-slack, math.Max(slack, t))
	}
	return x, iterations
}

// rootTolerance ends a scalar search at a few units in the last place of a double: the functions searched are cheap, and
// the mass balance of results is promised to 1e-9.
const rootTolerance = 4e-16

// SolveOn returns everything about a layout that runs alone on a source.
func SolveOn(s Supply, c *Compiled) (Result, error) {
	state, err := c.running(s)
	if err != nil {
		return Result{}, err
	}
	return c.result(state), nil
}

// running finds the recorded state of the layout alone on a source. The stored curve gives the operating point to start
// from; marches end it.
func (c *Compiled) running(s Supply) (*state, error) {
	state := c.solve(s, c.table.meets(s))
	if state.flow <= s.FlowAt(math.Inf(-1)) && state.manifold > lowestHead {
		return state, nil
	}
	// The source's flow limit binds, or more is asked for than it gives.
	op, err := Operate(s, []HeadFlow{c})
	if err != nil {
		return nil, err
	}
	return c.solve(held(op.Head), op.Head), nil
}

// meets returns about the head at which the source gives what the curve takes, whatever its flow limit: Newton's steps in
// a bracket from the static head down. Against the head both sides are nearly straight lines, so a few are enough.
func (t *Table) meets(s Supply) float64 {
	const most, enough = 30, 1e-4 // of the static head
	lo, hi := min(lowestHead, s.Static), s.Static
	h := hi
	for range most {
		q, slope := t.flow(h)
		offered, fall := s.offered(q)
		if h > offered {
			hi = h
		} else {
			lo = h
		}
		next := h - (h-offered)/(1-fall*slope)
		if !(next > lo && next < hi) {
			next = lo + (hi-lo)/2
		}
		if math.Abs(next-h) < enough*math.Abs(s.Static) {
			return next
		}
		h = next
	}
	return h
}
