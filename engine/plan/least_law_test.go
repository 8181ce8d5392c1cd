package plan_test

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"

	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/problem/problemtest"
	"rillturn.example/rillturn/engine/zoning"
)

// No plan has fewer zones than its layouts have bins of flow, nor is it open for less than the layered bound says of the shares
// that it gives; and what it draws on a day, added up turn by turn, stays within the volumes of sources and lines.
func TestLaw_planSpendsNoLessThanItsBoundsAndDrawsNoMoreThanItsCaps(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := problemtest.Garden(smallSpec(t))
		if rapid.Bool().Draw(t, "capped") {
			p.Sources[0].DailyCap = ml(rapid.IntRange(20, 2000).Draw(t, "cap"))
		}
		got := mustPropose(t, p, plan.Options{})
		m, err := problem.NewModel(p)
		if err != nil {
			t.Fatal(err)
		}
		share := map[string]float64{}
		for _, s := range got.Shares {
			share[s.Layout] = s.Fraction
		}
		for s := range m.Sources {
			var weights, pieces []zoning.Piece
			for _, i := range m.Members[s] {
				alone := float64(m.Layouts[i].Need) * 1000 / float64(m.Operate(s, []int{i}).Drawn[0])
				pieces = append(pieces, zoning.Piece{Key: share[m.Layouts[i].ID] * alone, Weight: m.Weight(i)})
				weights = append(weights, zoning.Piece{Key: 1, Weight: m.Weight(i)})
			}
			zones, open, drawn := spent(m, s, got)
			if least := zoning.LayeredBound(weights, m.Sources[s].Connections); float64(zones) < least {
				t.Errorf("%s: %d zones, at least %g", m.Sources[s].ID, zones, least)
			}
			if least := zoning.LayeredBound(pieces, m.Sources[s].Connections); open < least-1 {
				t.Errorf("%s: open for %.0f, at least %.0f", m.Sources[s].ID, open, least)
			}
			for d, v := range drawn {
				limits := []problem.Milliliters{m.Sources[s].DailyCap}
				if line := m.LineOf[s]; line >= 0 {
					limits = append(limits, m.Lines[line].DailyCap)
				}
				for _, most := range limits {
					if most > 0 && v > float64(most) {
						t.Errorf("%s: %.0f mL on day %d, at most %d", m.Sources[s].ID, v, d, most)
					}
				}
			}
		}
	})
}

// spent counts the zones of a source that can have turns, and adds up for how long they are open [milli-minutes] and what they
// draw by day [mL].
func spent(m *problem.Model, s int, got plan.Plan) (zones int, open float64, drawn []float64) {
	drawn = make([]float64, m.Days)
	for _, z := range got.Schedule.Zones {
		var members []int
		for _, id := range z.Layouts {
			i, _ := m.LayoutIndex(id)
			members = append(members, i)
		}
		if z.Source != m.Sources[s].ID || !m.Servable[members[0]] {
			continue
		}
		zones++
		flow := 0.0
		for _, q := range m.Operate(s, members).Drawn {
			flow += float64(q)
		}
		for _, turn := range got.Schedule.Turns {
			if turn.Zone == z.ID {
				w, _ := m.WindowIndex(turn.Window)
				open += float64(turn.Length())
				drawn[m.Windows[w].Day] += flow * float64(turn.Length()) / 1000
			}
		}
	}
	return zones, open, drawn
}

// Equal plots with a window each get the same share, all of their window, since nobody needs a changeover; with more windows
// for each they share alike up to what changeovers cost.
func TestLaw_equalPlotsInEqualWindowsShareAlike(t *testing.T) {
	t.Parallel()
	for plots := 1; plots <= 5; plots++ {
		for each := 1; each <= 2; each++ {
			for _, scarce := range []int{1, 2} {
				p := hours(plots, plots*each)
				for i := range p.Layouts {
					p.Layouts[i].Need = ml(600 * each * scarce)
				}
				got := propose(t, p, plan.Options{})
				if len(got.Schedule.Zones) != plots {
					t.Errorf("%d zones of %d hand plots", len(got.Schedule.Zones), plots)
				}
				name := fmt.Sprintf("%d plots, %d windows each, %d times as much need as time", plots, each, scarce)
				least := 1 / float64(scarce)
				if each > 1 {
					least *= 1 - 2.0/60 // a changeover in every window
				}
				for _, s := range got.Shares {
					if s.Fraction < least-1e-9 || s.Fraction > 1/float64(scarce)+1e-9 && each == 1 {
						t.Errorf("%s: %s gets %.6f, %.6f are there", name, s.Layout, s.Fraction, least)
					}
				}
			}
		}
	}
}

