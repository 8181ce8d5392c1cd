package fieldwork

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"rillturn.example/rillturn/engine/unit"
)

// many returns count pieces of one length.
func many(label string, length unit.Length, count int) []WantedPiece {
	pieces := make([]WantedPiece, count)
	for i := range pieces {
		pieces[i] = WantedPiece{Label: fmt.Sprintf("%s%d", label, i+1), Length: length}
	}
	return pieces
}

// checkCutList proves that a cut list cuts every piece once and that each stick adds up, in whole nanometres.
func checkCutList(t interface{ Errorf(string, ...any) }, c Cutting, list CutList) {
	cut := make([]int, len(c.Pieces))
	off := map[string]int{}
	var bought unit.Length
	for n, s := range list.Sticks {
		sum := nanometers(s.Kerf) + nanometers(s.Left)
		for _, i := range s.Pieces {
			cut[i]++
			sum += nanometers(c.Pieces[i].Length)
		}
		if sum != nanometers(s.Length) {
			t.Errorf("stick %d: pieces, kerf and off-cut make %d nm of %d", n, sum, nanometers(s.Length))
		}
		most := int64(len(s.Pieces)) * nanometers(c.Kerf)
		if k := nanometers(s.Kerf); k > most || (k < most && s.Left > 0) {
			t.Errorf("stick %d: kerf of %d nm for %d pieces, %v left", n, k, len(s.Pieces), s.Left)
		}
		if s.OffCut != "" {
			off[s.OffCut]++
			continue
		}
		bought += s.Length
		if !slices.ContainsFunc(c.Stock, func(l unit.Length) bool { return nanometers(l) == nanometers(s.Length) }) {
			t.Errorf("stick %d: a length of %v can't be bought", n, s.Length)
		}
	}
	for i, n := range cut {
		if n != 1 {
			t.Errorf("piece %d is cut %d times", i, n)
		}
	}
	for id, n := range off {
		if n > 1 {
			t.Errorf("off-cut %s is used %d times", id, n)
		}
	}
	if nanometers(bought) != nanometers(list.Bought) || list.Bound > list.Bought {
		t.Errorf("bought %v, said %v, bound %v", bought, list.Bought, list.Bound)
	}
}

