package file

import (
	"fmt"
	"io"
	"math"

	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/unit"
)

// Problem is a rotation problem in a file: what is to be planned, with the days counted from 0 and every day 1440
// minutes long. Fields that are not required extend the file beyond its first form.
type Problem struct {
	Name        string          `json:"name" file:"required"`
	Seed        *int64          `json:"seed,omitempty"`
	HorizonDays int             `json:"horizon_days" file:"required"`
	Params      ProblemParams   `json:"params" file:"required"`
	Parents     []ProblemParent `json:"parents" file:"required"`
	Sources     []ProblemSource `json:"sources" file:"required"`
	Windows     []ProblemWindow `json:"windows" file:"required"`
	Layouts     []ProblemLayout `json:"layouts" file:"required"`
	Past        []ProblemPast   `json:"past,omitempty"`
}

// ProblemParams are the settings of a problem.
type ProblemParams struct {
	OverTolerance float64 `json:"over_tolerance" file:"required"`
}

// ProblemParent is a service line.
type ProblemParent struct {
	ID              string   `json:"id" file:"required"`
	FlowLimitLPM    float64  `json:"flow_limit_lpm" file:"required"`
	DailyVolumeCapL *float64 `json:"daily_volume_cap_l"`
}

// ProblemSource is a source with its supply curve.
type ProblemSource struct {
	ID              string        `json:"id" file:"required"`
	Parent          *string       `json:"parent"`
	Supply          ProblemSupply `json:"supply" file:"required"`
	FlowMaxLPM      float64       `json:"flow_max_lpm" file:"required"`
	ChangeoverMin   float64       `json:"changeover_min" file:"required"`
	MinRunMin       float64       `json:"min_run_min" file:"required"`
	DailyVolumeCapL *float64      `json:"daily_volume_cap_l"`
	HoseConnections int           `json:"hose_connections,omitempty"`
	FreeShare       float64       `json:"free_share,omitempty"`
	Tank            *ProblemTank  `json:"tank,omitempty"`
}

// ProblemSupply is the curve head = h0 - k·((1-own)·(Q+E)^n + own·Q^n) with Q in L/min and E drawn elsewhere on the line.
type ProblemSupply struct {
	H0M          float64 `json:"h0_m" file:"required"`
	K            float64 `json:"k" file:"required"`
	N            float64 `json:"n" file:"required"`
	ElsewhereLPM float64 `json:"elsewhere_lpm,omitempty"`
	OwnShare     float64 `json:"own_share,omitempty"`
}

// ProblemTank is the store behind a source.
type ProblemTank struct {
	VolumeL   float64 `json:"volume_l" file:"required"`
	LevelL    float64 `json:"level_l" file:"required"`
	RefillLPM float64 `json:"refill_lpm" file:"required"`
}

// ProblemWindow is a time when sources may run, in minutes after midnight.
type ProblemWindow struct {
	ID       string   `json:"id" file:"required"`
	Day      int      `json:"day" file:"required"`
	StartMin float64  `json:"start_min" file:"required"`
	EndMin   float64  `json:"end_min" file:"required"`
	Sources  []string `json:"sources" file:"required"`
	Attended bool     `json:"attended,omitempty"` // a layout with its own valve may be closed before its run ends
}

// ProblemLayout is a layout, or a hand turn when hand_flow_lpm is given.
type ProblemLayout struct {
	ID           string   `json:"id" file:"required"`
	Source       string   `json:"source" file:"required"`
	FlowLPM      float64  `json:"flow_lpm,omitempty"`
	Exponent     float64  `json:"exponent,omitempty"`
	HeadNomM     float64  `json:"head_nom_m,omitempty"`
	HeadMinM     float64  `json:"head_min_m"`
	HandFlowLPM  *float64 `json:"hand_flow_lpm,omitempty"`
	DemandL      float64  `json:"demand_l" file:"required"`
	MaxIntervalD int      `json:"max_interval_d" file:"required"`
	DaysSince    int      `json:"days_since" file:"required"`
	MaxDayL      float64  `json:"max_day_l" file:"required"`
	MaxRunMin    float64  `json:"max_run_min" file:"required"`
	SoakMin      float64  `json:"soak_min" file:"required"`
	ClosedDays   []int    `json:"closed_days" file:"required"`
	MaxDayMin    *float64 `json:"max_day_min,omitempty"`
	AreaM2       float64  `json:"area_m2,omitempty"`
	Class        int      `json:"class,omitempty"`
	OwnValve     bool     `json:"own_valve,omitempty"`
	// Reservoirs are what the roots of its plantings reach; with them the interval limit holds in litres too.
	Reservoirs []ProblemReservoir `json:"reservoirs,omitempty"`
}

