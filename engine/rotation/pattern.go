package rotation

import (
	"math"
	"math/rand/v2"
)

// Pattern is how many turns each zone has in each slot of its group.
type Pattern [][]uint8

func (p Pattern) clone() Pattern {
	out := make(Pattern, len(p))
	for j := range p {
		out[j] = append([]uint8(nil), p[j]...)
	}
	return out
}

func (p Pattern) count() int {
	n := 0
	for j := range p {
		for _, k := range p[j] {
			n += int(k)
		}
	}
	return n
}

// builder finds a first pattern: zones in the order of their time, each on the cheapest days that keep its interval
// limit, in the windows that are least full; then each zone once more with the others in place, a few times over.
type builder struct {
	g      *Group
	room   []float64 // minutes of each slot that can be given out
	load   []float64
	turns  []int
	amount [][]float64 // by zone and slot: what the zone counts on there
	runs   Pattern
	level  float64
	setup  float64
	cost   [][]float64 // working of cheapestDays, kept from one use to the next
	from   [][]int
	prices []float64 // by day
	used   []bool    // working of day
	parts  []part
}

// setupWeights make an extra turn cost something even where there is room for it: a little, so that water comes in
// many days, and much, so that every window holds few turns.
var setupWeights = []float64{0.02, 0.6}

// packWeight makes every zone come as rarely as it can, for packing.
const packWeight = 1000

const (
	buildPasses = 4
	// latePenalty is what a day beyond the interval limit costs; larger than any load.
	latePenalty = 1e9
	// overPenalty is the cost of a turn for which a window has not even its shortest turns free.
	overPenalty = 1e5
)

// build returns a pattern for a level, the share that is planned for.
func (g *Group) build(room []float64, level, setup float64, order []int) Pattern {
	return g.builder(room, level, setup, order).runs
}

// builder builds the pattern and keeps what it counted on.
func (g *Group) builder(room []float64, level, setup float64, order []int) *builder {
	b := &builder{
		g: g, room: room, level: level, setup: setup, load: make([]float64, len(g.Slots)), turns: make([]int, len(g.Slots)),
		amount: make([][]float64, len(g.Zones)), runs: make(Pattern, len(g.Zones)), prices: make([]float64, g.Model.Days),
	}
	for j := range g.Zones {
		b.amount[j], b.runs[j] = make([]float64, len(g.Slots)), make([]uint8, len(g.Slots))
	}
	for pass := range buildPasses {
		for _, j := range order {
			if pass > 0 {
				b.remove(j)
			}
			b.put(j)
		}
	}
	return b
}

func (b *builder) remove(j int) {
	for w, k := range b.runs[j] {
		if k > 0 {
			b.load[w] -= b.amount[j][w] + b.changeover(w)*float64(k)
			b.turns[w] -= int(k)
			b.runs[j][w], b.amount[j][w] = 0, 0
		}
	}
}

func (b *builder) changeover(w int) float64 {
	return float64(b.g.Model.Sources[b.g.Slots[w].Source].Changeover)
}

// part is a piece of a day's water in one slot.
type part struct {
	slot, runs int
	amount     float64
}

// priceSteps is what one price costs, against an edge of a flow looked at.
const priceSteps = 30

// price is the rise of the crowding of slot w when amount and runs are put there: the sixth power keeps windows evenly
// full, so that the fullest of them leaves room for the others.
func (b *builder) price(w int, amount float64, runs int) float64 {
	b.g.steps += priceSteps
	room := math.Max(1, b.room[w]+b.changeover(w))
	before, after := b.load[w]/room, (b.load[w]+amount+b.changeover(w)*float64(runs))/room
	minRun := float64(b.g.Model.Sources[b.g.Slots[w].Source].MinRun)
	cost := sixth(after) - sixth(before) + b.setup*float64(runs)*(b.changeover(w)+minRun/10+1)/room
	if float64(b.turns[w]+runs)*(minRun+b.changeover(w)) > room {
		cost += overPenalty
	}
	return cost
}

// sixth is the sixth power of v.
func sixth(v float64) float64 {
	square := v * v
	return square * (square * square)
}