func TestCut_publishedAndWorked(t *testing.T) {
	ten, kerf := unit.Feet(10), unit.Inches(1.0/8)
	paper := Cutting{Stock: []unit.Length{unit.Millimeters(5600)}}
	for _, w := range [][2]int{
		{1380, 22},
		{1520, 25},
		{1560, 12},
		{1710, 14},
		{1820, 18},
		{1880, 18},
		{1930, 20},
		{2000, 10},
		{2050, 12},
		{2100, 14},
		{2140, 16},
		{2150, 18},
		{2200, 20},
	} {
		paper.Pieces = append(paper.Pieces, many("", unit.Millimeters(float64(w[0])), w[1])...)
	}
	raws := Cutting{Stock: []unit.Length{unit.Inches(100)}}
	for _, w := range [][2]int{{45, 97}, {36, 610}, {31, 395}, {14, 211}} {
		raws.Pieces = append(raws.Pieces, many("", unit.Inches(float64(w[0])), w[1])...)
	}
	for _, tc := range []struct {
		name   string
		source string
		c      Cutting
		sticks int // bought
	}{
		{"paper rolls", "Wikipedia, \"Cutting-stock problem\", example: 73 rolls of 5600 mm; from memory", paper, 73},
		{"raws of 100 in", "V. Chvátal, Linear Programming (1983), ch. 13, opening example: 453 raws; from memory", raws, 453},
		{"three sticks to a run", "by hand: 3 whole sticks", Cutting{Pieces: many("A", ten, 3), Stock: []unit.Length{ten}, Kerf: kerf}, 3},
		{
			"a full stick needs one cut less", "by hand: 5 + 5 ft and one cut are more than 10 ft",
			Cutting{Pieces: many("A", unit.Feet(5), 4), Stock: []unit.Length{ten}, Kerf: kerf},
			4,
		},
		{
			"without kerf the halves fit", "by hand: 2 × 5 ft = 10 ft",
			Cutting{Pieces: many("A", unit.Feet(5), 4), Stock: []unit.Length{ten}},
			2,
		},
		{
			"halves less half a kerf fit exactly", "by hand: 2 × (5 ft − 1/16 in) + 1/8 in = 10 ft",
			Cutting{Pieces: many("A", unit.Feet(5)-unit.Inches(1.0/16), 4), Stock: []unit.Length{ten}, Kerf: kerf},
			2,
		},
		{
			"longest first would take three", "by hand: 6+4, 4+3+3 ft fill two sticks; longest first gives 6+4, 4+3+3; shortest gap 4+4, 6+3, 3",
			Cutting{Pieces: slices.Concat(many("A", unit.Feet(6), 1), many("B", unit.Feet(4), 2), many("C", unit.Feet(3), 2)), Stock: []unit.Length{ten}},
			2,
		},
		{
			"off-cuts spare a stick", "by hand: 8 + 2 ft from the stick, 4 ft from the off-cut",
			Cutting{
				Pieces: slices.Concat(many("A", unit.Feet(8), 1), many("B", unit.Feet(4), 1), many("C", unit.Feet(2), 1)),
				Stock:  []unit.Length{ten}, OffCuts: []OffCut{{ID: "long", Length: unit.Feet(7)}, {ID: "short", Length: unit.Feet(4)}},
			},
			1,
		},
	} {
		t.Run(tc.name, func(t *testing.T) {
			list, err := Cut(tc.c)
			if err != nil {
				t.Fatal(err)
			}
			checkCutList(t, tc.c, list)
			if n := list.StickCount(tc.c.Stock[0]); n != tc.sticks {
				t.Errorf("%d sticks, want %d (%s); bound %v", n, tc.sticks, tc.source, list.Bound/tc.c.Stock[0])
			}
			if !list.Proven() {
				t.Errorf("not proven: bound %v of %v", list.Bound, list.Bought)
			}
		})
	}
}

