package zoning

import (
	"math"
	"slices"
	"sort"

	"rillturn.example/rillturn/engine/problem"
)

// weightSlack keeps rounding from counting a zone too many.
const weightSlack = 1e-9

// PackingBound returns the least number of bins of size 1 that hold the weights: L2 of Martello and Toth, the best over
// all thresholds of counting large weights singly and filling up with the small ones. weights must be sorted, largest
// first. Source: S. Martello, P. Toth, Discrete Applied Mathematics 28 (1990) 59–70 (from memory).
func PackingBound(weights []float64) int {
	n := len(weights)
	if n == 0 {
		return 0
	}
	sums := make([]float64, n+1)
	for k, w := range weights {
		sums[k+1] = sums[k] + w
	}
	best := int(math.Ceil(sums[n] - weightSlack*float64(n)))
	above := func(v float64) int { return sort.Search(n, func(k int) bool { return weights[k] <= v }) }
	half := above(0.5)
	last := -1.0
	for k := n - 1; k >= 0; k-- {
		threshold := weights[k]
		if threshold > 0.5 {
			threshold = 0
		}
		if threshold == last {
			continue
		}
		last = threshold
		// Larger than 1−threshold: alone. From there to a half: one each. From a half to the threshold: into what is left.
		large := above(1 - threshold + weightSlack)
		small := sort.Search(n, func(k int) bool { return weights[k] < threshold })
		room := float64(half-large) - (sums[half] - sums[large])
		rest := sums[small] - sums[half]
		best = max(best, half+int(math.Max(0, math.Ceil(rest-room-weightSlack*float64(n)))))
		if threshold == 0 {
			break
		}
	}
	return best
}

// Piece is a layout as the bounds see it.
type Piece struct {
	Key    float64
	Weight float64
}

// LayeredBound is a lower bound on the sum over zones of the largest key of their members, for any partition into
// zones that fit:
//
//	sum of max key = integral over y of the number of zones with max key > y >= integral of PackingBound({key > y})
//
// because the zones with a key above y hold all pieces with a key above y. connections is the most members of a zone, 0
// for no limit.
func LayeredBound(pieces []Piece, connections int) float64 {
	sorted := slices.Clone(pieces)
	sort.SliceStable(sorted, func(a, b int) bool { return sorted[a].Key > sorted[b].Key })
	var weights []float64
	sum := 0.0
	for k, p := range sorted {
		at := sort.Search(len(weights), func(n int) bool { return weights[n] < p.Weight })
		weights = slices.Insert(weights, at, p.Weight)
		next := 0.0
		if k+1 < len(sorted) {
			next = sorted[k+1].Key
		}
		if p.Key > next {
			zones := PackingBound(weights)
			if connections > 0 {
				zones = max(zones, (len(weights)+connections-1)/connections)
			}
			sum += (p.Key - next) * float64(zones)
		}
	}
	return sum
}

// Least is what any zoning of a set of layouts must spend on its source.
type Least struct {
	pieces      []layoutPiece
	connections int
	changeover  float64
	minRun      float64
	flow        float64 // most that the source gives to any zone [mL/min]
}

type layoutPiece struct {
	weight float64
	need   float64 // mL
	most   float64 // share that its days and soil let it have
	alone  float64 // milli-minutes for all its need when it is open alone
	perDay float64 // need as a multiple of what its soil takes in a day
	perRun float64 // need as a multiple of its longest run
	within float64 // least pause between two turns of a visit, as a part of a changeover
	visits float64 // watering days that its interval limit asks for
}

// NewLeast prepares the bounds for layouts of source s. Without intervals, interval limits are not counted.
func NewLeast(m *problem.Model, s int, layouts []int, intervals bool) Least {
	l := Least{
		connections: m.Sources[s].Connections, changeover: float64(m.Sources[s].Changeover), minRun: float64(m.Sources[s].MinRun),
		flow: float64(m.LargestFlow(s)),
	}
	for _, i := range layouts {
		z := problem.NewBatch(m, s, []int{i}, problem.ByNeed)
		layout := &m.Layouts[i]
		// Rounding down the flow when alone by 1 mL/min must not make the bound too high.
		flow := float64(z.Op.Drawn[0])
		p := layoutPiece{
			weight: m.Weight(i), need: float64(layout.Need), most: problem.Most(m, i), alone: float64(layout.Need) * 1000 / flow,
		}
		if layout.MaxDay > 0 {
			p.perDay = float64(layout.Need) / float64(layout.MaxDay)
		}
		if layout.MaxDayTime > 0 {
			p.perDay = math.Max(p.perDay, p.alone/float64(layout.MaxDayTime))
		}
		if layout.MaxRun > 0 {
			p.perRun = p.alone / float64(layout.MaxRun)
		}
		if p.within = 1; l.changeover > 0 {
			p.within = float64(z.Pause(m)) / l.changeover
		}
		if intervals && p.most > 0 {
			p.visits = float64(z.Visits(m))
		}
		l.pieces = append(l.pieces, p)
	}
	return l
}

// ceilSlack keeps a share that needs exactly n turns from counting n+1.
const ceilSlack = 1e-9

// Open returns the least milli-minutes for which zones of the source must be open, so that every layout gets the share of
// its need, or as much as it can get at all.
func (l *Least) Open(share float64) float64 {
	time, volume := make([]Piece, len(l.pieces)), 0.0
	for k, p := range l.pieces {
		part := math.Min(share, p.most)
		time[k] = Piece{Key: part * p.alone, Weight: p.weight}
		volume += part * p.need
	}
	return math.Max(LayeredBound(time, l.connections), volume*1000/l.flow)
}

