package hydraulics

import "math"

// Curves are sampled by head above the dry level from leastSample to mostSample [m], evenly by logarithm, and then where
// the cubic misses the march. On a slope each hole's height is a kink, so points gather there; in laminar water so is
// each hole's passing of the ramp, and under the reliable head a ten times larger miss is let pass.
const (
	leastSample  = 1e-3
	mostSample   = 100
	samples      = 31  // six a decade
	mostPoints   = 200 // of a lateral
	curveMiss    = 1e-4
	closest      = 2e-3 // of the height above the dry level: points this near don't pay at a kink
	layoutPoints = 120
	layoutMiss   = 2e-4
)

// sample is one point of a curve.
type sample struct {
	at                float64 // the head it was sampled by
	head, flow, slope float64
	state             settled
	sound             bool // the cubic meets the march between this point and the next
}

// sampled draws a curve from its dry point: at gives the point at a head, started from its lower neighbour.
func sampled(first sample, most int, miss float64, at func(h float64, near *sample) sample) []sample {
	points := []sample{first}
	step := math.Pow(mostSample/leastSample, 1.0/(samples-1))
	for i, over := 0, leastSample; i < samples; i, over = i+1, over*step {
		points = append(points, at(first.at+over, &points[len(points)-1]))
	}
	for grown := true; grown && len(points) < most; {
		points, grown = refine(points, most, miss, at)
	}
	return points
}

// refine halves the stretches that are not sound yet, the high ones first: when points run out, heads near the dry level
// go without.
func refine(points []sample, most int, miss float64, at func(h float64, near *sample) sample) ([]sample, bool) {
	table, dry := tableOf(points), points[0].at
	added := make([]*sample, len(points)) // after each point
	count := 0
	for i := len(points) - 2; i >= 0 && len(points)+count < most; i-- {
		if points[i].sound || points[i+1].at-points[i].at < closest*(points[i].at-dry) {
			continue
		}
		p := at(math.Sqrt((points[i].at-dry)*(points[i+1].at-dry))+dry, &points[i])
		p.sound = meets(&table, &p, miss, p.at-dry < ReliableHead)
		points[i].sound = p.sound
		added[i] = &p
		count++
	}
	refined := make([]sample, 0, len(points)+count)
	for i := range points {
		refined = append(refined, points[i])
		if added[i] != nil {
			refined = append(refined, *added[i])
		}
	}
	return refined, count > 0
}

// meets says whether a curve is near enough to a march: within miss in flow, and a hundred times that in slope, which
// betrays a kink beside a midpoint that happens to fit.
func meets(t *Table, p *sample, miss float64, low bool) bool {
	if low {
		miss *= 10
	}
	q, slope := t.flow(p.head)
	return math.Abs(q-p.flow) <= miss*p.flow && math.Abs(slope-p.slope) <= 100*miss*p.slope
}

// tableOf makes a curve of samples. A flow that rounding made fall is raised to its neighbour's.
func tableOf(points []sample) Table {
	n := len(points)
	t := Table{Head: make([]float64, n), FlowSquared: make([]float64, n), Slope: make([]float64, n)}
	for i, p := range points {
		t.Head[i], t.FlowSquared[i] = p.head, p.flow*p.flow
		if i > 0 {
			t.FlowSquared[i] = math.Max(t.FlowSquared[i], t.FlowSquared[i-1])
		}
	}
	t.setSlopes()
	return t
}

// tabulate stores the lateral's curve.
func (l *lateral) tabulate() {
	points := sampled(sample{at: l.chain.dry, head: l.chain.dry, sound: true}, mostPoints, curveMiss, func(h float64, near *sample) sample {
		s := l.chain.settle(request{target: h, tolerance: fineTolerance, near: &near.state})
		return sample{at: h, head: h, flow: s.flow, slope: s.slope, state: s}
	})
	l.table = tableOf(points)
	l.states = make([]settled, len(points))
	for i := range points {
		l.states[i] = points[i].state
	}
	l.ends = newEndCurve(l.chain.dry, l.states)
}

// tabulate stores the layout's curve. It goes by the head in the manifold at the feed, from which flow and then the head
// at the source follow without a search.
func (c *Compiled) tabulate() Table {
	dry := c.dry()
	if math.IsInf(dry, 1) {
		return Table{}
	}
	var arms [3]settled
	first := sample{at: dry, head: dry + c.feed.rise, sound: true}
	return tableOf(sampled(first, layoutPoints, layoutMiss, func(h float64, _ *sample) sample {
		q, slope := c.armsFlow(h, nil, &arms)
		loss, lossSlope := c.feed.loss(q)
		return sample{at: h, head: h + c.feed.rise + loss, flow: q, slope: slope / (1 + lossSlope*slope)}
	}))
}

// dry returns the head at the feed in the manifold up to which nothing flows.
func (c *Compiled) dry() float64 {
	return math.Min(c.arms[0].dry, math.Min(c.arms[1].dry, c.arms[2].dry))
}
