// Package zoning puts the layouts of a source into zones, and bounds from below what any zoning must cost.
package zoning

import (
	"math"
	"math/rand/v2"
	"slices"
	"sort"

	"rillturn.example/rillturn/engine/problem"
)

// Goal is what a partition is made for.
type Goal int

const (
	// LeastTime makes the minutes of all zones, changeovers included, as few as possible.
	LeastTime Goal = iota
	// LeastWater makes the litres drawn as few as possible within the minutes, for gardens where volume is scarce or
	// nothing is.
	LeastWater
	// LeastStrain makes the larger of two parts as small as can be: that of the minutes, and that of the litres that are there.
	LeastStrain
)

// Request is what a partition is asked for.
type Request struct {
	Model     *problem.Model
	Source    int
	Layouts   []int    // servable layouts of the source that are to be planned
	Pinned    [][]int  // zones that stay as they are
	Together  [][]int  // layouts that share a zone, with others or without
	Forbidden [][2]int // pairs that must not share a zone
	By        problem.Measure
	Level     float64 // share that is planned for
	Goal      Goal
	Time      problem.Span   // minutes that are there, for LeastWater and LeastStrain
	Water     float64        // litres that are there, for LeastStrain
	FlowLimit problem.Rate   // most that a zone of several may draw, unless all of it must be together; 0 for none
	Start     [][]int        // a partition to start from besides the usual ones
	Columns   *Configuration // the linear programme over zones, to start from its solution too; nil for none
	Shake     uint64         // other dice for zones that cost nearly the same, where all partitions or Columns are looked at; 0 for none
	Budget    int            // zones that may be tried
	Seed      uint64
	Stop      func() bool
}

// cost is what one zone costs.
type cost struct {
	fits  bool
	time  float64 // milli-minutes with changeovers, at the level planned for
	water float64 // litres drawn beyond what its members need; under LeastStrain all that are drawn
	hurt  float64 // milli-minutes that the zone cannot get for its own limits
}

// zonePrice is what one more zone counts when water is minimised [L].
const zonePrice = 0.5

// strainSum is what both parts count beside the larger one.
const strainSum = 0.05

// setUpShare is how much of the minutes may be planned when water is minimised: the rest is for the shape of windows.
const setUpShare = 0.97

type partitioner struct {
	Request
	keys      []uint64
	memo      prices
	forbidden map[[2]int]bool
	late      map[int]int   // by layout: days late whatever its zone
	bundles   map[int][]int // by the first of layouts that share a zone: all of them
	scale     float64
	tried     int
	buffer    []int
	marks     []bool
	removed   []int
	costs     []cost // by zone: working of insert
	zoneKeys  []uint64
}

// Partition returns zones of all layouts asked for, pinned ones first. Every zone fits.
func Partition(r Request) [][]int {
	p := newPartitioner(r)
	items := p.items()
	best, least := [][]int(nil), math.Inf(1)
	consider := func(z [][]int) {
		if z == nil {
			return
		}
		if v := p.value(z); v < least {
			best, least = z, v
		}
	}
	consider(p.firstFit(items))
	for _, price := range []float64{0, 1} {
		consider(p.blocks(items, price))
	}
	if r.Start != nil {
		consider(p.repair(r.Start, items))
	}
	switch {
	case len(items) <= exactLayouts && len(items) > 1:
		exact := p.exact(items)
		if p.Shake != 0 && exact != nil {
			best = exact
			break
		}
		consider(exact)
	case len(items) > 1:
		if p.Columns != nil && p.Goal == LeastTime {
			other := p.dive(items)
			if p.Shake != 0 {
				best = other
				break
			}
			consider(other)
		}
		best = p.recreate(best, least)
	}
	out := append([][]int(nil), r.Pinned...)
	for k := range best {
		best[k] = p.whole(best[k])
	}
	return append(out, canonical(best)...)
}

// whole is a zone with all layouts that its items stand for.
func (p *partitioner) whole(zone []int) []int {
	if len(p.bundles) == 0 {
		return zone
	}
	var out []int
	for _, i := range zone {
		if all := p.bundles[i]; all != nil {
			out = append(out, all...)
		} else {
			out = append(out, i)
		}
	}
	return out
}

