package fieldwork

import (
	"errors"
	"math"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/unit"
)

// row is a layout of one lateral.
func row(label, owner string, pieces ...hydraulics.Piece) Site {
	return Site{Label: label, Owners: []string{owner}, Layout: hydraulics.Layout{Manifold: hydraulics.Manifold{
		Pipe: threeQuarter, Outlets: []hydraulics.Outlet{{Lateral: lateral(pieces...)}},
	}}}
}

// lengths compares to the nanometre.
var lengths = cmp.Comparer(func(a, b unit.Length) bool { return nanometers(a) == nanometers(b) })

func TestPlan_storedPipesFirst(t *testing.T) {
	corn, onions := pattern(6, 3, 1, 1), pattern(4, 2, 2, 2)
	short := stick(corn)
	short.Length = unit.Feet(8)
	plainLong := stick(nil)
	plainLong.Length = unit.Feet(12)
	wide := stick(pattern(12, 3, 1, 1))
	reversed := stick(pattern(6, 5, 1, 1)) // holes at 5, 11 ... 119 in: from its far end 1, 7 ... 115
	for _, tc := range []struct {
		name   string
		sites  []Site
		stored []StoredPipe
		want   []Reservation // without site and pipe
		unused []string
	}{
		{
			"as it is",
			[]Site{row("a", "", stick(corn))},
			[]StoredPipe{{ID: "s", Piece: stick(corn)}},
			[]Reservation{{Stored: "s", AsItIs: true, HolesNeeded: 20}},
			nil,
		},
		{
			"a longer one is cut at its closed end",
			[]Site{row("a", "", short)},
			[]StoredPipe{{ID: "s", Piece: stick(corn)}},
			[]Reservation{{Stored: "s", CutOff: unit.Feet(2), HolesNeeded: 16}},
			nil,
		},
		{
			"half of the holes are there",
			[]Site{row("a", "", stick(corn))},
			[]StoredPipe{{ID: "s", Piece: wide}},
			[]Reservation{{Stored: "s", NewHoles: 10, HolesNeeded: 20}},
			nil,
		},
		{
			"half of the holes are too many: ten are closed, ten drilled less",
			[]Site{row("a", "", wide)},
			[]StoredPipe{{ID: "s", Piece: stick(corn)}},
			[]Reservation{{Stored: "s", PluggedOff: 10, HolesNeeded: 10}},
			nil,
		},
		{
			"cut at both ends, where its holes then fall into place",
			[]Site{row("a", "", short)},                                 // 8 ft, holes at 3, 9 ... 93 in
			[]StoredPipe{{ID: "s", Piece: stick(pattern(6, 14, 1, 1))}}, // 10 ft, holes at 14, 20 ... 116 in
			[]Reservation{{Stored: "s", CutOffTee: unit.Inches(11), CutOff: unit.Inches(13), HolesNeeded: 16}},
			nil,
		},
		{"other holes are no help", []Site{row("a", "", stick(corn))}, []StoredPipe{{ID: "s", Piece: stick(onions)}}, nil, []string{"s"}},
		{
			"turned round",
			[]Site{row("a", "", stick(pattern(6, 1, 1, 1)))},
			[]StoredPipe{{ID: "s", Piece: reversed}},
			[]Reservation{{Stored: "s", Reversed: true, AsItIs: true, HolesNeeded: 20}},
			nil,
		},
		{"unfit", []Site{row("a", "", stick(corn))}, []StoredPipe{{ID: "s", Piece: stick(corn), Unfit: true}}, nil, []string{"s"}},
		{"somebody else's", []Site{row("a", "Ilse", stick(corn))}, []StoredPipe{{ID: "s", Owner: "Wren", Piece: stick(corn)}}, nil, []string{"s"}},
		{
			"reserved for another layout",
			[]Site{row("a", "", stick(corn)), row("b", "", stick(corn))},
			[]StoredPipe{{ID: "for b", Piece: stick(corn), Site: new(1), Notes: "a little bent"}},
			[]Reservation{{Stored: "for b", AsItIs: true, HolesNeeded: 20, Notes: "a little bent"}},
			nil,
		},
		{
			"two holes that no longer open are drilled again",
			[]Site{row("a", "", stick(corn))},
			[]StoredPipe{{ID: "s", Piece: stick(corn), Plugged: []hydraulics.PluggedHoles{{Set: 3, Holes: 1}, {Set: 19, Holes: 1}}}},
			[]Reservation{{Stored: "s", NewHoles: 2, HolesNeeded: 20}},
			nil,
		},
		{
			"one's own and the garden's",
			[]Site{row("a", "Ilse", stick(corn), stick(corn))},
			[]StoredPipe{{ID: "own", Owner: "Ilse", Piece: stick(corn)}, {ID: "common", Piece: stick(corn)}},
			[]Reservation{{Stored: "own", AsItIs: true, HolesNeeded: 20}, {Stored: "common", AsItIs: true, HolesNeeded: 20}},
			nil,
		},
		{
			"the long plain pipe is spared where a drilled one serves",
			[]Site{row("a", "", stick(corn))},
			[]StoredPipe{{ID: "plain", Piece: plainLong}, {ID: "drilled", Piece: stick(corn)}},
			[]Reservation{{Stored: "drilled", AsItIs: true, HolesNeeded: 20}},
			[]string{"plain"},
		},
		{
			"not the first that fits, but the best for all",
			[]Site{row("a", "", short), row("b", "", stick(corn))},
			[]StoredPipe{{ID: "ten", Piece: stick(corn)}, {ID: "eight", Piece: short}},
			[]Reservation{{Stored: "eight", AsItIs: true, HolesNeeded: 16}, {Stored: "ten", AsItIs: true, HolesNeeded: 20}},
			nil,
		},
	} {
		t.Run(tc.name, func(t *testing.T) {
			s := mustPlan(t, Request{Sites: tc.sites, Ruler: RulerInches, Stored: tc.stored})
			var got []Reservation
			for _, r := range s.Saved {
				if p := s.Sites[r.Site].Assembly.Pipes[r.Pipe]; p.Saved != r.Stored || p.Use != UseLateral {
					t.Errorf("%s is not noted on its pipe", r.Stored)
				}
				if r.Stored == "for b" && r.Site != 1 {
					t.Errorf("%s goes to layout %d", r.Stored, r.Site)
				}
				r.Site, r.Pipe = 0, 0
				got = append(got, r)
			}
			if diff := cmp.Diff(tc.want, got, lengths); diff != "" {
				t.Errorf("reservations (-want +got):\n%s", diff)
			}
			if diff := cmp.Diff(tc.unused, s.Unused); diff != "" {
				t.Errorf("unused (-want +got):\n%s", diff)
			}
			for _, c := range s.Cuts {
				for _, p := range c.Pieces {
					if s.Sites[p.Site].Assembly.Pipes[p.Pipe].Saved != "" {
						t.Error("a stored pipe is cut anew")
					}
				}
			}
		})
	}
}

