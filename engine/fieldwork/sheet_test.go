package fieldwork

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/unit"
)

var (
	half         = hydraulics.Pipe{Size: "1/2", Wall: "schedule 40"}
	threeQuarter = hydraulics.Pipe{Size: "3/4", Wall: "schedule 40"}
)

// pattern returns holes of 1/16 in; lengths in inches.
func pattern(spacing, first float64, perSet, sides int) *hydraulics.HolePattern {
	return &hydraulics.HolePattern{
		Spacing: unit.Inches(spacing), FirstOffset: unit.Inches(first), HolesPerSet: perSet, Sides: sides,
		Facing: hydraulics.FacingSide, HoleDiameter: unit.Inches(1.0 / 16), DischargeCoefficient: 0.62,
	}
}

func lateral(pieces ...hydraulics.Piece) *hydraulics.Lateral {
	return &hydraulics.Lateral{Pieces: pieces}
}

func stick(p *hydraulics.HolePattern) hydraulics.Piece {
	return hydraulics.Piece{Pipe: half, Length: unit.Feet(10), Pattern: p}
}

// threeRows is a manifold of tees 3 ft apart, fed at its first end: two laterals of three sticks and a closed outlet
// between them. Common practice, no source.
func threeRows() Site {
	run := func() *hydraulics.Lateral {
		return lateral(stick(pattern(6, 3, 1, 1)), stick(pattern(6, 3, 1, 1)), stick(pattern(4, 2, 2, 2)))
	}
	return Site{Label: "Plot 4", Layout: hydraulics.Layout{
		PressFit: true,
		Feed:     hydraulics.Feed{Filter: &hydraulics.Filter{Flow: unit.LitersPerMinute(20), Loss: 0.5}},
		Manifold: hydraulics.Manifold{
			Pipe: threeQuarter, Length: unit.Feet(7), Outlets: []hydraulics.Outlet{
				{At: unit.Feet(1), Lateral: run()}, {At: unit.Feet(4), Plugged: true}, {At: unit.Feet(7), Lateral: run()},
			},
		},
	}}
}

func mustPlan(t interface {
	Fatal(...any)
	Helper()
}, r Request,
) Sheet {
	t.Helper()
	s, err := Plan(r)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestPlan_partsOfThreeRows(t *testing.T) {
	s := mustPlan(t, Request{
		Sites: []Site{threeRows()}, Ruler: RulerInches, Kerf: unit.Inches(1.0 / 8),
		Prices: []Price{{Kind: PartPipe, Size: "1/2", Cents: 450}, {Kind: PartKind(FittingCoupling), Cents: 60}},
	})
	type line struct {
		Part         string
		Count, Spare int
		Glued, Press int
	}
	var got []line
	for _, p := range s.Parts {
		name := string(p.Kind)
		for _, x := range []string{p.Size, p.Wall, p.Branch} {
			if x != "" {
				name += " " + x
			}
		}
		got = append(got, line{name, p.Count, p.Spare, p.Cemented, p.Pressed})
	}
	// By hand. Feed at the first end: union straight onto the manifold. Tee at 1 ft, tee with stub at 4 ft, elbow at 7 ft.
	// Each lateral: two couplings, one cap. Feed chain: 3 nipples, so 3·2 joints, and the union's joint to the manifold.
	want := []line{
		{"pipe 3/4 schedule 40", 1, 0, 0, 0},
		{"pipe 1/2 schedule 40", 6, 0, 0, 0},
		{"backflow_device", 1, 0, 0, 0},
		{"plug 3/4", 1, 1, 1, 0},
		{"coupling 1/2", 4, 1, 0, 8},
		{"flush_cap 1/2", 2, 1, 0, 2},
		{"hose_connection 3/4", 1, 0, 1, 0},
		{"valve 3/4", 1, 0, 2, 0},
		{"filter 3/4", 1, 0, 2, 0},
		{"union 3/4", 1, 0, 2, 0},
		{"tee 3/4 1/2", 1, 0, 2, 1},
		{"tee 3/4", 1, 0, 2, 1},
		{"elbow 3/4 1/2", 1, 0, 1, 1},
		{"solvent_cement", 1, 0, 0, 0},
	}
	slices.SortFunc(got, func(a, b line) int { return slices.Compare([]string{a.Part}, []string{b.Part}) })
	slices.SortFunc(want, func(a, b line) int { return slices.Compare([]string{a.Part}, []string{b.Part}) })
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("parts (-want +got):\n%s", diff)
	}
	if c := Cost(s.Parts); c.Cents != 6*450+5*60 || c.Unpriced != 12 {
		t.Errorf("cost %+v", c)
	}
	if n := len(s.Sites[0].Drills); n != 2 || s.Sites[0].Drills[0].Name != "A" || len(s.Sites[0].Drills[0].Pipes) != 4 {
		t.Errorf("%d drill sheets: %+v", n, s.Sites[0].Drills)
	}
	last := &s.Sites[0].Assembly.Pipes[s.Sites[0].Drills[1].Pipes[1]]
	if w := WrittenOn("Plot 4", last, s.Sites[0].Drills); w != "Plot 4 3-3 B" {
		t.Errorf("written %q", w)
	}
}