// day finds where amount is put best on a day, in slots that zone j can visit, and what that costs. What does not fit costs extra. The
// parts hold until the next day is looked at.
func (b *builder) day(j int, slots []int, amount float64) (parts []part, cost float64) {
	g := b.g
	minRun := float64(g.minRun(j))
	amount = math.Max(amount, minRun)
	left := math.Min(amount, float64(g.Zones[j].DayRoom(g.Slots[slots[0]].Day)))
	b.used, b.parts = append(b.used[:0], make([]bool, len(slots))...), b.parts[:0]
	used := b.used
	for left > 0 {
		best, bestCost, bestAmount, bestRuns := -1, math.Inf(1), 0.0, 0
		for at, w := range slots {
			if used[at] {
				continue
			}
			runs := 1
			for runs < builtRuns && float64(g.visitCap(j, w, runs)) < left && g.visitCap(j, w, runs+1) > g.visitCap(j, w, runs) {
				runs++
			}
			a := math.Min(left, float64(g.visitCap(j, w, runs)))
			if a < minRun*float64(runs) {
				continue
			}
			// The price for a unit of water steers towards slots that hold all of it.
			if c := b.price(w, a, runs) / a; c < bestCost {
				best, bestCost, bestAmount, bestRuns = at, c, a, runs
			}
		}
		if best < 0 {
			break
		}
		used[best] = true
		b.parts = append(b.parts, part{slots[best], bestRuns, bestAmount})
		cost += bestCost * bestAmount
		if left -= bestAmount; left < minRun {
			break
		}
	}
	if len(b.parts) == 0 {
		return nil, math.Inf(1)
	}
	if left > 0 {
		cost += left / amount
	}
	return b.parts, cost
}

// put finds days for zone j: for every number of days the cheapest set that keeps the interval limit, by dynamic
// programming over the last day, then the best number.
func (b *builder) put(j int) {
	g, z := b.g, &b.g.Zones[j]
	days := g.Model.Days
	slots, potential := g.byDay[j], g.most[j]
	want := math.Max(0, b.level*float64(z.Time)-float64(z.Done))
	firstBy := g.firstBy(j)
	bestCost, misses := math.Inf(1), 0
	var best []int
	bestAmount := 0.0
	if want == 0 && firstBy >= days {
		return // needs neither water nor a visit
	}
	price := b.prices
	for n := g.fewestDays(j, slots); n <= days; n++ {
		amount := want / float64(n)
		for d := range days {
			price[d] = math.Inf(1)
			if len(slots[d]) > 0 {
				_, price[d] = b.day(j, slots[d], math.Min(amount, float64(potential[d])))
				price[d] += math.Max(0, amount-float64(potential[d])) / math.Max(1, amount)
			}
		}
		chosen, cost := b.cheapestDays(price, n, z.Interval, firstBy)
		if chosen == nil {
			continue
		}
		if cost < bestCost {
			bestCost, best, bestAmount, misses = cost, chosen, amount, 0
		} else if misses++; misses >= 3 && bestCost < latePenalty {
			break
		}
	}
	for _, d := range best {
		parts, _ := b.day(j, slots[d], math.Min(bestAmount, float64(potential[d])))
		for _, p := range parts {
			b.runs[j][p.slot] += uint8(p.runs)
			b.turns[p.slot] += p.runs
			b.amount[j][p.slot] += p.amount
			b.load[p.slot] += p.amount + b.changeover(p.slot)*float64(p.runs)
		}
	}
}

// fewestDays is the least number of watering days worth looking at: fewer break the interval limit of zone j, unless it
// has fewer open days.
func (g *Group) fewestDays(j int, slots [][]int) int {
	open := 0
	for _, day := range slots {
		if len(day) > 0 {
			open++
		}
	}
	z := &g.Zones[j]
	fewest := 1
	if by := max(0, g.firstBy(j)); by+z.Interval < g.Model.Days {
		fewest += (g.Model.Days - z.Interval - by + z.Interval - 1) / z.Interval
	}
	return max(1, min(fewest, open))
}

// cheapestDays returns n days of least price whose gaps keep the interval; a gap that is too long costs latePenalty for
// each day beyond it, so that an unkeepable limit is broken as little as can be.
func (b *builder) cheapestDays(price []float64, n, interval, firstBy int) ([]int, float64) {
	days := len(price)
	late := func(excess int) float64 { return latePenalty * float64(max(0, excess)) }
	for len(b.cost) < n {
		b.cost, b.from = append(b.cost, make([]float64, days)), append(b.from, make([]int, days))
	}
	cost, from := b.cost, b.from
	b.g.steps += int64(n * days * days / 2)
	for k := range n {
		for d := range days {
			cost[k][d] = math.Inf(1)
			if math.IsInf(price[d], 1) {
				continue
			}
			if k == 0 {
				cost[0][d] = price[d] + late(d-firstBy)
				continue
			}
			for e := range d {
				if c := cost[k-1][e] + price[d] + late(d-e-interval); c < cost[k][d] {
					cost[k][d], from[k][d] = c, e
				}
			}
		}
	}
	last, least := -1, math.Inf(1)
	for d := range days {
		if c := cost[n-1][d] + late(days-d-interval); c < least {
			last, least = d, c
		}
	}
	if last < 0 {
		return nil, least
	}
	chosen := make([]int, n)
	for k, d := n-1, last; k >= 0; k-- {
		chosen[k] = d
		d = from[k][d]
	}
	return chosen, least
}

