package zoning

import (
	"cmp"
	"math"
	"slices"

	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/unit"
)

// Configuration bounds what any zoning of a source spends, by the linear programme in which zones, and parts of zones,
// cover every layout at least cost. Zones are its columns, found when the duals ask for them (Gilmore and Gomory 1961).
// With any duals u
//
//	least time >= sum of u / max over zones of (sum of u in the zone / cost of the zone)
//
// (Farley 1990; both from memory), so the bound is safe wherever the search for columns ends.
//
// A member's flow depends on who else is open. Zones are therefore sorted by the cell in which their joint head lies: at
// the lower end of a cell its members take least and the source gives most, at its upper end the minutes are fewest.
type Configuration struct {
	minRun, changeover float64
	connections        int
	reserved           bool // pauses go into the reserve
	counting           bool // zones cost their visits, not their time
	layouts            []configLayout
	pairs              [][]pairDays // by two layouts
	cells              []cell
	hands              []cellItem // hand turns, each a zone of its own
	handVisits         []float64
	handSoak           []float64
	handMost           []float64
	alone              []column     // by layout
	known              []column     // zones that were columns once
	programme          *cover       // over layouts alone and the zones known; nil until asked for
	work               []columnWork // by worker
}

type configLayout struct {
	layout int // in the model
	visits float64
	most   float64 // share that its days and soil let it have
	soak   float64
}

// pairDays is what a zone that holds two layouts can get in its windows: the longest turns with their pauses.
type pairDays struct {
	days []float64 // milli-minutes on each day on which there is anything
	sum  float64
	most float64
}

// within is the milli-minutes in all and on the best day when the soil takes so much on a day.
func (p *pairDays) within(soil float64) (sum, most float64) {
	if soil >= p.most {
		return p.sum, p.most
	}
	for _, t := range p.days {
		if t > soil {
			t = soil
		}
		sum += t
	}
	return sum, soil
}

// cell is a range of joint heads.
type cell struct {
	items []cellItem // those that may be open in it, most minutes at the share looked at first
	place []int      // by layout: its item; -1 for none
	full  float64    // the fill that a zone has at least: with less its joint head lies above the cell
	// turns of a zone led by item b with item i in it, at the share looked at; -1 where they cannot be together. nil until
	// asked for.
	turns [][]float64
}

// cellItem is a layout in a cell. Its capacity is 1.
type cellItem struct {
	layout int
	weight float64 // flow at the lower end, as a part of what the source gives there
	fill   float64 // flow at the upper end, as a part of what the source gives there
	time   float64 // milli-minutes for all its need, at the upper end
	want   float64 // at the share looked at, or as much as it can get at all
	least  float64 // cost of the cheapest zone that it leads at that share; +Inf where its own days and soil don't give it so much
	day    float64 // most milli-minutes on a day, for its soil
	run    float64 // longest turn
}

// ConfigurationLayouts is the most layouts of a source for which a Configuration is worth its time.
const ConfigurationLayouts = 130

const (
	// cellRatio is the width of a cell where flows depend on the head: about a hundredth of the flow.
	cellRatio = 1.02
	// mostCells holds the work down where heads spread widely: cells are wider then.
	mostCells = 160
	// leastHead is where cells begin when nobody asks for any head, as a part of the highest.
	leastHead = 1e-3
)

// NewConfiguration prepares the bound for layouts of source s. Without intervals, interval limits are not counted. Where they
// are not all layouts of the source, the others may fill their zones.
func NewConfiguration(m *problem.Model, s int, layouts []int, intervals bool) *Configuration {
	source := &m.Sources[s]
	c := &Configuration{
		minRun: float64(source.MinRun), changeover: float64(source.Changeover), connections: source.Connections, reserved: source.Reserve > 0,
	}
	var piped []int
	for _, i := range layouts {
		z := problem.NewBatch(m, s, []int{i}, problem.ByNeed)
		visits, most := 0.0, problem.Most(m, i)
		if intervals && most > 0 {
			visits = float64(z.Visits(m))
		}
		if visits == 0 && (most == 0 || m.Layouts[i].Need == 0) {
			continue
		}
		if m.Layouts[i].Hand() {
			item := item(&m.Layouts[i], len(c.hands), float64(z.Op.Drawn[0]), float64(z.Op.Drawn[0]), 1)
			c.hands, c.handVisits = append(c.hands, item), append(c.handVisits, visits)
			c.handSoak, c.handMost = append(c.handSoak, float64(m.Layouts[i].Soak)), append(c.handMost, most)
			continue
		}
		piped = append(piped, i)
		c.layouts = append(c.layouts, configLayout{layout: i, visits: visits, most: most, soak: float64(m.Layouts[i].Soak)})
	}
	c.pairs = longestDays(m, s, piped)
	heads, varies := cellHeads(m, s, piped)
	for k, low := range heads {
		high := math.Inf(1)
		if k+1 < len(heads) {
			high = heads[k+1]
		}
		c.cells = append(c.cells, newCell(m, s, piped, low, high, varies && len(layouts) == len(m.Members[s])))
	}
	for at := range c.layouts {
		c.alone = append(c.alone, c.column([]int{at}))
	}
	return c
}

