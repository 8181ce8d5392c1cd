package file

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/unit"
)

// FlowResult is the answer to a flow file.
type FlowResult struct {
	Supply SupplyResult    `json:"supply"`
	Sets   []FlowSetResult `json:"sets"`
	// Answers are about each layout alone on the source; a layout with a feed of its own behind a common one has none.
	Answers []FlowAnswers `json:"answers,omitempty"`
}

// SupplyResult is the supply curve used and what it rests on: with Q in L/min and E drawn elsewhere on the line
//
//	head = h0_m - k·((1-own_share)·(Q + E)^n + own_share·Q^n)
type SupplyResult struct {
	H0M              float64            `json:"h0_m"`
	K                float64            `json:"k"`
	N                float64            `json:"n"`
	FlowMaxLPerMin   *float64           `json:"flow_max_l_per_min,omitempty"` // left out: no limit of its own
	ElsewhereLPerMin float64            `json:"elsewhere_l_per_min,omitempty"`
	OwnShare         float64            `json:"own_share,omitempty"` // of the loss, in pipes that no other tap draws through
	FlowTests        []TestUse          `json:"flow_tests,omitempty"`
	Assumptions      []AssumptionResult `json:"assumptions,omitempty"`
}

// TestUse says whether a flow test made the curve.
type TestUse struct {
	Kind      string     `json:"kind"`
	TestedAt  *time.Time `json:"tested_at,omitempty"`
	LocalTime string     `json:"local_time,omitempty"` // the clock that decides, such as 06:30
	Used      bool       `json:"used"`
}

// AssumptionResult is one thing the supply curve rests on besides the tests.
type AssumptionResult struct {
	Code  string  `json:"code"`
	Value float64 `json:"value,omitempty"`
	Low   float64 `json:"low,omitempty"`
	High  float64 `json:"high,omitempty"`
}

// FlowSetResult is the joint operating point of one set of open layouts.
type FlowSetResult struct {
	Open        []string           `json:"open"`
	HeadM       float64            `json:"head_m"` // at the source's outlet
	FlowLPerMin float64            `json:"flow_l_per_min"`
	FlowRange   *[2]float64        `json:"flow_range_l_per_min,omitempty"` // over what was assumed about the source
	DU          float64            `json:"du"`                             // of all open holes of the set, like CU and EU
	CU          float64            `json:"cu"`
	EU          float64            `json:"eu"`
	Layouts     []LayoutFlowResult `json:"layouts"`
	Infeasible  bool               `json:"infeasible,omitempty"` // regulated outlets ask for more than the source gives
	WithHose    *HoseResult        `json:"with_hose,omitempty"`  // with the hose of the question opened beside it
}

// HoseResult is a set of layouts while a hose runs beside it.
type HoseResult struct {
	HeadM          float64   `json:"head_m"`              // at the source's outlet
	HoseLPerMin    float64   `json:"hose_flow_l_per_min"` // out of the hose
	LayoutsLPerMin []float64 `json:"layouts_flow_l_per_min"`
	WithoutLPerMin float64   `json:"without_flow_l_per_min"` // of the layouts together, before
}

// LayoutFlowResult is one layout of the set.
type LayoutFlowResult struct {
	ID            string          `json:"id"`
	FlowLPerMin   float64         `json:"flow_l_per_min"`
	SourceHeadM   float64         `json:"source_head_m"` // in front of its feed
	ManifoldHeadM float64         `json:"manifold_head_m"`
	DU            float64         `json:"du"`
	CU            float64         `json:"cu"`
	EU            float64         `json:"eu"`
	OpenHoles     int             `json:"open_holes"`
	DryHoles      int             `json:"dry_holes"`
	Laterals      []LateralResult `json:"laterals"`
	Warnings      []FlowWarning   `json:"warnings,omitempty"`
	MassResidual  float64         `json:"mass_residual"`
	HeadResidual  float64         `json:"head_residual"`
}

// LateralResult is one open outlet.
type LateralResult struct {
	Outlet      int             `json:"outlet"`
	InletHeadM  float64         `json:"inlet_head_m"`
	FlowLPerMin float64         `json:"flow_l_per_min"`
	DU          float64         `json:"du"`
	DeadEnd     bool            `json:"dead_end,omitempty"`
	HoleSets    []HoleSetResult `json:"hole_sets"`
}

// HoleSetResult is one drilled position.
type HoleSetResult struct {
	Piece     int     `json:"piece"`
	Set       int     `json:"set"`
	AtM       float64 `json:"at_m"`
	Holes     int     `json:"holes"` // open ones
	HeadM     float64 `json:"head_m"`
	FlowLPerH float64 `json:"flow_l_per_h"` // of the set
}

// FlowWarning is a warning of the engine; value and limit are in the unit that goes with the code.
type FlowWarning struct {
	Code    string  `json:"code"`
	Pointer string  `json:"pointer,omitempty"`
	Value   float64 `json:"value,omitempty"`
	Limit   float64 `json:"limit,omitempty"`
	Count   int     `json:"count,omitempty"`
}

