package file

import (
	"errors"
	"math"

	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/unit"
)

// FlowAnswers is what people ask of one layout, alone on its source. What was assumed about the layout goes with it, since
// a range is often all that the inputs allow.
type FlowAnswers struct {
	Layout      string   `json:"layout"`
	FlowLPerMin float64  `json:"flow_l_per_min"`
	DU          float64  `json:"du"`
	LeastHeadM  *float64 `json:"least_head_m,omitempty"` // at the worst open hole; left out: none is open
	// The three that matter most, the strongest first. They and the ranges are left out for more than 1000 hole sets.
	Assumptions []SensitivityResult `json:"assumptions,omitempty"`
	// The outcome over the plausible discharge coefficients of drilled holes; left out for rated outlets.
	DischargeCoefficient *SensitivityResult `json:"discharge_coefficient,omitempty"`
	// The outcome at 1 % of fall and of rise of everything whose level was not given; left out where all was.
	Level     *SensitivityResult `json:"level,omitempty"`
	Hazards   []FlowWarning      `json:"hazards,omitempty"` // when holes plug, the valve is opened wide, or flow stops
	Standpipe StandpipeResult    `json:"standpipe"`
	CupL      float64            `json:"cup_l"`
	Cups      []CupResult        `json:"cups"` // per open outlet
	// Which outlets to plug where a hole gets less than reliable head, or than wished; left out for more than 12 outlets or 1000 hole sets.
	PlugOutlets *PlugResult `json:"plug_outlets,omitempty"`

	Most     *MostResult     `json:"most,omitempty"`
	Valve    *ValveResult    `json:"valve,omitempty"`
	Plugged  *PluggedResult  `json:"plugged,omitempty"`
	Patterns []PatternResult `json:"patterns,omitempty"`
}

// SensitivityResult is the outcome at both ends of an assumption's plausible range: pairs are at low and at high.
type SensitivityResult struct {
	Code        string     `json:"code"`
	Low         float64    `json:"low"`
	High        float64    `json:"high"`
	FlowLPerMin [2]float64 `json:"flow_l_per_min"`
	DU          [2]float64 `json:"du"`
	Effect      float64    `json:"effect"` // largest change of DU plus largest relative change of flow
}

// Engine returns flow and DU at both ends in the engine's shape.
func (s SensitivityResult) Engine() hydraulics.Sensitivity {
	end := func(i int) hydraulics.Outcome {
		return hydraulics.Outcome{Flow: unit.LitersPerMinute(s.FlowLPerMin[i]), Distribution: s.DU[i]}
	}
	return hydraulics.Sensitivity{
		Code: hydraulics.SensitivityCode(s.Code), Low: s.Low, High: s.High, AtLow: end(0), AtHigh: end(1), Effect: s.Effect,
	}
}

// StandpipeResult is the height of water above the manifold in a clear open pipe on it.
type StandpipeResult struct {
	RunningM float64 `json:"running_m"`
	ShutM    float64 `json:"shut_m"` // every outlet closed, the valve open
}

// CupResult is how long a cup under one hole takes to fill; left out where the hole doesn't run.
type CupResult struct {
	Outlet       int      `json:"outlet"`
	FirstSeconds *float64 `json:"first_s,omitempty"`
	LastSeconds  *float64 `json:"last_s,omitempty"`
}

// PlugResult is which outlets to plug until the rest has the wished head at its worst hole.
type PlugResult struct {
	Outlets    []int    `json:"outlets"` // counted from 0, in the order of plugging
	Granted    bool     `json:"granted"` // false: even one outlet alone does not get it
	Wish       FlowWish `json:"wish"`
	LeastHeadM float64  `json:"least_head_m"`
	DU         float64  `json:"du"`
}

const (
	cupVolume        = 0.2  // [L]; common practice, no source
	mostAssumptions  = 3    // that a person reads
	mostOutletsTried = 12   // the search for outlets to plug grows with their third power
	mostSetsAssessed = 1000 // beyond any bed; the layout is reckoned anew for both ends of each assumption
	leastEffectShown = 1e-4
)

// errApart says that a layout can't be looked at alone: it has a feed of its own behind a common one.
var errApart = errors.New("the layout has a feed of its own behind the common one")

// alone returns the layout as if it sat on the source itself, or errApart.
func (f Flow) alone(l Layout) (hydraulics.Layout, error) {
	e := l.Engine()
	if f.Source.CommonFeed == nil {
		return e, nil
	}
	bare := hydraulics.Feed{Rise: e.Feed.Rise}
	if e.Feed != bare {
		return e, errApart
	}
	e.Feed = f.Source.CommonFeed.Engine()
	e.Feed.Rise += bare.Rise
	return e, nil
}

// answering is one layout whose questions are being answered.
type answering struct {
	run    *flowRun
	named  NamedLayout
	layout hydraulics.Layout
	on     *hydraulics.Compiled
	result hydraulics.Result
	out    *FlowAnswers
}