// longestDays works out what two layouts of one zone can get in their windows on every day: turns no longer than either
// bears, pauses as long as both ask for.
func longestDays(m *problem.Model, s int, layouts []int) [][]pairDays {
	out := make([][]pairDays, len(layouts))
	for a := range layouts {
		out[a] = make([]pairDays, len(layouts))
		for b := range a + 1 {
			i, k := layouts[a], layouts[b]
			days := make([]float64, m.Days)
			run, soak := min(m.Layouts[i].MaxRun, m.Layouts[k].MaxRun), max(m.Layouts[i].Soak, m.Layouts[k].Soak)
			for _, slot := range m.Slots[s] {
				if m.Open[i][slot.Day] && m.Open[k][slot.Day] && slot.Usable >= m.Sources[s].MinRun {
					days[slot.Day] += float64(problem.Longest(slot, run, soak))
				}
			}
			pair := pairDays{days: slices.DeleteFunc(days, func(t float64) bool { return t == 0 })}
			for _, t := range pair.days {
				pair.sum, pair.most = pair.sum+t, max(pair.most, t)
			}
			out[a][b], out[b][a] = pair, pair
		}
	}
	return out
}

// cellHeads returns the lower ends of the cells, rising: the heads that members ask for, and between and above them
// steps of cellRatio where a flow depends on the head.
func cellHeads(m *problem.Model, s int, layouts []int) (heads []float64, varies bool) {
	supply := m.Sources[s].Supply
	floor := math.Max(0, supply.HeadAt(math.Min(supply.MaxFlow, float64(m.Sources[s].FlowMax.Flow()))))
	highest := floor
	for _, i := range layouts {
		l := &m.Layouts[i]
		heads = append(heads, math.Max(floor, float64(l.HeadMin)))
		varies = varies || l.Curve.FlowAt(supply.Static) != l.Curve.FlowAt(supply.Static/2)
		highest = math.Max(highest, float64(m.Operate(s, []int{i}).Head))
	}
	slices.Sort(heads)
	heads = slices.Compact(heads)
	if !varies {
		return heads, false
	}
	lowest := math.Max(heads[0], highest*leastHead)
	ratio := math.Max(cellRatio, math.Pow(highest/lowest, 1.0/mostCells))
	var out []float64
	for k, low := range heads {
		top := highest
		if k+1 < len(heads) {
			top = heads[k+1]
		}
		out = append(out, low)
		for h := math.Max(low, lowest) * ratio; h*math.Sqrt(ratio) < top; h *= ratio {
			out = append(out, h)
		}
	}
	return out, true
}

func newCell(m *problem.Model, s int, layouts []int, low, high float64, varies bool) cell {
	source := &m.Sources[s]
	gives := math.Min(float64(source.FlowMax.Flow()), source.Supply.MaxFlow)
	if h := source.Supply.HeadAt(gives); low > h {
		gives = math.Min(gives, source.Supply.FlowAt(low))
	}
	if line := m.LineOf[s]; line >= 0 {
		gives = math.Min(gives, float64(m.Lines[line].FlowLimit.Flow()))
	}
	high = math.Min(high, source.Supply.Static)
	c := cell{place: make([]int, len(layouts))}
	filled := math.Min(source.Supply.FlowAt(high), source.Supply.MaxFlow)
	if varies && filled > 0 {
		c.full = 1 - 1e-6
	}
	for at, i := range layouts {
		l := &m.Layouts[i]
		if c.place[at] = -1; float64(l.HeadMin) > low {
			continue
		}
		least, most := unit.Flow(l.Curve.FlowAt(low)), unit.Flow(l.Curve.FlowAt(high))
		// A millilitre a minute more, and a millionth of what the source gives, make up for rounding.
		it := item(l, at, math.Max(1, least.LitersPerMinute()*1000), most.LitersPerMinute()*1000+1, float64(least)/(gives*(1+1e-6)))
		if it.fill = float64(most) / math.Max(filled, 1e-12); it.weight <= 1 {
			c.place[at] = len(c.items)
			c.items = append(c.items, it)
		}
	}
	c.turns = make([][]float64, len(c.items))
	return c
}

