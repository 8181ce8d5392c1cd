package hydraulics

import "math"

// Curves are sampled by head above the dry level from leastSample to mostSample [m], evenly by logarithm, and then where
// the cubic misses the march. On a slope each hole's height is a kink, so points gather there.
const (
	leastSample  = 1e-4
	mostSample   = 100
	samples      = 37  // six a decade
	mostPoints   = 240 // of a lateral
	curveMiss    = 2e-5
	layoutPoints = 120
	layoutMiss   = 5e-5
)

// sample is one point of a curve.
type sample struct {
	head, flow, end float64
	settled         bool // the cubic meets the march between this point and the next
}

// sampled draws a curve that starts at head dry: at gives flow and end head for a head.
func sampled(dry float64, most int, miss float64, at func(h float64) sample) []sample {
	points := []sample{{head: dry, settled: true}}
	step := math.Pow(mostSample/leastSample, 1.0/(samples-1))
	for i, over := 0, leastSample; i < samples; i, over = i+1, over*step {
		points = append(points, at(dry+over))
	}
	for len(points) < most {
		table := tableOf(points)
		refined, grown := make([]sample, 0, 2*len(points)), false
		for i := range points {
			refined = append(refined, points[i])
			last := i == len(points)-1
			if last || points[i].settled || len(points)+len(refined)-i-1 >= most {
				continue
			}
			p := at(math.Sqrt((points[i].head-dry)*(points[i+1].head-dry)) + dry)
			p.settled = math.Abs(table.FlowAt(p.head)-p.flow) <= miss*p.flow
			refined[len(refined)-1].settled = p.settled
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
	guess := math.NaN()
	points := sampled(l.chain.dry, mostPoints, curveMiss, func(h float64) sample {
		s := l.chain.settle(h, guess, nil)
		return sample{head: h, flow: s.flow, end: s.end}
	})
	l.table = tableOf(points)
	l.ends = make([]float64, len(points))
	for i, p := range points {
		l.ends[i] = p.end
	}
}

// tabulate stores the layout's curve. It goes by the head in the manifold at the feed, from which flow and then the head
// at the source follow without a search.
func (c *Compiled) tabulate() Table {
	dry := c.dry()
	if math.IsInf(dry, 1) {
		return Table{}
	}
	ends := c.noGuess()
	byManifold := sampled(dry, layoutPoints, layoutMiss, func(h float64) sample {
		q, _ := c.armsFlow(h, nil, &ends)
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
