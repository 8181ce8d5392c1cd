package hydraulics

import "math"

// Curves are sampled by head above the dry level from leastSample to mostSample [m], evenly by logarithm, and then where
// the cubic misses the march. On a slope each hole's height is a kink, so points gather there; in laminar water so is
// each hole's passing of the ramp, and under the reliable head a ten times larger miss is let pass.
const (
	leastSample  = 1e-3
	mostSample   = 100
	samples      = 31  // six a decade
	mostPoints   = 160 // of a lateral
	curveMiss    = 1e-4
	layoutPoints = 80
	layoutMiss   = 2e-4
)

// sample is one point of a curve.
type sample struct {
	head, flow float64
	state      settled
	sound      bool // the cubic meets the march between this point and the next
}

// sampled draws a curve that starts at head dry: at gives the point at a head, started from its lower neighbour.
func sampled(dry float64, most int, miss float64, at func(h float64, near *sample) sample) []sample {
	points := []sample{{head: dry, sound: true}}
	step := math.Pow(mostSample/leastSample, 1.0/(samples-1))
	for i, over := 0, leastSample; i < samples; i, over = i+1, over*step {
		points = append(points, at(dry+over, &points[len(points)-1]))
	}
	for len(points) < most {
		table := tableOf(points)
		refined, grown := make([]sample, 0, 2*len(points)), false
		for i := range points {
			refined = append(refined, points[i])
			last := i == len(points)-1
			if last || points[i].sound || len(points)+len(refined)-i-1 >= most {
				continue
			}
			p := at(math.Sqrt((points[i].head-dry)*(points[i+1].head-dry))+dry, &points[i])
			allowed := miss * p.flow
			if p.head-dry < ReliableHead {
				allowed *= 10
			}
			p.sound = math.Abs(table.FlowAt(p.head)-p.flow) <= allowed
			refined[len(refined)-1].sound = p.sound
			refined = append(refined, p)
			grown = true
		}
		points = refined
		if !grown {
			break
		}
	}
	return points
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
	points := sampled(l.chain.dry, mostPoints, curveMiss, func(h float64, near *sample) sample {
		s := l.chain.settle(request{target: h, tolerance: fineTolerance, near: &near.state})
		return sample{head: h, flow: s.flow, state: s}
	})
	l.table = tableOf(points)
	l.states = make([]settled, len(points))
	for i := range points {
		l.states[i] = points[i].state
	}
}

// tabulate stores the layout's curve. It goes by the head in the manifold at the feed, from which flow and then the head
// at the source follow without a search.
func (c *Compiled) tabulate() Table {
	dry := c.dry()
	if math.IsInf(dry, 1) {
		return Table{}
	}
	var arms [3]settled
	byManifold := sampled(dry, layoutPoints, layoutMiss, func(h float64, _ *sample) sample {
		q, _ := c.armsFlow(h, nil, &arms)
		return sample{head: h, flow: q}
	})
	for i := range byManifold {
		p := &byManifold[i]
		loss, _ := c.feed.loss(p.flow)
		p.head += c.feed.rise + loss
	}
	return tableOf(byManifold)
}

// dry returns the head at the feed in the manifold up to which nothing flows.
func (c *Compiled) dry() float64 {
	return math.Min(c.arms[0].dry, math.Min(c.arms[1].dry, c.arms[2].dry))
}
