package hydraulics

import (
	"math"
	"testing"
)

// TestMarch_sideBySideIsAsMarchAlone holds the narrow march to the general one, to the bit.
func TestMarch_sideBySideIsAsMarchAlone(t *testing.T) {
	uphill := bedLayout(5)
	lateral := uphill.Manifold.Outlets[0].Lateral
	lateral.Rise, lateral.HoleEdgeK, lateral.JointK = 0.12, 0.1, 0.4
	wide := lateral.Pieces[0]
	wide.Pipe.Size, wide.Pattern = "3/4", nil
	wide.Pipe.Wall = "SDR 21"
	lateral.Pieces = append([]Piece{wide}, lateral.Pieces...)
	for name, l := range map[string]Layout{"five by ninety": fiveByNinety(), "two pieces uphill": uphill} {
		narrow := &mustCompile(t, l).laterals[0].lateral.chain
		if narrow.holes == nil {
			t.Fatalf("%s: drilled holes alone, yet no narrow march", name)
		}
		general := *narrow
		general.holes = nil
		ends := []float64{-0.05, 1e-300, 1e-9, 0.003, 0.2, 3, 40, 9e3}
		var lanes lanes
		for _, h := range ends {
			lanes.put(h, make(profile, len(narrow.nodes)))
		}
		narrow.marchLanes(&lanes)
		for i, h := range ends {
			want := make(profile, len(narrow.nodes))
			m := general.march(h, nil, want)
			got := lanes.marched(i)
			if got.head != m.head || got.flow != m.flow || got.headSlope != m.headSlope || got.flowSlope != m.flowSlope {
				t.Errorf("%s from %v m: side by side %+v, alone %+v", name, h, got, m)
			}
			if alone := narrow.march(h, nil, nil); alone != got {
				t.Errorf("%s from %v m: one lane %+v, several %+v", name, h, alone, got)
			}
			if m.head > mostMarchedHead {
				continue
			}
			for n := range want {
				if lanes.record[i][n] != want[n] {
					t.Fatalf("%s from %v m, node %d: records differ", name, h, n)
				}
			}
		}
	}
}

// TestMarch_anythingButHolesMarchesByTheGeneralWay.
func TestMarch_anythingButHolesMarchesByTheGeneralWay(t *testing.T) {
	regains, williams := DefaultOptions(), DefaultOptions()
	regains.VelocityHeadRegain, williams.Law = 0.9, HazenWilliams
	for name, o := range map[string]Options{"velocity head": regains, "Hazen–Williams": williams} {
		c, err := Compile(bedLayout(1), o)
		if err != nil {
			t.Fatal(err)
		}
		l := c.laterals[0].lateral
		var lanes lanes
		lanes.put(0.2, nil)
		l.chain.marchLanes(&lanes)
		if want := l.chain.march(0.2, nil, nil); l.chain.holes != nil || lanes.marched(0) != want || math.IsNaN(want.head) {
			t.Errorf("%s: %+v, alone %+v", name, lanes.marched(0), want)
		}
	}
}

// TestSettle_knownStateARoundingErrorAboveDryIsNoStart: heads in proportion to such a state's would be no numbers.
func TestSettle_knownStateARoundingErrorAboveDryIsNoStart(t *testing.T) {
	long := bedLayout(1)
	piece := &long.Manifold.Outlets[0].Lateral.Pieces[0]
	piece.Length, piece.Pattern.HolesPerSet = 150, 2
	c := &mustCompile(t, long).laterals[0].lateral.chain
	want := c.settle(request{target: 0.02, tolerance: fineTolerance})
	if want.dead == nil {
		t.Fatal("the end is not dead")
	}
	near := settled{target: c.dry + math.SmallestNonzeroFloat64, dead: make(profile, len(c.nodes)), steps: 1}
	got := c.settle(request{target: 0.02, tolerance: fineTolerance, near: &near})
	if got.dead == nil || !(math.Abs(got.flow-want.flow) <= 1e-9*want.flow) {
		t.Errorf("flow %v, without a start %v", got.flow, want.flow)
	}
}
