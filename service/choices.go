package service

import (
	"fmt"
	"slices"

	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/service/file"
)

// excluded is the reason of a plot that the coordinator keeps out of plans.
const excluded = "excluded"

// Kinds of plots that may be served first.
const (
	seedlings = "seedlings"
	communal  = "communal"
)

// choices applies what the coordinator decided for all plans, and reports what names nothing in the garden.
func (f *facts) choices(faults *file.Faults) {
	c := f.Planning
	if c == nil {
		return
	}
	for k, pin := range c.Pins {
		f.knownUnits(pin.Units, file.Point("planning", "pins", k, "units"), faults)
	}
	for k, apart := range c.Apart {
		at := file.Point("planning", "apart", k, "units")
		if len(apart.Units) != 2 || apart.Units[0] == apart.Units[1] {
			faults.Add(at, "must be two different units")
		}
		f.knownUnits(apart.Units, at, faults)
	}
	f.knownUnits(c.Excluded, file.Point("planning", "excluded"), faults)
	for k, kind := range c.ServeFirst {
		if kind != seedlings && kind != communal || slices.Index(c.ServeFirst, kind) != k {
			faults.Add(file.Point("planning", "serve_first", k), "is %q, must be %s or %s, each at most once", kind, seedlings, communal)
		}
	}
	for k, id := range c.AttendedHours {
		if !slices.ContainsFunc(f.WaterHours, func(h file.WaterHours) bool { return h.ID == id }) {
			faults.Add(file.Point("planning", "attended_hours", k), "%q is not the id of water hours", id)
		}
	}
	if s := c.SmallChanges; s != nil && !(s.ShiftMin >= 0 && s.LengthMin >= 0) {
		faults.Add("/planning/small_changes", "must not have negative minutes")
	}
	f.units = slices.DeleteFunc(f.units, func(u *watered) bool {
		out := slices.Contains(c.Excluded, u.id) || slices.Contains(c.Excluded, u.plot.ID)
		if out {
			f.left = append(f.left, file.UnplannedPlan{ID: u.id, Reason: excluded})
		}
		return out
	})
}

// knownUnits refuses ids that are neither a plot's nor a layout's.
func (f *facts) knownUnits(ids []string, at string, faults *file.Faults) {
	for k, id := range ids {
		known := slices.ContainsFunc(f.Plots, func(p file.Plot) bool { return p.ID == id }) ||
			slices.ContainsFunc(f.Layouts, func(l file.LayoutOnPlot) bool { return l.ID == id })
		if !known {
			faults.Add(at+file.Point(k), "%q is neither the id of a layout nor of a plot", id)
		}
	}
}

// class is the place of a unit in the order in which kinds of plots are served; 0 comes first.
func (f *facts) class(u *watered) int {
	if f.Planning == nil {
		return 0
	}
	for k, kind := range f.Planning.ServeFirst {
		if kind == seedlings && u.demand.Seedlings || kind == communal && u.plot.Communal {
			return k
		}
	}
	return len(f.Planning.ServeFirst)
}

// planned returns those of some units that take turns in this plan: others have nothing planted, or wait for a layout.
func (f *facts) planned(ids []string) []string {
	var out []string
	for _, id := range ids {
		if slices.ContainsFunc(f.units, func(u *watered) bool { return u.id == id }) {
			out = append(out, id)
		}
	}
	return out
}

// publishedZone is the id of the published zone of that name at the unit's water source; "" when there is none.
func (f *facts) publishedZone(name, unit string) string {
	for _, z := range f.published() {
		if z.Name == name && z.SourceID == f.unit(unit).source {
			return z.ID
		}
	}
	return ""
}

// pinnedName is the name that the coordinator gave to a zone with these units; "" for none.
func (f *facts) pinnedName(units []string) string {
	if f.Planning == nil {
		return ""
	}
	for _, pin := range f.Planning.Pins {
		if pin.Zone != "" && slices.ContainsFunc(pin.Units, func(id string) bool { return slices.Contains(units, id) }) {
			return pin.Zone
		}
	}
	return ""
}

// options states the garden's choices as the planner takes them. at gives the places of pins and pairs in the file.
func (f *facts) options(stop func() bool) (o plan.Options, at map[string]string) {
	o = plan.Options{
		Effort: plan.Effort(f.Horizon.Effort), Seed: uint64(f.Horizon.Seed), Share: problem.Measure(f.Garden.Garden.Fairness),
		Grid: problem.SpanDown(unit.Minutes(f.Garden.Garden.StartGridMin)), Stop: stop,
	}
	at = map[string]string{"/Effort": "/horizon/effort", "/Share": "/garden/fairness", "/Grid": "/garden/start_grid_min"}
	if c := f.Planning; c != nil {
		for k, pin := range c.Pins {
			if units := f.planned(pin.Units); len(units) > 0 {
				at[fmt.Sprintf("/Pinned/%d", len(o.Pinned))] = file.Point("planning", "pins", k)
				o.Pinned = append(o.Pinned, plan.Pin{Layouts: units, Zone: f.publishedZone(pin.Zone, units[0]), Alone: pin.Alone})
			}
		}
		for k, apart := range c.Apart {
			if units := f.planned(apart.Units); len(units) == 2 {
				at[fmt.Sprintf("/Forbidden/%d", len(o.Forbidden))] = file.Point("planning", "apart", k)
				o.Forbidden = append(o.Forbidden, [2]string(units))
			}
		}
	}
	f.follow(&o)
	return o, at
}
