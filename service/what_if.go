package service

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/file"
)

// Supposed is a change of a garden that is looked at without saving it: exactly one field is set.
type Supposed struct {
	AcceptLayout *uuid.UUID   // the latest revision of this layout is accepted
	AddPlot      *PlotLike    // a plot more
	Other        *file.WhatIf // what needs no record of the garden
}

// PlotLike is a new plot with the ground, the layouts and the plants of one that is there.
type PlotLike struct {
	Plot  uuid.UUID
	Label string
}

// WhatIfAnswer is what changes would make of a plan. Garden has the names of what the difference speaks of.
type WhatIfAnswer struct {
	Garden     file.Garden
	Difference file.Difference
}

// WhatIf plans the garden as it is and with changes, and returns the difference; nothing is stored. Both plans follow the
// published rotation in its own days; without one they are made for the days asked for, from tomorrow.
func (s *Service) WhatIf(ctx context.Context, p Principal, days int, changes []Supposed) (WhatIfAnswer, error) {
	if err := p.may(Administer); err != nil {
		return WhatIfAnswer{}, err
	}
	return s.whatIf(ctx, p, days, changes, "/changes")
}

// LayoutEffect is what accepting the latest revision of a layout would do to everybody.
func (s *Service) LayoutEffect(ctx context.Context, p Principal, layout uuid.UUID) (WhatIfAnswer, error) {
	if err := p.may(ReadPeople); err != nil {
		return WhatIfAnswer{}, err
	}
	l, err := s.Layout(ctx, p, layout)
	if err != nil {
		return WhatIfAnswer{}, err
	}
	if l.Layout.Status == accepted || l.Layout.Status == retired {
		return WhatIfAnswer{}, refuse(Conflict, "The layout is %s: its latest revision has no effect to come.", l.Layout.Status)
	}
	return s.whatIf(ctx, p, EffectDays, []Supposed{{AcceptLayout: &layout}}, "")
}

// EffectDays is the horizon in which changes are looked at where nothing is published and nobody says otherwise.
const EffectDays = 14

func (s *Service) whatIf(ctx context.Context, p Principal, days int, changes []Supposed, at string) (WhatIfAnswer, error) {
	ask := Proposal{Days: days, Effort: "fast", Seed: 1}
	current, err := s.read(p).RotationPublishedNext(ctx, p.Garden, s.now())
	switch {
	case err == nil:
		if ask, err = s.ahead(ctx, p, current); err != nil {
			return WhatIfAnswer{}, err
		}
	case !errors.Is(err, repo.ErrNotFound):
		return WhatIfAnswer{}, err
	}
	input, _, err := s.planInput(ctx, p, ask)
	if err != nil {
		return WhatIfAnswer{}, err
	}
	supposed, err := s.supposed(ctx, p, input, changes, at)
	if err != nil {
		return WhatIfAnswer{}, err
	}
	d, garden, err := difference(input, supposed, func(i int) string { return at + file.Point(i) }, func() bool { return ctx.Err() != nil })
	if err == nil {
		err = ctx.Err()
	}
	if fields := fieldsOf(err); len(fields) > 0 && slices.ContainsFunc(fields, func(f Field) bool { return strings.HasPrefix(f.Pointer, "/changes/") }) {
		return WhatIfAnswer{}, invalid(fields...)
	}
	if err != nil {
		return WhatIfAnswer{}, planRefusal(err)
	}
	return WhatIfAnswer{Garden: garden, Difference: d}, nil
}

// supposed states changes that name records of the garden as the garden file has them.
func (s *Service) supposed(ctx context.Context, p Principal, g file.Garden, changes []Supposed, at string) ([]file.WhatIf, error) {
	out := make([]file.WhatIf, len(changes))
	var fields []Field
	for i, c := range changes {
		here := at + file.Point(i)
		switch {
		case c.AcceptLayout != nil:
			l, err := s.read(p).LayoutLatest(ctx, p.Garden, *c.AcceptLayout)
			if errors.Is(err, pgx.ErrNoRows) || err == nil && l.Layout.Status == retired {
				fields = append(fields, Field{here + "/accept_layout/layout_id", "names no layout of this garden that could be accepted"})
				continue
			}
			if err != nil {
				return nil, err
			}
			on := layoutFile(l.Layout)
			if err := json.Unmarshal(l.LayoutRevision.Spec, &on.Spec); err != nil {
				return nil, fmt.Errorf("document of layout %s: %w", on.ID, err)
			}
			out[i].AcceptLayout = &on
		case c.AddPlot != nil:
			added, err := plotLike(g, *c.AddPlot, i)
			if err != nil {
				fields = append(fields, Field{here + "/add_plot/like_plot_id", err.Error()})
				continue
			}
			out[i] = added
		default:
			out[i] = *c.Other
		}
	}
	if len(fields) > 0 {
		return nil, invalid(fields...)
	}
	return out, nil
}

// plotLike copies a plot with what waters it and what grows on it. Where it has several layouts, the first one is copied.
func plotLike(g file.Garden, like PlotLike, n int) (file.WhatIf, error) {
	i := slices.IndexFunc(g.Plots, func(p file.Plot) bool { return p.ID == like.Plot.String() })
	if i < 0 {
		return file.WhatIf{}, errors.New("names no plot of this garden")
	}
	added := file.AddPlot{Plot: g.Plots[i], Plantings: []file.Planting{}}
	added.Plot.ID, added.Plot.Label, added.Plot.Holders = uuid.NewSHA1(like.Plot, []byte{byte(n)}).String(), like.Label, nil
	was := ""
	if l := slices.IndexFunc(g.Layouts, func(l file.LayoutOnPlot) bool { return l.PlotID == like.Plot.String() }); l >= 0 {
		layout := g.Layouts[l]
		was = layout.ID
		layout.ID, layout.PlotID = uuid.NewSHA1(like.Plot, []byte{byte(n), 1}).String(), added.Plot.ID
		added.Layout = &layout
	}
	for k, planting := range g.Plantings {
		if planting.PlotID != like.Plot.String() || planting.LayoutID != nil && *planting.LayoutID != was {
			continue
		}
		planting.ID, planting.PlotID = uuid.NewSHA1(like.Plot, []byte{byte(n), 2, byte(k)}).String(), added.Plot.ID
		if planting.LayoutID != nil {
			planting.LayoutID = &added.Layout.ID
		}
		added.Plantings = append(added.Plantings, planting)
	}
	return file.WhatIf{AddPlot: &added}, nil
}
