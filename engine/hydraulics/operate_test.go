package hydraulics

import (
	"errors"
	"math"
	"testing"

	"rillturn.example/rillturn/engine/unit"
)

// bedLateral is the usual lateral of a bed: three sticks of half-inch pipe with a 1/16 in hole every 6 in.
func bedLateral() *Lateral {
	return &Lateral{Pieces: []Piece{{
		Pipe: Pipe{Size: "1/2", Wall: "SDR 13.5"}, Length: 9.144,
		Pattern: &HolePattern{
			Spacing: 0.1524, FirstOffset: 0.0762, HolesPerSet: 1, Sides: 1, Facing: FacingSide,
			HoleDiameter: unit.Inches(1.0 / 16), DischargeCoefficient: DefaultDischargeCoefficient,
		},
	}}}
}

// bedLayout has n bed laterals, two feet apart, fed in the middle through 50 ft of hose.
func bedLayout(n int) Layout {
	l := Layout{
		Feed: Feed{HoseLength: 15.24, HoseDiameter: unit.Inches(5.0 / 8), FittingsK: 2},
		Manifold: Manifold{
			Pipe: Pipe{Size: "3/4", Wall: "SDR 21"}, Length: unit.Length(0.6 * float64(n-1)),
			FeedAt: unit.Length(0.3 * float64(n-1)), TeeRunK: DefaultTeeRunK, TeeBranchK: DefaultTeeBranchK,
		},
	}
	for i := range n {
		l.Manifold.Outlets = append(l.Manifold.Outlets, Outlet{At: unit.Length(0.6 * float64(i)), Lateral: bedLateral()})
	}
	return l
}

// goodSpigot has 31.6 m static head, 25.3 m at 12 L/min, and gives 29.9 L/min open.
func goodSpigot() Supply {
	most := float64(unit.LitersPerMinute(29.9))
	n := math.Log((31.6-25.3)/31.6) / math.Log(12/29.9)
	return Supply{Static: 31.6, Exponent: n, Coefficient: 31.6 / math.Pow(most, n), MaxFlow: most}
}

func mustCompile(t testing.TB, l Layout) *Compiled {
	t.Helper()
	c, err := Compile(l, DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestOperate_pointLiesOnSupplyAndLayout(t *testing.T) {
	c := mustCompile(t, bedLayout(5))
	op, err := Operate(goodSpigot(), []HeadFlow{c})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(goodSpigot().HeadAt(op.Total)-op.Head) > 1e-9*op.Head {
		t.Errorf("supply gives %v m at the flow, point has %v m", goodSpigot().HeadAt(op.Total), op.Head)
	}
	r := c.Solve(unit.Head(op.Head))
	if math.Abs(float64(r.Flow)-op.Total) > 1e-9*op.Total {
		t.Errorf("layout takes %v, point has %v", r.Flow, op.Total)
	}
	if r.Residuals.Mass > 1e-9 || r.Residuals.Energy > 1e-9 {
		t.Errorf("residuals %+v", r.Residuals)
	}
	direct, err := SolveOn(goodSpigot(), c)
	if err != nil || math.Abs(float64(direct.Flow)-op.Total) > 1e-9*op.Total || math.Abs(float64(direct.SourceHead)-op.Head) > 1e-8*op.Head {
		t.Errorf("in one go %v at %v, point %+v (%v)", direct.Flow, direct.SourceHead, op, err)
	}
	limited := goodSpigot()
	limited.MaxFlow = op.Total / 2
	half, err := SolveOn(limited, c)
	if err != nil || math.Abs(float64(half.Flow)-op.Total/2) > 1e-9*op.Total {
		t.Errorf("limited to half: %v of %v (%v)", half.Flow, op.Total, err)
	}
	fromCurve, err := Operate(goodSpigot(), []HeadFlow{c.Table()})
	if err != nil || math.Abs(fromCurve.Total-op.Total) > 1e-4*op.Total {
		t.Errorf("curve gives %v, march %v (%v)", fromCurve.Total, op.Total, err)
	}
}

func TestOperate_moreRegulatedThanTheSourceGivesIsRefused(t *testing.T) {
	greedy := PowerLaw{Flow: float64(unit.LitersPerMinute(60)), Head: 10}
	_, err := Operate(goodSpigot(), []HeadFlow{greedy})
	var over InfeasibleError
	if !errors.As(err, &over) || over.Need <= over.Have {
		t.Errorf("got %v, want InfeasibleError", err)
	}
}
