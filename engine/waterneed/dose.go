package waterneed

import (
	"math"

	"rillturn.example/rillturn/engine/unit"
)

// StripDepth returns the depth over the wet strip of a depth over the field: I/fw. Source: FAO-56 eq. 61.
func StripDepth(field unit.Depth, fw float64) unit.Depth { return field / unit.Depth(fw) }

// GrossDepth returns the depth to apply for a net depth at an efficiency, with a leaching requirement lr:
// net/(efficiency (1 - lr)).
func GrossDepth(net unit.Depth, efficiency, lr float64) unit.Depth {
	return net / unit.Depth(efficiency*(1-lr))
}

// LeachingRequirement returns the share of water that must pass the roots to keep salt away, for water of electrical
// conductivity ecw and a crop that bears ece in the soil, both in dS/m: ECw/(5 ECe - ECw). It is 1 where the water is too
// salty for the crop. Source: FAO-29 as quoted in FAO-56 p. 180.
func LeachingRequirement(ecw, ece float64) float64 {
	if 5*ece-ecw <= ecw {
		return 1
	}
	return ecw / (5*ece - ecw)
}

// RunTime returns how long a flow takes to bring a depth over an area: depth · area/flow.
func RunTime(depth unit.Depth, area unit.Area, flow unit.Flow) unit.Minutes {
	return unit.Hours(depth.Over(area).Liters() / flow.LitersPerHour()).Minutes()
}

// PerMeterOfRow returns the gross litres for a metre of row: gross field depth times row spacing. The litres of a plant
// are that times the spacing in the row.
func PerMeterOfRow(gross unit.Depth, rowSpacing unit.Length) unit.Volume {
	return gross.Over(unit.Area(rowSpacing))
}

// NetDose returns the net depth that refills roots of a depth from a share of depletion: available water · roots ·
// depletion.
func NetDose(available float64, roots unit.Length, depletion float64) unit.Depth {
	return unit.Depth(1000 * available * float64(roots) * depletion)
}

// RefillInterval returns the whole days that RAW lasts at an evapotranspiration: floor(RAW/ETc). Both are depths over the
// wet strip, or both over the field. It is 0 when RAW lasts less than a day.
func RefillInterval(raw, etc unit.Depth) int { return int(math.Floor(float64(raw/etc) + 1e-9)) }

// HandTurns returns how a hand-watered plot is given a gross volume: minutes of a hose, and cans of a size, rounded up.
func HandTurns(gross unit.Volume, hose unit.Flow, can unit.Volume) (minutes unit.Minutes, cans int) {
	if hose > 0 {
		minutes = unit.Minutes(gross.Liters() / hose.LitersPerMinute())
	}
	if can > 0 {
		cans = int(math.Ceil(float64(gross/can) - 1e-9))
	}
	return minutes, cans
}
