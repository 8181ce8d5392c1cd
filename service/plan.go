package service

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/engine/waterneed"
	"rillturn.example/rillturn/service/file"
)

// PlanGarden plans the rotation of a whole garden: what comes out of every layout, what every plot needs, zones and turns.
// With a published rotation in the file (replan) it changes that as little as it can, and says what becomes of every turn.
// It is a function of the file alone. stop is asked between evaluations; nil lets the plan run to its end. What is wrong
// with the file comes back as file.Faults.
func PlanGarden(g file.Garden, stop func() bool) (file.GardenPlan, error) {
	return planGarden(g, supposition{}, stop, nil)
}

// planGarden plans a garden with a supposition. progress, unless it is nil, is told what the planner begins.
func planGarden(g file.Garden, s supposition, stop func() bool, progress func(plan.Stage, float64)) (file.GardenPlan, error) {
	f, err := gather(g, s)
	if err != nil {
		return file.GardenPlan{}, err
	}
	p := f.problem()
	o, at := f.options(stop)
	o.Progress = progress
	made, err := plan.Propose(p, o)
	if err != nil {
		return file.GardenPlan{}, f.planFaults(err, at)
	}
	out, err := f.result(p, made)
	if err != nil {
		return out, err
	}
	over, err := plan.LeastOver(p, o, made)
	if err != nil {
		return out, fmt.Errorf("least overwatering of garden %s: %w", g.Garden.ID, err)
	}
	least := over.Liters()
	out.LeastOverL = &least
	return out, nil
}

// planFaults gives the planner's faults, which speak of the problem and of options, their place in the garden file.
func (f *facts) planFaults(err error, places map[string]string) error {
	var option *plan.OptionError
	if errors.As(err, &option) {
		for of, at := range places {
			if option.Field == of || strings.HasPrefix(option.Field, of+"/") {
				return file.Faults{{Pointer: at, Reason: option.Reason}}
			}
		}
	}
	var invalid *problem.InvalidError
	if !errors.As(err, &invalid) {
		return fmt.Errorf("plan garden %s: %w", f.Garden.Garden.ID, err)
	}
	var faults file.Faults
	for _, x := range invalid.Faults {
		at := ""
		var i int
		switch {
		case scan(x.Field, "/Layouts/%d", &i) && i < len(f.units):
			at = f.units[i].at
		case scan(x.Field, "/Sources/%d", &i):
			at = file.Point("water_sources", i)
		case scan(x.Field, "/Lines/%d", &i):
			at = file.Point("service_lines", i)
		}
		faults.Add(at, "%s (%s)", x.Reason, x.Field)
	}
	return faults
}

func scan(s, format string, i *int) bool {
	n, err := fmt.Sscanf(s, format, i)
	return n == 1 && err == nil
}

// result gathers a plan with its working.
func (f *facts) result(p problem.Problem, made plan.Plan) (file.GardenPlan, error) {
	model, err := problem.NewModel(p)
	if err != nil {
		return file.GardenPlan{}, err
	}
	out := file.GardenPlan{
		GardenID: f.Garden.Garden.ID, EngineVersion: EngineVersion, StartsAt: f.start, EndsAt: f.end, SmallestShare: made.Smallest,
		MeanShare: made.Mean, OpenMin: minutes(made.OpenTime), OverL: made.Over.Liters(), Stopped: made.Stopped,
		Bound: file.BoundPlan{
			Share: made.Bound.Share, Reason: string(made.Bound.Reason), Source: made.Bound.Source, Line: made.Bound.Line, Unit: made.Bound.Layout,
		},
		Zones: []file.ZonePlan{}, Turns: []file.TurnPlan{}, Units: []file.UnitPlan{}, Shortages: []file.ShortagePlan{},
		Late: []file.LatePlan{}, Dry: []file.DryPlan{}, Unplanned: append([]file.UnplannedPlan{}, f.left...),
	}
	for _, s := range f.WaterSources {
		out.Sources = append(out.Sources, f.sourcePlan(s))
	}
	operations := f.zones(model, made, &out)
	perDay := f.turns(model, made, operations, &out)
	f.changes(made, &out)
	f.countPast(model, perDay)
	for _, u := range f.units {
		up, err := f.unitPlan(u, made, perDay[u.id])
		if err != nil {
			return out, err
		}
		out.Units = append(out.Units, up)
	}
	for _, s := range made.Shortages {
		out.Shortages = append(out.Shortages, f.shortage(model, s))
	}
	for _, v := range made.Late {
		out.Late = append(out.Late, file.LatePlan{Unit: v.Layout, Day: v.Day, GapD: int(v.Have), LimitD: int(v.Limit)})
	}
	for _, v := range made.Dry {
		out.Dry = append(out.Dry, file.DryPlan{
			Unit: v.Layout, Day: v.Day, MissingL: problem.Milliliters(v.Have).Liters(), HoldsL: problem.Milliliters(v.Limit).Liters(),
		})
	}
	for _, u := range made.Unservable {
		out.Unplanned = append(out.Unplanned, file.UnplannedPlan{
			ID: u.Layout, Reason: string(u.Reason), TakesLPerMin: u.Takes.Flow().LitersPerMinute(), GivesLPerMin: u.Gives.Flow().LitersPerMinute(),
		})
	}
	return out, nil
}