func newPartitioner(r Request) *partitioner {
	p := &partitioner{Request: r, late: map[int]int{}, forbidden: map[[2]int]bool{}}
	rng := rand.New(rand.NewPCG(0x7a6f6e65, 1)) //nolint:gosec // keys, not secrets
	p.keys = make([]uint64, len(r.Model.Layouts))
	for i := range p.keys {
		p.keys[i] = rng.Uint64()
	}
	for _, f := range r.Forbidden {
		p.forbidden[[2]int{min(f[0], f[1]), max(f[0], f[1])}] = true
	}
	p.bundles = map[int][]int{}
	for _, all := range r.Together {
		p.bundles[all[0]] = all
	}
	for _, i := range r.Layouts {
		p.scale += float64(r.Model.Layouts[i].Need) / 1000
	}
	return p
}

// items returns the free layouts, those that need most minutes first; of layouts that share a zone the first stands for all.
func (p *partitioner) items() []int {
	pinned := map[int]bool{}
	for _, z := range p.Pinned {
		for _, i := range z {
			pinned[i] = true
		}
	}
	for _, z := range p.Together {
		for _, i := range z[1:] {
			pinned[i] = true
		}
	}
	var items []int
	alone := map[int]float64{}
	for _, i := range p.Layouts {
		if !pinned[i] {
			items = append(items, i)
			alone[i] = p.price([]int{i}).time
		}
	}
	sort.SliceStable(items, func(a, b int) bool {
		if alone[items[a]] != alone[items[b]] {
			return alone[items[a]] > alone[items[b]]
		}
		return p.Model.Layouts[items[a]].Need > p.Model.Layouts[items[b]].Need
	})
	return items
}

func (p *partitioner) key(zone []int) uint64 {
	k := uint64(0)
	for _, i := range zone {
		k ^= p.keys[i]
	}
	return k
}

// price returns what a zone costs; it does not fit when the hydraulics, a forbidden pair or the flow limit say so.
func (p *partitioner) price(zone []int) cost {
	k := p.key(zone)
	c, known := p.memo.find(k)
	if !known {
		p.tried++
		c = p.work(zone)
		p.memo.add(k, c)
	}
	return c
}

func (p *partitioner) work(zone []int) cost {
	m, several := p.Model, len(zone) > 1 // layouts that must be together are one
	zone = p.whole(zone)
	if !p.allowed(zone) || !m.Fits(p.Source, zone) {
		return cost{}
	}
	z := problem.NewBatch(m, p.Source, zone, p.By)
	if several && p.FlowLimit > 0 && z.Op.Total > p.FlowLimit {
		return cost{}
	}
	if line := m.LineOf[p.Source]; line >= 0 && z.Op.Total > m.Lines[line].FlowLimit {
		return cost{}
	}
	spend := z.SpendAt(m, p.Level, true)
	c := cost{fits: true, hurt: spend.Short + p.lateness(&z), time: spend.Time}
	for at, i := range z.Members {
		drawn := float64(z.Op.Drawn[at].Volume(z.Time)) * p.Level / 1e6
		if p.Goal == LeastStrain {
			c.water += drawn
			continue
		}
		c.water += math.Max(0, drawn-p.Level*(1+float64(m.OverTolerance)/1000)*float64(m.Layouts[i].Need)/1000)
	}
	return c
}

// lateness is what it costs that members of a zone come later than their own days ask for, because their days do not meet or
// because somebody's soil takes no turn of the zone [milli-minutes]: the time of the source for every day, which no other
// saving makes up for.
func (p *partitioner) lateness(z *problem.Batch) float64 {
	late := z.LeastLate(p.Model)
	if late == 0 {
		return 0
	}
	for at, i := range z.Members {
		late -= p.lateAnyway(i, z.Waits[at])
	}
	return float64(max(0, late)) * float64(max(problem.Minute, p.Time))
}

// lateAnyway is the days by which layout i misses its interval limit when it is watered on every day on which it may be.
func (p *partitioner) lateAnyway(i int, w problem.Wait) int {
	late, known := p.late[i]
	if !known {
		watered := make([]bool, p.Model.Days)
		for _, slot := range p.Model.Slots[p.Source] {
			watered[slot.Day] = watered[slot.Day] || p.Model.Open[i][slot.Day] && slot.Usable >= p.Model.Sources[p.Source].MinRun
		}
		late = w.Late(watered)
		p.late[i] = late
	}
	return late
}