func TestPlan_shapesOfTheManifold(t *testing.T) {
	one := func() *hydraulics.Lateral { return lateral(stick(pattern(6, 3, 1, 1))) }
	for _, tc := range []struct {
		name     string
		manifold hydraulics.Manifold
		want     map[FittingKind]int // beside hose connection, valve and union
	}{
		{"one lateral straight on the feed", hydraulics.Manifold{Outlets: []hydraulics.Outlet{{Lateral: one()}}}, map[FittingKind]int{FittingFlushCap: 1}},
		{
			"a cross on the feed",
			hydraulics.Manifold{Outlets: []hydraulics.Outlet{{Lateral: one()}, {Lateral: one()}, {Lateral: one()}}},
			map[FittingKind]int{FittingFlushCap: 3, FittingCross: 1},
		},
		{
			"five on the feed take two crosses, the second for three",
			hydraulics.Manifold{Outlets: []hydraulics.Outlet{
				{Lateral: one()}, {Lateral: one()}, {Lateral: one()}, {Lateral: one()}, {Lateral: one()},
			}},
			map[FittingKind]int{FittingFlushCap: 5, FittingCross: 2},
		},
		{
			"fed in the middle, elbows at both ends",
			hydraulics.Manifold{Length: 2, FeedAt: 1, Outlets: []hydraulics.Outlet{{At: 0, Lateral: one()}, {At: 2, Lateral: one()}}},
			map[FittingKind]int{FittingFlushCap: 2, FittingElbow: 2, FittingTee: 1},
		},
		{
			"open ends get caps",
			hydraulics.Manifold{Length: 2, FeedAt: 1, Outlets: []hydraulics.Outlet{{At: 1, Lateral: one()}}},
			map[FittingKind]int{FittingFlushCap: 3, FittingCross: 1},
		},
		{
			"a manifold longer than a stick is coupled",
			hydraulics.Manifold{Length: 4, Outlets: []hydraulics.Outlet{{At: 4, Lateral: one()}}},
			map[FittingKind]int{FittingFlushCap: 1, FittingElbow: 1, FittingCoupling: 1},
		},
	} {
		t.Run(tc.name, func(t *testing.T) {
			tc.manifold.Pipe = threeQuarter
			s := mustPlan(t, Request{Sites: []Site{{Label: "x", Layout: hydraulics.Layout{Manifold: tc.manifold}}}, Ruler: RulerMillimeters})
			got := map[FittingKind]int{}
			for _, f := range s.Sites[0].Assembly.Fittings {
				got[f.Kind]++
			}
			delete(got, FittingHoseConnection)
			delete(got, FittingValve)
			delete(got, FittingUnion)
			if diff := cmp.Diff(tc.want, got); diff != "" {
				t.Errorf("fittings (-want +got):\n%s", diff)
			}
			checkJoints(t, &s.Sites[0].Assembly)
		})
	}
}

