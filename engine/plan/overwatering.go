package plan

import (
	"math"
	"slices"

	"rillturn.example/rillturn/engine/problem"
)

// LeastOver bounds from below the water beyond need and tolerance of any plan that gives everybody at least the share that
// they have in plan, and keeps the interval limits of those whose limits plan keeps.
//
// Without scarcity nobody need be given too much: everybody could have a zone of one. It is the water hours that force
// unequal layouts into one zone, so both are counted, source by source. Let b be any member of a zone Z, B_b what it still
// has to get, n_b the visits that its interval limit asks for, r_jb the least ratio of the flows of j and b at any head that
// both may have, l_j the least flow of j, a_b the flow of b alone:
//
//	over of j in Z     >= o_jb = max(r_jb·B_b, n_b·MinRun·l_j) + had_j - (1+tolerance)·V_j, or 0
//	time of Z and its changeovers >= t_b = max(B_b/a_b, n_b·MinRun) + Changeover·max(1, n_b)
//
// because j is open whenever b gets its water, at the same head, and nobody gets more than alone. A member with a valve of
// its own may be shut where somebody is there, so nothing is counted for it. Members of a zone have weights w_j (problem.Model.Weight)
// that add up to 1 at most. Of every zone let the member with most time t be b; then with multipliers p_j of any sign for
// "j is in one zone" and y >= 0 for "the windows last T"
//
//	least over >= sum p_j - y·T + sum over b of min(0, y·t_b + least over sets S with b of sum in S of (o_jb - p_j))
//
// where S are layouts whose weights add up to 1 and whose t is no more than b's (Lagrange; every b leads one zone at most). The
// last minimum is a knapsack, solved with weights rounded down. Multipliers are found by subgradients, and whatever they are
// the bound holds.
func LeastOver(p problem.Problem, o Options, plan Plan) (problem.Milliliters, error) {
	if plan.Over == 0 {
		return 0, nil
	}
	p, err := exclude(p, o)
	if err != nil {
		return 0, err
	}
	m, err := problem.NewModel(canonical(p))
	if err != nil {
		return 0, original(p, err)
	}
	share, late := map[string]float64{}, map[string]bool{}
	for _, s := range plan.Shares {
		share[s.Layout] = s.Fraction
	}
	for _, v := range plan.Late {
		late[v.Layout] = true
	}
	sum := 0.0
	for s := range m.Sources {
		members := slices.Clone(m.Members[s])
		l := &leastOver{m: m, source: s, time: windowTime(m, s, nil)}
		for _, i := range members {
			l.add(i, share[m.Layouts[i].ID], !late[m.Layouts[i].ID])
		}
		sum += l.bound()
	}
	return problem.Milliliters(math.Floor(sum * (1 - overSlack))), nil
}

// overSlack covers the error of sums in floating point.
const overSlack = 1e-6

// leastOver is the bound of one source. Volumes are in mL, times in milli-minutes.
type leastOver struct {
	m      *problem.Model
	source int
	time   float64
	items  []overItem
	over   [][]float64 // o_jb by leader b and member j
	room   []float64   // of the knapsack: most worth by units of weight
	taken  [][]bool    // by item and units of weight
}

type overItem struct {
	layout      int
	units       int     // weight in units of 1/overUnits, rounded down
	due         float64 // B: what it still has to get
	visits      float64
	least, most float64 // flow in any zone [mL/min]
	head        float64 // the highest, alone [m]
	time        float64 // t
	shut        bool    // may be shut early
}

// overUnits is the fineness of weights in the knapsack.
const overUnits = 240

func (l *leastOver) add(i int, share float64, intervals bool) {
	m, layout := l.m, &l.m.Layouts[i]
	z := problem.NewBatch(m, l.source, []int{i}, problem.ByNeed)
	source := &m.Sources[l.source]
	it := overItem{
		layout: i, due: math.Max(0, share*float64(layout.Need)-float64(m.HadInAll(i))-1), units: int(m.Weight(i) * overUnits * (1 - overSlack)),
		most: float64(z.Op.Drawn[0]), least: float64(z.Op.Delivered[0]), head: float64(z.Op.Head),
	}
	if !layout.Hand() {
		it.least = math.Max(0, layout.Curve.FlowAt(float64(layout.HeadMin))*6e7-1)
	}
	if intervals && len(m.Past) == 0 {
		it.visits = float64(z.Visits(m))
	}
	if it.due > 0 || it.visits > 0 {
		it.time = math.Max(it.due*1000/it.most, it.visits*float64(source.MinRun)) + float64(source.Changeover)*math.Max(1, it.visits)
	}
	it.shut = layout.OwnValve && slices.ContainsFunc(m.Slots[l.source], func(s problem.Slot) bool { return m.Windows[s.Window].Attended })
	l.items = append(l.items, it)
}

// pairs works out o_jb of those that b may lead, which come after it.
func (l *leastOver) pairs() {
	minRun := float64(l.m.Sources[l.source].MinRun) / problem.Minute
	l.over = make([][]float64, len(l.items))
	for b := range l.items {
		l.over[b] = make([]float64, len(l.items))
		for j := b; j < len(l.items); j++ {
			lead, item := &l.items[b], &l.items[j]
			if item.shut {
				continue
			}
			layout := &l.m.Layouts[item.layout]
			got := lead.visits * minRun * item.least
			if j != b && lead.due > 0 {
				got = math.Max(got, l.ratio(j, b)*lead.due)
			}
			enough := float64(layout.Need) * (1 + float64(l.m.OverTolerance)/1000)
			l.over[b][j] = math.Max(0, got+float64(l.m.HadInAll(item.layout))-enough-1)
		}
	}
}

