package plan

import (
	"cmp"
	"slices"

	"rillturn.example/rillturn/engine/problem"
)

// canonical puts the parts of a problem into an order that depends on what they are and only for twins on how they are
// called, so that neither names nor the order of a file change what anybody gets.
func canonical(p problem.Problem) problem.Problem {
	p.Lines, p.Sources = slices.Clone(p.Lines), slices.Clone(p.Sources)
	p.Windows, p.Layouts = slices.Clone(p.Windows), slices.Clone(p.Layouts)
	load := map[string]problem.Milliliters{}
	for i := range p.Layouts {
		load[p.Layouts[i].Source] += p.Layouts[i].Need
	}
	slices.SortStableFunc(p.Lines, func(a, b problem.Line) int {
		return cmp.Or(cmp.Compare(a.FlowLimit, b.FlowLimit), cmp.Compare(a.DailyCap, b.DailyCap), cmp.Compare(a.ID, b.ID))
	})
	slices.SortStableFunc(p.Sources, func(a, b problem.Source) int {
		return cmp.Or(
			cmp.Compare(load[a.ID], load[b.ID]), cmp.Compare(a.FlowMax, b.FlowMax),
			cmp.Compare(a.Supply.Static, b.Supply.Static), cmp.Compare(a.Supply.Coefficient, b.Supply.Coefficient),
			cmp.Compare(a.Supply.Elsewhere, b.Supply.Elsewhere), cmp.Compare(a.Supply.Own, b.Supply.Own),
			cmp.Compare(a.Changeover, b.Changeover), cmp.Compare(a.ID, b.ID),
		)
	})
	slices.SortStableFunc(p.Windows, func(a, b problem.Window) int {
		return cmp.Or(cmp.Compare(a.Start, b.Start), cmp.Compare(a.End, b.End), cmp.Compare(a.ID, b.ID))
	})
	order := map[string]int{}
	for s := range p.Sources {
		order[p.Sources[s].ID] = s
	}
	slices.SortStableFunc(p.Layouts, func(a, b problem.Layout) int {
		return cmp.Or(
			cmp.Compare(order[a.Source], order[b.Source]), cmp.Compare(b.Need, a.Need),
			cmp.Compare(probe(&a), probe(&b)), cmp.Compare(a.HeadMin, b.HeadMin), cmp.Compare(a.MaxDay, b.MaxDay),
			cmp.Compare(a.MaxInterval, b.MaxInterval), cmp.Compare(a.DaysSince, b.DaysSince),
			cmp.Compare(a.MaxRun, b.MaxRun), cmp.Compare(a.Soak, b.Soak), slices.Compare(a.ClosedDays, b.ClosedDays),
			cmp.Compare(a.Area, b.Area), cmp.Compare(a.Class, b.Class), cmp.Compare(a.ID, b.ID),
		)
	})
	return p
}

// probe is a flow by which layouts of equal need can be told apart: a hand turn's own, else the flow at its least head.
func probe(l *problem.Layout) float64 {
	if l.Hand() {
		return float64(l.HandFlow.Flow())
	}
	return l.Curve.FlowAt(max(1, float64(l.HeadMin)))
}