// ProblemReservoir is the soil of one planting, in litres at the layout. Plants go short on a day when more is missing
// after the day's water than the soil holds readily; then they use the day's litres, and less when they go short.
type ProblemReservoir struct {
	FromDay  int       `json:"from_day,omitempty"`
	MissingL float64   `json:"missing_l" file:"required"` // on the morning of from_day
	UseL     []float64 `json:"use_l" file:"required"`     // by day from then on
	HoldsL   []float64 `json:"holds_l" file:"required"`   // readily available, by day from then on
	ReachesL []float64 `json:"reaches_l" file:"required"` // totally available, by day from then on
}

// ProblemPast is a run of the horizon that is over, or runs to its end: a fact.
type ProblemPast struct {
	Zone     string         `json:"zone,omitempty"`
	Window   string         `json:"window,omitempty"`
	Source   string         `json:"source" file:"required"`
	Day      int            `json:"day" file:"required"`
	StartMin float64        `json:"start_min" file:"required"`
	EndMin   float64        `json:"end_min" file:"required"`
	FlowLPM  float64        `json:"flow_lpm" file:"required"`
	Given    []ProblemGiven `json:"given" file:"required"`
}

// ProblemGiven is what a layout got from a run of the past.
type ProblemGiven struct {
	Layout  string  `json:"layout" file:"required"`
	VolumeL float64 `json:"volume_l" file:"required"`
	OpenMin float64 `json:"open_min" file:"required"`
}

// minutesPerDay is the length of every day of a problem file.
const minutesPerDay = 24 * 60

// Largest figures that a problem file may hold; the planner counts in integers that these fit with room to spare.
const (
	maxLiters   = 1e7
	maxFlowLPM  = 1e4
	maxHeadM    = 1e4
	maxMinutes  = (problem.MaxDays + 1) * 25 * 60
	maxExponent = 4
)

// ReadProblem reads a problem file. What is wrong with it comes back as Faults with JSON pointers.
func ReadProblem(r io.Reader) (Problem, error) {
	var p Problem
	if err := Decode(r, &p); err != nil {
		return Problem{}, err
	}
	return p, p.faults().Err()
}

type problemFaults struct{ Faults }

func (f *problemFaults) between(v, low, high float64, at ...any) {
	if !(v >= low && v <= high) {
		f.Add(Point(at...), "must lie between %g and %g, is %g", low, high, v)
	}
}

func (f *problemFaults) id(id string, seen map[string]bool, at ...any) {
	switch {
	case id == "":
		f.Add(Point(at...), "must not be empty")
	case seen[id]:
		f.Add(Point(at...), "%q is used twice", id)
	}
	seen[id] = true
}

func (p *Problem) faults() Faults {
	var f problemFaults
	f.between(float64(p.HorizonDays), 1, problem.MaxDays, "horizon_days")
	f.between(p.Params.OverTolerance, 0, 10, "params", "over_tolerance")
	parents, sources, windows, layouts := map[string]bool{}, map[string]bool{}, map[string]bool{}, map[string]bool{}
	for i, l := range p.Parents {
		f.id(l.ID, parents, "parents", i, "id")
		f.between(l.FlowLimitLPM, 1e-3, maxFlowLPM, "parents", i, "flow_limit_lpm")
		if l.DailyVolumeCapL != nil {
			f.between(*l.DailyVolumeCapL, 1e-3, maxLiters, "parents", i, "daily_volume_cap_l")
		}
	}
	for i := range p.Sources {
		f.id(p.Sources[i].ID, sources, "sources", i, "id")
		p.Sources[i].faults(&f, i, parents)
	}
	for i, w := range p.Windows {
		f.id(w.ID, windows, "windows", i, "id")
		f.between(float64(w.Day), 0, float64(p.HorizonDays-1), "windows", i, "day")
		f.between(w.StartMin, 0, minutesPerDay, "windows", i, "start_min")
		f.between(w.EndMin, 0, minutesPerDay, "windows", i, "end_min")
		if w.EndMin < w.StartMin+1e-3 {
			f.Add(Point("windows", i, "end_min"), "must come after start_min, %g", w.StartMin)
		}
		for k, id := range w.Sources {
			if !sources[id] {
				f.Add(Point("windows", i, "sources", k), "no source is called %q", id)
			}
		}
	}
	for i := range p.Layouts {
		f.id(p.Layouts[i].ID, layouts, "layouts", i, "id")
		p.Layouts[i].faults(&f, i, p.HorizonDays, sources)
	}
	for i := range p.Past {
		p.Past[i].faults(&f, i, p.HorizonDays, sources, layouts)
	}
	return f.Faults
}

