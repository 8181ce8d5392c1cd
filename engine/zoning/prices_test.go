package zoning

import (
	"testing"

	"pgregory.net/rapid"
)

func TestPrices_areThoseOfAMap(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		var got prices
		want := map[uint64]cost{}
		// Keys that crowd at the end of the table make it go round.
		key := rapid.OneOf(rapid.Uint64Range(1, 1<<62), rapid.Map(rapid.Uint64Range(1, 1<<40), func(k uint64) uint64 { return k<<11 - k%4 - 1 }))
		for n, k := range rapid.SliceOfN(key, 0, 2*firstPrices).Draw(t, "keys") {
			c, known := got.find(k)
			if other, there := want[k]; c != other || known != there {
				t.Fatalf("%d costs %v (%v), want %v (%v)", k, c, known, other, there)
			}
			if !known {
				want[k] = cost{fits: true, time: float64(n)}
				got.add(k, want[k])
			}
		}
		for k := range want {
			if c, known := got.find(k); !known || c != want[k] {
				t.Fatalf("%d costs %v (%v), want %v", k, c, known, want[k])
			}
		}
	})
}
