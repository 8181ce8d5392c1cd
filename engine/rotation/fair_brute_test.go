package rotation

import (
	"math/big"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// drawAnyShares draws a small sharing problem with everything that one may have: shortest turns that are given anyhow, weights
// that are not the need, classes, a common limit for the turns of a day, volumes that windows draw on, and volumes within those.
func drawAnyShares(t *rapid.T) *shares {
	in := drawShares(t)
	for j := range in.claims {
		c := &in.claims[j]
		c.base = rapid.SampledFrom([]int64{0, 0, 3, 15, 70}).Draw(t, "base")
		c.class = rapid.IntRange(0, 1).Draw(t, "class")
		if rapid.Bool().Draw(t, "by area") {
			c.weight = rapid.Int64Range(1, 60).Draw(t, "weight")
		}
		if !rapid.Bool().Draw(t, "day") {
			continue
		}
		in.groups, in.groupOf = append(in.groups, rapid.Int64Range(0, 50).Draw(t, "day's limit")), append(in.groupOf, j)
		for a := range in.arcs {
			if in.arcs[a].claim == j && rapid.Bool().Draw(t, "on that day") {
				in.arcs[a].group = len(in.groups) - 1
			}
		}
	}
	for k := range rapid.IntRange(0, 2).Draw(t, "volumes") {
		in.pools, in.parentOf = append(in.pools, rapid.Int64Range(0, 60).Draw(t, "volume")), append(in.parentOf, k-1)
	}
	for w := range in.slots {
		in.poolOf[w] = rapid.IntRange(-1, len(in.pools)-1).Draw(t, "volume of the slot")
	}
	return in
}

// reachWithin is the most that the claims of a set can get together beyond their bases: the least cut, found by looking at every
// set of days, slots and volumes.
func reachWithin(in *shares, set int) int64 {
	groups, slots, pools := len(in.groups), len(in.slots), len(in.pools)
	least := int64(-1)
	for side := range 1 << (groups + slots + pools) {
		group := func(k int) bool { return side>>k&1 == 1 }
		slot := func(w int) bool { return side>>(groups+w)&1 == 1 }
		pool := func(p int) bool { return p >= 0 && side>>(groups+slots+p)&1 == 1 }
		cut := int64(0)
		for k, limit := range in.groups {
			if set>>in.groupOf[k]&1 == 1 && !group(k) {
				cut += limit
			}
		}
		for _, a := range in.arcs {
			if set>>a.claim&1 == 1 && (a.group < 0 || group(a.group)) && !slot(a.slot) {
				cut += a.limit
			}
		}
		for w, limit := range in.slots {
			if slot(w) && !pool(in.poolOf[w]) {
				cut += limit
			}
		}
		for p, limit := range in.pools {
			if pool(p) && !pool(in.parentOf[p]) {
				cut += limit
			}
		}
		if least < 0 || cut < least {
			least = cut
		}
	}
	return least
}

// bruteDivision raises the level of all open claims of a class until some set of claims has all that it can get, whatever
// the others do; those claims are settled, and the rest goes on.
type bruteDivision struct {
	in    *shares
	reach []int64    // by set of claims
	got   []*big.Rat // beyond the base, by claim; of open claims what the level gives them
	open  []bool
}

// asks is what an open claim has beyond its base at a level: no less than nothing, no more than its need.
func (b *bruteDivision) asks(j int, level *big.Rat) *big.Rat {
	c := &b.in.claims[j]
	want := new(big.Rat).Mul(level, big.NewRat(c.weight, 1))
	want.Sub(want, big.NewRat(c.base, 1))
	if most := big.NewRat(max(0, c.need-c.base), 1); want.Cmp(most) > 0 {
		want = most
	}
	if want.Sign() < 0 {
		return new(big.Rat)
	}
	return want
}

// takes is what the claims of a set have beyond their bases at a level.
func (b *bruteDivision) takes(set int, level *big.Rat) *big.Rat {
	sum := new(big.Rat)
	for j := range b.in.claims {
		switch {
		case set>>j&1 == 0:
		case b.open[j]:
			sum.Add(sum, b.asks(j, level))
		default:
			sum.Add(sum, b.got[j])
		}
	}
	return sum
}

// highest is the highest level, up to most, at which a set has no more than it can get. What the set takes is a straight line
// between the levels at which a claim starts or stops taking more.
func (b *bruteDivision) highest(set int, most *big.Rat) *big.Rat {
	room := big.NewRat(b.reach[set], 1)
	if b.takes(set, most).Cmp(room) <= 0 {
		return most
	}
	bends := []*big.Rat{new(big.Rat)}
	for j, c := range b.in.claims {
		if b.open[j] {
			bends = append(bends, big.NewRat(c.base, c.weight), big.NewRat(c.need, c.weight))
		}
	}
	slices.SortFunc(bends, (*big.Rat).Cmp)
	low := bends[0]
	for _, high := range bends[1:] {
		at := b.takes(set, high)
		if at.Cmp(room) <= 0 {
			low = high
			continue
		}
		from := b.takes(set, low)
		part := new(big.Rat).Quo(new(big.Rat).Sub(room, from), new(big.Rat).Sub(at, from))
		return part.Add(low, part.Mul(part, new(big.Rat).Sub(high, low)))
	}
	return low
}

// bruteShares are the fair amounts by definition, in parts of the weights.
func bruteShares(in *shares) []*big.Rat {
	n := len(in.claims)
	b := &bruteDivision{in: in, got: make([]*big.Rat, n), open: make([]bool, n)}
	for set := range 1 << n {
		b.reach = append(b.reach, reachWithin(in, set))
	}
	for j := range b.got {
		b.got[j] = new(big.Rat)
	}
	for class := range 2 {
		for j, c := range in.claims {
			b.open[j] = c.class == class && c.need > c.base
		}
		for slices.Contains(b.open, true) {
			b.raise()
		}
	}
	out := make([]*big.Rat, n)
	for j, c := range in.claims {
		out[j] = new(big.Rat).Quo(b.got[j].Add(b.got[j], big.NewRat(c.base, 1)), big.NewRat(c.weight, 1))
	}
	return out
}

// raise finds the next level and settles the claims that it holds down, or that have all they need.
func (b *bruteDivision) raise() {
	level := new(big.Rat)
	for j, c := range b.in.claims {
		if full := big.NewRat(c.need, c.weight); b.open[j] && full.Cmp(level) > 0 {
			level = full
		}
	}
	for set := range b.reach {
		level = b.highest(set, level)
	}
	done := make([]bool, len(b.open))
	for set := range b.reach {
		if b.takes(set, level).Cmp(big.NewRat(b.reach[set], 1)) == 0 {
			for j := range done {
				done[j] = done[j] || set>>j&1 == 1
			}
		}
	}
	for j, c := range b.in.claims {
		if b.open[j] && (done[j] || level.Cmp(big.NewRat(c.need, c.weight)) >= 0) {
			b.got[j] = b.asks(j, level)
			done[j] = true
		}
	}
	for j := range done {
		b.open[j] = b.open[j] && !done[j]
	}
}

// reached is what claim j has, as a part of its weight.
func reached(in *shares, d *division, j int) *big.Rat {
	own, base := big.NewRat(d.level[j].Num, d.level[j].Den), big.NewRat(in.claims[j].base, in.claims[j].weight)
	if own.Cmp(base) < 0 {
		return base
	}
	return own
}

// The shares of zones are those of the linear programmes solved one after the other, to the last digit: the smallest share as
// large as possible, then the next, class by class, with shortest turns, limits of days and volumes.
func TestFair_isTheLexicographicOptimumUnderEveryLimit(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := drawAnyShares(t)
		var d division
		d.fair(in, nil)
		for j, want := range bruteShares(in) {
			if got := reached(in, &d, j); got.Cmp(want) != 0 {
				t.Errorf("claim %d: %v, by definition %v", j, got, want)
			}
		}
	})
}

