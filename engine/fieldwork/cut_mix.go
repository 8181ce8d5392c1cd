package fieldwork

import (
	"cmp"
	"slices"
)

// The effort for sticks of several lengths; beyond, the bound is that of the linear program.
const (
	mostMixes    = 30_000 // steps of listing them
	mostMixKinds = 60
	mostMixNodes = 900
	mostMixWork  = 1_500_000_000 // of all mixes together
)

// mix is a number of sticks of each stock to buy.
type mix struct {
	cost  int64
	count []int
}

// tryMixes asks, from the cheapest purchase that the bound allows upwards, whether its sticks suffice. The linear program over
// fillings knows only the cost of sticks: for 21 sticks of 3 m or 10 ft it takes all to be of 3 m, while with their numbers
// given it often proves that those don't suffice. The
// first that suffices is the least, if none before it was left undecided.
func (s *cutSearch) tryMixes() {
	list, complete := s.mixes()
	for _, m := range list {
		if complete {
			s.bound = max(s.bound, m.cost)
		}
		if s.mixWork > mostMixWork {
			return
		}
		sub := s.given(m)
		possible := sub.run()
		s.nodes += sub.nodes
		s.mixWork += sub.master.work
		if possible && sub.best.cost == 0 {
			s.keep(m.cost, sub.best.fillings)
			return
		}
		complete = complete && sub.bound > 0
	}
	if complete {
		s.bound = s.best.cost
	}
}

// given is the search for a cut list of the sticks of a mix, which then cost nothing; what they don't suffice for comes from
// sticks of the longest length, so that a bound above nothing proves that they don't.
func (s *cutSearch) given(m mix) *cutSearch {
	sub := &cutSearch{kerf: s.kerf, kinds: s.kinds, failed: map[string]int64{}, nodesMost: mostMixNodes, workMost: mostMixWork / 5, kindsMost: mostKinds}
	for j, k := range s.stocks {
		if k.cost > 0 {
			k = stock{length: k.length, ids: make([]int, m.count[j])}
		}
		sub.stocks = append(sub.stocks, k)
	}
	last := s.stocks[len(s.stocks)-1]
	sub.stocks = append(sub.stocks, stock{length: last.length, cost: last.cost, weight: 1})
	sub.step, sub.dearest, sub.longest = last.cost, last.cost, last.length
	sub.listSums()
	sub.master.init(sub.kinds, sub.stocks, sub.ceil)
	return sub
}

// mixes lists the purchases from the bound to below the best cut list, the cheapest first, unless there are too many.
func (s *cutSearch) mixes() (list []mix, complete bool) {
	count := make([]int, len(s.stocks))
	steps := 0
	var walk func(j int, cost int64)
	walk = func(j int, cost int64) {
		if steps++; steps > mostMixes || cost >= s.best.cost {
			return
		}
		if j < 0 || s.stocks[j].cost == 0 {
			if cost >= s.bound {
				list = append(list, mix{cost, slices.Clone(count)})
			}
			return
		}
		for ; cost < s.best.cost; cost += s.stocks[j].cost {
			walk(j-1, cost)
			count[j]++
		}
		count[j] = 0
	}
	walk(len(s.stocks)-1, 0)
	if steps > mostMixes {
		return nil, false
	}
	slices.SortStableFunc(list, func(a, b mix) int { return cmp.Compare(a.cost, b.cost) })
	return list, true
}