// ratioHeads is how many stretches of head are looked at for the least ratio of two flows.
const ratioHeads = 48

// lowestHead is the part of the highest head below which heads are one stretch.
const lowestHead = 1e-3

// ratio is the least that j can get for what b gets, at any head that both may have. Flows rise with the head, so in a
// stretch of heads the ratio is no less than that of j's flow at the lower end to b's at the upper. Flows are rounded to mL/min
// in plans, so a millilitre is given away on both.
func (l *leastOver) ratio(j, b int) float64 {
	m := l.m
	jl, bl := &m.Layouts[l.items[j].layout], &m.Layouts[l.items[b].layout]
	if jl.Hand() || bl.Hand() {
		return 0 // never in one zone
	}
	at, high := math.Max(float64(jl.HeadMin), float64(bl.HeadMin)), math.Min(l.items[j].head, l.items[b].head)
	if at > high {
		return 0
	}
	least, bottom := math.Inf(1), math.Max(at, lowestHead*high)
	for k := range ratioHeads + 1 {
		next := bottom * math.Pow(high/bottom, float64(k)/ratioHeads)
		least = math.Min(least, math.Max(0, jl.Curve.FlowAt(at)*6e7-1)/(bl.Curve.FlowAt(next)*6e7+1))
		at = next
	}
	return least
}

// overRounds is how often multipliers are corrected.
const overRounds = 300

// mostOverWork holds the work down in large gardens.
const mostOverWork = 40e6

func (l *leastOver) bound() float64 {
	n := len(l.items)
	slices.SortStableFunc(l.items, func(a, b overItem) int {
		switch {
		case a.time > b.time:
			return -1
		case a.time < b.time:
			return 1
		}
		return 0
	})
	l.pairs()
	price, best := make([]float64, n), 0.0
	perTime, scale := 0.0, 0.0
	for b := range l.items {
		for j := b; j < n; j++ {
			scale = math.Max(scale, l.over[b][j])
		}
	}
	if scale == 0 {
		return 0
	}
	rounds := min(overRounds, int(mostOverWork/float64(n*n*overUnits/2+1)))
	// A start: what time is worth when a zone more costs as much as the usual water beyond need.
	if l.time > 0 {
		perTime = scale / l.time
	}
	for b := range l.items {
		price[b] = perTime * l.items[b].time / 2
	}
	step, stale := 1.0, 0
	for range rounds {
		value, used, count := l.value(price, perTime)
		if stale++; value > best+1e-9 {
			best, stale = value, 0
		}
		if stale > 15 {
			step, stale = step/2, 0
		}
		// The step of Polyak towards a value somewhat above the best; times are measured in the mean of t.
		unit := l.time / float64(n+1)
		norm := (used - l.time) / unit * ((used - l.time) / unit)
		for j := range count {
			norm += float64((1 - count[j]) * (1 - count[j]))
		}
		if norm == 0 {
			break
		}
		by := step * math.Max(best-value+scale*0.05, 0) / norm
		for j := range price {
			price[j] += by * float64(1-count[j])
		}
		perTime = math.Max(0, perTime+by*(used-l.time)/unit/unit)
	}
	return best
}

// value is the bound for some multipliers, with the time that the zones chosen take and how often each layout is in one.
func (l *leastOver) value(price []float64, perTime float64) (value, used float64, count []int) {
	count = make([]int, len(l.items))
	value = -perTime * l.time
	for _, p := range price {
		value += p
	}
	var set []int
	for b := range l.items {
		worth := 0.0
		if worth, set = l.pack(b, price, set[:0]); perTime*l.items[b].time-worth < 0 {
			value += perTime*l.items[b].time - worth
			used += l.items[b].time
			for _, j := range set {
				count[j]++
			}
		}
	}
	return value, used, count
}

// pack returns the set with b of most worth, of layouts with no more time than b.
func (l *leastOver) pack(b int, price []float64, set []int) (float64, []int) {
	lead := &l.items[b]
	worth := price[b] - l.over[b][b]
	set = append(set, b)
	most := l.m.Sources[l.source].Connections
	if l.m.Layouts[lead.layout].Hand() || most == 1 {
		return worth, set
	}
	free := overUnits - lead.units
	if l.room == nil {
		l.room = make([]float64, overUnits+1)
		l.taken = make([][]bool, len(l.items))
		for j := range l.taken {
			l.taken[j] = make([]bool, overUnits+1)
		}
	}
	room := l.room[:free+1]
	clear(room)
	for j := b + 1; j < len(l.items); j++ {
		gain, units := price[j]-l.over[b][j], l.items[j].units
		clear(l.taken[j])
		if gain <= 0 || l.m.Layouts[l.items[j].layout].Hand() {
			continue
		}
		for u := free; u >= units; u-- {
			if v := room[u-units] + gain; v > room[u] {
				room[u], l.taken[j][u] = v, true
			}
		}
	}
	for j, u := len(l.items)-1, free; j > b; j-- {
		if l.taken[j][u] {
			set = append(set, j)
			u -= l.items[j].units
		}
	}
	return worth + room[free], set
}