func (t *ProblemPast) faults(f *problemFaults, i, days int, sources, layouts map[string]bool) {
	if !sources[t.Source] {
		f.Add(Point("past", i, "source"), "no source is called %q", t.Source)
	}
	f.between(float64(t.Day), 0, float64(days-1), "past", i, "day")
	f.between(t.StartMin, 0, maxMinutes, "past", i, "start_min")
	f.between(t.EndMin, t.StartMin+1e-3, maxMinutes, "past", i, "end_min")
	f.between(t.FlowLPM, 0, maxFlowLPM, "past", i, "flow_lpm")
	for k, g := range t.Given {
		if !layouts[g.Layout] {
			f.Add(Point("past", i, "given", k, "layout"), "no layout is called %q", g.Layout)
		}
		f.between(g.VolumeL, 0, maxLiters, "past", i, "given", k, "volume_l")
		f.between(g.OpenMin, 0, maxMinutes, "past", i, "given", k, "open_min")
	}
}

func (r *ProblemReservoir) faults(f *problemFaults, i, k, days int) {
	f.between(float64(r.FromDay), 0, float64(days-1), "layouts", i, "reservoirs", k, "from_day")
	f.between(r.MissingL, 0, maxLiters, "layouts", i, "reservoirs", k, "missing_l")
	if len(r.UseL) > days-r.FromDay {
		f.Add(Point("layouts", i, "reservoirs", k, "use_l"), "has %d days, %d are left of the horizon", len(r.UseL), days-r.FromDay)
	}
	for _, list := range []struct {
		name   string
		liters []float64
	}{{"use_l", r.UseL}, {"holds_l", r.HoldsL}, {"reaches_l", r.ReachesL}} {
		if len(list.liters) != len(r.UseL) {
			f.Add(Point("layouts", i, "reservoirs", k, list.name), "has %d days, use_l has %d", len(list.liters), len(r.UseL))
		}
		for d, v := range list.liters {
			f.between(v, 0, maxLiters, "layouts", i, "reservoirs", k, list.name, d)
		}
	}
}

func (s *ProblemSource) faults(f *problemFaults, i int, parents map[string]bool) {
	if s.Parent != nil && !parents[*s.Parent] {
		f.Add(Point("sources", i, "parent"), "no parent is called %q", *s.Parent)
	}
	f.between(s.Supply.H0M, 1e-6, maxHeadM, "sources", i, "supply", "h0_m")
	f.between(s.Supply.K, 0, maxHeadM, "sources", i, "supply", "k")
	f.between(s.Supply.N, 1e-3, maxExponent, "sources", i, "supply", "n")
	f.between(s.Supply.ElsewhereLPM, 0, maxFlowLPM, "sources", i, "supply", "elsewhere_lpm")
	f.between(s.Supply.OwnShare, 0, 1, "sources", i, "supply", "own_share")
	f.between(s.FlowMaxLPM, 1e-3, maxFlowLPM, "sources", i, "flow_max_lpm")
	f.between(s.ChangeoverMin, 0, minutesPerDay, "sources", i, "changeover_min")
	f.between(s.MinRunMin, 0, minutesPerDay, "sources", i, "min_run_min")
	if s.DailyVolumeCapL != nil {
		f.between(*s.DailyVolumeCapL, 1e-3, maxLiters, "sources", i, "daily_volume_cap_l")
	}
	f.between(float64(s.HoseConnections), 0, problem.MaxLayouts, "sources", i, "hose_connections")
	f.between(s.FreeShare, 0, 0.999, "sources", i, "free_share")
	if t := s.Tank; t != nil {
		f.between(t.VolumeL, 1e-3, maxLiters, "sources", i, "tank", "volume_l")
		f.between(t.LevelL, 0, t.VolumeL, "sources", i, "tank", "level_l")
		f.between(t.RefillLPM, 0, maxFlowLPM, "sources", i, "tank", "refill_lpm")
	}
}