// checkJoints proves that every port and every pipe end has one joint, and that everything hangs together.
func checkJoints(t interface{ Errorf(string, ...any) }, a *Assembly) {
	ports, ends := make([]int, len(a.Fittings)), make([][2]int, len(a.Pipes))
	reached := make([]int, len(a.Fittings)+len(a.Pipes)) // union-find
	for i := range reached {
		reached[i] = i
	}
	var root func(int) int
	root = func(i int) int {
		if reached[i] != i {
			reached[i] = root(reached[i])
		}
		return reached[i]
	}
	for _, j := range a.Joints {
		ports[j.Fitting]++
		ends[j.Pipe][j.End]++
		reached[root(j.Fitting)] = root(len(a.Fittings) + j.Pipe)
	}
	for i, n := range ports {
		if n != a.Fittings[i].Kind.Ports() {
			t.Errorf("fitting %d, %s: %d joints", i, a.Fittings[i].Kind, n)
		}
	}
	for i, n := range ends {
		if n != [2]int{1, 1} {
			t.Errorf("pipe %d, %s: joints %v", i, a.Pipes[i].Use, n)
		}
	}
	for i := range reached {
		if root(i) != root(0) {
			t.Errorf("%d does not hang together with the rest", i)
		}
	}
}

// drawLayout returns a random valid layout.
func drawLayout(t *rapid.T) hydraulics.Layout {
	inch := func(low, high int, name string) unit.Length {
		return unit.Inches(float64(rapid.IntRange(low*4, high*4).Draw(t, name)) / 4)
	}
	l := hydraulics.Layout{PressFit: rapid.Bool().Draw(t, "press")}
	m := &l.Manifold
	m.Pipe, m.Length = threeQuarter, inch(0, 240, "manifold")
	at := func(name string) unit.Length {
		return unit.Length(rapid.Float64Range(0, 1).Draw(t, name)) * m.Length
	}
	m.FeedAt = []unit.Length{0, m.Length, at("feed")}[rapid.IntRange(0, 2).Draw(t, "feed place")]
	for range rapid.IntRange(1, 6).Draw(t, "outlets") {
		o := hydraulics.Outlet{At: []unit.Length{0, m.Length, m.FeedAt, at("outlet")}[rapid.IntRange(0, 3).Draw(t, "place")]}
		if rapid.IntRange(0, 4).Draw(t, "closed") == 0 {
			o.Plugged = true
		} else {
			o.Lateral = drawLateral(t, inch)
		}
		m.Outlets = append(m.Outlets, o)
	}
	return l
}

func drawLateral(t *rapid.T, inch func(low, high int, name string) unit.Length) *hydraulics.Lateral {
	l := &hydraulics.Lateral{}
	for range rapid.IntRange(1, 3).Draw(t, "pieces") {
		p := hydraulics.Piece{Pipe: half, Length: inch(24, 300, "piece")}
		if rapid.IntRange(0, 5).Draw(t, "plain") > 0 {
			p.Pattern = pattern(float64(inch(3, 16, "spacing").Inches()), float64(inch(0, 20, "first").Inches()), 1, 1)
			if rapid.Bool().Draw(t, "two sides") {
				p.Pattern.HolesPerSet, p.Pattern.Sides = 2, 2
			}
		}
		l.Pieces = append(l.Pieces, p)
	}
	return l
}

func TestPlan_laws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := drawLayout(t)
		if err := l.Validate(); err != nil {
			t.Fatal(err)
		}
		ruler := []Ruler{RulerInches, RulerMillimeters}[rapid.IntRange(0, 1).Draw(t, "ruler")]
		s := mustPlan(t, Request{Sites: []Site{{Label: "x", Layout: l}}, Ruler: ruler, Kerf: unit.Millimeters(3)})
		a := &s.Sites[0].Assembly
		checkJoints(t, a)
		fittings := 0
		for _, p := range s.Sites[0].Parts {
			fittings += p.Cemented + p.Pressed
		}
		if fittings != 2*len(a.Pipes) {
			t.Errorf("parts have %d joints, %d pipes have two ends each", fittings, len(a.Pipes))
		}
		checkHolesAgainstHydraulics(t, l, &s)
		checkLengths(t, l, &s)
		for i := range s.Sites[0].Drills {
			checkMarks(t, &s.Sites[0].Drills[i], ruler)
		}
	})
}

