package service

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/engine/waterneed"
	"rillturn.example/rillturn/service/file"
)

// watered is one layout or hand-watered plot on its way into a plan: the facts, and what the engine makes of them.
type watered struct {
	id     string
	at     string // its pointer in the garden file
	plot   file.Plot
	layout *file.LayoutOnPlot // nil for a hand-watered plot
	source string

	compiled  *hydraulics.Compiled // of a layout
	alone     hydraulics.Result    // with nothing else open, when solved
	solved    bool
	leastHead unit.Head
	handFlow  unit.Flow // of a hose or of cans

	flags         []string
	unit          waterneed.Unit
	with, without []waterneed.Ledger // of its plantings, with and without the turns that nobody reported
	demand        waterneed.Demand
}

// method is how the water reaches the plot, by which closures exempt.
func (w *watered) method() string {
	if w.layout != nil {
		return "layout"
	}
	return w.plot.Method
}

// facts are a garden resolved for planning.
type facts struct {
	file.Garden
	loc      *time.Location
	start    time.Time // midnight of the horizon's first day in the garden's zone
	end      time.Time
	supplies map[string]hydraulics.Supply
	shown    map[string]file.SupplyResult // the supplies and what they rest on, as files show them
	openings []opening
	units    []*watered
	left     []file.UnplannedPlan // plots that are not planned for, and why
	series   waterneed.Series
	ended    bool // whether plantings that ended before the horizon are wanted too
	supposed supposition
}

// gather resolves a garden: supply curves, compiled layouts, water need. What is wrong comes back as file.Faults with
// pointers into the garden file.
func gather(g file.Garden, s supposition) (*facts, error) {
	f, err := timed(g)
	if err != nil {
		return nil, err
	}
	f.supposed = s
	var faults file.Faults
	if f.sound(&faults); len(faults) > 0 {
		return nil, faults
	}
	if f.openings = openings(g, f.loc); len(f.openings) == 0 {
		faults.Add("/water_hours", "no source may run in the horizon: enter water hours, or check the season and the dates")
	}
	f.fitSources(&faults)
	f.findUnits(&faults)
	if len(faults) > 0 {
		return nil, faults
	}
	if err := f.solveHydraulics(&faults); err != nil {
		return nil, err
	}
	f.needs(&faults)
	f.dropFallow()
	f.choices(&faults)
	f.checkReplan(&faults)
	return f, faults.Err()
}

// gatherNeed resolves what the water need of a garden rests on. Nothing is planned, so a source without a flow test, or
// one that a layout asks too much of, keeps no ledger from being seen: the evenness of its layouts is assumed.
func gatherNeed(g file.Garden) (*facts, error) {
	f, err := timed(g)
	if err != nil {
		return nil, err
	}
	var faults, tests, unsolved file.Faults
	f.fitSources(&tests)
	for _, x := range tests {
		if i := 0; !scan(x.Pointer+" end", "/water_sources/%d end", &i) && !strings.HasPrefix(x.Pointer, "/service_lines/") {
			faults = append(faults, x)
		}
	}
	f.findUnits(&faults)
	if len(faults) > 0 {
		return nil, faults
	}
	if err := f.solveHydraulics(&unsolved); err != nil {
		return nil, err
	}
	f.ended = true
	f.needs(&faults)
	f.dropFallow()
	return f, faults.Err()
}

// timed sets a garden's clock and horizon.
func timed(g file.Garden) (*facts, error) {
	f := &facts{Garden: g, supplies: map[string]hydraulics.Supply{}, shown: map[string]file.SupplyResult{}}
	var err error
	if f.loc, err = time.LoadLocation(g.Garden.TimeZone); err != nil {
		return nil, file.Faults{{Pointer: "/garden/time_zone", Reason: "is not a zone of the IANA time zone database, such as America/Los_Angeles"}}
	}
	if g.Horizon.Days < 7 || g.Horizon.Days > 28 {
		return nil, file.Faults{{Pointer: "/horizon/days", Reason: fmt.Sprintf("is %d, must be 7 to 28", g.Horizon.Days)}}
	}
	f.start = instant(g.Horizon.FirstDay.Time, 0, f.loc)
	f.end = instant(g.Horizon.FirstDay.AddDate(0, 0, g.Horizon.Days), 0, f.loc)
	return f, nil
}

