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

// BenchmarkOutcome_fiveByNinety finds the same, how evenly the holes share the water, and the residuals of the equations,
// without laying a result out: as in the many layouts that Assess goes through.
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
// has scipy, and reports how many times faster the engine is, by medians over the rounds. Both end with heads and flows of
// all 450 hole sets, DU and checked residuals.
//
//	×outcome   a compiled layout is solved
//	×laid-out  the same, with each hole set's result, every uniformity and the warnings laid out
//	×compiling the same, and the layout's curves are made as well, which the engine does once for a layout
//
// The reference builds its network and solves it, from a level guess. Run it with -benchtime 9x.
func BenchmarkOperate_againstScipy(b *testing.B) {
	const script = "../../testdata/hydraulics/reference.py"
	c, s := mustCompile(b, fiveByNinety()), goodSpigot()
	if r, err := SolveOn(s, c); err != nil || r.Residuals.Mass > exact || r.Residuals.Energy > exact || c.holeSets() != 450 {
		b.Fatalf("%d hole sets, residuals %+v, %v", c.holeSets(), r.Residuals, err)
	}
	ways := []struct {
		name   string
		rounds int
		solve  func() error
	}{
		{"outcome", 200, func() error { _, err := c.outcome(s); return err }},
		{"laid-out", 200, func() error { _, err := SolveOn(s, c); return err }},
		{"compiling", 5, func() error { _, err := SolveOn(s, mustCompile(b, fiveByNinety())); return err }},
	}
	taken, ratio := map[string][]float64{}, map[string][]float64{}
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
		scipy := median(seconds)
		taken["scipy"] = append(taken["scipy"], scipy)
		for _, w := range ways {
			begin := time.Now()
			for range w.rounds {
				if err := w.solve(); err != nil {
					b.Fatal(err)
				}
			}
			each := time.Since(begin).Seconds() / float64(w.rounds)
			taken[w.name] = append(taken[w.name], each)
			ratio[w.name] = append(ratio[w.name], scipy/each)
		}
	}
	b.ReportMetric(median(taken["scipy"])*1e6, "µs/scipy")
	for _, w := range ways {
		b.ReportMetric(median(taken[w.name])*1e6, "µs/"+w.name)
		b.ReportMetric(median(ratio[w.name]), "×"+w.name)
	}
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
	var lanes lanes
	b.ReportAllocs()
	for b.Loop() {
		lanes.n = 0
		for l := range 5 {
			lanes.put(0.2+float64(l)/1000, nil)
		}
		chain.marchLanes(&lanes)
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