func (l *ProblemLayout) faults(f *problemFaults, i, days int, sources map[string]bool) {
	if !sources[l.Source] {
		f.Add(Point("layouts", i, "source"), "no source is called %q", l.Source)
	}
	if l.HandFlowLPM != nil {
		f.between(*l.HandFlowLPM, 1e-3, maxFlowLPM, "layouts", i, "hand_flow_lpm")
	} else {
		f.between(l.FlowLPM, 1e-3, maxFlowLPM, "layouts", i, "flow_lpm")
		f.between(l.Exponent, 0, maxExponent, "layouts", i, "exponent")
		if l.Exponent > 0 {
			f.between(l.HeadNomM, 1e-6, maxHeadM, "layouts", i, "head_nom_m")
		}
		f.between(l.HeadMinM, 0, maxHeadM, "layouts", i, "head_min_m")
	}
	f.between(l.DemandL, 0, maxLiters, "layouts", i, "demand_l")
	f.between(float64(l.MaxIntervalD), 1, 10000, "layouts", i, "max_interval_d")
	f.between(float64(l.DaysSince), 0, 10000, "layouts", i, "days_since")
	f.between(l.MaxDayL, 0, maxLiters, "layouts", i, "max_day_l")
	f.between(l.MaxRunMin, 0, maxMinutes, "layouts", i, "max_run_min")
	f.between(l.SoakMin, 0, maxMinutes, "layouts", i, "soak_min")
	for k, d := range l.ClosedDays {
		f.between(float64(d), 0, float64(days-1), "layouts", i, "closed_days", k)
	}
	if l.MaxDayMin != nil {
		f.between(*l.MaxDayMin, 1e-3, maxMinutes, "layouts", i, "max_day_min")
	}
	f.between(l.AreaM2, 0, 1e6, "layouts", i, "area_m2")
	f.between(float64(l.Class), 0, 99, "layouts", i, "class")
	for k := range l.Reservoirs {
		l.Reservoirs[k].faults(f, i, k, days)
	}
}

// Engine returns the problem as the planner takes it. The file must be without faults; an overlap of two windows is
// found here.
func (p *Problem) Engine() (problem.Problem, error) {
	out := problem.Problem{Days: p.HorizonDays, OverTolerance: problem.PerMille(math.Round(p.Params.OverTolerance * 1000))}
	for _, l := range p.Parents {
		out.Lines = append(out.Lines, problem.Line{
			ID: l.ID, FlowLimit: problem.RateDown(unit.LitersPerMinute(l.FlowLimitLPM)), DailyCap: litersDown(l.DailyVolumeCapL),
		})
	}
	for i := range p.Sources {
		out.Sources = append(out.Sources, p.Sources[i].engine())
	}
	for _, w := range p.Windows {
		start := float64(w.Day) * minutesPerDay
		out.Windows = append(out.Windows, problem.Window{
			ID: w.ID, Day: w.Day, Sources: w.Sources, Attended: w.Attended,
			Start: problem.Instant(problem.SpanUp(unit.Minutes(start + w.StartMin))),
			End:   problem.Instant(problem.SpanDown(unit.Minutes(start + w.EndMin))),
		})
	}
	for i := range p.Layouts {
		out.Layouts = append(out.Layouts, p.Layouts[i].engine())
	}
	for i := range p.Past {
		out.Past = append(out.Past, p.Past[i].engine())
	}
	if err := out.Validate(); err != nil {
		return problem.Problem{}, err
	}
	return out, nil
}

func (t *ProblemPast) engine() problem.Past {
	out := problem.Past{
		Zone: t.Zone, Window: t.Window, Source: t.Source, Day: t.Day, Start: instantOf(t.StartMin), End: instantOf(t.EndMin),
		Flow: problem.RateUp(unit.LitersPerMinute(t.FlowLPM)),
	}
	for _, g := range t.Given {
		out.Given = append(out.Given, problem.Given{
			Layout: g.Layout, Volume: litersDown(&g.VolumeL), Time: problem.SpanDown(unit.Minutes(g.OpenMin)),
		})
	}
	return out
}

func newProblemPast(t problem.Past) ProblemPast {
	out := ProblemPast{
		Zone: t.Zone, Window: t.Window, Source: t.Source, Day: t.Day, StartMin: minutesOf(t.Start), EndMin: minutesOf(t.End), FlowLPM: lpm(t.Flow),
		Given: []ProblemGiven{},
	}
	for _, g := range t.Given {
		out.Given = append(out.Given, ProblemGiven{Layout: g.Layout, VolumeL: g.Volume.Liters(), OpenMin: float64(g.Time.Minutes())})
	}
	return out
}