func TestCut_takesTheShortestOffCutThatServes(t *testing.T) {
	list, err := Cut(Cutting{
		Pieces: many("A", unit.Feet(4), 1), Stock: []unit.Length{unit.Feet(10)},
		OffCuts: []OffCut{{ID: "long", Length: unit.Feet(9)}, {ID: "short", Length: unit.Feet(5)}, {ID: "too short", Length: unit.Feet(3)}},
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(list.Sticks) != 1 || list.Sticks[0].OffCut != "short" || list.Bought != 0 || !list.Proven() {
		t.Errorf("got %+v", list)
	}
}

func TestCut_refuses(t *testing.T) {
	var faults Faults
	_, err := Cut(Cutting{
		Pieces: append(many("A", unit.Feet(11), 1), WantedPiece{Length: unit.Length(math.NaN())}),
		Stock:  []unit.Length{unit.Feet(10)}, Kerf: -1,
	})
	if !errors.As(err, &faults) {
		t.Fatalf("got %v", err)
	}
	var got []string
	for _, f := range faults {
		got = append(got, f.JSONPointer()+" "+string(f.Code))
	}
	want := []string{"/kerf_m out_of_range", "/pieces/0/length_m too_long", "/pieces/1/length_m not_finite"}
	if !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	var short NotEnoughPipeError
	_, err = Cut(Cutting{Pieces: many("A", unit.Feet(4), 3), OffCuts: []OffCut{{ID: "a", Length: unit.Feet(8)}}})
	if !errors.As(err, &short) {
		t.Errorf("three pieces from one off-cut of two: got %v", err)
	}
}

// leastBought tries every assignment of pieces to sticks.
func leastBought(c Cutting) (int64, bool) {
	type bin struct{ room int64 }
	best, found := int64(math.MaxInt64), false
	kerf := nanometers(c.Kerf)
	var put func(i int, open []bin, offUsed []bool, cost int64)
	put = func(i int, open []bin, offUsed []bool, cost int64) {
		if cost >= best {
			return
		}
		if i == len(c.Pieces) {
			best, found = cost, true
			return
		}
		l := nanometers(c.Pieces[i].Length) + kerf
		for b := range open {
			if open[b].room >= l {
				open[b].room -= l
				put(i+1, open, offUsed, cost)
				open[b].room += l
			}
		}
		for k, o := range c.OffCuts {
			if room := nanometers(o.Length) + kerf; !offUsed[k] && room >= l {
				offUsed[k] = true
				put(i+1, append(slices.Clone(open), bin{room: room - l}), offUsed, cost)
				offUsed[k] = false
			}
		}
		for _, s := range c.Stock {
			if room := nanometers(s) + kerf; room >= l {
				put(i+1, append(slices.Clone(open), bin{room: room - l}), offUsed, cost+nanometers(s))
			}
		}
	}
	put(0, nil, make([]bool, len(c.OffCuts)), 0)
	return best, found
}

func TestCut_agreesWithEveryAssignmentTried(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		inch := func(low, high int, name string) unit.Length {
			return unit.Inches(float64(rapid.IntRange(low, high).Draw(t, name)))
		}
		c := Cutting{Kerf: unit.Inches(float64(rapid.IntRange(0, 2).Draw(t, "kerf")) / 8)}
		for range rapid.IntRange(1, 7).Draw(t, "pieces") {
			c.Pieces = append(c.Pieces, WantedPiece{Length: inch(12, 70, "piece")})
		}
		for range rapid.IntRange(0, 2).Draw(t, "stock") {
			c.Stock = append(c.Stock, inch(70, 140, "stick"))
		}
		for i := range rapid.IntRange(0, 3).Draw(t, "off-cuts") {
			c.OffCuts = append(c.OffCuts, OffCut{ID: fmt.Sprint(i), Length: inch(20, 90, "off-cut")})
		}
		want, possible := leastBought(c)
		list, err := Cut(c)
		if !possible {
			if err == nil {
				t.Errorf("cut what can't be cut: %+v", list)
			}
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		checkCutList(t, c, list)
		if nanometers(list.Bought) != want || !list.Proven() {
			t.Errorf("bought %d nm, bound %d, least is %d", nanometers(list.Bought), nanometers(list.Bound), want)
		}
	})
}

// garden returns a request like those of gardens: pieces of 1 to 10 ft to the eighth of an inch.
func garden(r *rand.Rand, n, off int) Cutting {
	c := Cutting{Stock: []unit.Length{unit.Feet(10)}, Kerf: unit.Inches(1.0 / 8)}
	for range n {
		c.Pieces = append(c.Pieces, WantedPiece{Length: unit.Inches(12 + float64(r.IntN(108*8+1))/8)})
	}
	for i := range off {
		c.OffCuts = append(c.OffCuts, OffCut{ID: fmt.Sprint(i), Length: unit.Inches(10 + float64(r.IntN(90)))})
	}
	return c
}

// triplets returns pieces that fill n sticks to the last nanometre, three to a stick: the hardest requests of their size.
func triplets(r *rand.Rand, n int) Cutting {
	const stick, kerf, grain = 3_048_000_000, 3_000_000, 1_000_000 // nm
	c := Cutting{Stock: []unit.Length{fromNanometers(stick)}, Kerf: fromNanometers(kerf)}
	for range n {
		const whole = stick - 2*kerf
		long := int64(whole*(0.38+0.11*r.Float64())) / grain * grain
		middle := int64(float64(whole)*0.25+r.Float64()*(float64(whole-long)/2-0.25*whole)) / grain * grain
		for _, l := range []int64{long, middle, whole - long - middle} {
			c.Pieces = append(c.Pieces, WantedPiece{Length: fromNanometers(l)})
		}
	}
	return c
}

func TestCut_findsPiecesThatFillEveryStick(t *testing.T) {
	for seed := range uint64(6) {
		c := triplets(rand.New(rand.NewPCG(seed, 9)), 13)
		list, err := Cut(c)
		if err != nil {
			t.Fatal(err)
		}
		checkCutList(t, c, list)
		if len(list.Sticks) != 13 || !list.Proven() {
			t.Errorf("seed %d: %d sticks for 13, bound %v ft", seed, len(list.Sticks), list.Bound.Feet())
		}
	}
}

// A bound made from the prices of a few of the pieces, and one from an unfinished program, stay below the least.
func TestCut_boundsOfPricesStayBelowEveryAssignment(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := Cutting{Stock: []unit.Length{unit.Inches(100)}, Kerf: unit.Inches(1.0 / 8)}
		for range rapid.IntRange(2, 8).Draw(t, "pieces") {
			c.Pieces = append(c.Pieces, WantedPiece{Length: unit.Inches(float64(rapid.IntRange(8, 100).Draw(t, "piece")))})
		}
		if rapid.Bool().Draw(t, "off-cut") {
			c.OffCuts = []OffCut{{ID: "a", Length: unit.Inches(60)}}
		}
		least, _ := leastBought(c)
		s := newCutSearch(&c)
		whole := s.all()
		hand := residual{want: slices.Clone(whole.want), have: slices.Clone(whole.have), left: whole.left}
		for i := range hand.want {
			if i%2 == 1 {
				hand.left -= hand.want[i]
				hand.want[i] = 0
			}
		}
		s.raise(whole, hand, s.solve(hand))
		if s.bound > least {
			t.Errorf("prices of a hand ask for %d nm, %d nm suffice", s.bound, least)
		}
		if bound := s.ceil(s.solve(whole).bound); bound > least {
			t.Errorf("the program asks for %d nm, %d nm suffice", bound, least)
		}
	})
}

