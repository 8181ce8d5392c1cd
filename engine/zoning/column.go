package zoning

import (
	"math"
	"runtime"
	"slices"
	"sync"
)

// column is a zone, or a part of one, and the cells in which it may lie.
type column struct {
	zone  []int
	cells []int
}

// columnWork is the working of the search for columns, kept from one use to the next.
type columnWork struct {
	order   []int // of a cell: items that may be members, those worth most for their weight first
	ranked  []int // layouts in that order
	rest    []int
	worth   []float64 // by item: its dual for its weight
	densest []float64 // by item: the most of that from it on
	levels  []float64
	bag     knapsack
}

// found is a zone that the duals ask for.
type found struct {
	zone []int
	cost float64
}

// columns looks for the zones whose duals are most for their cost: the best of every leader, and a bound on the ratio of
// all, at least 1.
func (c *Configuration) columns(dual []float64) ([]found, float64) {
	best := make([]found, len(c.layouts))
	ratio := make([]float64, len(c.layouts))
	for i := range ratio {
		ratio[i] = 1 + configGap/2
	}
	loose := c.byLeader(func(w *columnWork, mine func(layout int) bool) (loose float64) {
		for k := range c.cells {
			loose = math.Max(loose, c.cellColumns(w, &c.cells[k], mine, dual, best, ratio))
		}
		return loose
	})
	var out []found
	for _, f := range best {
		if f.zone != nil {
			out = append(out, f)
			slices.Sort(f.zone)
		}
	}
	return out, max(loose, slices.Max(ratio))
}

// Leaders are looked into by two workers where there are so many layouts that it pays.
const (
	columnWorkers = 2
	aloneLayouts  = 20
)

// byLeader divides the leaders among workers, and returns the most of what they answer. What is found for a leader does not depend on
// who looks, nor on what is found for others.
func (c *Configuration) byLeader(look func(w *columnWork, mine func(layout int) bool) float64) float64 {
	workers := columnWorkers
	if len(c.layouts) <= aloneLayouts || runtime.GOMAXPROCS(0) == 1 {
		workers = 1
	}
	for len(c.work) < workers {
		w := columnWork{ranked: make([]int, len(c.layouts))}
		for i := range w.ranked {
			w.ranked[i] = i
		}
		c.work = append(c.work, w)
	}
	answers := make([]float64, workers)
	var all sync.WaitGroup
	for n := range workers {
		all.Go(func() {
			answers[n] = look(&c.work[n], func(layout int) bool { return layout%workers == n })
		})
	}
	all.Wait()
	return slices.Max(answers)
}

// rank sorts the items of a cell by what they are worth for their weight. It goes on from the order of the cell before, which is
// nearly theirs.
func (w *columnWork) rank(cell *cell, dual []float64) {
	w.order, w.rest = w.order[:0], w.rest[:0]
	for _, i := range w.ranked {
		if at := cell.place[i]; at < 0 || cell.full == 0 && dual[i] <= 0 {
			w.rest = append(w.rest, i)
		} else {
			w.order = append(w.order, at)
		}
	}
	for n, at := range w.order {
		for ; n > 0 && w.before(at, w.order[n-1]); n-- {
			w.order[n] = w.order[n-1]
		}
		w.order[n] = at
	}
	w.ranked = w.ranked[:0]
	for _, at := range w.order {
		w.ranked = append(w.ranked, cell.items[at].layout)
	}
	w.ranked = append(w.ranked, w.rest...)
}

func (w *columnWork) before(a, b int) bool {
	return w.worth[a] > w.worth[b] || w.worth[a] == w.worth[b] && a < b
}

// weigh finds what the items of a cell are worth for their weight, and the most of that from each item on.
func (w *columnWork) weigh(cell *cell, dual []float64) {
	w.worth, w.densest = append(w.worth[:0], make([]float64, len(cell.items))...), append(w.densest[:0], make([]float64, len(cell.items))...)
	most := 0.0
	for at := len(cell.items) - 1; at >= 0; at-- {
		it := &cell.items[at]
		w.worth[at] = math.Max(0, dual[it.layout]) / it.weight
		most = math.Max(most, w.worth[at])
		w.densest[at] = most
	}
}

// most is no less than what the duals of the members of a zone led by item b can add up to.
func (w *columnWork) most(cell *cell, b int, dual []float64) float64 {
	room := 1 - cell.items[b].weight
	sum, left := 0.0, room
	for _, at := range w.order {
		it := &cell.items[at]
		switch {
		case at <= b || it.weight > room:
		case it.weight > left:
			return sum + math.Max(0, dual[it.layout])*left/it.weight
		default:
			sum, left = sum+math.Max(0, dual[it.layout]), left-it.weight
		}
	}
	return sum
}

// cellColumns looks in one cell for zones led by some layouts. It returns a bound on ratios where the search gave up.
func (c *Configuration) cellColumns(w *columnWork, cell *cell, mine func(layout int) bool, dual []float64, best []found, ratio []float64) float64 {
	w.weigh(cell, dual)
	loose, ranked := 1.0, false
	for b := range cell.items {
		lead := &cell.items[b]
		if !mine(lead.layout) {
			continue
		}
		enough := ratio[lead.layout] * lead.least
		// The weights of a zone add up to no more than 1.
		if (cell.full == 0 && dual[lead.layout] <= 0) || w.densest[b] <= enough {
			continue
		}
		if !ranked {
			w.rank(cell, dual)
			ranked = true
		}
		most := w.most(cell, b, dual)
		if most <= enough-dual[lead.layout] {
			continue // whoever is with it
		}
		with := c.turnsOf(cell, b)
		for _, turns := range w.turnLevels(with[b:]) {
			if most > ratio[lead.layout]*c.cost(lead.want, turns)-dual[lead.layout] {
				loose = math.Max(loose, c.improve(w, cell, b, turns, dual, best, ratio))
			}
		}
	}
	return loose
}

// turnLevels lists the turns that a zone may have whose leader has so many with each of those after it.
func (w *columnWork) turnLevels(with []float64) []float64 {
	w.levels = append(w.levels[:0], with[0])
	for _, t := range with[1:] {
		if t > with[0] && !slices.Contains(w.levels, t) {
			w.levels = append(w.levels, t)
		}
	}
	slices.Sort(w.levels)
	return w.levels
}

// improve looks for a zone led by item b of at most so many turns that is better than the best of the leader so far, and returns a
// bound on the ratio of all.
func (c *Configuration) improve(w *columnWork, cell *cell, b int, turns float64, dual []float64, best []found, ratio []float64) float64 {
	lead, bag := &cell.items[b], &w.bag
	cost := c.cost(lead.want, turns)
	bag.reset(1-lead.weight, cell.full-lead.fill, c.connections-1)
	for _, at := range w.order {
		if at <= b {
			continue
		}
		if t := cell.turns[b][at]; t >= 0 && t <= turns {
			bag.add(at, cell.items[at].weight, dual[cell.items[at].layout], cell.items[at].fill)
		}
	}
	chosen, value, bound := bag.most(ratio[lead.layout]*cost - dual[lead.layout])
	if chosen != nil {
		zone := []int{lead.layout}
		for _, at := range chosen {
			zone = append(zone, cell.items[at].layout)
		}
		best[lead.layout] = found{zone, cost}
		ratio[lead.layout] = (value + dual[lead.layout]) / cost
	}
	return (bound + dual[lead.layout]) / cost
}