func (p *partitioner) allowed(zone []int) bool {
	if len(p.forbidden) == 0 {
		return true
	}
	for a, i := range zone {
		for _, k := range zone[:a] {
			if p.forbidden[[2]int{min(i, k), max(i, k)}] {
				return false
			}
		}
	}
	return true
}

// total adds up the zones.
type total struct {
	time, water, hurt float64
	zones             int
}

func (t *total) add(c cost, sign float64) {
	t.time += sign * c.time
	t.water += sign * c.water
	t.hurt += sign * c.hurt
	t.zones += int(sign)
}

// worth is the value to be made small.
func (p *partitioner) worth(t total) float64 {
	if p.Goal == LeastTime {
		return t.time + 20*t.hurt + 1e-3*t.water/math.Max(1, p.scale)*t.time
	}
	if p.Goal == LeastStrain {
		time, water := t.time/math.Max(1, float64(p.Time)), t.water/math.Max(1, p.Water)
		return math.Max(time, water) + strainSum*(time+water) + 20*t.hurt/math.Max(1, float64(p.Time))
	}
	over := math.Max(0, t.time/math.Max(1, setUpShare*float64(p.Time))-1)
	return t.water + zonePrice*float64(t.zones) + p.scale*(10*over+20*t.hurt/math.Max(1, float64(p.Time)))
}

func (p *partitioner) value(zones [][]int) float64 {
	var t total
	for _, z := range zones {
		c := p.price(z)
		if !c.fits {
			return math.Inf(1)
		}
		t.add(c, 1)
	}
	return p.worth(t)
}

func with(zone []int, i int) []int { return append(zone[:len(zone):len(zone)], i) }

// firstFit puts every item into the first zone that takes it without costing more than a zone of its own.
func (p *partitioner) firstFit(items []int) [][]int {
	var zones [][]int
	for _, i := range items {
		own, placed := p.price([]int{i}), false
		for k := range zones {
			joint := p.price(with(zones[k], i))
			if !joint.fits {
				continue
			}
			before := p.price(zones[k])
			if joint.time+20*joint.hurt <= before.time+20*before.hurt+own.time+20*own.hurt {
				zones[k], placed = with(zones[k], i), true
				break
			}
		}
		if !placed {
			zones = append(zones, []int{i})
		}
	}
	return zones
}

// blocks cuts the sorted items into consecutive zones of least time plus price times water.
func (p *partitioner) blocks(items []int, price float64) [][]int {
	n := len(items)
	least, from := make([]float64, n+1), make([]int, n+1)
	perLiter := 0.0
	if p.scale > 0 {
		perLiter = price * float64(max(1, p.Time)) / p.scale
	}
	for b := 1; b <= n; b++ {
		least[b] = math.Inf(1)
		for a := b - 1; a >= 0; a-- {
			c := p.price(items[a:b])
			if !c.fits {
				break
			}
			if v := least[a] + c.time + 20*c.hurt + perLiter*c.water; v < least[b] {
				least[b], from[b] = v, a
			}
		}
		if math.IsInf(least[b], 1) {
			return nil
		}
	}
	var zones [][]int
	for b := n; b > 0; b = from[b] {
		zones = append(zones, append([]int(nil), items[from[b]:b]...))
	}
	return zones
}

// repair makes a partition of the items out of an earlier one: unknown members leave, new ones get zones of their own,
// and a zone that no longer fits is taken apart.
func (p *partitioner) repair(start [][]int, items []int) [][]int {
	free := map[int]bool{}
	for _, i := range items {
		free[i] = true
	}
	var zones [][]int
	for _, z := range start {
		var kept []int
		for _, i := range z {
			if free[i] {
				kept = append(kept, i)
				delete(free, i)
			}
		}
		for len(kept) > 0 && !p.price(kept).fits {
			zones = append(zones, kept[len(kept)-1:])
			kept = kept[:len(kept)-1]
		}
		if len(kept) > 0 {
			zones = append(zones, kept)
		}
	}
	for _, i := range items {
		if free[i] {
			zones = append(zones, []int{i})
		}
	}
	return zones
}

// longSearch is the budget from which a search has time to leave the neighbourhood of its start and to find back: it begins three
// times as warm as a shorter one.
const longSearch = 10000

