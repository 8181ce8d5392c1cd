package waterneed

import (
	"math"

	"rillturn.example/rillturn/engine/unit"
)

// CoverFraction returns fc, the share of the ground under canopy:
//
//	fc = ((Kcb - Kc min)/(Kc max - Kc min))^(1 + 0.5 h)
//
// Source: FAO-56 eq. 76, with Kc min 0.15 for dry bare soil.
func CoverFraction(kcb, kcMax float64, h unit.Length) float64 {
	const kcMin = 0.15
	if kcb <= kcMin {
		return 0
	}
	return min(1, math.Pow((kcb-kcMin)/(kcMax-kcMin), 1+0.5*float64(h)))
}

// ExposedWetFraction returns few, the share of the ground that is both wet and exposed: min(1 - fc, fw), at least 0.01
// as FAO-56 bounds 1 - fc. Source: FAO-56 eq. 75.
func ExposedWetFraction(fc, fw float64) float64 { return max(0.01, min(1-fc, fw)) }

// DripWettedFraction returns fw for the evaporation of strips that lie under the canopy: fw (1 - 2/3 fc).
// Source: FAO-56 p. 147.
func DripWettedFraction(fw, fc float64) float64 { return fw * (1 - 2.0/3*fc) }

// EvaporationReduction returns Kr of a surface layer with depletion de: 1 up to REW, then falling to 0 at TEW.
// Source: FAO-56 eq. 74.
func EvaporationReduction(de, rew, tew unit.Depth) float64 {
	if de <= rew {
		return 1
	}
	return max(0, float64((tew-de)/(tew-rew)))
}

// EvaporationCoefficient returns Ke: min(Kr (Kc max - Kcb), few Kc max). Source: FAO-56 eq. 71.
func EvaporationCoefficient(kr, kcMax, kcb, few float64) float64 {
	return max(0, min(kr*(kcMax-kcb), few*kcMax))
}

// SurfaceDay is one day of the surface layer of the exposed and wetted ground.
type SurfaceDay struct {
	ET0         unit.Depth
	Kcb, KcMax  float64
	Cover       float64 // fc
	Wetted      float64 // fw of the last wetting, with DripWettedFraction applied where it is due
	TEW, REW    unit.Depth
	Depletion   unit.Depth // De at the end of the day before
	Rain        unit.Depth // counted rain less runoff
	StripSupply unit.Depth // irrigation as depth over the wetted ground, I/fw
}

// SurfaceResult is what a SurfaceDay comes to.
type SurfaceResult struct {
	SurfaceDay
	Few, Kr, Ke  float64
	Evaporation  unit.Depth // over all the ground
	Percolation  unit.Depth // out of the layer, DPe
	DepletionWet unit.Depth // after the wetting
	DepletionEnd unit.Depth
}

// Evaporate steps the surface layer by a day: wetting early in the day, then evaporation. No runoff, no transpiration
// from the layer. Source: FAO-56 eq. 71, 74, 75, 77.
func (s SurfaceDay) Evaporate() SurfaceResult {
	r := SurfaceResult{SurfaceDay: s, Few: ExposedWetFraction(s.Cover, s.Wetted)}
	r.Percolation = max(0, s.Rain+s.StripSupply-s.Depletion)
	r.DepletionWet = min(s.TEW, max(0, s.Depletion-s.Rain-s.StripSupply))
	r.Kr = EvaporationReduction(r.DepletionWet, s.REW, s.TEW)
	r.Ke = EvaporationCoefficient(r.Kr, s.KcMax, s.Kcb, r.Few)
	layer := min(unit.Depth(r.Ke/r.Few)*s.ET0, s.TEW-r.DepletionWet)
	r.Evaporation = layer * unit.Depth(r.Few)
	if s.ET0 > 0 {
		r.Ke = float64(r.Evaporation / s.ET0)
	}
	r.DepletionEnd = r.DepletionWet + layer
	return r
}