func (r *ProblemReservoir) engine() problem.Reservoir {
	out := problem.Reservoir{From: r.FromDay, Missing: problem.VolumeUp(unit.Liters(r.MissingL))}
	for k := range r.UseL {
		out.Use = append(out.Use, problem.VolumeUp(unit.Liters(r.UseL[k])))
		out.Holds = append(out.Holds, problem.VolumeDown(unit.Liters(r.HoldsL[k])))
		out.Reaches = append(out.Reaches, problem.VolumeDown(unit.Liters(r.ReachesL[k])))
	}
	return out
}

func newProblemReservoir(r problem.Reservoir) ProblemReservoir {
	out := ProblemReservoir{FromDay: r.From, MissingL: r.Missing.Liters(), UseL: []float64{}, HoldsL: []float64{}, ReachesL: []float64{}}
	for k := range r.Use {
		out.UseL, out.HoldsL = append(out.UseL, r.Use[k].Liters()), append(out.HoldsL, r.Holds[k].Liters())
		out.ReachesL = append(out.ReachesL, r.Reaches[k].Liters())
	}
	return out
}

func litersDown(v *float64) problem.Milliliters {
	if v == nil {
		return 0
	}
	return problem.VolumeDown(unit.Liters(*v))
}

func (s *ProblemSource) engine() problem.Source {
	out := problem.Source{
		ID: s.ID, FlowMax: problem.RateUp(unit.LitersPerMinute(s.FlowMaxLPM)), // the supply holds the limit itself
		Supply: hydraulics.Supply{
			Static: s.Supply.H0M, Exponent: s.Supply.N, MaxFlow: float64(unit.LitersPerMinute(s.FlowMaxLPM)),
			Coefficient: s.Supply.K / math.Pow(float64(unit.LitersPerMinute(1)), s.Supply.N),
			Elsewhere:   float64(unit.LitersPerMinute(s.Supply.ElsewhereLPM)), Own: s.Supply.OwnShare,
		},
		Changeover: problem.SpanUp(unit.Minutes(s.ChangeoverMin)), MinRun: problem.SpanUp(unit.Minutes(s.MinRunMin)),
		DailyCap: litersDown(s.DailyVolumeCapL), Connections: s.HoseConnections,
		Reserve: problem.PerMille(math.Ceil(s.FreeShare*1000 - 1e-9)),
	}
	if s.Parent != nil {
		out.Line = *s.Parent
	}
	if t := s.Tank; t != nil {
		out.Tank = &problem.Tank{
			Volume: litersDown(&t.VolumeL), Level: litersDown(&t.LevelL), Refill: problem.RateDown(unit.LitersPerMinute(t.RefillLPM)),
		}
	}
	return out
}

func (l *ProblemLayout) engine() problem.Layout {
	out := problem.Layout{
		ID: l.ID, Source: l.Source, HeadMin: unit.Head(l.HeadMinM), Need: problem.VolumeUp(unit.Liters(l.DemandL)),
		Area: unit.Area(l.AreaM2), Class: l.Class, MaxInterval: l.MaxIntervalD, DaysSince: l.DaysSince,
		MaxDay: litersDown(&l.MaxDayL), MaxRun: problem.SpanDown(unit.Minutes(l.MaxRunMin)),
		Soak: problem.SpanUp(unit.Minutes(l.SoakMin)), ClosedDays: l.ClosedDays, OwnValve: l.OwnValve,
	}
	if l.HandFlowLPM != nil {
		out.HandFlow, out.HeadMin = problem.RateDown(unit.LitersPerMinute(*l.HandFlowLPM)), 0
	} else {
		out.Curve = hydraulics.PowerLaw{Flow: float64(unit.LitersPerMinute(l.FlowLPM)), Head: l.HeadNomM, Exponent: l.Exponent}
	}
	for k := range l.Reservoirs {
		out.Reservoirs = append(out.Reservoirs, l.Reservoirs[k].engine())
	}
	if l.MaxDayMin != nil {
		out.MaxDayTime = problem.SpanDown(unit.Minutes(*l.MaxDayMin))
	}
	return out
}