// sortedReached are the shares from the smallest up, class by class.
func sortedReached(in *shares) []float64 {
	var d division
	d.fair(in, nil)
	var entries []entry
	for j := range in.claims {
		share, _ := reached(in, &d, j).Float64()
		entries = append(entries, entry{in.claims[j].class, share})
	}
	return sortedShares(entries)
}

// A longer window, a longer turn, a soil that takes more in a day or a larger volume never lowers the vector of shares.
func TestFair_noLimitThatIsRaisedHurts(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := drawAnyShares(t)
		before := sortedReached(in)
		more := rapid.Int64Range(1, 20).Draw(t, "more")
		limits := []*int64{}
		for k := range in.groups {
			limits = append(limits, &in.groups[k])
		}
		for w := range in.slots {
			limits = append(limits, &in.slots[w])
		}
		for p := range in.pools {
			limits = append(limits, &in.pools[p])
		}
		for a := range in.arcs {
			limits = append(limits, &in.arcs[a].limit)
		}
		*rapid.SampledFrom(limits).Draw(t, "limit") += more
		if after := sortedReached(in); lexicographicallyLess(after, before) {
			t.Errorf("shares fell from %v to %v", before, after)
		}
	})
}

// tightSets counts the sets of claims and slots whose ratio of room to need is the least of all, and tells the least and the
// next larger ratio.
func tightSets(in *shares) (count int, least, next *big.Rat) {
	for set := 1; set < 1<<len(in.claims); set++ {
		weight := int64(0)
		for j, c := range in.claims {
			if set>>j&1 == 1 {
				weight += c.weight
			}
		}
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
			r := big.NewRat(cut, weight)
			switch {
			case least == nil || r.Cmp(least) < 0:
				count, least, next = 1, r, least
			case r.Cmp(least) == 0:
				count++
			case next == nil || r.Cmp(next) < 0:
				next = r
			}
		}
	}
	return count, least, next
}