// item describes a layout whose flow lies between least and most [mL/min].
func item(l *problem.Layout, at int, least, most, weight float64) cellItem {
	it := cellItem{
		layout: at, weight: weight, time: float64(l.Need) * 1000 / most,
		day: float64(l.MaxDay)*1000/least + 1, run: math.Max(1, float64(l.MaxRun)),
	}
	if l.MaxDayTime > 0 {
		it.day = math.Min(it.day, float64(l.MaxDayTime))
	}
	return it
}

// together is the turns (see counted) of a zone led by b that holds i, -1 where the days and soils of the two give the leader too
// little.
func (c *Configuration) together(b, i *cellItem) float64 {
	potential, most := c.pairs[b.layout][i.layout].within(min(b.day, i.day))
	if b.want > potential*(1+1e-6)+1 {
		return -1
	}
	visits := max(c.layouts[b.layout].visits, c.layouts[i.layout].visits, math.Ceil(b.want/max(1, most)-ceilSlack))
	return c.counted(visits, math.Ceil(b.want/min(b.run, i.run)-ceilSlack), max(c.layouts[b.layout].soak, c.layouts[i.layout].soak))
}

// counted is visits, and turns within them by the pause that they need.
func (c *Configuration) counted(visits, turns, soak float64) float64 {
	within := 1.0
	switch {
	case c.changeover > 0 && c.reserved:
		within = 0
	case c.changeover > 0:
		within = math.Min(1, soak/c.changeover)
	}
	return visits + within*math.Max(0, turns-visits)
}

// leastCost keeps zones that need no time from costing nothing [milli-minutes].
const leastCost = 1e-6

func (c *Configuration) cost(time, turns float64) float64 {
	if c.counting {
		return max(leastCost, turns)
	}
	return max(leastCost, time, turns*c.minRun) + turns*c.changeover
}

// prepare sorts the items of all cells for a share.
func (c *Configuration) prepare(share float64) {
	for k := range c.cells {
		cell := &c.cells[k]
		for at := range cell.items {
			it := &cell.items[at]
			it.want = math.Min(share, c.layouts[it.layout].most) * it.time
		}
		slices.SortStableFunc(cell.items, func(a, b cellItem) int { return cmp.Compare(b.want, a.want) })
		for at := range cell.items {
			it := &cell.items[at]
			cell.place[it.layout] = at
			if it.least = math.Inf(1); c.together(it, it) >= 0 {
				it.least = c.cost(it.want, c.together(it, it))
			}
		}
		clear(cell.turns)
	}
}

// turnsOf are the turns of zones led by item b, by the item that is with it.
func (c *Configuration) turnsOf(cell *cell, b int) []float64 {
	if cell.turns[b] == nil {
		cell.turns[b] = make([]float64, len(cell.items))
		for i := b; i < len(cell.items); i++ {
			cell.turns[b][i] = c.together(&cell.items[b], &cell.items[i])
		}
	}
	return cell.turns[b]
}

// cellSlack is how far a sum may be off for the order in which it is added up.
const cellSlack = 1e-9

// column finds the cells in which a zone may lie: whatever the share, its members take no more than the source gives at the
// lower end of the cell, and no less at the upper.
func (c *Configuration) column(zone []int) column {
	out := column{zone: zone}
	for k := range c.cells {
		if cell := &c.cells[k]; cell.holds(zone, cellSlack) {
			out.cells = append(out.cells, k)
		}
	}
	return out
}

func (c *cell) holds(zone []int, slack float64) bool {
	weight, fill := 0.0, 0.0
	for _, i := range zone {
		at := c.place[i]
		if at < 0 {
			return false
		}
		weight, fill = weight+c.items[at].weight, fill+c.items[at].fill
	}
	return weight <= 1+slack && fill >= c.full-slack
}

// zoneCost is the least cost of a zone over the cells that it may lie in; +Inf where it lies in none.
func (c *Configuration) zoneCost(z column) float64 {
	least := math.Inf(1)
	for _, k := range z.cells {
		least = math.Min(least, c.costIn(&c.cells[k], z.zone))
	}
	return least
}

func (c *Configuration) costIn(cell *cell, zone []int) float64 {
	places := make([]int, 0, 32)
	for _, i := range zone {
		places = append(places, cell.place[i])
	}
	slices.Sort(places)
	lead := &cell.items[places[0]]
	weight, fill, turns := 0.0, 0.0, 0.0
	for _, at := range places {
		t := c.together(lead, &cell.items[at])
		if t < 0 {
			return math.Inf(1)
		}
		weight, fill, turns = weight+cell.items[at].weight, fill+cell.items[at].fill, math.Max(turns, t)
	}
	if weight > 1 || fill < cell.full {
		return math.Inf(1)
	}
	return c.cost(lead.want, turns)
}

// Rounds of columns, and exchanges of the simplex method in each, that a bound may take.
const (
	configRounds    = 60
	configExchanges = 600
	configGap       = 1e-4 // at which the search for columns ends
)

