package rotation

import (
	"math/big"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// drawShares draws a sharing problem small enough to look at every set.
func drawShares(t *rapid.T) *shares {
	in := &shares{}
	claims, slots := rapid.IntRange(1, 4).Draw(t, "claims"), rapid.IntRange(1, 4).Draw(t, "slots")
	for range slots {
		in.slots = append(in.slots, rapid.Int64Range(0, 50).Draw(t, "slot"))
		in.poolOf = append(in.poolOf, -1)
	}
	for j := range claims {
		need := rapid.Int64Range(1, 60).Draw(t, "need")
		in.claims = append(in.claims, claim{weight: need, need: need})
		for w := range slots {
			if rapid.Bool().Draw(t, "arc") {
				in.arcs = append(in.arcs, arc{claim: j, slot: w, limit: rapid.Int64Range(1, 40).Draw(t, "limit"), group: -1})
			}
		}
	}
	return in
}

// reach is the most that the claims of a set can get together: the least cut, found by looking at every set of slots.
func reach(in *shares, set int) int64 {
	least := int64(-1)
	for full := range 1 << len(in.slots) {
		cut := int64(0)
		for w, room := range in.slots {
			if full>>w&1 == 1 {
				cut += room
			}
		}
		for _, a := range in.arcs {
			if set>>a.claim&1 == 1 && full>>a.slot&1 == 0 {
				cut += a.limit
			}
		}
		if least < 0 || cut < least {
			least = cut
		}
	}
	return least
}

// bruteLevels finds the fair shares by definition: the set that can get least for its weight goes first, then the set
// that can get least of what is left.
func bruteLevels(in *shares) []*big.Rat {
	levels := make([]*big.Rat, len(in.claims))
	done, all := 0, 1<<len(in.claims)-1
	for done != all {
		bestSet, best := 0, (*big.Rat)(nil)
		for set := 1; set <= all; set++ {
			if set&done != 0 {
				continue
			}
			weight := int64(0)
			for j, c := range in.claims {
				if set>>j&1 == 1 {
					weight += c.weight
				}
			}
			if r := big.NewRat(reach(in, set|done)-reach(in, done), weight); best == nil || r.Cmp(best) < 0 {
				bestSet, best = set, r
			}
		}
		if best.Cmp(big.NewRat(1, 1)) >= 0 {
			best, bestSet = big.NewRat(1, 1), all&^done
		}
		for j := range in.claims {
			if bestSet>>j&1 == 1 {
				levels[j] = best
			}
		}
		done |= bestSet
	}
	return levels
}

func TestFair_isTheLexicographicOptimum(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := drawShares(t)
		var d division
		d.fair(in, nil)
		for j, want := range bruteLevels(in) {
			if got := big.NewRat(d.level[j].Num, d.level[j].Den); got.Cmp(want) != 0 {
				t.Errorf("claim %d: %v, by definition %v", j, got, want)
			}
		}
	})
}

func TestFairer_comparesLikeTheWholeDivision(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := drawShares(t)
		for j := range in.claims {
			in.claims[j].class = 0
		}
		var d division
		sorted := func() []float64 {
			entries := make([]entry, len(in.claims))
			for j := range in.claims {
				entries[j].share = max(d.level[j].Float(), float64(min(in.claims[j].base, in.claims[j].need))/float64(max(1, in.claims[j].weight)))
			}
			return sortedShares(entries)
		}
		d.fair(in, nil)
		whole := sorted()
		than := slices.Clone(whole)
		at := rapid.IntRange(0, len(than)-1).Draw(t, "at")
		by := rapid.SampledFrom([]float64{0, 0.2, 1e-3, 1e-6, -1e-6, -1e-3, -0.2}).Draw(t, "by")
		for k := at; k < len(than); k++ {
			than[k] = max(than[k]+by, 0)
		}
		slices.Sort(than)
		less := false
		for k := range whole {
			if diff := whole[k] - than[k]; diff > shareTolerance || diff < -shareTolerance {
				less = diff < 0
				break
			}
		}
		if !d.fairer(in, than) {
			if !less {
				t.Fatalf("%v is given up beside %v", whole, than)
			}
			return
		}
		if got := sorted(); !slices.Equal(got, whole) {
			t.Fatalf("%v beside %v, %v without", got, than, whole)
		}
	})
}

