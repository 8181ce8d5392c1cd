package hydraulics

import "math"

// Common is one hose or pipe in front of several curves: a splitter at its end, or a header with a valve to each. It is
// itself a curve, so that whatever lies behind one source can be composed.
type Common struct {
	Feed Feed // its loss coefficients refer to the hose, which must have a diameter
	Open []HeadFlow

	line feedLine
}

// NewCommon returns the curve of open behind a feed, or Faults.
func NewCommon(f Feed, o Options, open []HeadFlow) (*Common, error) {
	compiler, err := NewCompiler(o)
	if err != nil {
		return nil, err
	}
	var c checker
	c.feed(&f)
	if f.HoseDiameter == 0 {
		c.add("feed.hose_diameter_mm", FaultMissing)
	}
	if err := c.err(); err != nil {
		return nil, err
	}
	return &Common{Feed: f, Open: open, line: compiler.feedLine(&Layout{Feed: f})}, nil
}

// FlowAt returns the flow [m³/s] of all together at head h [m] in front of the common feed.
func (c *Common) FlowAt(h float64) float64 {
	total := 0.0
	for _, q := range c.Split(h).Flows {
		total += q
	}
	return total
}

// Split returns the head behind the feed and the flow of each curve at head h in front of it.
func (c *Common) Split(h float64) Operation {
	op := Operation{Flows: make([]float64, len(c.Open))}
	take := func(x float64) float64 {
		op.Total = 0
		for i, curve := range c.Open {
			op.Flows[i] = curve.FlowAt(x)
			op.Total += op.Flows[i]
		}
		return op.Total
	}
	top := h - c.line.rise
	over := func(x float64) float64 {
		loss, _ := c.line.loss(take(x))
		return x + loss - top
	}
	low := math.Min(lowestHead, top-1)
	if over(low) > 0 { // regulated curves that ask for more than the feed can pass
		op.Head = low
		return op
	}
	op.Head, op.Iterations = root(low, top, over)
	miss := over(op.Head)
	op.Residual = math.Abs(miss) / math.Max(math.Abs(top), math.SmallestNonzeroFloat64)
	return op
}