// Time returns the least milli-minutes, changeovers included, in which every layout gets the share of its need, or as
// much as it can get at all. It may stop as soon as it is clear on which side of enough the answer lies.
func (c *Configuration) Time(share, enough float64) float64 {
	alone := 0.0
	for k := range c.hands {
		h := &c.hands[k]
		want := math.Min(share, c.handMost[k]) * h.time
		visits := max(c.handVisits[k], math.Ceil(want/h.day-ceilSlack))
		alone += c.cost(want, c.counted(visits, math.Ceil(want/h.run-ceilSlack), c.handSoak[k]))
	}
	if len(c.layouts) == 0 {
		return alone
	}
	c.prepare(share)
	single := make([]float64, len(c.layouts))
	for i := range single {
		if single[i] = c.zoneCost(c.alone[i]); math.IsInf(single[i], 1) {
			return math.Inf(1) // its own days and soil do not give it the share
		}
	}
	programme := c.priced(single)
	best := 0.0
	for range configRounds {
		programme.solve(configExchanges)
		if !math.IsInf(enough, 1) && alone+programme.total() <= enough {
			break // the zones known already cover every layout in the time
		}
		found, ratio := c.columns(programme.dual)
		sum := 0.0
		for _, u := range programme.dual {
			sum += math.Max(0, u)
		}
		if best = math.Max(best, sum/ratio); ratio <= 1+configGap || alone+best > enough {
			break
		}
		for _, f := range found {
			programme.add(f.zone, f.cost)
			c.known = append(c.known, c.column(f.zone))
		}
	}
	return alone + best
}

// priced is the linear programme over the zones known so far at the costs of the share looked at, from where it was left.
// Only its costs depend on the share, so the solution at another share is one still.
func (c *Configuration) priced(single []float64) *cover {
	if c.programme == nil {
		c.programme = newCover(single)
	}
	copy(c.programme.cost, single)
	for k, z := range c.known {
		cost := c.zoneCost(z)
		if math.IsInf(cost, 1) { // its members are apart then
			cost = 0
			for _, i := range z.zone {
				cost += single[i]
			}
		}
		c.programme.cost[len(single)+k] = cost
	}
	return c.programme
}

// Zones returns zones, and parts of zones, that are worth looking at for a share, in terms of the model's layouts.
func (c *Configuration) Zones(share float64) [][]int {
	c.Time(share, math.Inf(1))
	out := make([][]int, len(c.known))
	for k, z := range c.known {
		for _, at := range z.zone {
			out[k] = append(out[k], c.layouts[at].layout)
		}
	}
	return out
}

// wanted returns the zones that duals by layout of the model ask for, at the share looked at last.
func (c *Configuration) wanted(dual func(layout int) float64) [][]int {
	duals := make([]float64, len(c.layouts))
	for k := range c.layouts {
		duals[k] = dual(c.layouts[k].layout)
	}
	found, _ := c.columns(duals)
	out := make([][]int, len(found))
	for k, f := range found {
		for _, at := range f.zone {
			out[k] = append(out[k], c.layouts[at].layout)
		}
	}
	return out
}

// WithoutChangeovers returns the bound on the milli-minutes in which zones are open.
func (c *Configuration) WithoutChangeovers() *Configuration {
	open := *c
	open.known, open.programme, open.work, open.changeover = nil, nil, nil, 0
	return &open
}

// Visits bounds from below the visits in which every layout that can get water gets some. It may stop as soon as it is clear
// whether there are enough.
func (c *Configuration) Visits(there int) int {
	counting := *c
	counting.known, counting.programme, counting.work, counting.counting = nil, nil, nil, true
	return int(math.Ceil(counting.Time(leastShare, float64(there)+configGap) - configGap))
}

// leastShare is a share for which one turn is enough.
const leastShare = 1e-3

// Share returns a share that cannot be exceeded in the time, no higher than from: bisection from above, so the answer is
// never too low.
func (c *Configuration) Share(time, from float64) float64 {
	time *= 1 + ceilSlack
	spend := c.Time(from, time)
	if spend <= time {
		return from
	}
	low, high := 0.0, from
	if !math.IsInf(spend, 1) {
		low = from * time / spend // near the answer, and a little above it where turns cost something of their own
	}
	for step := configStep; low > 0 && c.Time(low, time) > time; step *= 2 {
		if low, high = low-step*from, low; low < leastShare {
			low = 0
		}
	}
	for range configSteps {
		if high-low < configFine*high {
			break
		}
		if mid := (low + high) / 2; c.Time(mid, time) > time {
			high = mid
		} else {
			low = mid
		}
	}
	return high
}

// How the share is narrowed down.
const (
	configSteps = 16
	configFine  = 3e-4 // at which that ends
	configStep  = 0.01 // how far below a share that is not possible the next one is tried first
)
