package rotation

import (
	"slices"

	"rillturn.example/rillturn/engine/problem"
)

// gridWork is what one trial of the search for starts counts against the budget of a pattern search.
const gridWork = 40

// mostAdmitted is how many zones, those with the smallest shares, may get a turn in a slot where they have none.
const mostAdmitted = 6

// onGrid looks for starts on the grid that waste less of the windows, and divides once more what the turns have by then, so
// that the levels tell what holds them down.
func (s *search) onGrid(best Result, caps []volumeCap, c Config) Result {
	r := s.g.newRaster(c.Grid, caps, best.Runs)
	switch {
	case c.Kept == nil:
		r.improve(c.Anneal/gridWork, s.stop)
	case c.Starts:
		r.improve(c.Budget/gridWork, s.stop)
	}
	better := s.g.result(best.Pattern, best.Visits, best.Levels, r.all())
	better.Pattern, better.Caps = r.placed.clone(), best.Caps
	if s.g.resultScore(&best).better(s.g.resultScore(&better)) {
		better = best
		r = s.g.newRaster(c.Grid, caps, best.Runs)
	}
	s.limits.grid = make([]problem.Span, len(s.g.Slots))
	for w := range s.g.Slots {
		time := problem.Span(0)
		for _, run := range r.runs[w] {
			time += problem.Span(run.End - run.Start)
		}
		s.limits.cut[w] = s.g.Slots[w].Usable - s.g.pauses(r.placed, w) - time
		s.limits.grid[w] = max(0, min(r.lost(w), s.limits.cut[w]))
	}
	if visits, levels := s.visits(r.placed); visits != nil {
		better.Visits, better.Levels, better.Caps = visits, levels, s.poolCaps(caps)
	}
	return better
}

// lengthened fills what the grid leaves idle behind placed turns.
func (g *Group) lengthened(runs []Run, caps []volumeCap, grid problem.Span) []Run {
	r := g.newRaster(grid, caps, runs)
	r.fill(r.slots())
	return r.all()
}

func (r *raster) slots() []int {
	out := make([]int, len(r.runs))
	for w := range out {
		out[w] = w
	}
	return out
}

// improve lays slots out anew, one after the other, for as long as that makes the sorted shares better.
func (r *raster) improve(budget int, stop func() bool) {
	current := r.score()
	for improved := true; improved && budget > 0 && !r.served(); {
		improved = false
		for w := range r.runs {
			if stop != nil && stop() {
				return
			}
			if next, tried := r.layOut(w, current, budget); next != nil {
				current, improved = *next, true
				budget -= tried
			} else {
				budget -= tried
			}
		}
		if improved {
			r.fill(r.slots())
			current = r.score()
		}
	}
}

// served tells whether every zone has its need.
func (r *raster) served() bool {
	for j := range r.g.Zones {
		if r.given[j] < r.g.Zones[j].Time {
			return false
		}
	}
	return true
}

func (r *raster) score() score {
	s := score{turns: r.placed.count()}
	entries := make([]entry, len(r.g.Zones))
	for j := range r.g.Zones {
		z := &r.g.Zones[j]
		if entries[j] = (entry{z.Class, 1}); z.Weight > 0 {
			entries[j].share = float64(min(r.given[j], z.Time)) / float64(z.Weight)
		}
	}
	s.shares = sortedShares(entries)
	return s
}

func (r *raster) late() int {
	late := 0
	for j := range r.g.Zones {
		late += r.g.lateDays(r.placed, j)
	}
	return late
}

// layOut takes the best of the ways to lay slot w out that differ from the present one by one move; nil where none is better.
func (r *raster) layOut(w int, current score, budget int) (*score, int) {
	old, best := r.runs[w], []Run(nil)
	var bestScore score
	late, tried := r.late(), 0
	r.moves(w, func(starts []Run) {
		if tried++; tried > budget {
			return
		}
		r.count(w, -1)
		r.runs[w] = starts
		r.count(w, 1)
		if r.clear(w) {
			r.fill([]int{w})
			if next := r.score(); next.better(current) && (best == nil || next.better(bestScore)) && r.late() <= late {
				best, bestScore = slices.Clone(r.runs[w]), next
			}
		}
		r.count(w, -1)
		r.runs[w] = old
		r.count(w, 1)
	})
	if best == nil {
		return nil, tried
	}
	r.count(w, -1)
	r.runs[w] = best
	r.count(w, 1)
	return &bestScore, tried
}

