package zoning

import (
	"math"
	"slices"
)

// diveExchanges is how many exchanges of the simplex method a step of a dive may take.
const diveExchanges = 400

// diveRounds is how often a step of a dive asks for zones that its duals are missing.
const diveRounds = 5

// dive rounds the linear programme over zones: it takes the zone with the largest part, takes its members out of all
// other zones, and solves what is left, with the zones that are missing there, until every item is in a zone.
func (p *partitioner) dive(items []int) [][]int {
	pool := p.Columns.Zones(p.Level)
	left := slices.Clone(items)
	var zones [][]int
	for len(left) > 0 {
		row := make(map[int]int, len(left))
		single := make([]float64, len(left))
		for k, i := range left {
			row[i] = k
			single[k] = p.diced([]int{i})
		}
		cover, known := newCover(single), map[uint64]bool{}
		add := func(candidates [][]int) (added int) {
			for _, zone := range p.within(candidates, row, known) {
				column := make([]int, len(zone))
				for k, i := range zone {
					column[k] = row[i]
				}
				cover.add(column, p.diced(zone))
				pool = append(pool, zone)
				added++
			}
			return added
		}
		candidates := pool
		pool = nil
		add(candidates)
		cover.solve(diveExchanges)
		for range diveRounds {
			if add(p.Columns.wanted(func(i int) float64 {
				if k, there := row[i]; there {
					return cover.dual[k]
				}
				return 0
			})) == 0 {
				break
			}
			cover.solve(diveExchanges)
		}
		taken := map[int]bool{}
		for _, column := range cover.largest() {
			var zone []int
			for _, k := range column {
				zone = append(zone, left[k])
				taken[left[k]] = true
			}
			zones = append(zones, zone)
		}
		left = slices.DeleteFunc(left, func(i int) bool { return taken[i] })
	}
	return zones
}

// spent is the worth of a zone where worth adds up over zones.
func (p *partitioner) spent(c cost) float64 {
	return c.time + 20*c.hurt + 1e-3*c.water + leastCost
}

// dicedPart is the part by which dice change what a zone is worth, to dive to another partition that costs nearly the same.
const dicedPart = 2e-3

// diced is what a zone is worth, changed a little by the dice of the request.
func (p *partitioner) diced(zone []int) float64 {
	worth := p.spent(p.price(zone))
	if p.Shake == 0 {
		return worth
	}
	const golden = 0x9e3779b97f4a7c15 // spreads keys that differ in few bits over all of them
	return worth * (1 + dicedPart*float64((p.key(zone)^p.Shake)*golden>>32)/math.MaxUint32)
}

// within returns the zones without the members that have no row, those that fit and are not known yet.
func (p *partitioner) within(zones [][]int, row map[int]int, known map[uint64]bool) [][]int {
	var out [][]int
	for _, zone := range zones {
		var kept []int
		for _, i := range zone {
			if _, there := row[i]; there {
				kept = append(kept, i)
			}
		}
		if k := p.key(kept); len(kept) > 1 && !known[k] {
			known[k] = true
			if p.price(kept).fits {
				out = append(out, kept)
			}
		}
	}
	return out
}

// wholePart is the part of a zone from which it is taken for whole.
const wholePart = 0.999

// largest returns the columns that are in the solution for whole, or, where there are none, the one with the largest
// part. Columns that share a row are not taken together.
func (c *cover) largest() [][]int {
	var out [][]int
	best, most := -1, 0.0
	covered := make([]bool, c.rows)
	for at, b := range c.basis {
		if b < 0 || c.value[at] <= 0 {
			continue
		}
		if c.value[at] > most {
			best, most = b, c.value[at]
		}
		if c.value[at] >= wholePart && !slices.ContainsFunc(c.columns[b], func(i int) bool { return covered[i] }) {
			out = append(out, c.columns[b])
			for _, i := range c.columns[b] {
				covered[i] = true
			}
		}
	}
	if out == nil && best >= 0 {
		out = append(out, c.columns[best])
	}
	return out
}