func (f *facts) fitSources(faults *file.Faults) {
	for i, s := range f.WaterSources {
		at := file.Point("water_sources", i)
		flow := f.FlowSource(s)
		supply, assumed, err := flow.Supply(at)
		if err != nil {
			for _, x := range fieldsOf(err) {
				switch {
				case x.Pointer == at:
					x.Reason = s.Name + " has no flow test: a bucket test (volume and seconds) is enough"
				case x.Pointer == at+"/elsewhere_l_per_min":
					x.Pointer = f.lineAt(s) + "/elsewhere_l_per_min"
					x.Reason = "together with the other sources of the line " + x.Reason
				}
				*faults = append(*faults, file.Fault{Pointer: inGarden.Replace(x.Pointer), Reason: x.Reason})
			}
			continue
		}
		f.supplies[s.ID], f.shown[s.ID] = supply, flow.SupplyOf(supply, assumed)
	}
}

// inGarden names the fields of a flow source as the garden file has them.
var inGarden = strings.NewReplacer(
	"/tank/level_m", "/tank_level_m", "/tank/outlet_diameter_mm", "/tank_outlet_diameter_mm", "/tank/outlet_k", "/tank_outlet_k",
	"/hose/length_m", "/hose_length_m", "/hose/diameter_mm", "/hose_inside_diameter_mm",
)

// lineAt is the pointer of the service line of a source.
func (f *facts) lineAt(s file.WaterSource) string {
	i := slices.IndexFunc(f.ServiceLines, func(l file.ServiceLine) bool { return s.ServiceLineID != nil && l.ID == *s.ServiceLineID })
	return file.Point("service_lines", i)
}

// findUnits lists what takes turns, in the order of plots and then layouts, and what does not, with the reason.
func (f *facts) findUnits(faults *file.Faults) {
	plots := map[string]file.Plot{}
	for i, p := range f.Plots {
		plots[p.ID] = p
		if p.Method == "hose" || p.Method == "can" {
			f.findHandUnit(p, file.Point("plots", i), faults)
		}
	}
	for i := range f.Layouts {
		l := &f.Layouts[i]
		at := file.Point("layouts", i)
		plot, known := plots[l.PlotID]
		if !known {
			faults.Add(at+"/plot_id", "%q is not the id of a plot", l.PlotID)
		}
		if !f.hasSource(l.WaterSourceID) {
			faults.Add(at+"/water_source_id", "%q is not the id of a water source", l.WaterSourceID)
		}
		for _, x := range fieldsOf(l.Spec.Validate(at + "/spec")) {
			*faults = append(*faults, file.Fault(x))
		}
		if plot.Method != "layout" {
			f.left = append(f.left, file.UnplannedPlan{ID: l.ID, Reason: "plot_not_watered_by_layout"})
			continue
		}
		f.units = append(f.units, &watered{id: l.ID, at: at, plot: plot, layout: l, source: l.WaterSourceID})
	}
	slices.SortStableFunc(f.units, func(a, b *watered) int { return cmp.Compare(a.plot.Label, b.plot.Label) })
	ids := map[string]bool{}
	with := map[string]bool{}
	for _, u := range f.units {
		if ids[u.id] {
			faults.Add(u.at+"/id", "%q is the id of another plot or layout", u.id)
		}
		ids[u.id], with[u.plot.ID] = true, true
	}
	for _, p := range f.Plots {
		if p.Method == "layout" && !with[p.ID] {
			f.left = append(f.left, file.UnplannedPlan{ID: p.ID, Reason: "no_accepted_layout"})
		}
		if p.Method == "none" {
			f.left = append(f.left, file.UnplannedPlan{ID: p.ID, Reason: "not_watered"})
		}
	}
}

func (f *facts) findHandUnit(p file.Plot, at string, faults *file.Faults) {
	u := &watered{id: p.ID, at: at, plot: p}
	if p.WaterSourceID == nil || !f.hasSource(*p.WaterSourceID) {
		faults.Add(at+"/water_source_id", "names no water source, which a %s plot needs", p.Method)
		return
	}
	u.source = *p.WaterSourceID
	switch {
	case p.Method == "hose" && p.HoseFlowLPerMin != nil && *p.HoseFlowLPerMin > 0:
		u.handFlow = unit.LitersPerMinute(*p.HoseFlowLPerMin)
	case p.Method == "can" && p.CanVolumeL != nil && p.CanMinutesEach != nil && *p.CanVolumeL > 0 && *p.CanMinutesEach > 0:
		u.handFlow = unit.LitersPerMinute(*p.CanVolumeL / *p.CanMinutesEach)
	default:
		faults.Add(at+"/method", "a hose plot needs hose_flow_l_per_min, a can plot can_volume_l and can_minutes_each")
		return
	}
	f.units = append(f.units, u)
}