// Lengths put into groups give a bound that is no higher than the least, and a list that serves.
func TestCut_groupsStandBesideEveryAssignment(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := Cutting{Stock: []unit.Length{unit.Inches(100)}, Kerf: unit.Inches(1.0 / 8)}
		for range rapid.IntRange(2, 8).Draw(t, "pieces") {
			c.Pieces = append(c.Pieces, WantedPiece{Length: unit.Inches(float64(rapid.IntRange(8, 100).Draw(t, "piece")))})
		}
		if rapid.Bool().Draw(t, "two lengths") {
			c.Stock = append(c.Stock, unit.Inches(60))
		}
		if rapid.Bool().Draw(t, "off-cut") {
			c.OffCuts = []OffCut{{ID: "a", Length: unit.Inches(50)}}
		}
		least, _ := leastBought(c)
		s := newCutSearch(&c)
		s.groupInto(rapid.IntRange(1, 4).Draw(t, "groups"))
		if s.bound > least {
			t.Errorf("groups ask for %d nm, %d nm suffice", s.bound, least)
		}
		list := CutList{Sticks: s.sticks(&c), Bought: fromNanometers(s.best.cost)}
		checkCutList(t, c, list)
		if s.best.cost < least {
			t.Errorf("groups buy %d nm, least is %d nm", s.best.cost, least)
		}
	})
}