// RunFlow answers a flow file that is valid: what comes out of each set, and what people ask of each layout. Its errors
// are Faults.
func RunFlow(f Flow) (FlowResult, error) {
	return runFlow(f, func(NamedLayout) bool { return true })
}

// RunFlowAsked answers what comes out of each set, but of layouts only those with questions.
func RunFlowAsked(f Flow) (FlowResult, error) {
	return runFlow(f, func(l NamedLayout) bool { return l.Questions != nil })
}

func runFlow(f Flow, asked func(NamedLayout) bool) (FlowResult, error) {
	run, result, err := runSets(f)
	if err != nil {
		return FlowResult{}, err
	}
	for _, l := range f.Layouts {
		if !asked(l) {
			continue
		}
		a, err := run.answers(l)
		if err != nil {
			return FlowResult{}, err
		}
		if a != nil {
			result.Answers = append(result.Answers, *a)
		}
	}
	return result, nil
}

// runSets returns the run for further questions, and what comes out of each set.
func runSets(f Flow) (*flowRun, FlowResult, error) {
	if err := f.Validate(); err != nil {
		return nil, FlowResult{}, err
	}
	supply, assumed, err := f.Source.Supply("/source")
	if err != nil {
		return nil, FlowResult{}, err
	}
	run := flowRun{file: f, supply: supply, assumed: assumed, compiled: map[string]*hydraulics.Compiled{}}
	if run.compiler, err = hydraulics.NewCompiler(f.Options.Engine()); err != nil {
		return nil, FlowResult{}, err
	}
	var all []string
	for _, l := range f.Layouts {
		if run.compiled[l.ID], err = run.compiler.Compile(l.Layout.Engine()); err != nil {
			return nil, FlowResult{}, err
		}
		all = append(all, l.ID)
	}
	sets := f.Open
	if len(sets) == 0 {
		for _, id := range all {
			sets = append(sets, []string{id})
		}
		if len(all) > 1 {
			sets = append(sets, all)
		}
	}
	result := FlowResult{Supply: f.Source.SupplyOf(supply, assumed)}
	for _, set := range sets {
		s, err := run.set(set)
		if err != nil {
			return nil, FlowResult{}, err
		}
		result.Sets = append(result.Sets, s)
	}
	return &run, result, nil
}

// SupplyOf returns the supply curve of the source, and what it rests on, as files show it.
func (f FlowSource) SupplyOf(s hydraulics.Supply, a hydraulics.SupplyAssumptions) SupplyResult {
	r := SupplyResult{
		H0M: s.Static, N: s.Exponent, K: s.Coefficient * math.Pow(float64(unit.LitersPerMinute(1)), s.Exponent),
		ElsewhereLPerMin: f.ElsewhereLPerMin, OwnShare: s.Own,
	}
	for i, t := range f.FlowTests {
		use := TestUse{Kind: t.Kind, TestedAt: t.TestedAt, Used: slices.Contains(a.Used, i)}
		if t.TestedAt != nil {
			use.LocalTime = t.local(f.zone()).Format("15:04")
		}
		r.FlowTests = append(r.FlowTests, use)
	}
	if !math.IsInf(s.MaxFlow, 1) {
		most := unit.Flow(s.MaxFlow).LitersPerMinute()
		r.FlowMaxLPerMin = &most
	}
	for _, x := range a.List {
		r.Assumptions = append(r.Assumptions, AssumptionResult{Code: string(x.Code), Value: x.Value, Low: x.Low, High: x.High})
	}
	return r
}

// flowRun is a flow file under way.
type flowRun struct {
	file     Flow
	supply   hydraulics.Supply
	assumed  hydraulics.SupplyAssumptions
	compiler *hydraulics.Compiler
	compiled map[string]*hydraulics.Compiled
}

// set answers one set of open layouts.
func (r *flowRun) set(ids []string) (FlowSetResult, error) {
	result := FlowSetResult{Open: ids}
	op, heads, err := r.operate(r.supply, ids)
	if err != nil {
		if infeasible(err) {
			result.Infeasible = true
			return result, nil
		}
		return result, err
	}
	result.HeadM, result.FlowLPerMin = op.Head, unit.Flow(op.Total).LitersPerMinute()
	if r.assumed.Low != r.assumed.High {
		least, most := op.Total, op.Total
		for _, s := range []hydraulics.Supply{r.assumed.Low, r.assumed.High} {
			if other, _, err := r.operate(s, ids); err == nil {
				least, most = math.Min(least, other.Total), math.Max(most, other.Total)
			}
		}
		result.FlowRange = &[2]float64{unit.Flow(least).LitersPerMinute(), unit.Flow(most).LitersPerMinute()}
	}
	solved := make([]hydraulics.Result, len(ids))
	for i, id := range ids {
		solved[i] = r.compiled[id].Solve(unit.Head(heads[i]))
		result.Layouts = append(result.Layouts, LayoutFlowOf(id, solved[i]))
	}
	u := hydraulics.Together(solved, r.file.Options.Engine().OutletVariation)
	result.DU, result.CU, result.EU = u.Distribution, u.Christiansen, u.Emission
	if r.file.OpenHose != nil {
		result.WithHose, err = r.withHose(ids)
	}
	return result, err
}