func (f *facts) hasSource(id string) bool {
	return slices.ContainsFunc(f.WaterSources, func(s file.WaterSource) bool { return s.ID == id })
}

// headMargin keeps a layout that can't fill its holes alone a little under the head that it has alone, so that it may run
// by itself and with nothing else.
const headMargin = 0.98

// solveHydraulics compiles the layouts and finds what comes out of each alone, and the least head for reliable holes.
func (f *facts) solveHydraulics(faults *file.Faults) error {
	compiler, err := hydraulics.NewCompiler(hydraulics.DefaultOptions())
	if err != nil {
		return err
	}
	for _, u := range f.units {
		supply, known := f.supplies[u.source]
		if u.layout == nil || !known {
			continue
		}
		if u.compiled, err = compiler.Compile(u.layout.Spec.Engine()); err != nil {
			return err
		}
		op, err := hydraulics.Operate(supply, []hydraulics.HeadFlow{u.compiled})
		if err != nil {
			faults.Add(u.at, "takes more than its water source can give at any pressure: %s", err)
			continue
		}
		u.alone, u.solved = u.compiled.Solve(unit.Head(op.Head)), true
		u.leastHead = leastHead(u.compiled, op.Head)
	}
	return nil
}

// leastHead is the least head at the source at which every hole that runs at the head alone has enough water above it to
// be relied on, found by bisection; where even the head alone is too little, the layout has to run alone.
func leastHead(c *hydraulics.Compiled, alone float64) unit.Head {
	enough := func(h float64) bool {
		for _, l := range c.Solve(unit.Head(h)).Laterals {
			for _, s := range l.Sets {
				if s.Open > 0 && s.Head < hydraulics.ReliableHead {
					return false
				}
			}
		}
		return true
	}
	high := alone * headMargin
	if !enough(high) {
		return unit.Head(high)
	}
	low := 0.0
	const millimeter = 0.001
	for high-low > millimeter {
		if middle := (low + high) / 2; enough(middle) {
			high = middle
		} else {
			low = middle
		}
	}
	return unit.Head(high)
}

// problem states the garden as the planner takes it.
func (f *facts) problem() problem.Problem {
	p := problem.Problem{Days: f.Horizon.Days, OverTolerance: overTolerance}
	for _, l := range f.ServiceLines {
		left := l.FlowLimitLPerMin // for the plan
		if l.ElsewhereLPerMin != nil {
			left -= *l.ElsewhereLPerMin
		}
		p.Lines = append(p.Lines, problem.Line{ID: l.ID, FlowLimit: problem.RateDown(unit.LitersPerMinute(left)), DailyCap: volume(l.DailyVolumeLimitL)})
	}
	for _, s := range f.WaterSources {
		p.Sources = append(p.Sources, f.source(s))
	}
	for _, o := range f.openings {
		p.Windows = append(p.Windows, problem.Window{ID: f.windowID(o), Day: o.Day, Start: f.since(o.Start), End: f.since(o.End), Sources: []string{o.Source}, Attended: o.Attended})
	}
	for _, u := range f.units {
		p.Layouts = append(p.Layouts, f.taker(u))
	}
	p.Past = f.past()
	return p
}

// overTolerance is the dead band: a twentieth more than is needed is not overwatering.
const overTolerance = problem.PerMille(50)

func (f *facts) windowID(o opening) string {
	return o.Source + " " + o.Start.In(f.loc).Format("2006-01-02 15:04")
}

// since rounds to the milli-minute; openings begin and end on whole minutes.
func (f *facts) since(t time.Time) problem.Instant {
	return problem.Instant(t.Sub(f.start).Milliseconds() * problem.Minute / time.Minute.Milliseconds())
}

func (f *facts) instant(t problem.Instant) time.Time {
	return f.start.Add(time.Duration(t) * time.Minute / problem.Minute)
}