func TestFair_amountsCanBeDealtOut(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := drawShares(t)
		var d division
		d.fair(in, nil)
		amounts := d.amounts(in)
		given, all := d.deal(in, amounts, nil)
		if !all {
			t.Fatalf("amounts %v do not fit", amounts)
		}
		sums, used := make([]int64, len(in.claims)), make([]int64, len(in.slots))
		for a, v := range given {
			if v < 0 || v > in.arcs[a].limit {
				t.Errorf("arc %d carries %d of %d", a, v, in.arcs[a].limit)
			}
			sums[in.arcs[a].claim] += v
			used[in.arcs[a].slot] += v
		}
		for j := range sums {
			if sums[j] != amounts[j] {
				t.Errorf("claim %d gets %d of %d", j, sums[j], amounts[j])
			}
		}
		for w := range used {
			if used[w] > in.slots[w] {
				t.Errorf("slot %d gives %d of %d", w, used[w], in.slots[w])
			}
		}
	})
}

// sortedLevels returns the levels from the smallest up.
func sortedLevels(in *shares) []float64 {
	var d division
	d.fair(in, nil)
	var entries []entry
	for _, r := range d.level {
		entries = append(entries, entry{0, r.Float()})
	}
	return sortedShares(entries)
}

func lexicographicallyLess(a, b []float64) bool {
	for k := range a {
		if a[k] != b[k] {
			return a[k] < b[k]
		}
	}
	return false
}

func TestFair_moreRoomNeverHurtsTheSmallest(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := drawShares(t)
		before := sortedLevels(in)
		switch rapid.IntRange(0, 2).Draw(t, "what grows") {
		case 0:
			in.slots[rapid.IntRange(0, len(in.slots)-1).Draw(t, "slot")] += rapid.Int64Range(1, 20).Draw(t, "more")
		case 1:
			if len(in.arcs) > 0 {
				in.arcs[rapid.IntRange(0, len(in.arcs)-1).Draw(t, "arc")].limit += rapid.Int64Range(1, 20).Draw(t, "more")
			}
		default:
			in.slots, in.poolOf = append(in.slots, 10), append(in.poolOf, -1)
			in.arcs = append(in.arcs, arc{claim: 0, slot: len(in.slots) - 1, limit: 10, group: -1})
		}
		if after := sortedLevels(in); lexicographicallyLess(after, before) {
			t.Errorf("shares fell from %v to %v", before, after)
		}
	})
}

func TestFair_scalingLeavesShares(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := drawShares(t)
		before := sortedLevels(in)
		by := rapid.Int64Range(2, 9).Draw(t, "by")
		for w := range in.slots {
			in.slots[w] *= by
		}
		for a := range in.arcs {
			in.arcs[a].limit *= by
		}
		for j := range in.claims {
			in.claims[j].weight, in.claims[j].need = in.claims[j].weight*by, in.claims[j].need*by
		}
		for k, v := range sortedLevels(in) {
			if v != before[k] {
				t.Errorf("share %d: %v, scaled %v", k, before[k], v)
			}
		}
	})
}

func TestFair_splittingASlotChangesNothing(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := drawShares(t)
		for a := range in.arcs {
			in.arcs[a].limit = 1000 // only the slots limit, so that halves of a visit need no common limit
		}
		before := sortedLevels(in)
		w := rapid.IntRange(0, len(in.slots)-1).Draw(t, "slot")
		part := rapid.Int64Range(0, in.slots[w]).Draw(t, "part")
		in.slots[w] -= part
		in.slots, in.poolOf = append(in.slots, part), append(in.poolOf, -1)
		for _, a := range in.arcs {
			if a.slot == w {
				a.slot = len(in.slots) - 1
				in.arcs = append(in.arcs, a)
			}
		}
		for k, v := range sortedLevels(in) {
			if v != before[k] {
				t.Errorf("share %d: %v, with the slot split %v", k, before[k], v)
			}
		}
	})
}

func TestFair_basesAndClassesComeFirst(t *testing.T) {
	t.Parallel()
	// One slot of 100. Three equal claims of 60; the third has 50 already, so the others share what is left; then the
	// same with the first claim in a class before all others.
	in := &shares{slots: []int64{100}, poolOf: []int{-1}}
	for j := range 3 {
		in.claims = append(in.claims, claim{weight: 60, need: 60})
		in.arcs = append(in.arcs, arc{claim: j, slot: 0, limit: 60, group: -1})
	}
	in.slots[0], in.claims[2].base = 50, 50 // its base is out of the slot
	for _, tc := range []struct {
		classes [3]int
		want    [3]int64
	}{
		{[3]int{0, 0, 0}, [3]int64{25, 25, 50}},
		{[3]int{0, 1, 1}, [3]int64{50, 0, 50}},
		{[3]int{1, 0, 1}, [3]int64{0, 50, 50}},
	} {
		for j := range in.claims {
			in.claims[j].class = tc.classes[j]
		}
		var d division
		d.fair(in, nil)
		for j, got := range d.amounts(in) {
			if got != tc.want[j] {
				t.Errorf("classes %v: claim %d gets %d, want %d", tc.classes, j, got, tc.want[j])
			}
		}
	}
}