// withHose returns what the hose in question does to a set.
func (r *flowRun) withHose(ids []string) (*HoseResult, error) {
	open, common, err := r.behind(ids)
	if err != nil {
		return nil, err
	}
	effect, err := hydraulics.OpenHoseBeside(r.supply, open, r.file.OpenHose.engine())
	if infeasible(err) {
		return nil, nil
	} else if err != nil {
		return nil, err
	}
	flows := effect.With.Flows[:len(open)]
	if common != nil {
		flows = common.Split(effect.With.Head).Flows
	}
	out := &HoseResult{
		HeadM: effect.With.Head, HoseLPerMin: unit.Flow(effect.With.Flows[len(open)]).LitersPerMinute(), LayoutsLPerMin: []float64{},
		WithoutLPerMin: unit.Flow(effect.Without.Total).LitersPerMinute(),
	}
	for _, q := range flows {
		out.LayoutsLPerMin = append(out.LayoutsLPerMin, unit.Flow(q).LitersPerMinute())
	}
	return out, nil
}

// behind returns the curves of layouts on the source: each on its own, or all as one behind the common feed.
func (r *flowRun) behind(ids []string) ([]hydraulics.HeadFlow, *hydraulics.Common, error) {
	open := make([]hydraulics.HeadFlow, len(ids))
	for i, id := range ids {
		open[i] = r.compiled[id]
	}
	if r.file.Source.CommonFeed == nil {
		return open, nil, nil
	}
	common, err := hydraulics.NewCommon(r.file.Source.CommonFeed.Engine(), r.file.Options.Engine(), open)
	if err != nil {
		return nil, nil, err
	}
	return []hydraulics.HeadFlow{common}, common, nil
}

// operate returns the operating point and the head in front of each layout's feed.
func (r *flowRun) operate(s hydraulics.Supply, ids []string) (hydraulics.Operation, []float64, error) {
	heads := make([]float64, len(ids))
	open, common, err := r.behind(ids)
	if err != nil {
		return hydraulics.Operation{}, nil, err
	}
	op, err := hydraulics.Operate(s, open)
	if err != nil {
		return op, nil, err
	}
	head := op.Head
	if common != nil {
		head = common.Split(op.Head).Head
	}
	for i := range heads {
		heads[i] = head
	}
	return op, heads, nil
}

// LayoutFlowOf returns the result of a layout as files show it.
func LayoutFlowOf(id string, r hydraulics.Result) LayoutFlowResult {
	out := LayoutFlowResult{
		ID: id, FlowLPerMin: r.Flow.LitersPerMinute(), SourceHeadM: float64(r.SourceHead),
		ManifoldHeadM: float64(r.ManifoldHead), DU: r.Uniformity.Distribution, CU: r.Uniformity.Christiansen,
		EU: r.Uniformity.Emission, OpenHoles: r.OpenHoles, DryHoles: r.DryHoles,
		MassResidual: r.Residuals.Mass, HeadResidual: r.Residuals.Energy,
	}
	for i := range r.Laterals {
		l := &r.Laterals[i]
		lateral := LateralResult{
			Outlet: l.Outlet, InletHeadM: float64(l.InletHead), FlowLPerMin: l.Flow.LitersPerMinute(),
			DU: l.Uniformity.Distribution, DeadEnd: l.DeadEnd,
		}
		for _, s := range l.Sets {
			lateral.HoleSets = append(lateral.HoleSets, HoleSetResult{
				Piece: s.Piece, Set: s.Set, AtM: float64(s.Position), Holes: s.Open, HeadM: float64(s.Head),
				FlowLPerH: s.Flow.LitersPerHour(),
			})
		}
		out.Laterals = append(out.Laterals, lateral)
	}
	out.Warnings = warningsOf(r.Warnings)
	return out
}

func warningsOf(list []hydraulics.Warning) []FlowWarning {
	var out []FlowWarning
	for _, w := range list {
		out = append(out, FlowWarning{
			Code: string(w.Code), Pointer: hydraulics.Fault{Path: w.Path}.JSONPointer(), Value: w.Value, Limit: w.Limit, Count: w.Count,
		})
	}
	return out
}

// Engine returns the warning in the engine's shape.
func (w FlowWarning) Engine() hydraulics.Warning {
	var path strings.Builder
	for i, token := range strings.Split(strings.TrimPrefix(w.Pointer, "/"), "/") {
		switch _, err := strconv.Atoi(token); {
		case err == nil:
			path.WriteString("[" + token + "]")
		case i > 0:
			path.WriteString("." + token)
		default:
			path.WriteString(token)
		}
	}
	return hydraulics.Warning{Code: hydraulics.WarningCode(w.Code), Path: path.String(), Value: w.Value, Limit: w.Limit, Count: w.Count}
}
