package file

import (
	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/engine/waterneed"
)

// NeedSurface asks for the evaporation from the soil by day, the part of the dual coefficient that is not transpiration
// (FAO-56 eq. 71 to 77). The surface is given by its water, or by the contents of a layer.
type NeedSurface struct {
	TewMm             *float64 `json:"tew_mm,omitempty"`
	RewMm             float64  `json:"rew_mm" file:"required"`
	FieldCapacityM3M3 *float64 `json:"field_capacity_m3_m3,omitempty"`
	WiltingPointM3M3  *float64 `json:"wilting_point_m3_m3,omitempty"`
	LayerM            float64  `json:"layer_m,omitempty"`      // left out: 0.10
	DepletionMm       float64  `json:"depletion_mm,omitempty"` // at the start
	// Days are consecutive.
	Days []NeedSurfaceDay `json:"days" file:"required"`
}

// NeedSurfaceDay is one day of a surface.
type NeedSurfaceDay struct {
	ET0Mm float64 `json:"et0_mm" file:"required"`
	Kcb   float64 `json:"kcb" file:"required"`
	// KcMax is given, or follows from wind at 2 m, RHmin and the height of the crop.
	KcMax    *float64 `json:"kc_max,omitempty"`
	WindMS   *float64 `json:"wind_m_s,omitempty"`
	RhMinPct *float64 `json:"rh_min_pct,omitempty"`
	HeightM  float64  `json:"height_m,omitempty"`
	// CoverFraction is given, or follows from Kcb, Kc max and the height.
	CoverFraction *float64 `json:"cover_fraction,omitempty"`
	// WettedFraction is that of the last wetting; left out: 1. Strips under the canopy, as drip wets them, evaporate less.
	WettedFraction float64 `json:"wetted_fraction,omitempty"`
	UnderCanopy    bool    `json:"under_canopy,omitempty"`
	RainMm         float64 `json:"rain_mm,omitempty"`       // less runoff
	IrrigationMm   float64 `json:"irrigation_mm,omitempty"` // over all the ground
}

// SurfaceDayResult is a day of the surface layer.
type SurfaceDayResult struct {
	Kcb                float64 `json:"kcb"`
	KcMax              float64 `json:"kc_max"`
	CoverFraction      float64 `json:"cover_fraction"`
	WettedFraction     float64 `json:"wetted_fraction"`
	ExposedWetFraction float64 `json:"exposed_wet_fraction"`
	TewMm              float64 `json:"tew_mm"`
	RewMm              float64 `json:"rew_mm"`
	StartMm            float64 `json:"start_mm"`
	PercolationMm      float64 `json:"percolation_mm"`
	WetMm              float64 `json:"wet_mm"`
	Kr                 float64 `json:"kr"`
	Ke                 float64 `json:"ke"`
	EvaporationMm      float64 `json:"evaporation_mm"`
	EndMm              float64 `json:"end_mm"`
	Kc                 float64 `json:"kc"` // Kcb + Ke
	ETcMm              float64 `json:"etc_mm"`
}

func surfaceDayResult(r *waterneed.SurfaceResult) *SurfaceDayResult {
	if r == nil {
		return nil
	}
	return &SurfaceDayResult{
		Kcb: r.Kcb, KcMax: r.KcMax, CoverFraction: r.Cover, WettedFraction: r.Wetted, ExposedWetFraction: r.Few, TewMm: float64(r.TEW),
		RewMm: float64(r.REW), StartMm: float64(r.Depletion), PercolationMm: float64(r.Percolation), WetMm: float64(r.DepletionWet), Kr: r.Kr,
		Ke: r.Ke, EvaporationMm: float64(r.Evaporation), EndMm: float64(r.DepletionEnd), Kc: r.Kcb + r.Ke, ETcMm: (r.Kcb + r.Ke) * float64(r.ET0),
	}
}

// tew returns the total evaporable water.
func (q NeedSurface) tew(at string, faults *Faults) float64 {
	switch {
	case q.TewMm != nil:
		return *q.TewMm
	case q.FieldCapacityM3M3 != nil && q.WiltingPointM3M3 != nil:
		within(faults, at+"/field_capacity_m3_m3", *q.FieldCapacityM3M3, 0.02, 0.7)
		within(faults, at+"/wilting_point_m3_m3", *q.WiltingPointM3M3, 0.005, *q.FieldCapacityM3M3)
		layer := unit.Length(q.LayerM)
		if layer == 0 {
			layer = waterneed.SurfaceLayer
		}
		return float64(waterneed.TotallyEvaporableWater(*q.FieldCapacityM3M3, *q.WiltingPointM3M3, layer))
	default:
		faults.Add(at+"/tew_mm", "is required without field_capacity_m3_m3 and wilting_point_m3_m3")
		return 0
	}
}