// moves lists other layouts of slot w, every turn at its shortest: starts shifted by a step of the grid, zones exchanged, a
// turn dropped and its time given to another, a turn put in, a turn given to another zone.
func (r *raster) moves(w int, try func([]Run)) {
	now := r.runs[w]
	n := len(now)
	with := func(change func([]Run) []Run) {
		next := change(slices.Clone(now))
		for k := range next {
			next[k].End = next[k].Start + problem.Instant(r.g.minRun(next[k].Zone))
		}
		try(next)
	}
	step := problem.Instant(r.grid)
	shift := func(runs []Run, from, to int, by problem.Instant) []Run {
		for k := from; k < to; k++ {
			runs[k].Start += by
		}
		return runs
	}
	for a := range n {
		for b := a + 1; b <= n; b++ {
			with(func(q []Run) []Run { return shift(q, a, b, step) })
			with(func(q []Run) []Run { return shift(q, a, b, -step) })
		}
		for b := a + 1; b < n; b++ {
			with(func(q []Run) []Run { q[a].Zone, q[b].Zone = q[b].Zone, q[a].Zone; return q })
		}
	}
	for a := range n {
		whole := onGrid(now[a].End+1, r.grid) - now[a].Start
		if a+1 < n {
			whole = now[a+1].Start - now[a].Start
		}
		for k := range n {
			with(func(q []Run) []Run {
				if k < a {
					shift(q, k+1, a, whole)
				} else {
					shift(q, a+1, k+1, -whole)
				}
				return slices.Delete(q, a, a+1)
			})
		}
	}
	slot := &r.g.Slots[w]
	for _, j := range r.admitted(w) {
		for k := range n {
			with(func(q []Run) []Run { q[k].Zone = j; return q })
		}
		for at := onGrid(slot.Start, r.grid); at < slot.End; at += step {
			k := slices.IndexFunc(now, func(run Run) bool { return run.Start >= at })
			switch {
			case k < 0:
				k = n
			case now[k].Start == at:
				continue
			}
			with(func(q []Run) []Run { return slices.Insert(q, k, Run{Zone: j, Slot: w, Start: at}) })
		}
	}
}

// admitted lists the zones with the smallest shares that may have a turn in slot w and go short.
func (r *raster) admitted(w int) []int {
	var out []int
	for j := range r.g.Zones {
		if r.given[j] < r.g.Zones[j].Time && r.g.canVisit(j, w) {
			out = append(out, j)
		}
	}
	slices.SortFunc(out, func(a, b int) int { return r.g.lessServed(r.given, a, b) })
	return out[:min(len(out), mostAdmitted)]
}

// clear tells whether the turns of slot w, each at its shortest, break no limit where they are.
func (r *raster) clear(w int) bool {
	g, slot := r.g, &r.g.Slots[w]
	for k := range r.runs[w] {
		run := &r.runs[w][k]
		z := &g.Zones[run.Zone]
		soak := problem.Instant(z.Soak)
		if run.Start < slot.Start || run.End > slot.End || !g.canVisit(run.Zone, w) || int(r.placed[run.Zone][w]) > maxRuns ||
			r.byDay[run.Zone][slot.Day] > z.DayRoom(slot.Day) {
			return false
		}
		for n := range k {
			before := &r.runs[w][n]
			if n == k-1 && before.End+problem.Instant(r.pause(before, run)) > run.Start ||
				before.Zone == run.Zone && before.End+soak > run.Start {
				return false
			}
		}
		for _, u := range r.near[w] {
			for n := range r.runs[u] {
				other := &r.runs[u][n]
				if g.Slots[u].Source != slot.Source {
					continue
				}
				gap := problem.Instant(0)
				if other.Zone == run.Zone {
					gap = soak
				}
				if other.Start < run.End+gap && run.Start < other.End+gap {
					return false
				}
			}
		}
		if r.flowUntil(w, run.Zone, run.Start, run.End) < run.End || r.volumeRoom(w, run.Zone) < 0 {
			return false
		}
	}
	return r.used(w) <= slot.Usable
}