// Large gardens repeat their lengths.
func TestCut_manyPiecesOfFewLengths(t *testing.T) {
	for seed := range uint64(4) {
		r := rand.New(rand.NewPCG(seed, 6))
		c := garden(r, 800, 4)
		for i := range c.Pieces {
			c.Pieces[i].Length = c.Pieces[i%(10+int(seed)*10)].Length
		}
		if seed%2 == 1 {
			c.Stock = append(c.Stock, unit.Feet(20))
		}
		list, err := Cut(c)
		if err != nil {
			t.Fatal(err)
		}
		checkCutList(t, c, list)
		if gap := (list.Bought - list.Bound).Feet(); gap > 10+1e-6 {
			t.Errorf("seed %d: %v ft above the bound", seed, gap)
		}
	}
}

// The weights of pieces never ask for more than the least that can be bought.
func TestCut_weightsStayBelowEveryAssignment(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		inch := func(low, high int, name string) unit.Length {
			return unit.Inches(float64(rapid.IntRange(low, high).Draw(t, name)))
		}
		c := Cutting{Kerf: unit.Inches(float64(rapid.IntRange(0, 2).Draw(t, "kerf")) / 8)}
		for range rapid.IntRange(1, 8).Draw(t, "pieces") {
			c.Pieces = append(c.Pieces, WantedPiece{Length: inch(8, 100, "piece")})
		}
		c.Stock = []unit.Length{unit.Inches(100)}
		if rapid.Bool().Draw(t, "two lengths") {
			c.Stock = append(c.Stock, inch(30, 120, "stick"))
		}
		for i := range rapid.IntRange(0, 2).Draw(t, "off-cuts") {
			c.OffCuts = append(c.OffCuts, OffCut{ID: fmt.Sprint(i), Length: inch(20, 120, "off-cut")})
		}
		least, _ := leastBought(c)
		s := newCutSearch(&c)
		if bound := s.weigh(s.all()) * float64(s.dearest); bound > float64(least)+1 {
			t.Errorf("weights ask for %.0f nm, %d nm suffice", bound, least)
		}
		s.fullest(s.all())
		if !s.best.complete || s.best.cost < least {
			t.Errorf("the fullest sticks buy %d nm, least is %d", s.best.cost, least)
		}
	})
}

func TestCut_togetherNeverBuysMore(t *testing.T) {
	for seed := range uint64(10) {
		r := rand.New(rand.NewPCG(seed, 5))
		a, b := garden(r, 12, 0), garden(r, 9, 0)
		both := a
		both.Pieces = slices.Concat(a.Pieces, b.Pieces)
		var bought [3]unit.Length
		for i, c := range []Cutting{a, b, both} {
			list, err := Cut(c)
			if err != nil {
				t.Fatal(err)
			}
			bought[i] = list.Bought
		}
		if bought[2] > bought[0]+bought[1]+1e-9 {
			t.Errorf("seed %d: %v ft and %v ft apart, %v ft together", seed, bought[0].Feet(), bought[1].Feet(), bought[2].Feet())
		}
	}
}

func TestCut_largeRequestsStayWithinOneStickOfTheBound(t *testing.T) {
	for seed := range uint64(3) {
		c := garden(rand.New(rand.NewPCG(seed, 2)), 160, 8)
		list, err := Cut(c)
		if err != nil {
			t.Fatal(err)
		}
		checkCutList(t, c, list)
		if list.Bought-list.Bound > unit.Feet(10)+1e-9 {
			t.Errorf("seed %d: bought %v ft, bound %v ft", seed, list.Bought.Feet(), list.Bound.Feet())
		}
	}
}

func TestCut_isRepeatable(t *testing.T) {
	c := garden(rand.New(rand.NewPCG(7, 7)), 40, 5)
	a, errA := Cut(c)
	b, errB := Cut(c)
	if errA != nil || errB != nil || fmt.Sprint(a) != fmt.Sprint(b) {
		t.Errorf("%v %v\n%v\n%v", errA, errB, a, b)
	}
}

func BenchmarkCut40(b *testing.B) {
	c := garden(rand.New(rand.NewPCG(7, 7)), 40, 5)
	for b.Loop() {
		if _, err := Cut(c); err != nil {
			b.Fatal(err)
		}
	}
}