// checkHolesAgainstHydraulics compares every drilled place with the place that the hydraulic result is about: 0.1 mm.
func checkHolesAgainstHydraulics(t *rapid.T, l hydraulics.Layout, s *Sheet) {
	compiled, err := hydraulics.Compile(l, hydraulics.DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	r := compiled.Solve(1)
	drilled := map[int][]unit.Length{}
	for i := range s.Sites[0].Assembly.Pipes {
		p := &s.Sites[0].Assembly.Pipes[i]
		for _, h := range p.Holes {
			if h.At < 0 || h.At > p.Length {
				t.Errorf("a hole at %v of a pipe of %v", h.At, p.Length)
			}
			drilled[p.Outlet] = append(drilled[p.Outlet], p.Start+h.At)
		}
	}
	for i := range r.Laterals {
		got := drilled[r.Laterals[i].Outlet]
		if len(got) != len(r.Laterals[i].Sets) {
			t.Fatalf("outlet %d: %d places drilled, %d computed", r.Laterals[i].Outlet, len(got), len(r.Laterals[i].Sets))
		}
		for k, set := range r.Laterals[i].Sets {
			if math.Abs(float64(set.Position-got[k])) > 1e-4 {
				t.Errorf("outlet %d, set %d: drilled at %v, computed at %v", r.Laterals[i].Outlet, k, got[k], set.Position)
			}
		}
	}
}

// checkLengths proves that pipes make up the layout's lengths, that each fits a stick, and that the cut lists hold all.
func checkLengths(t *rapid.T, l hydraulics.Layout, s *Sheet) {
	var have, want, cut unit.Length
	for i := range s.Sites[0].Assembly.Pipes {
		p := &s.Sites[0].Assembly.Pipes[i]
		if p.Use == UseLateral {
			have += p.Length
		}
		if p.Length > unit.Feet(10)+1e-9 {
			t.Errorf("a pipe of %v ft from sticks of 10 ft", p.Length.Feet())
		}
		cut -= p.Length
	}
	for i := range l.Manifold.Outlets {
		if o := &l.Manifold.Outlets[i]; !o.Plugged {
			want += o.Lateral.Length()
		}
	}
	if math.Abs(float64(have-want)) > 1e-6 {
		t.Errorf("laterals of %v m, pipes of %v m", want, have)
	}
	for i := range s.Cuts {
		for _, k := range s.Cuts[i].List.Sticks {
			cut += k.Length - k.Kerf - k.Left
		}
	}
	if math.Abs(float64(cut)) > 1e-6 {
		t.Errorf("cut lists are off by %v m", cut)
	}
}

// checkMarks proves that a mark is off by half a step at most, wherever it stands, and on the pipe.
func checkMarks(t *rapid.T, d *DrillSheet, r Ruler) {
	for i, m := range d.Marks {
		marked := unit.Length(float64(m.Steps) * float64(r.Step()))
		most := float64(r.Step()) / 2
		if d.Length-m.At < r.Step() {
			most = float64(r.Step()) // at the very end a mark is rounded towards the pipe
		}
		if math.Abs(float64(marked-m.At)) > most+1e-9 || float64(marked) > float64(d.Length)+1e-6 {
			t.Errorf("mark %d at %v stands at %v of a pipe of %v", i, m.At, marked, d.Length)
		}
	}
}

func TestRuler_errorsDoNotAddUp(t *testing.T) {
	// 0.1 m is 62.99 sixteenths: marks that were added up one by one as 63 would be a sixteenth off after 127 of them.
	r, spacing := RulerInches, unit.Length(0.1)
	if r.Mark(spacing) != 63 || r.Mark(spacing*127) != 8000 {
		t.Errorf("marks %d and %d", r.Mark(spacing), r.Mark(spacing*127))
	}
}

func TestNearestBit(t *testing.T) {
	for _, tc := range []struct {
		hole  unit.Length
		ruler Ruler
		steps int
		off   float64 // change of area, by hand
	}{
		{unit.Inches(1.0 / 16), RulerInches, 4, 0},
		{unit.Inches(1.0 / 16), RulerMillimeters, 16, 1.6*1.6/(1.5875*1.5875) - 1},
		{unit.Millimeters(2), RulerInches, 5, 1.984375*1.984375/4 - 1},
		{unit.Millimeters(4.2), RulerMillimeters, 40, 16/(4.2*4.2) - 1},
	} {
		b := NearestBit(tc.hole, tc.ruler)
		if b.Steps != tc.steps || math.Abs(b.AreaChange-tc.off) > 1e-12 {
			t.Errorf("%v mm on %s: %+v, want %d, %v", tc.hole.Millimeters(), tc.ruler, b, tc.steps, tc.off)
		}
	}
}

func TestPlan_drillWarnings(t *testing.T) {
	site := threeRows()
	site.Layout.Manifold.Outlets[0].Lateral.Pieces = []hydraulics.Piece{
		{Pipe: half, Length: unit.Feet(8), Pattern: pattern(12, 0, 1, 1)},
		{Pipe: half, Length: unit.Feet(20), Pattern: pattern(12, 6, 1, 1)},
	}
	site.Layout.Manifold.Outlets[0].Lateral.Pieces[1].Pattern.HoleDiameter = unit.Millimeters(0.9)
	site.Layout.Feed.Filter = nil
	s := mustPlan(t, Request{Sites: []Site{site}, Ruler: RulerInches})
	got := map[WarningCode]int{}
	for _, w := range s.Sites[0].Warnings {
		got[w.Code] += max(1, w.Count)
	}
	// The first piece has holes at 0 and at 8 ft; 0.9 mm has no bit of sixty-fourths within 5 % of its area.
	want := map[WarningCode]int{WarnHoleInSocket: 2, WarnBitDiffers: 1, WarnPieceSplit: 2, WarnNoFilter: 1}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("warnings (-want +got):\n%s", diff)
	}
}