func minutes(s problem.Span) float64 { return float64(s.Minutes()) }

func (f *facts) sourcePlan(s file.WaterSource) file.SourcePlan {
	out := file.SourcePlan{ID: s.ID, Supply: f.shown[s.ID], Hours: []file.HoursPlan{}}
	for _, o := range f.openings {
		if o.Source == s.ID {
			out.Hours = append(out.Hours, file.HoursPlan{StartsAt: o.Start, EndsAt: o.End})
		}
	}
	return out
}

// zones writes the watering groups and returns their operating points by zone.
func (f *facts) zones(m *problem.Model, made plan.Plan, out *file.GardenPlan) map[string]problem.Operation {
	operations := map[string]problem.Operation{}
	groups := groupNames{taken: map[string]bool{}, free: map[string]bool{}}
	for _, z := range f.published() {
		groups.taken[z.Name] = true
	}
	if f.Planning != nil {
		for _, pin := range f.Planning.Pins {
			groups.pinned(pin.Zone)
		}
	}
	for _, z := range made.Schedule.Zones {
		source, _ := m.SourceIndex(z.Source)
		var members []int
		for _, id := range z.Layouts {
			i, _ := m.LayoutIndex(id)
			members = append(members, i)
		}
		if !m.Servable[members[0]] {
			continue // never has a turn; the layout is told among the unplanned
		}
		op := m.Operate(source, members)
		operations[z.ID] = op
		zp := file.ZonePlan{ID: z.ID, SourceID: z.Source, Kind: "zone", Units: z.Layouts, FlowLPerMin: op.Total.Flow().LitersPerMinute(), HeadM: float64(op.Head)}
		if l := &m.Layouts[members[0]]; l.Hand() {
			plot := f.unit(l.ID).plot
			zp.Kind, zp.HeadM = plot.Method, 0
			zp.Name = map[string]string{"hose": "Hose ", "can": "Can "}[plot.Method] + plot.Label
		} else {
			zp.Name = groups.name(z.ID, f.pinnedName(z.Layouts), f.published())
		}
		out.Zones = append(out.Zones, zp)
	}
	return operations
}

// groupNames finds names for zones: a published zone keeps its own, and no name is used again for another.
type groupNames struct {
	taken map[string]bool
	free  map[string]bool // given by pins to zones that are not published yet
	last  int
}

// pinned keeps a name for the zone that a pin gives it to.
func (n *groupNames) pinned(name string) {
	if name != "" && !n.taken[name] {
		n.taken[name], n.free[name] = true, true
	}
}

func (n *groupNames) name(zone, pinned string, published []file.ReplanZone) string {
	for _, z := range published {
		if z.ID == zone {
			return z.Name
		}
	}
	if n.free[pinned] {
		n.free[pinned] = false
		return pinned
	}
	for {
		n.last++
		if name := fmt.Sprintf("Group %d", n.last); !n.taken[name] {
			return name
		}
	}
}

// published are the zones of the rotation that the plan follows.
func (f *facts) published() []file.ReplanZone {
	if f.Replan == nil {
		return nil
	}
	return f.Replan.Zones
}

// countPast adds the litres of turns that ran in the horizon to those of the plan.
func (f *facts) countPast(m *problem.Model, perDay map[string][]unit.Volume) {
	for _, u := range f.units {
		i, _ := m.LayoutIndex(u.id)
		for d, had := range m.Had[i] {
			if had.Volume > 0 {
				if perDay[u.id] == nil {
					perDay[u.id] = make([]unit.Volume, f.Horizon.Days)
				}
				perDay[u.id][d] += unit.Liters(had.Volume.Liters())
			}
		}
	}
}

func (f *facts) unit(id string) *watered {
	return f.units[slices.IndexFunc(f.units, func(u *watered) bool { return u.id == id })]
}

