package api

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/api/render"
	sentence "rillturn.example/rillturn/api/render/words"
	"rillturn.example/rillturn/service"
	"rillturn.example/rillturn/service/file"
)

// PlotShortfallGet says why a plot is short.
func (a *API) PlotShortfallGet(ctx context.Context, r gen.PlotShortfallGetRequestObject) (gen.PlotShortfallGetResponseObject, error) {
	s, err := a.svc.PlotShortfall(ctx, principal(ctx), r.Plot)
	if err != nil {
		return nil, err
	}
	view, err := shortfallView(s)
	return gen.PlotShortfallGet200JSONResponse(view), err
}

// shortfallView says what a plot gets and why not more, in codes with numbers and in words.
func shortfallView(s service.PlotShortfall) (gen.PlotShortfall, error) {
	zone, err := time.LoadLocation(s.Input.Garden.TimeZone)
	if err != nil {
		return gen.PlotShortfall{}, err
	}
	g := s.Input.Garden
	r := reporting{g: s.Input, p: s.Plan, zone: zone, words: sentence.New(g.Language, render.Units(g.Units), zone)}
	r.index()
	plot := s.Plot.ID.String()
	view := gen.PlotShortfall{
		PlotId: s.Plot.ID, PlotLabel: s.Plot.Label, RotationId: s.Rotation.ID, Bound: s.Plan.Bound.Share, Units: []gen.UnitShortfall{},
		Text: []string{},
	}
	for _, u := range s.Plan.Units {
		if u.PlotID != plot {
			continue
		}
		shown, lines, err := r.unitShortfall(u)
		if err != nil {
			return view, err
		}
		view.Units, view.Text = append(view.Units, shown), append(view.Text, lines...)
	}
	var codes []string
	for _, u := range s.Plan.Unplanned {
		if u.ID == plot || r.units[u.ID].PlotID == plot || r.layoutPlot(u.ID) == plot {
			codes = append(codes, u.Reason)
			view.Text = append(view.Text, r.unplanned(u))
		}
	}
	if codes != nil {
		view.Unplanned = &codes
	}
	return view, nil
}

// unplanned says why a layout or plot is in no zone.
func (r *reporting) unplanned(u file.UnplannedPlan) string {
	if u.TakesLPerMin > 0 || u.GivesLPerMin > 0 {
		return r.unservable(u)
	}
	label := r.plots[u.ID]
	if name, known := r.layoutNames[u.ID]; known {
		label = sentence.PlotLabel(r.plots[r.layoutPlot(u.ID)], name)
	}
	return r.words.Unplanned(u.Reason, label)
}

func (r *reporting) layoutPlot(layout string) string {
	i := slices.IndexFunc(r.g.Layouts, func(l file.LayoutOnPlot) bool { return l.ID == layout })
	if i < 0 {
		return ""
	}
	return r.g.Layouts[i].PlotID
}

func (r *reporting) unitShortfall(u file.UnitPlan) (gen.UnitShortfall, []string, error) {
	view := gen.UnitShortfall{
		Share: u.Share, NeedL: u.NeedL, DeliveredL: u.DeliveredL, MissingL: max(0, u.NeedL-u.DeliveredL), StressDays: u.StressDays,
		Proofs: []gen.ShortageProof{},
	}
	if u.LayoutID != nil {
		id, err := uuid.Parse(*u.LayoutID)
		if err != nil {
			return view, nil, fmt.Errorf("layout of unit %s: %w", u.ID, err)
		}
		name := r.layoutNames[*u.LayoutID]
		view.LayoutId, view.LayoutName = &id, &name
	}
	if z, known := r.zones[u.Zone]; known {
		view.ZoneName = &z.Name
	}
	var lines []string
	for _, x := range r.p.Shortages {
		if !slices.Contains(x.Units, u.ID) {
			continue
		}
		fall := r.shortfall(x)
		proof := gen.ShortageProof{
			ZoneNames: []string{}, PlotLabels: fall.Plots, NeededMin: x.NeededMin, OfferedMin: x.OfferedMin, MissingMin: x.MissingMin,
			By: gen.ShortageProofBy(x.By), Level: x.Level, GainPerMin: x.GainPerMin, Limits: []gen.ShortageLimit{},
		}
		for _, z := range x.Zones {
			proof.ZoneNames = append(proof.ZoneNames, r.zones[z].Name)
		}
		for i, l := range x.Limits {
			proof.Limits = append(proof.Limits, gen.ShortageLimit{
				Kind: l.Kind, Minutes: l.Minutes, StartsAt: l.StartsAt, EndsAt: l.EndsAt, Text: r.words.Limit(fall.Limits[i]),
			})
		}
		view.Proofs = append(view.Proofs, proof)
		lines = append(lines, r.words.Shortfall(fall)...)
	}
	if len(lines) == 0 && u.Zone != "" {
		lines = []string{r.words.Served(r.label(u.ID), u.Share)}
	}
	return view, lines, nil
}