// ways are the partitions of the layouts of a source into zones that fit.
func ways(m *problem.Model, s int) [][]problem.Batch {
	var out [][]problem.Batch
	var place func(at int, zones [][]int)
	place = func(at int, zones [][]int) {
		if at == len(m.Members[s]) {
			var way []problem.Batch
			for _, z := range zones {
				way = append(way, problem.NewBatch(m, s, z, problem.ByNeed))
			}
			out = append(out, way)
			return
		}
		for k := range zones {
			joint := append(append([]int(nil), zones[k]...), m.Members[s][at])
			if m.Fits(s, joint) {
				next := append([][]int(nil), zones...)
				next[k] = joint
				place(at+1, next)
			}
		}
		place(at+1, append(append([][]int(nil), zones...), []int{m.Members[s][at]}))
	}
	place(0, nil)
	return out
}

// bestOnLine is the largest share that two sources behind one line could have if time were divisible, nobody needed a
// changeover and soils took all: the best of every pair of partitions. Zones of one source, and of both whose flows together are
// more than the line lets through, are never open at once; the zones that hinder each other are a perfect graph, so that the
// heaviest set of zones that all hinder each other is what takes the time. Such a set is, for some flow q, the zones of the
// first source that draw q or more and those of the second that do not fit beside q.
func bestOnLine(m *problem.Model) float64 {
	time := 0.0
	for _, slot := range m.Slots[0] {
		time += float64(slot.Usable)
	}
	limit, best := m.Lines[0].FlowLimit, 0.0
	for _, a := range ways(m, 0) {
		for _, b := range ways(m, 1) {
			heaviest := max(total(a, 0), total(b, 0))
			for k := range a {
				if a[k].Op.Total <= limit {
					heaviest = max(heaviest, total(a, a[k].Op.Total)+total(b, limit-a[k].Op.Total+1))
				}
			}
			if fits := func(z []problem.Batch) bool { return total(z, limit+1) == 0 }; fits(a) && fits(b) {
				best = max(best, time/heaviest)
			}
		}
	}
	return min(1, best)
}

// total adds up the minutes of all zones that draw so much or more.
func total(zones []problem.Batch, least problem.Rate) float64 {
	sum := 0.0
	for k := range zones {
		if zones[k].Op.Total >= least {
			sum += float64(zones[k].Time)
		}
	}
	return sum
}

// onLine is a garden of two spigots on one meter, in windows that suffice for a part of the need.
func onLine(seed uint64, layouts int, drilled bool) problem.Problem {
	p := problemtest.Garden(problemtest.Spec{Kind: problemtest.TwoSpigots, Layouts: layouts, Drilled: drilled, Seed: seed})
	for s := range p.Sources {
		p.Sources[s].Changeover, p.Sources[s].MinRun = 0, 0
	}
	for i := range p.Layouts {
		l := &p.Layouts[i]
		l.MaxInterval, l.DaysSince, l.Soak, l.MaxRun = 40, 1, 0, problem.Span(300*problem.Minute)
		l.Need *= 3
		l.MaxDay = l.Need
	}
	return p
}

// The bounds of sources behind one line, those of conflicting layouts among them, are never below what the best of all pairs of
// partitions could give, and often near it.
func TestBound_ofALineIsNeverBelowTheBestPartitions(t *testing.T) {
	t.Parallel()
	near, lines := 0, 0
	for seed := range uint64(10) {
		for _, n := range []int{4, 6} {
			for _, drilled := range []bool{false, true} {
				p := onLine(seed, n, drilled)
				m, err := problem.NewModel(p)
				if err != nil {
					t.Fatal(err)
				}
				got, best := propose(t, p, plan.Options{}), bestOnLine(m)
				name := fmt.Sprintf("seed %d, %d layouts, drilled %v", seed, n, drilled)
				if got.Bound.Share < best-1e-6 {
					t.Errorf("%s: bound %.6f (%s), the best partitions give %.6f", name, got.Bound.Share, got.Bound.Reason, best)
				}
				if got.Smallest > best+1e-6 {
					t.Errorf("%s: smallest share %.6f, the best partitions give %.6f", name, got.Smallest, best)
				}
				if got.Bound.Share < 1.03*best {
					near++
				}
				if got.Bound.Reason == plan.BoundLineTime || got.Bound.Reason == plan.BoundLineFlow {
					lines++
				}
			}
		}
	}
	if lines == 0 || near < 10 {
		t.Errorf("%d of 40 bounds near the best, %d rest on the line", near, lines)
	}
}