// turns writes the turns with the litres of their members, and returns the litres of each unit by day.
func (f *facts) turns(m *problem.Model, made plan.Plan, operations map[string]problem.Operation, out *file.GardenPlan) map[string][]unit.Volume {
	perDay := map[string][]unit.Volume{}
	zones := map[string]problem.Zone{}
	for _, z := range made.Schedule.Zones {
		zones[z.ID] = z
	}
	for _, t := range made.Schedule.Turns {
		w, _ := m.WindowIndex(t.Window)
		tp := file.TurnPlan{Zone: t.Zone, Day: m.Windows[w].Day, StartsAt: f.instant(t.Start), EndsAt: f.instant(t.End)}
		source, _ := m.SourceIndex(zones[t.Zone].Source)
		var members []int
		for _, id := range zones[t.Zone].Layouts {
			i, _ := m.LayoutIndex(id)
			members = append(members, i)
		}
		portions := m.Portions(source, members, operations[t.Zone], t)
		for i, id := range zones[t.Zone].Layouts {
			const microlitersPerLiter = 1e6
			member := file.TurnMemberPlan{Unit: id, VolumeL: float64(portions[i].Given) / microlitersPerLiter}
			for _, c := range t.Closings {
				if c.Layout == id {
					closes := f.instant(c.At)
					member.ClosesAt = &closes
				}
			}
			if perDay[id] == nil {
				perDay[id] = make([]unit.Volume, f.Horizon.Days)
			}
			perDay[id][tp.Day] += unit.Liters(member.VolumeL)
			tp.Members = append(tp.Members, member)
		}
		out.Turns = append(out.Turns, tp)
	}
	return perDay
}

// unitPlan writes one unit and replays the plan through its ledgers.
func (f *facts) unitPlan(u *watered, made plan.Plan, perDay []unit.Volume) (file.UnitPlan, error) {
	out := file.UnitPlan{ID: u.id, PlotID: u.plot.ID, SourceID: u.source, HandFlow: u.handFlow.LitersPerMinute(), Demand: *file.DemandOf(u.demand), Flags: u.flags}
	out.Efficiency, out.Ledgers = file.EfficiencyOf(u.demand.Efficiency), file.StandOf(u.with, u.without)
	if u.layout != nil {
		out.LayoutID, out.LeastHeadM = &u.layout.ID, float64(u.leastHead)
		alone := file.LayoutFlowOf(u.id, u.alone)
		out.FirstHole, out.LastHole = ends(alone)
		alone.Laterals = nil
		out.Alone = &alone
	}
	for _, s := range made.Shares {
		if s.Layout == u.id {
			out.Zone, out.NeedL, out.DeliveredL, out.Share, out.OverL = s.Zone, s.Need.Liters(), s.Delivered.Liters(), s.Fraction, s.Over.Liters()
		}
	}
	if perDay == nil {
		perDay = make([]unit.Volume, f.Horizon.Days)
	}
	growing, states := f.growing(u)
	predicted, err := waterneed.Replay(growing, f.RainOn(u.plot.ID, f.series), states, f.Horizon.FirstDay.EngineDate(), perDay)
	if err != nil {
		return out, fmt.Errorf("replay the plan for %s: %w", u.id, err)
	}
	for _, p := range predicted {
		out.StressDays = max(out.StressDays, p.Totals.StressDays)
	}
	return out, nil
}

// ends finds the hole sets nearest to and farthest from the manifold, over all laterals.
func ends(r file.LayoutFlowResult) (first, last *file.HoleSetResult) {
	for _, l := range r.Laterals {
		for i := range l.HoleSets {
			s := l.HoleSets[i]
			if s.Holes == 0 {
				continue
			}
			if first == nil || s.AtM < first.AtM {
				first = &s
			}
			if last == nil || s.AtM > last.AtM {
				last = &s
			}
		}
	}
	return first, last
}

func (f *facts) shortage(m *problem.Model, s plan.Shortage) file.ShortagePlan {
	out := file.ShortagePlan{
		Zones: s.Zones, Units: append([]string{}, s.Layouts...), Share: s.Share, NeededMin: minutes(s.Needed), OfferedMin: minutes(s.Offered),
		MissingMin: minutes(s.Missing), GainPerMin: s.PerExtra, By: string(s.By), Level: s.Level, Limits: []file.LimitPlan{},
	}
	for _, l := range s.Limits {
		lp := file.LimitPlan{Kind: string(l.Kind), Minutes: minutes(l.Time), Zone: l.Zone, SourceID: l.Source, LineID: l.Line, Flow: l.Flow, Day: l.Day}
		if w, ok := m.WindowIndex(l.Window); ok {
			start, end := f.instant(m.Windows[w].Start), f.instant(m.Windows[w].End)
			lp.StartsAt, lp.EndsAt, lp.Day, lp.SourceID = &start, &end, m.Windows[w].Day, m.Windows[w].Sources[0]
		}
		out.Limits = append(out.Limits, lp)
	}
	return out
}
