package fieldwork

import (
	"cmp"
	"math"
	"slices"

	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/unit"
)

// PartKind names a line of a parts list: a fitting by its kind, or one of those below.
type PartKind string

// The parts that are not fittings.
const (
	PartPipe        PartKind = "pipe" // sticks to buy
	PartRatedOutlet PartKind = "rated_outlet"
	PartCement      PartKind = "solvent_cement"
	// PartBackflow is the device that local code asks for at the hose connection; which one it is, code and utility say.
	PartBackflow PartKind = "backflow_device"
)

// Known says that a parts list may have a line of this kind.
func (k PartKind) Known() bool {
	switch k {
	case PartPipe, PartRatedOutlet, PartCement, PartBackflow:
		return true
	}
	return FittingKind(k).Ports() > 0
}

// Part is one line of a parts list.
type Part struct {
	Kind PartKind
	// Size is the trade size, Branch that of other ports where they differ; Wall is that of pipe.
	Size, Wall, Branch string
	Length             unit.Length // of one stick of pipe; 0 for others
	Count              int         // built in, or bought as sticks
	Spare              int         // to keep beside
	Cemented, Pressed  int         // joints
	PriceCents         *int64      // of one; nil when nobody said
}

// Price is what one part costs. Empty fields of a price match anything.
type Price struct {
	Kind               PartKind
	Size, Wall, Branch string
	Length             unit.Length
	Cents              int64
}

func (p *Price) matches(x *Part) bool {
	same := func(want, have string) bool { return want == "" || want == have }
	return p.Kind == x.Kind && same(p.Size, x.Size) && same(p.Wall, x.Wall) && same(p.Branch, x.Branch) &&
		(p.Length == 0 || nanometers(p.Length) == nanometers(x.Length))
}

// PartsCost is the sum of a parts list. Lines without a price are counted, not guessed.
type PartsCost struct {
	Cents    int64
	Unpriced int
}

// Cost adds up a parts list with its spares.
func Cost(parts []Part) PartsCost {
	var c PartsCost
	for _, p := range parts {
		switch {
		case p.PriceCents == nil:
			c.Unpriced++
		default:
			c.Cents += *p.PriceCents * int64(p.Count+p.Spare)
		}
	}
	return c
}

// spareKinds are what gets lost or breaks; one spare for every ten begun. Common practice, no source.
var spareKinds = map[PartKind]bool{
	PartKind(FittingCoupling): true, PartKind(FittingFlushCap): true, PartKind(FittingPlug): true, PartRatedOutlet: true,
}

const sparePerParts = 10

// fittingParts counts the fittings of an assembly in the order of their first use.
func fittingParts(a *Assembly) []Part {
	type key struct {
		kind         FittingKind
		size, branch string
	}
	index := map[key]int{}
	var parts []Part
	line := make([]int, len(a.Fittings))
	for i, f := range a.Fittings {
		k := key{f.Kind, f.Size, f.Branch}
		n, seen := index[k]
		if !seen {
			n = len(parts)
			index[k] = n
			parts = append(parts, Part{Kind: PartKind(f.Kind), Size: f.Size, Branch: f.Branch})
		}
		parts[n].Count++
		line[i] = n
	}
	for _, j := range a.Joints {
		if j.Cemented {
			parts[line[j.Fitting]].Cemented++
		} else {
			parts[line[j.Fitting]].Pressed++
		}
	}
	return parts
}

// partsOf lists everything of a layout but pipe, which is bought by the cut list.
func partsOf(a *Assembly) []Part {
	parts := append([]Part{{Kind: PartBackflow, Count: 1}}, fittingParts(a)...)
	outlets, cement := 0, false
	for i := range a.Pipes {
		for _, h := range a.Pipes[i].Holes {
			if h.Pattern.Rated != nil {
				outlets += h.Pattern.HolesPerSet
			}
		}
	}
	for _, j := range a.Joints {
		cement = cement || j.Cemented
	}
	if outlets > 0 {
		parts = append(parts, Part{Kind: PartRatedOutlet, Count: outlets})
	}
	if cement {
		parts = append(parts, Part{Kind: PartCement, Count: 1})
	}
	return parts
}

// spared adds spares and prices.
func spared(parts []Part, prices []Price) []Part {
	for i := range parts {
		p := &parts[i]
		if spareKinds[p.Kind] {
			p.Spare = int(math.Ceil(float64(p.Count) / sparePerParts))
		}
		for k := range prices {
			if prices[k].matches(p) {
				p.PriceCents = &prices[k].Cents
				break
			}
		}
	}
	return parts
}

// merge adds lists of parts line by line, in the order of first use.
func merge(lists ...[]Part) []Part {
	var out []Part
	for _, list := range lists {
		for _, p := range list {
			n := slices.IndexFunc(out, func(x Part) bool {
				return x.Kind == p.Kind && x.Size == p.Size && x.Wall == p.Wall && x.Branch == p.Branch && x.Length == p.Length
			})
			if n < 0 {
				out = append(out, p)
				continue
			}
			out[n].Count += p.Count
			out[n].Cemented += p.Cemented
			out[n].Pressed += p.Pressed
		}
	}
	return out
}

// pipeOrder orders pipes for people: by wall, then by bore.
func pipeOrder(a, b hydraulics.Pipe) int {
	return cmp.Or(cmp.Compare(b.Bore(), a.Bore()), cmp.Compare(a.Size, b.Size), cmp.Compare(a.Wall, b.Wall))
}