func (q NeedSurface) run(at string, faults *Faults) []SurfaceDayResult {
	before := len(*faults)
	tew := q.tew(at, faults)
	if len(*faults) == before && within(faults, at+"/tew_mm", tew, 0.5, 100) {
		within(faults, at+"/rew_mm", q.RewMm, 0, tew)
		within(faults, at+"/depletion_mm", q.DepletionMm, 0, tew)
	}
	for i, d := range q.Days {
		d.check(at+Point("days", i), faults)
	}
	if len(*faults) > before {
		return nil
	}
	depletion := unit.Depth(q.DepletionMm)
	out := make([]SurfaceDayResult, len(q.Days))
	for i, d := range q.Days {
		day := d.engine()
		day.TEW, day.REW, day.Depletion = unit.Depth(tew), unit.Depth(q.RewMm), depletion
		r := day.Evaporate()
		out[i], depletion = *surfaceDayResult(&r), r.DepletionEnd
	}
	return out
}

func (d NeedSurfaceDay) check(at string, faults *Faults) {
	within(faults, at+"/et0_mm", d.ET0Mm, 0, 30)
	within(faults, at+"/kcb", d.Kcb, 0, 2.5)
	optionalIn(faults, at+"/kc_max", d.KcMax, 0.2, 2.5)
	climateIn(faults, at, d.WindMS, d.RhMinPct)
	within(faults, at+"/height_m", d.HeightM, 0, 20)
	optionalIn(faults, at+"/cover_fraction", d.CoverFraction, 0, 1)
	within(faults, at+"/wetted_fraction", orOne(d.WettedFraction), 0.01, 1)
	within(faults, at+"/rain_mm", d.RainMm, 0, 2000)
	within(faults, at+"/irrigation_mm", d.IrrigationMm, 0, 2000)
}

func (d NeedSurfaceDay) engine() waterneed.SurfaceDay {
	u2, rh := optional[unit.Velocity](d.WindMS).Or(2), optional[unit.Percent](d.RhMinPct).Or(45)
	kcMax := optional[float64](d.KcMax).Or(waterneed.MaxCoefficient(d.Kcb, u2, rh, unit.Length(d.HeightM)))
	cover := optional[float64](d.CoverFraction).Or(waterneed.CoverFraction(d.Kcb, kcMax, unit.Length(d.HeightM)))
	wetted := orOne(d.WettedFraction)
	day := waterneed.SurfaceDay{
		ET0: unit.Depth(d.ET0Mm), Kcb: d.Kcb, KcMax: kcMax, Cover: cover, Wetted: wetted, Rain: unit.Depth(d.RainMm),
		StripSupply: waterneed.StripDepth(unit.Depth(d.IrrigationMm), wetted),
	}
	if d.UnderCanopy {
		day.Wetted = waterneed.DripWettedFraction(wetted, cover)
	}
	return day
}

// NeedBalance asks for the water of a root zone by day, as books print it (FAO-56 eq. 82 to 86): percolation before
// evapotranspiration, Ks from the depletion after the day's water.
type NeedBalance struct {
	FieldCapacityM3M3 float64 `json:"field_capacity_m3_m3" file:"required"`
	WiltingPointM3M3  float64 `json:"wilting_point_m3_m3" file:"required"`
	RootDepthM        float64 `json:"root_depth_m,omitempty"` // of days that give none
	// DepletionFraction is p, as in the table; FollowET lets it follow the day's evapotranspiration.
	DepletionFraction float64          `json:"depletion_fraction" file:"required"`
	FollowET          bool             `json:"follow_et,omitempty"`
	DepletionMm       float64          `json:"depletion_mm,omitempty"` // at the start
	Days              []NeedBalanceDay `json:"days" file:"required"`
}

// NeedBalanceDay is one day of a root zone. Its use is given whole, or by ET0 with a coefficient, single or dual.
type NeedBalanceDay struct {
	ETcMm        *float64 `json:"etc_mm,omitempty"`
	ET0Mm        *float64 `json:"et0_mm,omitempty"`
	Kc           *float64 `json:"kc,omitempty"`
	Kcb          *float64 `json:"kcb,omitempty"`
	Ke           *float64 `json:"ke,omitempty"`
	RootDepthM   float64  `json:"root_depth_m,omitempty"`
	RainMm       float64  `json:"rain_mm,omitempty"` // less runoff
	IrrigationMm float64  `json:"irrigation_mm,omitempty"`
}