// NewProblem states a problem as a file. Windows are written by their distance from day·1440, so every day must be a
// day of 24 hours; layouts must follow power laws.
func NewProblem(name string, p problem.Problem) (Problem, error) {
	out := Problem{
		Name: name, HorizonDays: p.Days, Params: ProblemParams{OverTolerance: float64(p.OverTolerance) / 1000},
		Parents: []ProblemParent{}, Sources: []ProblemSource{}, Windows: []ProblemWindow{}, Layouts: []ProblemLayout{},
	}
	for _, l := range p.Lines {
		out.Parents = append(out.Parents, ProblemParent{
			ID: l.ID, FlowLimitLPM: lpm(l.FlowLimit), DailyVolumeCapL: liters(l.DailyCap),
		})
	}
	for i := range p.Sources {
		out.Sources = append(out.Sources, newProblemSource(&p.Sources[i]))
	}
	for _, w := range p.Windows {
		start := float64(w.Day) * minutesPerDay
		out.Windows = append(out.Windows, ProblemWindow{
			ID: w.ID, Day: w.Day, Sources: w.Sources, Attended: w.Attended, StartMin: minutesOf(w.Start) - start, EndMin: minutesOf(w.End) - start,
		})
	}
	for i := range p.Layouts {
		l, err := newProblemLayout(&p.Layouts[i])
		if err != nil {
			return Problem{}, fmt.Errorf("write problem %s: %w", name, err)
		}
		out.Layouts = append(out.Layouts, l)
	}
	for _, t := range p.Past {
		out.Past = append(out.Past, newProblemPast(t))
	}
	return out, nil
}

func lpm(r problem.Rate) float64 { return r.Flow().LitersPerMinute() }

func liters(v problem.Milliliters) *float64 {
	if v == 0 {
		return nil
	}
	l := v.Liters()
	return &l
}

func newProblemSource(s *problem.Source) ProblemSource {
	out := ProblemSource{
		ID: s.ID, FlowMaxLPM: min(lpm(s.FlowMax), unit.Flow(s.Supply.MaxFlow).LitersPerMinute()), ChangeoverMin: float64(s.Changeover.Minutes()),
		MinRunMin: float64(s.MinRun.Minutes()), DailyVolumeCapL: liters(s.DailyCap), HoseConnections: s.Connections,
		FreeShare: float64(s.Reserve) / 1000,
		Supply: ProblemSupply{
			H0M: s.Supply.Static, N: s.Supply.Exponent,
			K:            s.Supply.Coefficient * math.Pow(float64(unit.LitersPerMinute(1)), s.Supply.Exponent),
			ElsewhereLPM: unit.Flow(s.Supply.Elsewhere).LitersPerMinute(), OwnShare: s.Supply.Own,
		},
	}
	if s.Line != "" {
		out.Parent = &s.Line
	}
	if t := s.Tank; t != nil {
		out.Tank = &ProblemTank{VolumeL: t.Volume.Liters(), LevelL: t.Level.Liters(), RefillLPM: lpm(t.Refill)}
	}
	return out
}

// CurveError is a layout whose curve a problem file cannot hold.
type CurveError struct{ Layout string }

// Error names the layout.
func (e *CurveError) Error() string {
	return fmt.Sprintf("layout %s does not follow a power law", e.Layout)
}

func newProblemLayout(l *problem.Layout) (ProblemLayout, error) {
	out := ProblemLayout{
		ID: l.ID, Source: l.Source, HeadMinM: float64(l.HeadMin), DemandL: l.Need.Liters(), MaxIntervalD: l.MaxInterval,
		DaysSince: l.DaysSince, MaxDayL: l.MaxDay.Liters(), MaxRunMin: float64(l.MaxRun.Minutes()),
		SoakMin: float64(l.Soak.Minutes()), ClosedDays: append([]int{}, l.ClosedDays...), AreaM2: float64(l.Area),
		Class: l.Class, OwnValve: l.OwnValve,
	}
	for _, r := range l.Reservoirs {
		out.Reservoirs = append(out.Reservoirs, newProblemReservoir(r))
	}
	if l.MaxDayTime > 0 {
		t := float64(l.MaxDayTime.Minutes())
		out.MaxDayMin = &t
	}
	if l.Hand() {
		q := lpm(l.HandFlow)
		out.HandFlowLPM = &q
		return out, nil
	}
	law, ok := l.Curve.(hydraulics.PowerLaw)
	if !ok {
		return ProblemLayout{}, &CurveError{Layout: l.ID}
	}
	out.FlowLPM, out.Exponent, out.HeadNomM = unit.Flow(law.Flow).LitersPerMinute(), law.Exponent, law.Head
	return out, nil
}