func TestAssign_agreesWithEveryAssignmentTried(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows := rapid.IntRange(1, 5).Draw(t, "rows")
		columns := rows + rapid.IntRange(0, 2).Draw(t, "more columns")
		costs := make([][]effort, rows)
		for i := range costs {
			costs[i] = make([]effort, columns)
			for j := range costs[i] {
				for k := range costs[i][j] {
					costs[i][j][k] = int64(rapid.IntRange(0, 4).Draw(t, "cost"))
				}
			}
		}
		var best effort
		found := false
		var try func(i int, used int, sum effort)
		try = func(i, used int, sum effort) {
			if i == rows {
				if !found || sum.less(best) {
					best, found = sum, true
				}
				return
			}
			for j := range columns {
				if used&(1<<j) == 0 {
					try(i+1, used|1<<j, sum.plus(costs[i][j]))
				}
			}
		}
		try(0, 0, effort{})
		var sum effort
		seen := map[int]bool{}
		for i, j := range assign(costs) {
			if seen[j] {
				t.Fatalf("column %d is taken twice", j)
			}
			seen[j] = true
			sum = sum.plus(costs[i][j])
		}
		if sum != best {
			t.Errorf("sum %v, least is %v", sum, best)
		}
	})
}

func TestReserve_agreesWithEveryMatchTried(t *testing.T) {
	patterns := []*hydraulics.HolePattern{nil, pattern(6, 3, 1, 1), pattern(12, 3, 1, 1), pattern(6, 3, 2, 1), pattern(30, 15, 1, 1)}
	rapid.Check(t, func(t *rapid.T) {
		piece := func(name string) hydraulics.Piece {
			return hydraulics.Piece{
				Pipe: half, Length: unit.Feet(float64(rapid.IntRange(6, 10).Draw(t, name))), Pattern: patterns[rapid.IntRange(0, 4).Draw(t, name)],
			}
		}
		var pieces []hydraulics.Piece
		for range rapid.IntRange(1, 4).Draw(t, "pieces") {
			pieces = append(pieces, piece("piece"))
		}
		var stored []StoredPipe
		for i := range rapid.IntRange(0, 4).Draw(t, "stored") {
			stored = append(stored, StoredPipe{ID: string(rune('a' + i)), Piece: piece("stored pipe")})
		}
		s := mustPlan(t, Request{Sites: []Site{row("x", "", pieces...)}, Ruler: RulerInches, Stored: stored})
		var wanted []wantedPipe
		for k := range s.Sites[0].Assembly.Pipes {
			if p := &s.Sites[0].Assembly.Pipes[k]; p.Use == UseLateral {
				wanted = append(wanted, wantedPipe{pipe: k, built: p})
			}
		}
		var least effort
		found := false
		var try func(w, used int, sum effort)
		try = func(w, used int, sum effort) {
			if w == len(wanted) {
				if !found || sum.less(least) {
					least, found = sum, true
				}
				return
			}
			try(w+1, used, sum.plus(newPipe(wanted[w].built)))
			for i := range stored {
				if f := fitOf(&stored[i], wanted[w].built); f.possible && used&(1<<i) == 0 {
					try(w+1, used|1<<i, sum.plus(f.effort))
				}
			}
		}
		try(0, 0, effort{})
		var sum effort
		taken := map[string]bool{}
		for w := range wanted {
			got := newPipe(wanted[w].built)
			for _, r := range s.Saved {
				if r.Pipe == wanted[w].pipe {
					if taken[r.Stored] {
						t.Errorf("%s is set aside twice", r.Stored)
					}
					taken[r.Stored] = true
					got = fitOf(&stored[r.Stored[0]-'a'], wanted[w].built).effort
				}
			}
			sum = sum.plus(got)
		}
		if sum != least || len(taken)+len(s.Unused) != len(stored) {
			t.Errorf("effort %v, least is %v; %d taken, %d unused of %d", sum, least, len(taken), len(s.Unused), len(stored))
		}
	})
}