func TestSplit_keepsHolesOffTheCut(t *testing.T) {
	holes := []Hole{{At: 1}, {At: 2.99}, {At: 3.15}, {At: 5}}
	parts := split(6.1, holes, 3)
	// By hand: 3 m is within 25 mm of the hole at 2.99, so the cut goes back to the middle of 1 and 2.99; from there 4.995
	// is within reach of 5 and goes back to the middle of 3.15 and 5.
	want := []stretch{{0, 1.995}, {1.995, 4.075}, {4.075, 6.1}}
	if len(parts) != len(want) {
		t.Fatalf("parts %v, want %v", parts, want)
	}
	for i := range want {
		if math.Abs(float64(parts[i].from-want[i].from)) > 1e-9 || math.Abs(float64(parts[i].to-want[i].to)) > 1e-9 {
			t.Errorf("part %d is %v, want %v", i, parts[i], want[i])
		}
	}
}

func TestPlan_plantingMarks(t *testing.T) {
	inches := func(m []PlantMark) []float64 {
		var out []float64
		for _, k := range m {
			for _, p := range k.Plants {
				out = append(out, math.Round(p.Inches()*100)/100)
			}
		}
		return out
	}
	// Trade spacings: common practice, no source.
	for _, tc := range []struct {
		name   string
		holes  *hydraulics.HolePattern
		p      Planting
		first  []float64 // inches from the tee
		count  int
		rows   int
		codes  []WarningCode
		length unit.Length
	}{
		{"corn at every hole", pattern(6, 3, 1, 1), Planting{Crop: "sweet_corn"}, []float64{3, 9, 15}, 20, 1, nil, 0},
		{"onions on both sides", pattern(4, 2, 2, 2), Planting{Crop: "onion_dry", Sides: 2}, []float64{2, 6, 10}, 60, 2, nil, 0},
		{"hills at every fourth hole", pattern(4, 2, 2, 2), Planting{Spacing: unit.Inches(16)}, []float64{2, 18, 34}, 8, 1, nil, 0},
		{"zucchini at sets of three", pattern(30, 15, 3, 1), Planting{Crop: "zucchini"}, []float64{15, 45, 75}, 4, 1, nil, 0},
		{
			"lettuce of 10 in on holes 6 in apart", pattern(6, 3, 1, 1),
			Planting{Spacing: unit.Inches(10)},
			[]float64{3, 15, 27},
			10, 1,
			nil, 0,
		},
		{
			"9 in on holes 6 in apart disagrees", pattern(6, 3, 1, 1),
			Planting{Spacing: unit.Inches(9)},
			[]float64{3, 15, 27},
			10, 1,
			[]WarningCode{WarnSpacingDisagrees},
			0,
		},
		{
			"carrots between wide marks", pattern(12, 6, 1, 1),
			Planting{Spacing: unit.Inches(3)},
			[]float64{1.5, 4.5, 7.5, 10.5, 13.5},
			40, 1,
			[]WarningCode{WarnPlantsBetween},
			0,
		},
		{"corn at 12 in is unusual", pattern(6, 3, 1, 1), Planting{Crop: "sweet_corn", Spacing: unit.Inches(12)}, []float64{3, 15}, 10, 1, []WarningCode{WarnUnusualSpacing}, 0},
		{"only a stretch", pattern(6, 3, 1, 1), Planting{Crop: "sweet_corn", From: unit.Inches(9), To: unit.Inches(27)}, []float64{9, 15, 21}, 4, 1, nil, 0},
		{"nothing wet", nil, Planting{Spacing: 0.1}, nil, 0, 0, []WarningCode{WarnNoWetMarks}, 0},
	} {
		t.Run(tc.name, func(t *testing.T) {
			site := Site{Label: "x", Plantings: []Planting{tc.p}, Layout: hydraulics.Layout{Manifold: hydraulics.Manifold{
				Pipe: threeQuarter, Outlets: []hydraulics.Outlet{{Lateral: lateral(stick(tc.holes))}},
			}}}
			s := mustPlan(t, Request{Sites: []Site{site}, Ruler: RulerInches})
			m := s.Sites[0].Plantings[0]
			var codes []WarningCode
			for _, w := range m.Warnings {
				codes = append(codes, w.Code)
			}
			if m.Count != tc.count || len(m.Rows) != tc.rows || !slices.Equal(codes, tc.codes) {
				t.Errorf("%d plants in %d rows, %v; want %d in %d, %v", m.Count, len(m.Rows), codes, tc.count, tc.rows, tc.codes)
			}
			for _, r := range m.Rows {
				if got := inches(r.Marks); !slices.Equal(got[:len(tc.first)], tc.first) {
					t.Errorf("plants at %v, want %v", got[:len(tc.first)], tc.first)
				}
			}
		})
	}
}