func volume(limit *float64) problem.Milliliters {
	if limit == nil {
		return 0
	}
	return problem.VolumeDown(unit.Liters(*limit))
}

func (f *facts) source(s file.WaterSource) problem.Source {
	supply := f.supplies[s.ID]
	most := problem.MaxRate
	if !math.IsInf(supply.MaxFlow, 1) {
		most = min(most, problem.RateDown(unit.Flow(supply.MaxFlow)))
	}
	out := problem.Source{
		ID: s.ID, Supply: supply, FlowMax: most, Changeover: problem.SpanUp(unit.Minutes(s.ChangeoverMin)),
		MinRun: problem.SpanUp(unit.Minutes(s.MinRunMin)), DailyCap: volume(s.DailyVolumeLimitL), Connections: s.HoseConnections,
		Reserve: problem.PerMille(math.Ceil(f.Garden.Garden.FreeShare*1000 - 1e-9)),
	}
	if s.ServiceLineID != nil {
		out.Line = *s.ServiceLineID
	}
	out.Tank = f.tank(s)
	return out
}

// taker states one layout or hand-watered plot. The ledger says on which day its readily available water is gone; the
// planner counts that as days since a last watering.
func (f *facts) taker(u *watered) problem.Layout {
	d := u.demand
	l := problem.Layout{
		ID: u.id, Source: u.source, HeadMin: u.leastHead, Need: problem.VolumeUp(d.Total), Area: unit.Area(u.plot.AreaM2), Class: f.class(u),
		MaxInterval: d.Interval, DaysSince: max(1, d.Interval-d.Due), MaxDay: problem.VolumeUp(d.MostPerDay), MaxRun: problem.MaxSpan,
	}
	for i := range d.Plantings {
		if r, some := reservoir(&d.Plantings[i]); some {
			l.Reservoirs = append(l.Reservoirs, r)
		}
	}
	if u.layout != nil {
		l.Curve, l.OwnValve = u.compiled, u.layout.OwnValve
	} else {
		l.HandFlow = problem.RateDown(u.handFlow)
	}
	if d.Spell.Limited {
		on, soak := spell(d.Spell)
		l.MaxRun, l.Soak = min(problem.MaxSpan, problem.SpanDown(on)), min(problem.MaxSpan, problem.SpanUp(soak))
	}
	if u.plot.MaxDayMin != nil {
		l.MaxDayTime = problem.SpanDown(unit.Minutes(*u.plot.MaxDayMin))
	}
	for day := range f.Horizon.Days {
		if closed(f.Closures, u.source, u.method(), f.Horizon.FirstDay.AddDate(0, 0, day)) {
			l.ClosedDays = append(l.ClosedDays, day)
		}
	}
	return l
}

// reservoir states the ledger of a planting ahead as the planner takes it, in litres at the unit.
func reservoir(p *waterneed.PlantingDemand) (problem.Reservoir, bool) {
	gross := func(depth unit.Depth) float64 { return (unit.Volume(float64(depth)) * p.GrossPerDepth).Liters() * 1000 }
	r := problem.Reservoir{From: -1, Missing: problem.Milliliters(problem.RoundDown(gross(p.Start.Depletion)))}
	for t, d := range p.Days {
		if !d.Active {
			continue
		}
		if r.From < 0 {
			r.From = t
		}
		r.Use = append(r.Use, problem.Milliliters(problem.RoundDown(gross(d.StripET))))
		r.Holds = append(r.Holds, problem.Milliliters(problem.RoundUp(gross(d.RAW))))
		r.Reaches = append(r.Reaches, problem.Milliliters(problem.RoundUp(gross(d.TAW))))
	}
	return r, r.From >= 0
}

// leastSpell is the shortest limit that runoff puts on a turn. Holes pour faster than most soils take water for long, so
// the rule of cycle and soak may ask for turns of a few minutes; nobody walks to a valve for that. Such a unit is flagged.
const leastSpell unit.Minutes = 15

// flagRunoff marks a unit whose turns may last longer than its soil takes the water without runoff.
const flagRunoff = "runoff_before_turn_ends"

// spell is the longest turn and the pause after it: those of the soil, or leastSpell with a pause in proportion.
func spell(s waterneed.Spell) (on, soak unit.Minutes) {
	if s.On >= leastSpell {
		return s.On, s.Soak
	}
	return leastSpell, s.Soak / s.On * leastSpell
}
