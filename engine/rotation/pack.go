package rotation

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
)

// Work of a packing: how often it begins anew with the windows in another order, and the choices that each try may make.
const (
	packTries   = 3
	packChoices = 10000
	choiceSteps = 20 // what a choice costs, against an edge of a flow looked at
)

// parcel is the visit of a zone that is to be packed, with its pause.
type parcel struct {
	zone, runs int
	amount     float64
	size       float64
}

// packer fills the windows of one source one after the other, each with visits that use it up but for what may stay idle in
// all: bin completion (Gent and Walsh; Korf; from memory), for gardens whose visits fill their windows to the last minute.
type packer struct {
	b       *builder
	parcels []parcel // largest first
	slots   []int
	in      []int   // by parcel: its slot, or -1
	idle    float64 // what may stay idle in windows not filled yet
	choices int
}

// fill packs as many visits as the builder made into the windows of its one source, each whole. It returns nil
// where it finds no way, or none is possible.
func (b *builder) fill() Pattern {
	rng := rand.New(rand.NewPCG(packSeed, 1)) //nolint:gosec // reproducible on purpose
	p := packer{b: b, slots: slices.Clone(b.g.Of[b.g.Zones[0].Source])}
	for j := range b.runs {
		p.divide(j)
	}
	slices.SortStableFunc(p.parcels, func(x, y parcel) int { return cmp.Compare(y.size, x.size) })
	total := 0.0
	for _, w := range p.slots {
		total += b.room[w] + b.changeover(w)
	}
	p.idle = total + packSlack*float64(len(p.parcels)+1)
	for _, v := range p.parcels {
		p.idle -= v.size
	}
	if p.idle < 0 || p.idle > tightPart*total {
		return nil
	}
	for try := range packTries {
		p.arrange(rng, float64(try)/packTries)
		p.in = slices.Repeat([]int{-1}, len(p.parcels))
		p.choices = packChoices
		found := p.next(0, p.idle)
		if b.g.steps += choiceSteps * int64(packChoices-p.choices); found {
			return p.pattern()
		}
	}
	return nil
}

// divide makes even visits of what zone j wants, one for each day on which the builder put it, more where its soil takes less.
func (p *packer) divide(j int) {
	g, z := p.b.g, &p.b.g.Zones[j]
	watered := make([]bool, g.Model.Days)
	visits := 0
	for w, k := range p.b.runs[j] {
		if d := g.Slots[w].Day; k > 0 && !watered[d] {
			watered[d] = true
			visits++
		}
	}
	want := math.Max(0, p.b.level*float64(z.Time)-float64(z.Done))
	visits = max(visits, int(math.Ceil(want/math.Max(1, float64(z.DayCap))-1e-6)))
	for range visits {
		amount := math.Max(want/float64(visits), float64(g.minRun(j)))
		runs := max(1, int(math.Ceil(amount/math.Max(1, float64(z.MaxRun))-1e-6)))
		size := amount + float64(runs)*float64(g.Model.Sources[z.Source].Changeover)
		p.parcels = append(p.parcels, parcel{zone: j, runs: runs, amount: amount, size: size})
	}
}

// arrange puts windows into an order: short ones first, because few visits use them up, and more and more by chance.
func (p *packer) arrange(rng *rand.Rand, chance float64) {
	key := make(map[int]float64, len(p.slots))
	for _, w := range p.slots {
		key[w] = p.b.room[w] * (1 + 2*chance*rng.Float64())
	}
	slices.SortStableFunc(p.slots, func(x, y int) int { return cmp.Compare(key[x], key[y]) })
}

// packSeed starts the dice of packings, which leave those of the search alone.
const packSeed = 0x7061636b

// tightPart is the part of all windows that may stay idle in a garden that is packed: where more may, other ways do.
const tightPart = 0.03

// packSlack makes up for rounding, by visit [milli-minutes]: nobody can measure what is lost of a turn.
const packSlack = 3

// next fills window number at and those after it.
func (p *packer) next(at int, idle float64) bool {
	if at == len(p.slots) {
		return !slices.Contains(p.in, -1) && p.timely()
	}
	w := p.slots[at]
	return p.add(at, 0, p.b.room[w]+p.b.changeover(w), idle)
}

// add puts parcels from number from on into window number at, which has so much room left.
func (p *packer) add(at, from int, room, idle float64) bool {
	if p.choices--; p.choices < 0 {
		return false
	}
	rest, least := 0.0, math.Inf(1)
	for i := from; i < len(p.parcels); i++ {
		if p.in[i] < 0 && p.parcels[i].size <= room+packSlack {
			rest, least = rest+p.parcels[i].size, p.parcels[i].size
		}
	}
	w, last := p.slots[at], -1.0
	for i := from; i < len(p.parcels) && rest >= room-idle; i++ {
		v := &p.parcels[i]
		if p.in[i] >= 0 || v.size > room+packSlack {
			continue
		}
		rest -= v.size
		if left := room - v.size; v.size == last || left > idle && left < least || !p.may(i, w) {
			continue
		}
		p.in[i] = w
		if p.add(at, i+1, room-v.size, idle) {
			return true
		}
		p.in[i], last = -1, v.size
	}
	return room <= idle && p.next(at+1, idle-room)
}

// may tells whether parcel i can be in slot w beside what is packed: once a day, and no longer than a visit there can be.
func (p *packer) may(i, w int) bool {
	v, g := &p.parcels[i], p.b.g
	if !g.canVisit(v.zone, w) || float64(g.visitCap(v.zone, w, v.runs)) < v.amount-packSlack {
		return false
	}
	for k := range p.parcels {
		if k != i && p.parcels[k].zone == v.zone && p.in[k] >= 0 && g.Slots[p.in[k]].Day == g.Slots[w].Day {
			return false
		}
	}
	return true
}

func (p *packer) pattern() Pattern {
	out := make(Pattern, len(p.b.runs))
	for j := range out {
		out[j] = make([]uint8, len(p.b.g.Slots))
	}
	for i, v := range p.parcels {
		out[v.zone][p.in[i]] += uint8(v.runs)
	}
	return out
}

// timely tells whether the packing is no later than what was packed.
func (p *packer) timely() bool {
	pattern := p.pattern()
	for j := range pattern {
		if p.b.g.lateDays(pattern, j) > p.b.g.lateDays(p.b.runs, j) {
			return false
		}
	}
	return true
}