// Time returns the least milli-minutes, changeovers included, in which every layout gets the share of its need, or as
// much as it can get at all.
func (l *Least) Time(share float64) float64 {
	setups := make([]Piece, len(l.pieces))
	for k, p := range l.pieces {
		part := math.Min(share, p.most)
		visits := math.Max(p.visits, math.Ceil(part*p.perDay-ceilSlack))
		if p.alone > 0 && part > 0 {
			visits = math.Max(visits, 1)
		}
		// Turns of a visit beyond its first count by the pause that they need.
		more := math.Max(0, math.Ceil(part*p.perRun-ceilSlack)-visits)
		setups[k] = Piece{Key: visits + p.within*more, Weight: p.weight}
	}
	turns := LayeredBound(setups, l.connections)
	return math.Max(l.Open(share), l.minRun*turns) + l.changeover*turns
}

// Share returns the largest share at which the time suffices, by bisection from above: the answer is never too low.
func (l *Least) Share(time float64) float64 { return LargestShare(l.Time, time) }

// LargestShare returns the largest share, at most 1, for which no more than what there is is spent, by bisection from
// above: the answer is never too low. spend must rise with the share.
func LargestShare(spend func(float64) float64, there float64) float64 {
	if spend(1) <= there*(1+ceilSlack) {
		return 1
	}
	low, high := 0.0, 1.0
	for range shareSteps {
		if mid := (low + high) / 2; spend(mid) <= there*(1+ceilSlack) {
			low = mid
		} else {
			high = mid
		}
	}
	return high
}

// shareSteps leave a bound too high by less than a millionth.
const shareSteps = 20

// Exact is the bound of small sources: the least time over all partitions, by looking at every set of layouts.
type Exact struct {
	m         *problem.Model
	batches   []*problem.Batch // by set of layouts; nil where the set does not fit
	most      []float64        // by layout of the problem: the share that its days and soil let it have
	intervals bool
	visits    map[int]float64 // by layout: watering days that its interval limit asks for; nil where these are all layouts of the source
}

// ExactLayouts is the most layouts of a source for which NewExact is worth its time.
const ExactLayouts = exactLayouts

// NewExact prepares the bound for layouts of source s, at most ExactLayouts of them. Where they are not all, the others may be in
// their zones.
func NewExact(m *problem.Model, s int, layouts []int, intervals bool) Exact {
	e := Exact{m: m, intervals: intervals, batches: make([]*problem.Batch, 1<<len(layouts)), most: make([]float64, len(m.Layouts))}
	for _, i := range layouts {
		e.most[i] = problem.Most(m, i)
	}
	if len(layouts) < len(m.Members[s]) {
		e.visits = map[int]float64{}
		for _, i := range layouts {
			if z := problem.NewBatch(m, s, []int{i}, problem.ByNeed); intervals && e.most[i] > 0 {
				e.visits[i] = float64(z.Visits(m))
			}
		}
	}
	for set := 1; set < len(e.batches); set++ {
		var members []int
		for k, i := range layouts {
			if set>>k&1 == 1 {
				members = append(members, i)
			}
		}
		if !m.Fits(s, members) {
			continue
		}
		z := problem.NewBatch(m, s, members, problem.ByNeed)
		if line := m.LineOf[s]; line < 0 || z.Op.Total <= m.Lines[line].FlowLimit {
			e.batches[set] = &z
		}
	}
	return e
}

// Time returns the least milli-minutes, changeovers included, in which every layout gets the share, or as much as it can
// get at all, and +Inf when no partition lets all of them get it.
func (e *Exact) Time(share float64) float64 {
	time := make([]float64, len(e.batches))
	for set, z := range e.batches {
		time[set] = math.Inf(1)
		if z == nil {
			continue
		}
		if e.visits != nil {
			time[set] = e.within(z, share)
			continue
		}
		// A zone's need is rounded up to the milli-minute; a member may get by with one less.
		want, intervals := 0.0, e.intervals
		for at, i := range z.Members {
			need := float64(e.m.Layouts[i].Need.Over(z.Op.Delivered[at]))
			want = math.Max(want, math.Min(share, e.most[i])*need-1)
			intervals = intervals && e.most[i] > 0
		}
		if spend := z.SpendFor(e.m, math.Max(0, want), intervals); spend.Short <= 1+1e-6*want {
			time[set] = spend.Time
		}
	}
	least := make([]float64, len(time))
	for set := 1; set < len(time); set++ {
		least[set] = math.Inf(1)
		first := set & -set
		rest := set &^ first
		for part := rest; ; part = (part - 1) & rest {
			z := part | first
			least[set] = math.Min(least[set], time[z]+least[set&^z])
			if part == 0 {
				break
			}
		}
	}
	return least[len(least)-1]
}

// within is the least time of the zones that z is a part of: with others open its members take less, so that each needs no fewer
// minutes and as many days for its soil, though a shortest turn may be too long for z alone.
func (e *Exact) within(z *problem.Batch, share float64) float64 {
	want, visits := 0.0, 0.0
	for at, i := range z.Members {
		l, part := &e.m.Layouts[i], math.Min(share, e.most[i])
		want = math.Max(want, part*float64(l.Need.Over(z.Op.Delivered[at]))-1)
		visits = math.Max(visits, e.visits[i])
		if l.MaxDay > 0 {
			visits = math.Max(visits, math.Ceil(part*float64(l.Need)/float64(l.MaxDay)-ceilSlack))
		}
	}
	if want > 0 {
		visits = math.Max(visits, 1)
	}
	source := &e.m.Sources[z.Source]
	return math.Max(want, visits*float64(source.MinRun)) + visits*float64(source.Changeover)
}

// Share returns the largest share at which the time suffices, by bisection from above: the answer is never too low.
func (e *Exact) Share(time float64) float64 { return LargestShare(e.Time, time) }