func TestPlan_tasks(t *testing.T) {
	site := threeRows()
	site.Plantings = []Planting{{Name: "sweet corn", Crop: "sweet_corn", Outlets: []int{0}, To: unit.Feet(20)}}
	s := mustPlan(t, Request{Sites: []Site{site}, Ruler: RulerInches})
	got := s.Sites[0].Tasks
	// By hand from the parts of three rows: 12 joints pressed (4 couplings × 2, 2 caps, tee and elbow branches, stub) are
	// 8 + 2 + 2 + 1, cemented all others; 40 plants on 20 ft at 6 in.
	want := []Task{
		{TaskLevel, 1},
		{TaskCement, 13},
		{TaskBackflow, 1},
		{TaskBucket, 1},
		{TaskLay, 2},
		{TaskPress, 13},
		{TaskCloseOutlet, 1},
		{TaskFlush, 2},
		{TaskLeaks, 26},
		{TaskReadings, 1},
		{TaskPlant, 40},
	}
	if diff := cmp.Diff(want, got.SetUp); diff != "" {
		t.Errorf("set-up (-want +got):\n%s", diff)
	}
	if len(got.Storage) != 2 || len(got.Storage[0].Pipes) != 3 || !slices.Equal(got.Storage[0].Crops, []string{"sweet corn"}) || got.Storage[1].Crops != nil {
		t.Errorf("storage %+v", got.Storage)
	}
}