// firstBy is the last day on which the next watering keeps the interval limit of zone j.
func (g *Group) firstBy(j int) int {
	z, by := &g.Zones[j], g.Zones[j].FirstBy
	for d, is := range z.Watered {
		if is {
			by = d + z.Interval
		}
	}
	return by
}

// lateDays counts the days by which the pattern breaks the interval limit of zone j.
func (g *Group) lateDays(p Pattern, j int) int {
	late, _ := g.gaps(p, j)
	return late
}

// gaps counts the days by which gaps between watering days are longer than the interval limits of zone j's members, added up
// over them, and how often the zone is watered on its last allowed day where it could be watered earlier: such a turn can't be
// missed.
func (g *Group) gaps(p Pattern, j int) (late, tense int) {
	z := &g.Zones[j]
	watered := g.watered[:0]
	for range g.Model.Days {
		watered = append(watered, false)
	}
	g.watered = watered
	for _, w := range g.Of[z.Source] {
		if p[j][w] > 0 {
			watered[g.Slots[w].Day] = true
		}
	}
	for d, is := range z.Watered {
		watered[d] = watered[d] || is
	}
	by := z.FirstBy
	for d, is := range watered {
		if !is {
			continue
		}
		if d >= by && z.Interval > 1 && by > 0 {
			tense++
		}
		by = d + z.Interval
	}
	return z.Late(watered), tense
}

// packSteps is how many exchanges a packing tries.
const packSteps = 30000

// pack moves and exchanges whole visits between windows until no window is fuller than it may be: bin packing by
// annealing on the overload alone, without dividing anything.
func (b *builder) pack(rng *rand.Rand) Pattern {
	g := b.g
	total := 0.0
	for w := range g.Slots {
		total += b.over(w)
	}
	heat := total / float64(max(1, len(g.Slots)))
	lateBy := make([]int, len(g.Zones))
	for j := range lateBy {
		lateBy[j] = g.lateDays(b.runs, j)
	}
	for step := 0; step < packSteps && total > 1; step++ {
		g.steps += int64(g.Model.Days + len(g.Zones)/4)
		j := rng.IntN(len(g.Zones))
		slots := g.Of[g.Zones[j].Source]
		if len(slots) < 2 {
			continue
		}
		w, u := slots[rng.IntN(len(slots))], slots[rng.IntN(len(slots))]
		if w == u || b.runs[j][w] == 0 || b.runs[j][u] > 0 {
			continue
		}
		k := b.partner(rng, j, w, u)
		before := b.over(w) + b.over(u)
		if !b.shift(j, w, u) {
			continue
		}
		late, after, afterOther := lateBy[j], g.lateDays(b.runs, j), 0
		if k >= 0 {
			if !b.shift(k, u, w) {
				b.shift(j, u, w)
				continue
			}
			late, afterOther = late+lateBy[k], g.lateDays(b.runs, k)
		}
		gain := before - b.over(w) - b.over(u)
		temperature := heat * (1 - float64(step)/packSteps)
		if after+afterOther > late || (gain < 0 && rng.Float64() >= math.Exp(gain/math.Max(1, temperature))) {
			if k >= 0 {
				b.shift(k, w, u)
			}
			b.shift(j, u, w)
			continue
		}
		total -= gain
		if lateBy[j] = after; k >= 0 {
			lateBy[k] = afterOther
		}
	}
	return b.runs
}

// over is what slot w holds beyond its room.
func (b *builder) over(w int) float64 {
	return math.Max(0, b.load[w]-b.room[w]-b.changeover(w))
}

// partner picks a zone of slot u to exchange with, or -1 for a plain move.
func (b *builder) partner(rng *rand.Rand, j, w, u int) int {
	at := rng.IntN(len(b.runs) + 1)
	for n := range b.runs {
		if k := (at + n) % (len(b.runs) + 1); k < len(b.runs) && k != j && b.runs[k][u] > 0 && b.runs[k][w] == 0 {
			return k
		} else if k == len(b.runs) {
			return -1
		}
	}
	return -1
}

// shift moves the visit of zone j from slot w to slot u, if it fits there.
func (b *builder) shift(j, w, u int) bool {
	amount, runs := b.amount[j][w], int(b.runs[j][w])
	if !b.g.canVisit(j, u) || float64(b.g.visitCap(j, u, runs)) < amount {
		return false
	}
	b.load[w] -= amount + b.changeover(w)*float64(runs)
	b.load[u] += amount + b.changeover(u)*float64(runs)
	b.turns[w] -= runs
	b.turns[u] += runs
	b.amount[j][w], b.amount[j][u] = 0, amount
	b.runs[j][w], b.runs[j][u] = 0, uint8(runs)
	return true
}