// A stored pipe of 14 ft whose far half is plain becomes a lateral of 6 ft; what is cut off it serves for the manifold's stub
// and nipples, so that nothing need be bought.
func TestPlan_offersWhatIsCutOffStoredPipes(t *testing.T) {
	six := stick(pattern(6, 3, 1, 1))
	six.Length = unit.Feet(6)
	long := six
	long.Length = unit.Feet(14)
	half := *six.Pattern
	half.Count = 12
	long.Pattern = &half
	site := func(label, owner string) Site {
		s := row(label, owner, six)
		s.Layout.Manifold.Pipe = six.Pipe
		return s
	}
	for _, tc := range []struct{ name, owner string }{{"the garden's", ""}, {"somebody's whose layout it is", "Ilse"}} {
		t.Run(tc.name, func(t *testing.T) {
			r := Request{Sites: []Site{site("a", "Ilse")}, Ruler: RulerInches, Stored: []StoredPipe{{ID: "s", Owner: tc.owner, Piece: long}}, Kerf: 0.003}
			s := mustPlan(t, r)
			if len(s.Saved) != 1 || nanometers(s.Saved[0].CutOff) != nanometers(unit.Feet(8)) || len(s.Cuts) != 1 {
				t.Fatalf("saved %+v, %d cut lists", s.Saved, len(s.Cuts))
			}
			list := s.Cuts[0].List
			if list.Bought != 0 || list.Sticks[0].OffCut != "s" || !list.Sticks[0].Rest || nanometers(list.Sticks[0].Length) != nanometers(unit.Feet(8)-0.003) {
				t.Errorf("got %+v", list)
			}
		})
	}
	mixed := mustPlan(t, Request{
		Sites: []Site{site("a", "Ilse"), site("b", "Wren")}, Ruler: RulerInches,
		Stored: []StoredPipe{{ID: "s", Owner: "Ilse", Piece: long}}, Kerf: 0.003,
	})
	if list := mixed.Cuts[0].List; list.Bought == 0 || slices.ContainsFunc(list.Sticks, func(k CutStick) bool { return k.OffCut != "" }) {
		t.Errorf("what is cut off one's pipe serves another's layout: %+v", list)
	}
}

// The plain stretch of what is cut off stays clear of old holes.
func TestStoredPipe_rest(t *testing.T) {
	s := StoredPipe{Piece: stick(pattern(24, 12, 1, 1))} // 10 ft, holes at 12, 36 ... 108 in
	for _, tc := range []struct {
		name string
		r    Reservation
		want float64 // [in]; 0: none
	}{
		{"between the last hole and the end", Reservation{CutOff: unit.Inches(8)}, 8 - 1.0/8},
		{"between two holes", Reservation{CutOff: unit.Inches(40)}, 24 - 2*socketDepth.Inches()},
		{"at the tee end", Reservation{CutOffTee: unit.Inches(11)}, 11 - 1.0/8},
		{"turned round", Reservation{CutOffTee: unit.Inches(11), Reversed: true}, 11 - 1.0/8},
		{"too short", Reservation{CutOff: unit.Inches(5)}, 0},
	} {
		t.Run(tc.name, func(t *testing.T) {
			got, ok := s.rest(&tc.r, unit.Inches(1.0/8))
			if ok != (tc.want > 0) || ok && math.Abs(got.Inches()-tc.want) > 1e-6 {
				t.Errorf("got %v in, %v; want %v", got.Inches(), ok, tc.want)
			}
		})
	}
}

func TestPlan_refusesTooManyPieces(t *testing.T) {
	pieces := make([]hydraulics.Piece, 200)
	for i := range pieces {
		pieces[i] = stick(nil)
	}
	var sites []Site
	for range 26 {
		sites = append(sites, row("x", "", pieces...))
	}
	_, err := Plan(Request{Sites: sites, Ruler: RulerInches})
	var faults Faults
	if !errors.As(err, &faults) || faults[0].Code != FaultTooManyPieces || faults[0].Got != 5200 {
		t.Errorf("got %v", err)
	}
}
