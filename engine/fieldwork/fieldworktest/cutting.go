// Package fieldworktest makes requests for cut lists like those of gardens, each from a seed.
package fieldworktest

import (
	"fmt"
	"math"
	"math/rand/v2"

	"rillturn.example/rillturn/engine/fieldwork"
	"rillturn.example/rillturn/engine/unit"
)

// Spec names one request: the same spec gives the same request.
type Spec struct {
	Kind   Kind
	Pieces int
	Seed   uint64
}

// Name is what a report calls the request.
func (s Spec) Name() string { return fmt.Sprintf("%s, %d pieces, seed %d", s.Kind, s.Pieces, s.Seed) }

// Kind says which lengths the pieces have.
type Kind string

// The kinds. Of a quarter to 3/5 of a stick there is much to choose; of thirds only the shorter half goes three to a stick; tight
// pieces fill most sticks to within a millimetre.
const (
	Beds      Kind = "beds"       // runs of usual bed lengths, manifold pipe between tees 3 ft or 0.9 m apart, stubs
	Any       Kind = "1 to 10 ft" // to the eighth of an inch
	Quarter   Kind = "1/4 to 3/5" // of the shortest stick
	Third     Kind = "about a third"
	Different Kind = "all different" // no two alike
	Short     Kind = "half a foot to 4 ft"
	Metric    Kind = "0.4 to 1.9 m"
	Tight     Kind = "tight"
)

// Kinds lists the kinds.
var Kinds = []Kind{Beds, Any, Quarter, Third, Different, Short, Metric, Tight}

// stocks are lengths that shops sell side by side, and a few that they hardly do; the longest last.
var stocks = [][]unit.Length{
	{unit.Feet(10)},
	{unit.Feet(10), unit.Feet(20)},
	{3, unit.Feet(10), unit.Feet(20)},
	{unit.Feet(5), unit.Feet(10)},
	{unit.Feet(8), unit.Feet(10), unit.Feet(20)},
	{3},
	{3, 6},
	{3, 4, 5, 6},
	{2.5, 3, 4},
	{4, 6},
}

// kerfs of handsaws and mitre saws, and of a cutter that takes nothing.
var kerfs = []unit.Length{0, unit.Inches(1.0 / 8), unit.Millimeters(2), unit.Millimeters(3)}

// Cutting returns the request of a spec: stick lengths, kerf, off-cuts and, of every other request, prices go by the seed.
func Cutting(s Spec) fieldwork.Cutting {
	r := rand.New(rand.NewPCG(s.Seed, uint64(len(s.Kind))<<32|uint64(s.Pieces))) //nolint:gosec // reproducible on purpose
	c := fieldwork.Cutting{Stock: stocks[int(s.Seed)%len(stocks)], Kerf: kerfs[r.IntN(len(kerfs))]}
	longest := c.Stock[len(c.Stock)-1]
	for i := range r.IntN(7) {
		c.OffCuts = append(c.OffCuts, fieldwork.OffCut{ID: fmt.Sprint("off-cut ", i+1), Length: unit.Inches(10 + float64(r.IntN(90)))})
	}
	draw := lengths(s.Kind, c.Stock[0], c.Kerf, r)
	for i := range s.Pieces {
		c.Pieces = append(c.Pieces, fieldwork.WantedPiece{Label: fmt.Sprint(i + 1), Length: min(draw(), longest)})
	}
	if (s.Seed/uint64(len(stocks)))%2 == 1 {
		for _, l := range c.Stock {
			const centsPerMeter, spread, handling = 140, 20, 60
			c.Cents = append(c.Cents, int64(math.Round(float64(l)*float64(centsPerMeter+r.IntN(spread))))+handling)
		}
	}
	return c
}

// lengths returns a source of pieces.
func lengths(k Kind, stick, kerf unit.Length, r *rand.Rand) func() unit.Length {
	between := func(low, high unit.Length, steps int) func() unit.Length {
		return func() unit.Length { return low + (high-low)*unit.Length(r.IntN(steps+1))/unit.Length(steps) }
	}
	switch k {
	case Beds:
		return beds(stick, r)
	case Quarter:
		return between(stick/4, stick*3/5, 672)
	case Third:
		return between(unit.Feet(3), unit.Inches(44), 512)
	case Different:
		return between(unit.Inches(30), unit.Feet(6), 1e6)
	case Short:
		return between(unit.Inches(6), unit.Inches(46), 640)
	case Metric:
		return between(0.4, 1.9, 1500)
	case Tight:
		return tight(stick, kerf, r)
	case Any:
	}
	return between(unit.Feet(1), unit.Feet(10), 864)
}

// beds cuts runs of usual bed lengths, half an inch shorter where a box encloses them, into whole sticks and a rest, and adds
// manifold pipe and stubs.
func beds(stick unit.Length, r *rand.Rand) func() unit.Length {
	runs := []unit.Length{
		unit.Feet(4), unit.Feet(6), unit.Feet(8) - unit.Inches(0.5), unit.Feet(8) - unit.Inches(3), unit.Feet(10), unit.Feet(12),
		unit.Feet(16), unit.Feet(20), unit.Feet(25), unit.Feet(30), 1.2, 2.4, 3.6, 5, 7.5,
	}
	var queue []unit.Length
	return func() unit.Length {
		for len(queue) == 0 {
			switch n := r.IntN(8); n {
			case 0:
				queue = append(queue, unit.Feet(3)-unit.Inches(float64(r.IntN(9))/8))
			case 1:
				queue = append(queue, unit.Inches(4))
			default:
				run := runs[r.IntN(len(runs))]
				for ; run > stick; run -= stick {
					queue = append(queue, stick)
				}
				if run > unit.Inches(1) {
					queue = append(queue, run)
				}
			}
		}
		l := queue[0]
		queue = queue[1:]
		return l
	}
}

// tight cuts sticks into two to four pieces that leave nothing.
func tight(stick, kerf unit.Length, r *rand.Rand) func() unit.Length {
	const grain = 1e-3 // [m]
	var queue []unit.Length
	return func() unit.Length {
		if len(queue) == 0 {
			n := 2 + r.IntN(3)
			rest := stick - kerf*unit.Length(n-1)
			for ; n > 1; n-- {
				share := float64(rest) / float64(n) * (0.5 + r.Float64())
				l := unit.Length(math.Round(share/grain) * grain)
				queue, rest = append(queue, l), rest-l
			}
			queue = append(queue, rest)
		}
		l := queue[0]
		queue = queue[1:]
		return l
	}
}