// Where only one set of zones and windows holds the lowest level down, a little more time in its windows raises the level by
// exactly what the certificate promises: their number over the minutes that the set needs, for every minute.
func TestFair_moreMinutesBringWhatTheCertificateSaysWhereOneSetIsTight(t *testing.T) {
	t.Parallel()
	tried := 0
	rapid.Check(t, func(t *rapid.T) {
		in := drawShares(t)
		count, least, next := tightSets(in)
		one := big.NewRat(1, 1)
		if next == nil || next.Cmp(one) > 0 {
			next = one
		}
		if count > 1 || least.Cmp(one) >= 0 {
			return
		}
		const fine = 1 << 20 // a minute more is little
		for j := range in.claims {
			in.claims[j].need, in.claims[j].weight = fine*in.claims[j].need, fine*in.claims[j].weight
		}
		for a := range in.arcs {
			in.arcs[a].limit *= fine
		}
		for w := range in.slots {
			in.slots[w] *= fine
		}
		var d division
		var first Level
		d.fair(in, func(l Level) bool { first = l; return false })
		if len(first.Slots) == 0 {
			return
		}
		promised := big.NewRat(first.Room+int64(len(first.Slots)), first.Weight)
		if promised.Cmp(next) >= 0 {
			return // another set takes over before
		}
		for _, w := range first.Slots {
			in.slots[w]++
		}
		d.fair(in, nil)
		if got := smallest(&d); big.NewRat(got.Num, got.Den).Cmp(promised) != 0 {
			t.Errorf("the level rose from %v to %v, promised were %v", first.Share, got, promised)
		}
		tried++
	})
	if tried == 0 {
		t.Error("no draw had one tight set: the test proves nothing")
	}
}

// No zone stays below another of its class, or of a later one, that has more than its shortest turns in a window which the
// poorer could still use: its turn there, its day and its need leave room.
func TestFair_nobodyHoldsMoreThanShortestTurnsThatThePoorerCouldUse(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := drawAnyShares(t)
		const fine = 1000 // amounts are whole milli-minutes, rounded down
		for j := range in.claims {
			c := &in.claims[j]
			c.need, c.weight, c.base = fine*c.need, fine*c.weight, fine*c.base
		}
		for _, limits := range [][]int64{in.groups, in.slots, in.pools} {
			for k := range limits {
				limits[k] *= fine
			}
		}
		for a := range in.arcs {
			in.arcs[a].limit *= fine
		}
		var d, deal division
		d.fair(in, nil)
		amounts := d.amounts(in)
		given, all := deal.deal(in, amounts, nil)
		if !all {
			t.Fatal("the amounts can't be dealt out")
		}
		days := make([]int64, len(in.groups))
		for a, arc := range in.arcs {
			if arc.group >= 0 {
				days[arc.group] += given[a]
			}
		}
		share := func(j int) float64 { return float64(amounts[j]) / float64(in.claims[j].weight) }
		few := int64(len(in.claims)) // lost to rounding
		for a, poor := range in.arcs {
			c := in.claims[poor.claim]
			if given[a] >= poor.limit-few || amounts[poor.claim] >= c.need || poor.group >= 0 && days[poor.group] >= in.groups[poor.group]-few {
				continue
			}
			for b, rich := range in.arcs {
				o := in.claims[rich.claim]
				if poor.slot != rich.slot || given[b] <= few || o.class < c.class {
					continue
				}
				rounding := float64(few) * (1/float64(c.weight) + 1/float64(o.weight))
				if o.class > c.class || share(rich.claim)-share(poor.claim) > rounding {
					t.Errorf("claim %d has %.3f, claim %d %.3f, and %d minutes in slot %d that the other could use",
						poor.claim, share(poor.claim), rich.claim, share(rich.claim), given[b], rich.slot)
				}
			}
		}
	})
}
