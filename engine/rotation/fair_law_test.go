package rotation

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// smallest is the least share of a division.
func smallest(d *division) Ratio {
	least := Ratio{1, 1}
	for _, r := range d.level {
		if r.Less(least) {
			least = r
		}
	}
	return least
}

// A minute more in every window that holds the lowest level down raises it by no more than their number over the weights
// of its claims: what a certificate says that more water hours would bring.
func TestFair_moreMinutesBringNoMoreThanTheCertificateSays(t *testing.T) {
	t.Parallel()
	reached, tried := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		in := drawShares(t)
		var d division
		var first Level
		d.fair(in, func(l Level) bool { first = l; return false })
		if first.Full || len(first.Slots) == 0 {
			return
		}
		more := rapid.Int64Range(1, 10).Draw(t, "more")
		for _, w := range first.Slots {
			in.slots[w] += more
		}
		d.fair(in, nil)
		most := Ratio{first.Room + more*int64(len(first.Slots)), first.Weight}
		got := smallest(&d)
		if most.Less(got) {
			t.Errorf("the level rose from %v to %v, at most to %v by the certificate", first.Share, got, most)
		}
		if tried++; !got.Less(most) || !most.Less(Ratio{1, 1}) {
			reached++
		}
	})
	if reached*4 < tried {
		t.Errorf("what the certificate promises was reached in %d of %d", reached, tried)
	}
}

// Nobody has minutes in a window that somebody with a smaller share could use.
func TestFair_nobodyHoldsWhatThePoorerCouldUse(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := drawShares(t)
		const fine = 1000 // amounts are whole milli-minutes, rounded down
		for j := range in.claims {
			in.claims[j].need, in.claims[j].weight = fine*in.claims[j].need, fine*in.claims[j].weight
		}
		for a := range in.arcs {
			in.arcs[a].limit *= fine
		}
		for w := range in.slots {
			in.slots[w] *= fine
		}
		var d, deal division
		d.fair(in, nil)
		amounts := d.amounts(in)
		given, all := deal.deal(in, amounts, nil)
		if !all {
			t.Fatal("the amounts can't be dealt out")
		}
		share := func(j int) float64 { return float64(amounts[j]) / float64(in.claims[j].weight) }
		for a, poor := range in.arcs {
			for b, rich := range in.arcs {
				few := int64(len(in.claims)) // lost to rounding
				if poor.slot != rich.slot || given[a] >= poor.limit-few || given[b] <= few || amounts[poor.claim] >= in.claims[poor.claim].need {
					continue
				}
				rounding := 1/float64(in.claims[poor.claim].weight) + 1/float64(in.claims[rich.claim].weight)
				if share(rich.claim)-share(poor.claim) > rounding {
					t.Errorf("claim %d has %.3f of its need, claim %d %.3f, and %d minutes in slot %d that the other could use",
						poor.claim, share(poor.claim), rich.claim, share(rich.claim), given[b], rich.slot)
				}
			}
		}
	})
}

// When one zone needs nothing any more, the least served of the others is never worse off; and it doesn't matter in what
// order zones are named.
func TestFair_fewerNeedsNeverHurtAndOrderDoesNotMatter(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := drawShares(t)
		var d division
		d.fair(in, nil)
		before := slices.Clone(d.level)
		order := rapid.Permutation(rapid.SliceOfNDistinct(rapid.IntRange(0, len(in.claims)-1), len(in.claims), len(in.claims), rapid.ID).Draw(t, "claims")).Draw(t, "order")
		turned := &shares{slots: in.slots, poolOf: in.poolOf, claims: make([]claim, len(in.claims))}
		for j, c := range in.claims {
			turned.claims[order[j]] = c
		}
		for _, a := range in.arcs {
			a.claim = order[a.claim]
			turned.arcs = append(turned.arcs, a)
		}
		var e division
		e.fair(turned, nil)
		for j := range before {
			if before[j].Less(e.level[order[j]]) || e.level[order[j]].Less(before[j]) {
				t.Errorf("claim %d has %v, %v when it is called %d", j, before[j], e.level[order[j]], order[j])
			}
		}
		gone := rapid.IntRange(0, len(in.claims)-1).Draw(t, "gone")
		was := Ratio{1, 1}
		for j := range before {
			if j != gone && before[j].Less(was) {
				was = before[j]
			}
		}
		in.claims[gone].need, in.claims[gone].weight = 0, 0
		d.fair(in, nil)
		if now := smallest(&d); now.Less(was) && now.Less(smallest(&division{level: before})) {
			t.Errorf("smallest share %v, %v before claim %d needed nothing", now, was, gone)
		}
	})
}
