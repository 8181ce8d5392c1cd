package hydraulics

import (
	"bufio"
	"bytes"
	"os/exec"
	"strconv"
	"testing"
	"time"

	"rillturn.example/rillturn/engine/unit"
)

// fiveByNinety is the network of reference.py --time: five laterals of 90 hole sets.
func fiveByNinety() Layout {
	l := bedLayout(5)
	for i := range l.Manifold.Outlets {
		l.Manifold.Outlets[i].Lateral.Pieces[0].Length = 13.716
	}
	return l
}

// BenchmarkOperate_fiveByNinety finds the operating point and every hole's flow of 5 laterals × 90 hole sets: the curve
// gives the head to start from, marches the answer.
func BenchmarkOperate_fiveByNinety(b *testing.B) {
	c, s := mustCompile(b, fiveByNinety()), goodSpigot()
	b.ReportAllocs()
	for b.Loop() {
		if r, err := SolveOn(s, c); err != nil || r.Flow <= 0 {
			b.Fatal(err)
		}
	}
}

// BenchmarkOutcome_fiveByNinety finds the same, and how evenly the holes share the water, without laying a result out: as
// in the many layouts that Assess goes through.
func BenchmarkOutcome_fiveByNinety(b *testing.B) {
	c, s := mustCompile(b, fiveByNinety()), goodSpigot()
	b.ReportAllocs()
	for b.Loop() {
		if r, err := c.outcome(s); err != nil || r.Flow <= 0 {
			b.Fatal(err)
		}
	}
}

// BenchmarkOperate_againstScipy alternates rounds with reference.py's sparse Newton of the same network, where python3
// has scipy, and reports how many times faster the march is, with the result laid out and with the outcome alone: medians
// over the rounds. The reference's answer is in between: heads and flows of all holes, and DU. Run it with -benchtime 9x.
func BenchmarkOperate_againstScipy(b *testing.B) {
	const script = "../../testdata/hydraulics/reference.py"
	const solvesPerRound = 200
	c, s := mustCompile(b, fiveByNinety()), goodSpigot()
	var ratios, lean, scipy []float64
	for b.Loop() {
		out, err := exec.Command("/usr/bin/python3", script, "--time", "5").Output()
		if err != nil {
			b.Logf("no scipy here: %v", err)
			return
		}
		var seconds []float64
		for lines := bufio.NewScanner(bytes.NewReader(out)); lines.Scan(); {
			v, err := strconv.ParseFloat(lines.Text(), 64)
			if err != nil {
				b.Fatal(err)
			}
			seconds = append(seconds, v)
		}
		begin := time.Now()
		for range solvesPerRound {
			if _, err := SolveOn(s, c); err != nil {
				b.Fatal(err)
			}
		}
		march := time.Since(begin).Seconds() / solvesPerRound
		begin = time.Now()
		for range solvesPerRound {
			if _, err := c.outcome(s); err != nil {
				b.Fatal(err)
			}
		}
		outcome := time.Since(begin).Seconds() / solvesPerRound
		scipy = append(scipy, median(seconds))
		ratios = append(ratios, median(seconds)/march)
		lean = append(lean, median(seconds)/outcome)
	}
	b.ReportMetric(median(ratios), "×scipy")
	b.ReportMetric(median(lean), "×scipy-outcome")
	b.ReportMetric(median(scipy)*1e3, "ms/scipy")
}

func median(v []float64) float64 {
	for i := range v {
		for j := i; j > 0 && v[j] < v[j-1]; j-- {
			v[j], v[j-1] = v[j-1], v[j]
		}
	}
	return v[len(v)/2]
}

func BenchmarkFlowAt_fiveByNinety(b *testing.B) {
	c := mustCompile(b, fiveByNinety())
	b.ReportAllocs()
	for b.Loop() {
		c.FlowAt(12)
	}
}

// BenchmarkMarch is one march over 90 hole sets.
func BenchmarkMarch(b *testing.B) {
	chain := &mustCompile(b, fiveByNinety()).laterals[0].lateral.chain
	b.ReportAllocs()
	for b.Loop() {
		chain.march(0.2, nil, nil)
	}
}

// BenchmarkMarch_five is five marches side by side.
func BenchmarkMarch_five(b *testing.B) {
	chain := &mustCompile(b, fiveByNinety()).laterals[0].lateral.chain
	var lanes [5]lane
	b.ReportAllocs()
	for b.Loop() {
		for l := range lanes {
			lanes[l].marched = marched{head: 0.2 + float64(l)/1000, headSlope: 1}
		}
		chain.marchLanes(lanes[:])
	}
}

// BenchmarkOperate_zoneFromCurves is the operating point of a zone of six layouts from their stored curves.
func BenchmarkOperate_zoneFromCurves(b *testing.B) {
	var open []HeadFlow
	for n := 1; n <= 6; n++ {
		open = append(open, mustCompile(b, bedLayout(n)).Table())
	}
	s := goodSpigot()
	for b.Loop() {
		if _, err := Operate(s, open); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkCompile_garden compiles 200 layouts of five laterals, of ten distinct kinds of lateral.
func BenchmarkCompile_garden(b *testing.B) {
	var garden []Layout
	for i := range 200 {
		l := bedLayout(5)
		l.Feed.HoseLength = unit.Length(5 + float64(i)/10)
		for j := range l.Manifold.Outlets {
			l.Manifold.Outlets[j].Lateral.Pieces[0].Length = unit.Length(3 + 0.6*float64((i+j)%10))
		}
		garden = append(garden, l)
	}
	for b.Loop() {
		c, err := NewCompiler(DefaultOptions())
		if err != nil {
			b.Fatal(err)
		}
		for i := range garden {
			if _, err := c.Compile(garden[i]); err != nil {
				b.Fatal(err)
			}
		}
	}
}

// BenchmarkCompile_largest compiles the most hole sets that a layout may have, on twelve laterals no two of which are
// alike, so long that no head reaches their ends.
func BenchmarkCompile_largest(b *testing.B) {
	l := bedLayout(12)
	for i := range l.Manifold.Outlets {
		piece := &l.Manifold.Outlets[i].Lateral.Pieces[0]
		piece.Length, piece.Pattern.Spacing, piece.Pattern.Count = 81, 0.05, 1600-i
	}
	for b.Loop() {
		mustCompile(b, l)
	}
}

func TestMarch_allocatesNothing(t *testing.T) {
	chain := &mustCompile(t, fiveByNinety()).laterals[0].lateral.chain
	if n := testing.AllocsPerRun(100, func() { chain.march(0.2, nil, nil) }); n != 0 {
		t.Errorf("%v allocations a march", n)
	}
}
