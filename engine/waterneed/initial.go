package waterneed

import (
	"math"

	"rillturn.example/rillturn/engine/unit"
)

// WettingInterval returns how many wettings a month's rain makes when each brings a mean depth, and the mean days
// between them. Source: FAO-56 ch. 6, Example 23.
func WettingInterval(rain, perEvent unit.Depth, days int) (events, interval float64) {
	if rain <= 0 || perEvent <= 0 {
		return 0, math.Inf(1)
	}
	events = float64(rain / perEvent)
	return events, float64(days) / events
}

// Wetting infiltrates lightly, heavily or in between. Source: FAO-56 ch. 6: Figure 29 holds up to lightWetting [mm],
// Figure 30 from heavyWetting on, between them eq. 59.
const lightWetting, heavyWetting = 10, 40

// InitialCoefficient returns Kc ini of bare or nearly bare soil that is wetted every interval days to a mean infiltrated
// depth, at reference evapotranspiration et0. A depth given over the field is divided by the wetted fraction first
// (eq. 61), and the result multiplied by it (eq. 60): PartInitialCoefficient does both.
// Source: FAO-56 eq. 59 and Figures 29, 30 in their numeric form.
func InitialCoefficient(interval float64, et0, depth unit.Depth, coarse bool) float64 {
	light := LightCoefficient(interval, et0)
	if depth <= lightWetting {
		return light
	}
	heavy := HeavyCoefficient(interval, et0, coarse)
	if depth >= heavyWetting {
		return heavy
	}
	return light + float64(depth-lightWetting)/(heavyWetting-lightWetting)*(heavy-light)
}

// PartInitialCoefficient returns Kc ini over the field when irrigation wets a fraction fw and depth is over the field.
// Source: FAO-56 eq. 60, 61.
func PartInitialCoefficient(interval float64, et0, depth unit.Depth, coarse bool, fw float64) float64 {
	return fw * InitialCoefficient(interval, et0, depth/unit.Depth(fw), coarse)
}

// LightCoefficient is Kc ini for light wettings, FAO-56 Figure 29: evaporation of a layer that holds 10 mm of which a part
// evaporates freely. TEW and REW of this and of HeavyCoefficient are from memory of FAO-56 Annex 7.
func LightCoefficient(interval float64, et0 unit.Depth) float64 {
	rew := min(7, max(2.5, 6/math.Sqrt(float64(et0))))
	return drying(interval, float64(et0), 10, rew)
}

// HeavyCoefficient is Kc ini for heavy wettings, FAO-56 Figure 30, a for coarse and b for other soils.
func HeavyCoefficient(interval float64, et0 unit.Depth, coarse bool) float64 {
	root := math.Sqrt(float64(et0))
	if coarse {
		return drying(interval, float64(et0), min(15, 7*root), 6)
	}
	return drying(interval, float64(et0), min(28, 13*root), 9)
}

// drying returns the mean coefficient between two wettings tw days apart: stage 1 evaporates at Eso = 1.15 ET0 until
// t1 = REW/Eso, then the rest of TEW fails exponentially.
//
//	Kc = [TEW - (TEW-REW) exp(-(tw-t1) Eso (1 + REW/(TEW-REW))/TEW)] / (tw ET0)
//
// Source: FAO-56 Annex 7, from memory; 1.15 while stage 1 lasts and at no evapotranspiration.
func drying(tw, et0, tew, rew float64) float64 {
	const most = 1.15
	eso := most * et0
	rew = min(rew, 0.9*tew)
	if eso <= 0 || tw <= rew/eso {
		return most
	}
	left := tew - rew
	return min(most, (tew-left*math.Exp(-(tw-rew/eso)*eso*(1+rew/left)/tew))/(tw*et0))
}
