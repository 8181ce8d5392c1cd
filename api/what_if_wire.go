package api

import (
	"cmp"
	"slices"

	"github.com/google/uuid"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/service"
	"rillturn.example/rillturn/service/file"
)

func supposedChange(b gen.Supposed) service.Supposed {
	switch {
	case b.AcceptLayout != nil:
		return service.Supposed{AcceptLayout: &b.AcceptLayout.LayoutId}
	case b.AddPlot != nil:
		return service.Supposed{AddPlot: &service.PlotLike{Plot: b.AddPlot.LikePlotId, Label: b.AddPlot.Label}}
	}
	other := file.WhatIf{LoseSource: b.LoseSource, MoreHours: b.MoreHours, WaterOff: b.WaterOff}
	if b.Weather != nil {
		other.Weather = string(*b.Weather)
	}
	return service.Supposed{Other: &other}
}

// noticedShare is the least difference of a share that is named as a gain or a loss.
const noticedShare = 0.005

func differenceView(a service.WhatIfAnswer) (gen.Difference, error) {
	d := a.Difference
	view := gen.Difference{Before: d.Before, After: d.After, Units: d.Units, Turns: d.Turns, Gain: []gen.ShareMoved{}, Lose: []gen.ShareMoved{}}
	for _, u := range d.Units {
		if u.Before == nil || u.After == nil {
			continue
		}
		moved, err := shareMoved(a.Garden, u)
		if err != nil {
			return view, err
		}
		switch by := moved.After - moved.Before; {
		case by >= noticedShare:
			view.Gain = append(view.Gain, moved)
		case by <= -noticedShare:
			view.Lose = append(view.Lose, moved)
		}
	}
	by := func(m gen.ShareMoved) float64 { return m.After - m.Before }
	slices.SortStableFunc(view.Gain, func(a, b gen.ShareMoved) int { return cmp.Compare(by(b), by(a)) })
	slices.SortStableFunc(view.Lose, func(a, b gen.ShareMoved) int { return cmp.Compare(by(a), by(b)) })
	return view, nil
}

func shareMoved(g file.Garden, u file.UnitDifference) (gen.ShareMoved, error) {
	moved := gen.ShareMoved{Before: u.Before.Share, After: u.After.Share}
	var err error
	if moved.PlotId, err = uuid.Parse(u.PlotID); err != nil {
		return moved, err
	}
	for _, p := range g.Plots {
		if p.ID == u.PlotID {
			moved.PlotLabel = p.Label
		}
	}
	for _, l := range g.Layouts {
		if l.ID == u.Unit {
			id, err := uuid.Parse(l.ID)
			if err != nil {
				return moved, err
			}
			moved.LayoutId, moved.LayoutName = &id, &l.Name
		}
	}
	return moved, nil
}