// answers returns what is asked of one layout, or nil where it can't run alone.
func (r *flowRun) answers(named NamedLayout) (*FlowAnswers, error) {
	layout, err := r.file.alone(named.Layout)
	if errors.Is(err, errApart) {
		return nil, nil
	}
	a := answering{run: r, named: named, layout: layout, out: &FlowAnswers{Layout: named.ID, CupL: cupVolume}}
	if a.on, err = r.compiler.Compile(layout); err != nil {
		return nil, err
	}
	if a.result, err = hydraulics.SolveOn(r.supply, a.on); infeasible(err) {
		return nil, nil
	} else if err != nil {
		return nil, err
	}
	a.operation()
	for _, answer := range []func() error{a.standpipe, a.assumptions, a.plugOutlets, a.most, a.valve, a.plugged, a.patterns} {
		if err := answer(); err != nil {
			return nil, err
		}
	}
	return a.out, nil
}

// infeasible reports whether regulated outlets ask for more than the source gives.
func infeasible(err error) bool {
	var over hydraulics.InfeasibleError
	return errors.As(err, &over)
}

// operation answers from the operating point alone.
func (a *answering) operation() {
	a.out.FlowLPerMin, a.out.DU = a.result.Flow.LitersPerMinute(), a.result.Uniformity.Distribution
	a.out.Hazards = warningsOf(a.on.Hazards(unit.Head(a.run.supply.Static)))
	if least, ok := leastHead(&a.result); ok {
		a.out.LeastHeadM = &least
	}
	a.out.Cups = cupsOf(&a.result)
}

// cupsOf returns how long cups take to fill, per open outlet.
func cupsOf(r *hydraulics.Result) []CupResult {
	var cups []CupResult
	for i := range r.Laterals {
		l := &r.Laterals[i]
		cup := CupResult{Outlet: l.Outlet}
		if first, ok := l.First(); ok {
			cup.FirstSeconds = fill(first)
		}
		if last, ok := l.Last(); ok {
			cup.LastSeconds = fill(last)
		}
		cups = append(cups, cup)
	}
	return cups
}

func (a *answering) standpipe() error {
	pipe, err := hydraulics.StandpipeFor(a.run.supply, a.on)
	a.out.Standpipe = StandpipeResult{RunningM: float64(pipe.Running), ShutM: float64(pipe.Shut)}
	return err
}

func fill(s hydraulics.HoleSetResult) *float64 {
	seconds, ok := s.FillSeconds(unit.Liters(cupVolume))
	if !ok {
		return nil
	}
	return &seconds
}

// leastHead returns the head at the worst open hole and whether any is open.
func leastHead(r *hydraulics.Result) (least float64, ok bool) {
	least = math.Inf(1)
	for i := range r.Laterals {
		for _, s := range r.Laterals[i].Sets {
			if s.Open > 0 {
				least, ok = math.Min(least, float64(s.Head)), true
			}
		}
	}
	return least, ok
}

// assumptions answers what the result rests on. Where one end of a range is infeasible none is shown.
func (a *answering) assumptions() error {
	if a.holeSets() > mostSetsAssessed {
		return nil
	}
	assessed, err := hydraulics.Assess(a.layout, a.run.file.Options.Engine(), a.run.supply, a.run.assumed)
	if infeasible(err) {
		return nil
	} else if err != nil {
		return err
	}
	for _, s := range assessed.Sensitivities {
		r := SensitivityResult{
			Code: string(s.Code), Low: s.Low, High: s.High, Effect: s.Effect,
			FlowLPerMin: [2]float64{s.AtLow.Flow.LitersPerMinute(), s.AtHigh.Flow.LitersPerMinute()},
			DU:          [2]float64{s.AtLow.Distribution, s.AtHigh.Distribution},
		}
		if len(a.out.Assumptions) < mostAssumptions && s.Effect > leastEffectShown {
			a.out.Assumptions = append(a.out.Assumptions, r)
		}
		switch {
		case s.Code == hydraulics.VaryCoefficient:
			a.out.DischargeCoefficient = &r
		case s.Code == hydraulics.VaryLevel && a.levelAssumed():
			a.out.Level = &r
		}
	}
	return nil
}

func (a *answering) holeSets() int {
	n := 0
	for i := range a.result.Laterals {
		n += len(a.result.Laterals[i].Sets)
	}
	return n
}

// levelAssumed reports whether a pipe was taken as level because nobody gave its rise.
func (a *answering) levelAssumed() bool {
	m := &a.layout.Manifold
	assumed := !m.RiseKnown && m.Length > 0
	for i := range m.Outlets {
		if l := m.Outlets[i].Lateral; l != nil && !m.Outlets[i].Plugged {
			assumed = assumed || !l.RiseKnown
		}
	}
	return assumed
}

// wish is what every hole should get: as asked, else reliable head.
func (a *answering) wish() FlowWish {
	if q := a.named.Questions; q != nil && q.Most != nil {
		return *q.Most
	}
	return FlowWish{HeadM: hydraulics.ReliableHead}
}

func (a *answering) plugOutlets() error {
	wish := a.wish()
	if len(a.result.Laterals) > mostOutletsTried || a.holeSets() > mostSetsAssessed || a.out.LeastHeadM == nil || *a.out.LeastHeadM >= wish.HeadM && a.out.DU >= wish.DU {
		return nil
	}
	plug, r, granted, err := hydraulics.OutletsToPlug(a.run.supply, a.layout, a.run.file.Options.Engine(), wish.engine())
	if err != nil {
		return err
	}
	least, _ := leastHead(&r)
	a.out.PlugOutlets = &PlugResult{
		Outlets: append([]int{}, plug...), Granted: granted, Wish: wish, LeastHeadM: least, DU: r.Uniformity.Distribution,
	}
	return nil
}