// BalanceDayResult is a day of a root zone.
type BalanceDayResult struct {
	RootDepthM        float64 `json:"root_depth_m"`
	TawMm             float64 `json:"taw_mm"`
	DepletionFraction float64 `json:"depletion_fraction"`
	RawMm             float64 `json:"raw_mm"`
	StartMm           float64 `json:"start_mm"`
	PercolationMm     float64 `json:"percolation_mm"`
	WetMm             float64 `json:"wet_mm"`
	ETcMm             float64 `json:"etc_mm"`
	Ks                float64 `json:"ks"`
	ETcAdjMm          float64 `json:"etc_adj_mm"`
	EndMm             float64 `json:"end_mm"`
}

func (q NeedBalance) run(at string, faults *Faults) []BalanceDayResult {
	before := len(*faults)
	if within(faults, at+"/field_capacity_m3_m3", q.FieldCapacityM3M3, 0.01, 0.7) {
		within(faults, at+"/wilting_point_m3_m3", q.WiltingPointM3M3, 0, q.FieldCapacityM3M3)
	}
	within(faults, at+"/depletion_fraction", q.DepletionFraction, 0.1, 0.8)
	within(faults, at+"/depletion_mm", q.DepletionMm, 0, 2000)
	for i, d := range q.Days {
		if d.RootDepthM == 0 {
			d.RootDepthM = q.RootDepthM
		}
		d.check(at+Point("days", i), faults)
	}
	if len(*faults) > before {
		return nil
	}
	soil := waterneed.Soil{FieldCapacity: q.FieldCapacityM3M3, WiltingPoint: q.WiltingPointM3M3}
	depletion := unit.Depth(q.DepletionMm)
	out := make([]BalanceDayResult, len(q.Days))
	for i, d := range q.Days {
		roots := d.RootDepthM
		if roots == 0 {
			roots = q.RootDepthM
		}
		day := d.engine(soil.TotalAvailableWater(unit.Length(roots)), q.DepletionFraction, q.FollowET)
		day.Start = min(depletion, day.TAW)
		day.Balance()
		depletion = day.End
		out[i] = BalanceDayResult{
			RootDepthM: roots, TawMm: float64(day.TAW), DepletionFraction: day.P, RawMm: float64(day.RAW), StartMm: float64(day.Start),
			PercolationMm: float64(day.Percolation), WetMm: float64(day.Wet), ETcMm: float64(day.StripET), Ks: day.Ks, ETcAdjMm: float64(day.ET),
			EndMm: float64(day.End),
		}
	}
	return out
}

func (d NeedBalanceDay) check(at string, faults *Faults) {
	switch {
	case d.ETcMm != nil && d.ET0Mm != nil:
		faults.Add(at+"/etc_mm", "give etc_mm, or et0_mm with a coefficient")
	case d.ETcMm == nil && (d.ET0Mm == nil || (d.Kc == nil) == (d.Kcb == nil)):
		faults.Add(at+"/etc_mm", "is required without et0_mm and either kc or kcb with ke")
	}
	if d.Ke != nil && d.Kcb == nil {
		faults.Add(at+"/kcb", "is required with ke")
	}
	optionalIn(faults, at+"/etc_mm", d.ETcMm, 0, 50)
	optionalIn(faults, at+"/et0_mm", d.ET0Mm, 0, 50)
	optionalIn(faults, at+"/kc", d.Kc, 0, 2.5)
	optionalIn(faults, at+"/kcb", d.Kcb, 0, 2.5)
	optionalIn(faults, at+"/ke", d.Ke, 0, 2.5)
	within(faults, at+"/root_depth_m", d.RootDepthM, 0.01, 10)
	within(faults, at+"/rain_mm", d.RainMm, 0, 2000)
	within(faults, at+"/irrigation_mm", d.IrrigationMm, 0, 2000)
}

// engine returns the day with its use and its root zone.
func (d NeedBalanceDay) engine(taw unit.Depth, p float64, follow bool) waterneed.LedgerDay {
	day := waterneed.LedgerDay{TAW: taw, P: p, RainCounted: unit.Depth(d.RainMm), Irrigation: unit.Depth(d.IrrigationMm)}
	value := func(v *float64) float64 { return optional[float64](v).Value }
	if d.ETcMm != nil {
		day.StripET = unit.Depth(*d.ETcMm)
	} else {
		day.Coefficient.Kcb, day.Ke = value(d.Kcb), value(d.Ke)
		day.Kc = value(d.Kc) + day.Coefficient.Kcb + day.Ke
		day.StripET, day.StripEvaporation = unit.Depth(day.Kc*value(d.ET0Mm)), unit.Depth(day.Ke*value(d.ET0Mm))
	}
	if follow {
		day.P = waterneed.DepletionFraction(p, day.StripET)
	}
	day.RAW = unit.Depth(day.P) * taw
	return day
}
