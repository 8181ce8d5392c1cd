package service

import (
	"context"
	"slices"
	"time"

	"github.com/google/uuid"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/file"
)

// AskedLedger is a planting whose ledger is asked for, up to the evening of a day.
type AskedLedger struct {
	Garden   repo.Garden
	Planting repo.Planting
	Last     time.Time
}

// AskLedger finds the planting whose ledger is asked for. A ledger that nobody names the last day of ends yesterday: what
// today brings is not known before its evening.
func (s *Service) AskLedger(ctx context.Context, p Principal, planting uuid.UUID, last *time.Time) (AskedLedger, error) {
	var out AskedLedger
	var err error
	if out.Planting, err = s.Planting(ctx, p, planting); err != nil {
		return out, err
	}
	if out.Garden, err = s.read(p).GardenByID(ctx, p.Garden); err != nil {
		return out, err
	}
	today, err := s.today(out.Garden)
	if err != nil {
		return out, err
	}
	out.Last = today.AddDate(0, 0, -1)
	if last != nil {
		out.Last = *last
	}
	if out.Last.After(today) {
		return out, invalid(Field{"#query/to", "must not come after today, " + today.Format(time.DateOnly)})
	}
	if last != nil && out.Last.Before(out.Planting.PlantedOn) {
		return out, invalid(Field{"#query/to", "must not come before the day of planting, " + out.Planting.PlantedOn.Format(time.DateOnly)})
	}
	return out, nil
}

// LedgerOf is the ledger of a planting under each layout that waters it, or under the hand-watered plot that it stands on,
// with what it was worked out from.
type LedgerOf struct {
	AskedLedger
	Input file.Garden     // the garden with the planting's plot alone
	Units []file.UnitNeed // with the ledgers of this planting alone
}

// Ledger works the ledger of a planting out, with and without the turns that nobody reported.
func (s *Service) Ledger(ctx context.Context, p Principal, asked AskedLedger) (LedgerOf, error) {
	out := LedgerOf{AskedLedger: asked, Units: []file.UnitNeed{}}
	if err := p.may(ReadPeople); err != nil {
		return out, err
	}
	plot := asked.Planting.PlotID.String()
	input, err := s.needInput(ctx, p, asked.Last.AddDate(0, 0, 1), leastHorizon)
	if err != nil {
		return out, err
	}
	out.Input = onPlot(input, plot)
	need, err := NeedGarden(out.Input)
	if err != nil {
		return out, needRefusal(err)
	}
	id := asked.Planting.ID.String()
	for _, u := range need.Units {
		u.Ledgers = slices.DeleteFunc(u.Ledgers, func(l file.PlantingLedgers) bool { return l.Planting != id })
		if len(u.Ledgers) > 0 {
			out.Units = append(out.Units, u)
		}
	}
	return out, nil
}

// onPlot is a garden in which one plot alone, its first, has a water need. The others stay for their rain gauges.
func onPlot(g file.Garden, plot string) file.Garden {
	i := slices.IndexFunc(g.Plots, func(x file.Plot) bool { return x.ID == plot })
	g.Plots[0], g.Plots[i] = g.Plots[i], g.Plots[0]
	for n := range g.Plots[1:] {
		g.Plots[1+n].Method = "none"
	}
	g.Layouts = slices.DeleteFunc(g.Layouts, func(x file.LayoutOnPlot) bool { return x.PlotID != plot })
	g.Plantings = slices.DeleteFunc(g.Plantings, func(x file.Planting) bool { return x.PlotID != plot })
	g.Waterings = slices.DeleteFunc(g.Waterings, func(x file.Watering) bool { return x.PlotID != plot })
	g.Digs = slices.DeleteFunc(g.Digs, func(x file.Dig) bool { return x.PlotID != plot })
	return g
}