// recreate takes some zones or members out and puts them back where they cost least, accepting a little worse now and
// then (Schrimpf et al. 2000), until the budget is used.
func (p *partitioner) recreate(start [][]int, value float64) [][]int {
	rng := rand.New(rand.NewPCG(p.Seed, 0x70617274)) //nolint:gosec // reproducible on purpose
	current, best, least := copyZones(start), copyZones(start), value
	now := value
	begin := p.tried
	warmth, cooling := 0.004, 0.002
	if p.Budget >= longSearch {
		warmth, cooling = 0.012, 0.01
	}
	steps := 0
	for p.tried-begin < p.Budget && steps < p.Budget {
		if steps++; p.Stop != nil && p.Stop() {
			break
		}
		progress := math.Max(float64(p.tried-begin)/float64(p.Budget), float64(steps)/float64(p.Budget))
		kept, removed := p.ruin(current, rng)
		next, v := p.insert(kept, removed, rng)
		temperature := warmth * least * math.Pow(cooling, progress)
		if v <= now || rng.Float64() < math.Exp((now-v)/math.Max(1e-12, temperature)) {
			current, now = next, v
		}
		if v < least-1e-9 {
			best, least = copyZones(next), v
		}
	}
	return best
}

// ruin returns the zones that stay, or what is left of them, and the layouts that were taken out, which hold until the next ruin.
func (p *partitioner) ruin(zones [][]int, rng *rand.Rand) (kept [][]int, removed []int) {
	kept, removed = make([][]int, 0, len(zones)+1), p.removed[:0]
	defer func() { p.removed = removed }()
	if rng.IntN(3) > 0 && len(zones) > 1 {
		out := p.chosen(len(zones))
		first := rng.IntN(len(zones))
		out[first] = true
		alike := rng.IntN(2) == 0
		for range rng.IntN(3) {
			if next := rng.IntN(len(zones)); !alike {
				out[next] = true
			} else {
				out[p.alike(zones, first, out)] = true
			}
		}
		for k, z := range zones {
			if out[k] {
				removed = append(removed, z...)
			} else {
				kept = append(kept, z)
			}
		}
		return kept, removed
	}
	n := 0
	for _, z := range zones {
		n += len(z)
	}
	out := p.chosen(n)
	for range 2 + rng.IntN(4) {
		out[rng.IntN(n)] = true
	}
	for _, z := range zones {
		here := out[:len(z)]
		if out = out[len(z):]; !slices.Contains(here, true) {
			kept = append(kept, z)
			continue
		}
		var rest []int
		for at, i := range z {
			if here[at] {
				removed = append(removed, i)
			} else {
				rest = append(rest, i)
			}
		}
		if len(rest) > 0 {
			kept = append(kept, rest)
		}
	}
	return kept, removed
}

// chosen is a list of n marks, none set, that holds until the next one is asked for.
func (p *partitioner) chosen(n int) []bool {
	p.marks = append(p.marks[:0], make([]bool, n)...)
	return p.marks
}

// alike is the zone that takes most nearly as long as zone k, of those that stay.
func (p *partitioner) alike(zones [][]int, k int, out []bool) int {
	best, least, time := k, math.Inf(1), p.price(zones[k]).time
	for n, z := range zones {
		if d := math.Abs(p.price(z).time - time); !out[n] && d < least {
			best, least = n, d
		}
	}
	return best
}

// insert puts the removed layouts back, each where it costs least, and returns the zones with their value.
func (p *partitioner) insert(zones [][]int, removed []int, rng *rand.Rand) ([][]int, float64) {
	rng.Shuffle(len(removed), func(a, b int) { removed[a], removed[b] = removed[b], removed[a] })
	if rng.IntN(2) == 0 {
		sort.SliceStable(removed, func(a, b int) bool {
			return p.price(removed[a:a+1]).time > p.price(removed[b:b+1]).time
		})
	}
	var sum total
	costs, keys := p.costs[:0], p.zoneKeys[:0]
	for _, z := range zones {
		c := p.price(z)
		costs, keys = append(costs, c), append(keys, p.key(z))
		sum.add(c, 1)
	}
	for _, i := range removed {
		own := p.price([]int{i})
		alone := sum
		alone.add(own, 1)
		bestAt, least, bestSum, bestCost := -1, p.worth(alone), alone, own
		for k, z := range zones {
			c, known := p.memo.find(keys[k] ^ p.keys[i])
			if !known {
				p.buffer = append(append(p.buffer[:0], z...), i)
				c = p.price(p.buffer)
			}
			if !c.fits {
				continue
			}
			t := sum
			t.add(costs[k], -1)
			t.add(c, 1)
			if v := p.worth(t); v < least || (v == least && bestAt >= 0 && len(z) > len(zones[bestAt])) {
				bestAt, least, bestSum, bestCost = k, v, t, c
			}
		}
		sum = bestSum
		if bestAt < 0 {
			zones, costs, keys = append(zones, []int{i}), append(costs, own), append(keys, p.keys[i])
			continue
		}
		zones[bestAt], costs[bestAt], keys[bestAt] = with(zones[bestAt], i), bestCost, keys[bestAt]^p.keys[i]
	}
	p.costs, p.zoneKeys = costs, keys
	sum = total{}
	for k := range costs {
		if !costs[k].fits {
			return zones, math.Inf(1)
		}
		sum.add(costs[k], 1)
	}
	return zones, p.worth(sum)
}

