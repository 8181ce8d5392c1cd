package service

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"

	"github.com/jackc/pgx/v5"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/file"
)

// PlanningRules reads what the coordinator decided for every plan, with its revision. A garden that decided nothing yet is
// at revision 1.
func (s *Service) PlanningRules(ctx context.Context, p Principal) (file.Planning, int64, error) {
	if err := p.may(ReadSite); err != nil {
		return file.Planning{}, 0, err
	}
	rules, revision, err := planningRules(ctx, s.read(p), p)
	return rules, revision, explain(err, effect{entity: "planning rules"})
}

func planningRules(ctx context.Context, q *repo.Queries, p Principal) (rules file.Planning, revision int64, err error) {
	row, err := q.PlanningRulesGet(ctx, p.Garden)
	if errors.Is(err, pgx.ErrNoRows) {
		return rules, 1, nil
	}
	if err == nil {
		err = json.Unmarshal(row.Document, &rules)
	}
	return rules, row.Revision, err
}

// ReplacePlanningRules writes them anew over their revision match.
func (s *Service) ReplacePlanningRules(ctx context.Context, p Principal, match int64, rules file.Planning) (revision int64, err error) {
	if err := p.may(Administer); err != nil {
		return 0, err
	}
	document, err := json.Marshal(rules)
	if err != nil {
		return 0, err
	}
	e := effect{action: "replace", entity: "planning rules", id: p.Garden, planning: true}
	row, err := replace(ctx, s, p, e, match, func(q *repo.Queries) (repo.PlanningRules, error) {
		known, err := idsForRules(ctx, q, p)
		if err != nil {
			return repo.PlanningRules{}, err
		}
		if fields := known.faults(rules); len(fields) > 0 {
			return repo.PlanningRules{}, invalid(fields...)
		}
		return q.PlanningRulesPut(ctx, p.Garden, document, match)
	}, func(q *repo.Queries) (int64, error) {
		_, revision, err := planningRules(ctx, q, p)
		return revision, err
	})
	return row.Revision, err
}

// rulesIDs is what planning rules may name: units (layouts in use and plots), each with its source, and water hours.
type rulesIDs struct {
	units map[string]string
	hours map[string]bool
}

func idsForRules(ctx context.Context, q *repo.Queries, p Principal) (rulesIDs, error) {
	known := rulesIDs{units: map[string]string{}, hours: map[string]bool{}}
	plots, err := q.PlotList(ctx, p.Garden)
	if err != nil {
		return known, err
	}
	for _, x := range plots {
		known.units[x.ID.String()] = ""
	}
	layouts, err := q.LayoutList(ctx, p.Garden)
	if err != nil {
		return known, err
	}
	for _, l := range layouts {
		if l.Status != retired {
			known.units[l.ID.String()] = l.WaterSourceID.String()
		}
	}
	hours, err := q.WaterHoursList(ctx, p.Garden)
	for _, h := range hours {
		known.hours[h.ID.String()] = true
	}
	return known, err
}

// faults says what in the rules can't be true in this garden.
func (k rulesIDs) faults(r file.Planning) []Field {
	var out []Field
	unit := func(at, id string) {
		if _, known := k.units[id]; !known {
			out = append(out, Field{at, "names neither a layout in use nor a plot of this garden"})
		}
	}
	pinned := map[string]bool{}
	for i, pin := range r.Pins {
		if len(pin.Units) == 1 && pin.Zone == "" && !pin.Alone {
			out = append(out, Field{file.Point("pins", i), "pins nothing: one unit stays in a zone that is named, or alone"})
		}
		if pin.Zone != "" && slices.ContainsFunc(r.Pins[:i], func(p file.Pin) bool { return p.Zone == pin.Zone }) {
			out = append(out, Field{file.Point("pins", i, "zone"), "is named by another pin: put the units into that"})
		}
		source := ""
		for n, id := range pin.Units {
			at := file.Point("pins", i, "units", n)
			unit(at, id)
			if pinned[id] {
				out = append(out, Field{at, "is pinned twice"})
			}
			pinned[id] = true
			if of := k.units[id]; source == "" {
				source = of
			} else if of != "" && of != source {
				out = append(out, Field{at, "lies on another water source than the one before it: a zone has one source"})
			}
		}
	}
	for i, apart := range r.Apart {
		at := file.Point("apart", i, "units")
		for n, id := range apart.Units {
			unit(at+file.Point(n), id)
		}
		if len(apart.Units) != 2 || apart.Units[0] == apart.Units[1] {
			out = append(out, Field{at, "must be two different units"})
		} else if slices.ContainsFunc(r.Pins, func(p file.Pin) bool {
			return slices.Contains(p.Units, apart.Units[0]) && slices.Contains(p.Units, apart.Units[1])
		}) {
			out = append(out, Field{at, "the two are pinned to one zone"})
		}
	}
	for i, id := range r.Excluded {
		unit(file.Point("excluded", i), id)
		if slices.Index(r.Excluded, id) != i {
			out = append(out, Field{file.Point("excluded", i), "is named twice"})
		}
	}
	for i, kind := range r.ServeFirst {
		if slices.Index(r.ServeFirst, kind) != i {
			out = append(out, Field{file.Point("serve_first", i), "is named twice"})
		}
	}
	for i, id := range r.AttendedHours {
		if !k.hours[id] {
			out = append(out, Field{file.Point("attended_hours", i), "names no water hours of this garden"})
		}
	}
	return out
}

// rules reads the planning rules into the garden file, without what is gone since they were written: a retired layout, a
// plot or water hours that were deleted.
func (s *snapping) rules(ctx context.Context, out *file.Garden) error {
	r, _, err := planningRules(ctx, s.q, Principal{Garden: s.garden})
	if err != nil {
		return fmt.Errorf("planning rules: %w", err)
	}
	here := func(id string) bool {
		return slices.ContainsFunc(out.Plots, func(p file.Plot) bool { return p.ID == id }) ||
			slices.ContainsFunc(out.Layouts, func(l file.LayoutOnPlot) bool { return l.ID == id })
	}
	gone := func(id string) bool { return !here(id) }
	var pins []file.Pin
	for _, p := range r.Pins {
		if p.Units = slices.DeleteFunc(p.Units, gone); len(p.Units) > 0 {
			pins = append(pins, p)
		}
	}
	r.Pins = pins
	r.Apart = slices.DeleteFunc(r.Apart, func(a file.Apart) bool { return slices.ContainsFunc(a.Units, gone) })
	r.Excluded = slices.DeleteFunc(r.Excluded, gone)
	r.AttendedHours = slices.DeleteFunc(r.AttendedHours, func(id string) bool {
		return !slices.ContainsFunc(out.WaterHours, func(h file.WaterHours) bool { return h.ID == id })
	})
	if len(r.Pins)+len(r.Apart)+len(r.Excluded)+len(r.ServeFirst)+len(r.AttendedHours) > 0 || r.SmallChanges != nil {
		out.Planning = &r
	}
	return nil
}
