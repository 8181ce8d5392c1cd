package rotation

import "math"

// anneal changes visits at random, accepting a worse pattern now and then and less and less often. It looks at whole
// patterns where improve looks for a single better step: two zones exchange windows, a visit moves, comes or goes.
func (s *search) anneal(start Pattern, budget int, bound float64) (Pattern, bool) {
	best, ok := s.evaluate(start, nil)
	if !ok || s.reached(best, bound) {
		return start, false
	}
	current, kept := start.clone(), start.clone()
	now := worth(best)
	spent, found := 0, false
	for spent < budget && !s.stop() {
		moves := s.randomMoves(current)
		spent += s.effort()
		if moves == nil {
			continue
		}
		apply(current, moves, 1)
		next, fits := s.evaluate(current, nil)
		if !fits {
			apply(current, moves, -1)
			continue
		}
		temperature := annealWarm * math.Pow(annealCold/annealWarm, float64(spent)/float64(budget))
		if v := worth(next); v >= now || s.rng.Float64() < math.Exp((v-now)/temperature) {
			now = v
		} else {
			apply(current, moves, -1)
			continue
		}
		if next.better(best) {
			best, kept, found = next, current.clone(), true
			if s.reached(best, bound) {
				break
			}
		}
	}
	return kept, found
}

// Temperatures of the annealing at its start and end, in shares.
const (
	annealWarm = 0.01
	annealCold = 0.0002
)

// reachedGap is the distance to the bound at which looking further is not worth it.
const reachedGap = 1e-3

// reached tells whether every zone has the bound, or what its own limits let it have.
func (s *search) reached(sc score, bound float64) bool {
	if s.most == nil {
		s.most = s.g.mostShares()
	}
	if sc.late > 0 {
		return false
	}
	for k, share := range sc.shares {
		if share < min(bound, s.most[k])-reachedGap {
			return false
		}
	}
	return true
}

// mostShares returns what the zones could have at most if each had every window to itself, sorted as shares are.
func (g *Group) mostShares() []float64 {
	entries := make([]entry, len(g.Zones))
	for j := range g.Zones {
		z := &g.Zones[j]
		entries[j] = entry{z.Class, 1}
		if z.Weight > 0 {
			time := z.Done
			for _, t := range g.most[j] {
				time += t
			}
			entries[j].share = float64(min(time, z.Time)) / float64(z.Weight)
		}
	}
	return sortedShares(entries)
}

// worth makes one number of a score to anneal by: the smallest share counts most, every next one three quarters of it.
func worth(s score) float64 {
	sum, weight := 0.0, 1.0
	for _, v := range s.shares {
		sum += weight * v
		weight *= 0.75
	}
	return sum/4 - float64(s.late) - 1e-4*float64(s.turns)/float64(max(1, len(s.shares)))
}

// randomMoves picks a change of the pattern; nil where the dice fall on nothing that can be done.
func (s *search) randomMoves(p Pattern) []change {
	g := s.g
	j := s.rng.IntN(len(g.Zones))
	slots := g.Of[g.Zones[j].Source]
	if len(slots) == 0 {
		return nil
	}
	w, u := slots[s.rng.IntN(len(slots))], slots[s.rng.IntN(len(slots))]
	switch kind := s.rng.IntN(8); {
	case kind == 0 && g.canVisit(j, w) && p[j][w] < maxRuns:
		return []change{{j, w, 1}}
	case kind == 1 && p[j][w] > 0:
		return []change{{j, w, -1}}
	case kind < 5:
		w = s.visited(p, j, slots)
		if w >= 0 && w != u && g.canVisit(j, u) && p[j][u] < maxRuns {
			return []change{{j, w, -1}, {j, u, 1}}
		}
	default:
		k := s.rng.IntN(len(g.Zones))
		if g.Zones[k].Source != g.Zones[j].Source || k == j {
			return nil
		}
		w, u = s.visited(p, j, slots), s.visited(p, k, slots)
		if w >= 0 && u >= 0 && w != u && p[j][u] == 0 && p[k][w] == 0 && g.canVisit(j, u) && g.canVisit(k, w) {
			return []change{{j, w, -1}, {j, u, 1}, {k, u, -1}, {k, w, 1}}
		}
	}
	return nil
}

// visited picks one of the slots in which zone j has a turn, or -1.
func (s *search) visited(p Pattern, j int, slots []int) int {
	at := s.rng.IntN(len(slots))
	for range slots {
		if p[j][slots[at]] > 0 {
			return slots[at]
		}
		at = (at + 1) % len(slots)
	}
	return -1
}
