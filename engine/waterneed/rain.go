package waterneed

import (
	"math"

	"rillturn.example/rillturn/engine/unit"
)

// The rules below estimate the useful part of rain for planning by months. The daily ledger does without them: it counts
// a day's rain whole and lets the surplus percolate, and a second discount would count the loss twice.

// EffectiveRainSCS returns the useful part of a month's rain by the method of USDA-SCS TR-21, also NEH part 623 ch. 2,
// for the month's crop evapotranspiration and a usable storage (75 mm is the method's reference):
//
//	Pe = SF (0.70917 P^0.82416 - 0.11556) 10^(0.02426 ETc)  [in]
//	SF = 0.531747 + 0.295164 D - 0.057697 D² + 0.003804 D³
//
// It lies between 0 and the smaller of rain and evapotranspiration. SF is from memory; it is 1.0007 at 3 in.
func EffectiveRainSCS(rain, etc, storage unit.Depth) unit.Depth {
	p, e, d := rain.Inches(), etc.Inches(), storage.Inches()
	sf := 0.531747 + 0.295164*d - 0.057697*d*d + 0.003804*d*d*d
	pe := sf * (0.70917*math.Pow(p, 0.82416) - 0.11556) * math.Pow(10, 0.02426*e)
	return max(0, min(unit.DepthInches(pe), rain, etc))
}

// EffectiveRainShort returns the useful part of a month's rain by the short form that is labelled USDA-SCS in secondary
// sources: P (125 - 0.2 P)/125 up to 250 mm, then 125 + 0.1 P.
func EffectiveRainShort(rain unit.Depth) unit.Depth {
	if rain <= 250 {
		return rain * (125 - 0.2*rain) / 125
	}
	return 125 + 0.1*rain
}

// EffectiveRainBursts returns the useful part of a day's rain on sloping or sealed soil by the daily rule of Texas A&M
// AgriLife: the first 0.1 in is lost, then all counts up to 1 in, two thirds up to 2 in and nothing above.
func EffectiveRainBursts(rain unit.Depth) unit.Depth {
	in := rain.Inches()
	useful := max(0, min(in, 1)-0.1) + 2.0/3*max(0, min(in, 2)-1)
	return unit.DepthInches(useful)
}

// EffectiveRainSimple returns the useful part of a month's rain on gentle slopes by FAO Irrigation Water Management
// Training Manual 3, from memory: 0.8 P - 25 above 75 mm, else 0.6 P - 10, not below 0.
func EffectiveRainSimple(rain unit.Depth) unit.Depth {
	if rain > 75 {
		return 0.8*rain - 25
	}
	return max(0, 0.6*rain-10)
}