func copyZones(zones [][]int) [][]int {
	out := make([][]int, len(zones))
	for k, z := range zones {
		out[k] = append([]int(nil), z...)
	}
	return out
}

// canonical sorts members and zones, so that the same partition always looks the same.
func canonical(zones [][]int) [][]int {
	out := copyZones(zones)
	for _, z := range out {
		sort.Ints(z)
	}
	sort.Slice(out, func(a, b int) bool { return out[a][0] < out[b][0] })
	return out
}

// exactLayouts is the number of layouts up to which the best partition is found by looking at all.
const exactLayouts = 10

// exact returns the partition of least worth: by subsets where worth adds up over zones. Where it does not, for water
// under a limit of time, the price of time is tried in steps and the best of the results kept.
func (p *partitioner) exact(items []int) [][]int {
	n := len(items)
	costs := make([]cost, 1<<n)
	for set := 1; set < 1<<n; set++ {
		costs[set] = p.price(p.subset(items, set))
	}
	if p.Shake != 0 {
		p.shake(costs)
	}
	if p.Goal == LeastTime {
		return p.cheapest(items, costs, func(c cost) float64 {
			return c.time + 20*c.hurt + 1e-3*c.water
		})
	}
	best, least := [][]int(nil), math.Inf(1)
	for _, price := range []float64{0, 0.01, 0.03, 0.1, 0.3, 1, 3, 10} {
		perTime := price * p.scale / math.Max(1, float64(p.Time))
		zones := p.cheapest(items, costs, func(c cost) float64 {
			return c.water + zonePrice + perTime*(c.time+20*c.hurt)
		})
		if v := p.value(zones); v < least {
			best, least = zones, v
		}
	}
	return best
}

// shaken is the part by which costs are changed to get another partition that is nearly as good.
const shaken = 0.04

// shake changes the costs a little. The cheapest partition does not tell in which windows its zones fit.
func (p *partitioner) shake(costs []cost) {
	rng := rand.New(rand.NewPCG(p.Seed, p.Shake)) //nolint:gosec // reproducible on purpose
	for set := range costs {
		by := 1 + shaken*rng.Float64()
		costs[set].time *= by
		costs[set].water *= by
	}
}

func (p *partitioner) subset(items []int, set int) []int {
	p.buffer = p.buffer[:0]
	for k := range items {
		if set>>k&1 == 1 {
			p.buffer = append(p.buffer, items[k])
		}
	}
	return p.buffer
}

// cheapest finds the partition of least sum, by dynamic programming over sets of items: the zone that holds the first
// item of a set is one of its subsets. It is nil where an item fits nowhere.
func (p *partitioner) cheapest(items []int, costs []cost, of func(cost) float64) [][]int {
	all := len(costs) - 1
	least, zone := make([]float64, len(costs)), make([]int, len(costs))
	for set := 1; set <= all; set++ {
		least[set] = math.Inf(1)
		first := set & -set
		rest := set &^ first
		for part := rest; ; part = (part - 1) & rest {
			if z := part | first; costs[z].fits {
				if v := of(costs[z]) + least[set&^z]; v < least[set] {
					least[set], zone[set] = v, z
				}
			}
			if part == 0 {
				break
			}
		}
	}
	var zones [][]int
	for set := all; set > 0; set &^= zone[set] {
		if zone[set] == 0 {
			return nil
		}
		zones = append(zones, append([]int(nil), p.subset(items, zone[set])...))
	}
	return zones
}
