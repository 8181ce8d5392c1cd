package hydraulics

import (
	"fmt"
	"math"

	"rillturn.example/rillturn/engine/unit"
)

// Measurement is what somebody measured at a layout that runs alone.
type Measurement struct {
	Flow      unit.Flow // 0: not measured
	FlowError float64   // share of it; a bucket test is good to 0.01 to 0.03
	Head      unit.Head // above the manifold at the feed; 0: not measured
	HeadError unit.Head
}

// PluggedShare is the share of open holes that a measurement says are plugged. Where they are can't be told from flow and
// head, so the interval spans holes plugged at the near ends and at the far ends, and the measurement's error. A negative
// share is a leak or a popped joint. Partly plugged holes and a smaller discharge coefficient look the same.
type PluggedShare struct {
	Least, Most  float64
	Conductance  float64 // Q/√H over that of the clean layout [-]
	ConductError float64 // relative
}

// MeasureMore says that a measurement can't tell plugging, and which one would.
type MeasureMore struct {
	Needed      string  // field to measure: "head_m", "flow_l_per_min" or both as "head_m,flow_l_per_min"
	Sensitivity float64 // relative change of the conductance or flow if a fifth of the holes were plugged
	Spread      float64 // relative error of what was measured
}

// Error names the measurement that would tell.
func (e MeasureMore) Error() string {
	return fmt.Sprintf("a fifth of the holes plugged would change it by %.2g, the error is %.2g: measure %s", e.Sensitivity, e.Spread, e.Needed)
}

const (
	tellingShare = 0.2 // plugging that a measurement must be able to tell
	// stiffness is the exponent of flow on manifold head near the quadratic limit; the conductance's error follows from it.
	stiffness = 0.5
)

// EstimatePlugged returns the share of holes plugged in a layout from flow and manifold head, or from the flow alone where
// the source gives way enough for it to tell, or MeasureMore.
func EstimatePlugged(l Layout, o Options, s Supply, m Measurement) (PluggedShare, error) {
	compiler, err := NewCompiler(o)
	if err != nil {
		return PluggedShare{}, err
	}
	p := plugging{compiler: compiler, layout: l, supply: s, head: float64(m.Head)}
	if m.Flow <= 0 {
		return PluggedShare{}, MeasureMore{Needed: "flow_l_per_min"}
	}
	clean, err := p.flow(0, true)
	if err != nil {
		return PluggedShare{}, err
	}
	worn, err := p.flow(tellingShare, false)
	if err != nil {
		return PluggedShare{}, err
	}
	spread := m.FlowError
	if m.Head > 0 {
		spread += stiffness * float64(m.HeadError/m.Head)
	}
	if change := 1 - worn/clean; change < spread {
		needed := "head_m,flow_l_per_min" // both, more exactly
		if m.Head <= 0 {
			needed = "head_m"
		}
		return PluggedShare{}, MeasureMore{Needed: needed, Sensitivity: change, Spread: spread}
	}
	ratio := float64(m.Flow) / clean
	r := PluggedShare{Conductance: ratio, ConductError: spread, Least: math.Inf(1), Most: math.Inf(-1)}
	for _, near := range []bool{true, false} {
		for _, measured := range []float64{ratio * (1 + spread), ratio * (1 - spread)} {
			share, err := p.shareFor(measured*clean, clean, near)
			if err != nil {
				return PluggedShare{}, err
			}
			r.Least, r.Most = math.Min(r.Least, share), math.Max(r.Most, share)
		}
	}
	return r, nil
}

// plugging computes what a layout would pass with a share of its holes plugged.
type plugging struct {
	compiler *Compiler
	layout   Layout
	supply   Supply
	head     float64 // measured in the manifold, 0 for none
}

// flow returns the flow at the measured manifold head, or at the operating point without one, with a share of every
// lateral's hole sets plugged at the near or the far end.
func (p *plugging) flow(share float64, near bool) (float64, error) {
	l := clone(p.layout)
	for i := range l.Manifold.Outlets {
		if o := &l.Manifold.Outlets[i]; o.Lateral != nil && !o.Plugged {
			plugEnd(o.Lateral, share, near)
		}
	}
	c, err := p.compiler.Compile(l)
	if err != nil {
		return 0, err
	}
	if p.head > 0 {
		var arms [3]settled
		q, _ := c.armsFlow(p.head, nil, &arms)
		return q, nil
	}
	op, err := Operate(p.supply, []HeadFlow{c.Table()})
	return op.Total, err
}

// plugEnd plugs a share of the lateral's sets, counted from the tee or from the closed end.
func plugEnd(l *Lateral, share float64, near bool) {
	sets := holeSets(l)
	n := int(math.Round(share * float64(len(sets))))
	l.Plugged = nil
	for i := range sets {
		s := &sets[i]
		closed := s.drilled - s.open
		if at := i; (near && at < n) || (!near && at >= len(sets)-n) {
			closed = s.drilled
		}
		if closed > 0 {
			l.Plugged = append(l.Plugged, PluggedHoles{s.piece, s.set, closed})
		}
	}
}

// shareFor returns the share plugged at one end that leaves flow q. Above the clean flow it is the share of holes too
// many, negative.
func (p *plugging) shareFor(q, clean float64, near bool) (float64, error) {
	if q >= clean {
		return 1 - q/clean, nil
	}
	lo, hi := 0.0, 1.0
	for hi-lo > 1e-3 {
		mid := (lo + hi) / 2
		at, err := p.flow(mid, near)
		if err != nil {
			return 0, err
		}
		if at > q {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2, nil
}