func TestPlan_refuses(t *testing.T) {
	site := threeRows()
	site.Plantings = []Planting{{Crop: "sweet_corn", Outlets: []int{3}}, {Crop: "no such", Spacing: 99, Sides: 3}}
	_, err := Plan(Request{
		Sites: []Site{site}, Kerf: -1, Stored: []StoredPipe{{ID: "a", Piece: stick(nil)}, {ID: "a", Piece: stick(nil)}},
	})
	var faults Faults
	if !errors.As(err, &faults) {
		t.Fatalf("got %v", err)
	}
	var got []string
	for _, f := range faults {
		got = append(got, f.JSONPointer()+" "+string(f.Code))
	}
	want := []string{
		"/sites/0/plantings/0/outlets/0 no_such", "/sites/0/plantings/1/spacing_m out_of_range", "/sites/0/plantings/1/sides out_of_range",
		"/ruler no_such", "/kerf_m out_of_range", "/stored_pipes/1/id twice",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("faults (-want +got):\n%s", diff)
	}
}

func TestPlan_aHairLongerThanAStickIsAStick(t *testing.T) {
	for _, tc := range []struct {
		length unit.Length
		first  float64 // of one hole, in inches
		pipes  int
	}{{3.05, 3, 1}, {3.0535, 3, 2}, {3.05, 120.05, 2}} {
		p := pattern(6, tc.first, 1, 1)
		p.Count = 1
		s := mustPlan(t, Request{Ruler: RulerMillimeters, Sites: []Site{row("a", "", hydraulics.Piece{Pipe: half, Length: tc.length, Pattern: p})}})
		n, bought := 0, 0
		for _, x := range s.Sites[0].Assembly.Pipes {
			if x.Use == UseLateral {
				n++
			}
		}
		for _, c := range s.Cuts {
			if c.Pipe == half {
				bought = len(c.List.Sticks)
			}
		}
		if n != tc.pipes || bought != tc.pipes {
			t.Errorf("%v m, hole at %v in: %d pipes from %d sticks, want %d", tc.length, tc.first, n, bought, tc.pipes)
		}
	}
}

// Two carrots to each mark of 4 in stand 1 in from it; the mark 1/2 in from the tee has room for one only. By hand: 29
// marks with two and one with one, on a lateral of 10 ft.
func TestPlan_plantsStayWithinThePipe(t *testing.T) {
	site := row("a", "", stick(pattern(4, 0.5, 1, 1)))
	site.Plantings = []Planting{{Name: "carrots", Spacing: unit.Inches(2)}}
	s := mustPlan(t, Request{Ruler: RulerInches, Sites: []Site{site}})
	if n := s.Sites[0].Plantings[0].Count; n != 59 {
		t.Errorf("%d plants, want 59", n)
	}
	for _, m := range s.Sites[0].Plantings[0].Rows[0].Marks {
		for _, x := range m.Plants {
			if x < 0 || x > unit.Feet(10) {
				t.Errorf("a plant at %v", x)
			}
		}
	}
}

func TestPlan_isRepeatable(t *testing.T) {
	r := Request{Sites: []Site{threeRows(), threeRows()}, Ruler: RulerInches, Kerf: 0.003}
	a, b := mustPlan(t, r), mustPlan(t, r)
	if fmt.Sprintf("%+v", a.Cuts) != fmt.Sprintf("%+v", b.Cuts) || fmt.Sprintf("%+v", a.Parts) != fmt.Sprintf("%+v", b.Parts) {
		t.Error("two plans of one request differ")
	}
}
