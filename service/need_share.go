package service

import (
	"slices"

	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/engine/waterneed"
	"rillturn.example/rillturn/service/file"
)

// flowShares returns the share of a unit's litres that falls on each of its plantings. Where a planting says along which
// laterals it stands, that is what the holes along it pour when the layout runs alone; holes along several plantings that
// stand together are shared by wet ground. A planting is credited with no less than leastEvenness of what its wet ground
// would get of even water: to water the starved end of a layout would drown the rest.
func (f *facts) flowShares(u *watered) []float64 {
	even := u.unit.Shares()
	places := f.places(u)
	if !u.solved || u.alone.Flow <= 0 || !slices.ContainsFunc(places, located) {
		return even
	}
	shares := make([]float64, len(even))
	for along, flow := range u.alongside(places) {
		var standing []waterneed.Planting
		var which []int
		for i := range places {
			if along[i] == '1' {
				standing, which = append(standing, u.unit.Plantings[i]), append(which, i)
			}
		}
		for j, share := range (waterneed.Unit{Plantings: standing}).Shares() {
			shares[which[j]] += share * float64(flow/u.alone.Flow)
		}
	}
	starved := false
	for i, share := range even {
		if shares[i] < leastEvenness*share {
			shares[i], starved = leastEvenness*share, true
		}
	}
	if starved && !slices.Contains(u.flags, flagUneven) {
		u.flags = append(u.flags, flagUneven)
	}
	return f.within(u, shares)
}

// within scales shares that starved plantings raised above the whole.
func (f *facts) within(u *watered, shares []float64) []float64 {
	given := u.unit
	given.Plantings = slices.Clone(u.unit.Plantings)
	for i := range given.Plantings {
		given.Plantings[i].FlowShare = shares[i]
	}
	if most := given.FlowAtOnce(); most > 1 {
		for i := range shares {
			shares[i] /= most
		}
	}
	return shares
}

// places are the plantings of a unit as the garden file has them.
func (f *facts) places(u *watered) []file.Planting {
	out := make([]file.Planting, len(u.unit.Plantings))
	for i, p := range u.unit.Plantings {
		out[i] = f.Plantings[slices.IndexFunc(f.Plantings, func(q file.Planting) bool { return q.ID == p.ID })]
	}
	return out
}

func located(p file.Planting) bool { return len(p.Outlets) > 0 || p.FromM != nil || p.ToM != nil }

// alongside sums the flow of the holes by the plantings that stand along them, written as a row of 0 and 1.
func (u *watered) alongside(places []file.Planting) map[string]unit.Flow {
	flows := map[string]unit.Flow{}
	along := make([]byte, len(places))
	for _, l := range u.alone.Laterals {
		for _, s := range l.Sets {
			for i, p := range places {
				along[i] = '0'
				if standsAt(p, l.Outlet, s.Position) {
					along[i] = '1'
				}
			}
			flows[string(along)] += s.Flow
		}
	}
	return flows
}

// standsAt reports whether a planting stands along a place of a lateral.
func standsAt(p file.Planting, outlet int, at unit.Length) bool {
	return (len(p.Outlets) == 0 || slices.Contains(p.Outlets, outlet)) && (p.FromM == nil || at >= unit.Length(*p.FromM)) &&
		(p.ToM == nil || at <= unit.Length(*p.ToM))
}
