package file

import (
	"math"

	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/engine/waterneed"
)

// NeedSteps are single steps of the method, for questions and worked examples that give less, or other things, than a
// whole day of weather or a whole planting.
type NeedSteps struct {
	// Workings are days of which only some things are known; the answer holds whatever follows from them.
	Workings            []NeedWorking            `json:"workings,omitempty"`
	InitialCoefficients []NeedInitialCoefficient `json:"initial_coefficients,omitempty"`
	Surfaces            []NeedSurface            `json:"surfaces,omitempty"`
	Balances            []NeedBalance            `json:"balances,omitempty"`
	Canopies            []NeedCanopies           `json:"canopies,omitempty"`
	Doses               []NeedDose               `json:"doses,omitempty"`
	EffectiveRain       []NeedEffectiveRain      `json:"effective_rain,omitempty"`
}

// StepResults answer the steps, part by part and in their order.
type StepResults struct {
	Workings            []WorkingResult            `json:"workings,omitempty"`
	InitialCoefficients []InitialCoefficientResult `json:"initial_coefficients,omitempty"`
	Surfaces            [][]SurfaceDayResult       `json:"surfaces,omitempty"`
	Balances            [][]BalanceDayResult       `json:"balances,omitempty"`
	Canopies            []CanopiesResult           `json:"canopies,omitempty"`
	Doses               []DoseResult               `json:"doses,omitempty"`
	EffectiveRain       []EffectiveRainResult      `json:"effective_rain,omitempty"`
}

// run answers the steps. A faulty step has no answer.
func (n NeedSteps) run(place waterneed.Place, faults *Faults) StepResults {
	var r StepResults
	for i, q := range n.Workings {
		r.Workings = append(r.Workings, q.run(place, Point("workings", i), faults))
	}
	for i, q := range n.InitialCoefficients {
		r.InitialCoefficients = append(r.InitialCoefficients, q.run(Point("initial_coefficients", i), faults))
	}
	for i, q := range n.Surfaces {
		r.Surfaces = append(r.Surfaces, q.run(Point("surfaces", i), faults))
	}
	for i, q := range n.Balances {
		r.Balances = append(r.Balances, q.run(Point("balances", i), faults))
	}
	for i, q := range n.Canopies {
		r.Canopies = append(r.Canopies, q.run(Point("canopies", i), faults))
	}
	for i, q := range n.Doses {
		r.Doses = append(r.Doses, q.run(Point("doses", i), faults))
	}
	for i, q := range n.EffectiveRain {
		r.EffectiveRain = append(r.EffectiveRain, q.run(Point("effective_rain", i), faults))
	}
	return r
}

// within notes a value outside its limits.
func within(faults *Faults, pointer string, v, low, high float64) bool {
	if v >= low && v <= high {
		return true
	}
	faults.Add(pointer, "%g is not between %g and %g", v, low, high)
	return false
}

// optionalIn is within for a value that may be left out.
func optionalIn(faults *Faults, pointer string, v *float64, low, high float64) {
	if v != nil {
		within(faults, pointer, *v, low, high)
	}
}

// NeedInitialCoefficient asks for Kc ini of nearly bare soil by its wettings (FAO-56 eq. 59 to 61, Figures 29 and 30).
type NeedInitialCoefficient struct {
	ET0Mm float64 `json:"et0_mm" file:"required"`
	// IntervalD is the time between wettings; left out it follows from a month's rain.
	IntervalD      float64 `json:"interval_d,omitempty"`
	RainMm         float64 `json:"rain_mm,omitempty"`
	RainPerEventMm float64 `json:"rain_per_event_mm,omitempty"`
	Days           int     `json:"days,omitempty"` // of the month; left out: 30
	// DepthMm is what a wetting brings, over all the ground.
	DepthMm float64 `json:"depth_mm" file:"required"`
	// Coarse is the texture of sands and loamy sands.
	Coarse         bool    `json:"coarse,omitempty"`
	WettedFraction float64 `json:"wetted_fraction,omitempty"` // left out: 1
}

// InitialCoefficientResult is Kc ini with its working.
type InitialCoefficientResult struct {
	Wettings     float64 `json:"wettings,omitempty"` // of the month
	IntervalD    float64 `json:"interval_d"`
	StripDepthMm float64 `json:"strip_depth_mm"` // over the wetted part
	Light        float64 `json:"light"`          // Kc ini for light wettings
	Heavy        float64 `json:"heavy"`          // and for heavy ones
	KcStrip      float64 `json:"kc_strip"`
	KcIni        float64 `json:"kc_ini"` // over all the ground
	ETcMm        float64 `json:"etc_mm"`
}

func (q NeedInitialCoefficient) run(at string, faults *Faults) InitialCoefficientResult {
	before := len(*faults)
	within(faults, at+"/et0_mm", q.ET0Mm, 0, 30)
	within(faults, at+"/depth_mm", q.DepthMm, 0, 1000)
	within(faults, at+"/wetted_fraction", orOne(q.WettedFraction), 0.01, 1)
	r := InitialCoefficientResult{IntervalD: q.IntervalD}
	if q.IntervalD == 0 {
		days := q.Days
		if days == 0 {
			days = 30
		}
		within(faults, at+"/rain_mm", q.RainMm, 0.1, 5000)
		within(faults, at+"/rain_per_event_mm", q.RainPerEventMm, 0.1, 500)
		within(faults, at+"/days", float64(days), 1, 366)
		r.Wettings, r.IntervalD = waterneed.WettingInterval(unit.Depth(q.RainMm), unit.Depth(q.RainPerEventMm), days)
	}
	within(faults, at+"/interval_d", r.IntervalD, 0.1, 366)
	if len(*faults) > before {
		return InitialCoefficientResult{}
	}
	et0, fw := unit.Depth(q.ET0Mm), orOne(q.WettedFraction)
	depth := waterneed.StripDepth(unit.Depth(q.DepthMm), fw)
	r.StripDepthMm = float64(depth)
	r.Light, r.Heavy = waterneed.LightCoefficient(r.IntervalD, et0), waterneed.HeavyCoefficient(r.IntervalD, et0, q.Coarse)
	r.KcStrip = waterneed.InitialCoefficient(r.IntervalD, et0, depth, q.Coarse)
	r.KcIni = waterneed.PartInitialCoefficient(r.IntervalD, et0, unit.Depth(q.DepthMm), q.Coarse, fw)
	r.ETcMm = r.KcIni * q.ET0Mm
	return r
}

// orOne returns 1 for a factor that was left out.
func orOne(v float64) float64 {
	if v == 0 {
		return 1
	}
	return v
}

// NeedCanopies asks for Kc of crops that share a bed with mixed canopies (FAO-56 eq. 104).
type NeedCanopies struct {
	Crops []NeedCanopy `json:"crops" file:"required"`
	// KcMax bounds the result; left out it follows from the climate and the tallest crop (eq. 72).
	KcMax    *float64 `json:"kc_max,omitempty"`
	WindMS   *float64 `json:"wind_m_s,omitempty"`   // at 2 m; left out: 2
	RhMinPct *float64 `json:"rh_min_pct,omitempty"` // left out: 45
}

// NeedCanopy is one of the crops.
type NeedCanopy struct {
	GroundShare float64 `json:"ground_share" file:"required"`
	HeightM     float64 `json:"height_m" file:"required"`
	Kc          float64 `json:"kc" file:"required"`
}

// CanopiesResult is the coefficient of the bed.
type CanopiesResult struct {
	Kc    float64 `json:"kc"`
	KcMax float64 `json:"kc_max"`
}

func (q NeedCanopies) run(at string, faults *Faults) CanopiesResult {
	before := len(*faults)
	if len(q.Crops) == 0 {
		faults.Add(at+"/crops", "needs at least one crop")
	}
	canopies := make([]waterneed.Canopy, len(q.Crops))
	tallest := 0.0
	for i, c := range q.Crops {
		within(faults, at+Point("crops", i, "ground_share"), c.GroundShare, 0.001, 1)
		within(faults, at+Point("crops", i, "height_m"), c.HeightM, 0.001, 20)
		within(faults, at+Point("crops", i, "kc"), c.Kc, 0, 2.5)
		canopies[i] = waterneed.Canopy{Ground: c.GroundShare, Height: unit.Length(c.HeightM), Kc: c.Kc}
		tallest = max(tallest, c.HeightM)
	}
	optionalIn(faults, at+"/kc_max", q.KcMax, 0, 2.5)
	climateIn(faults, at, q.WindMS, q.RhMinPct)
	if len(*faults) > before {
		return CanopiesResult{}
	}
	u2, rh := optional[unit.Velocity](q.WindMS).Or(2), optional[unit.Percent](q.RhMinPct).Or(45)
	r := CanopiesResult{KcMax: optional[float64](q.KcMax).Or(waterneed.MaxCoefficient(0, u2, rh, unit.Length(tallest)))}
	var err error
	r.Kc, err = waterneed.MixedCoefficient(canopies, r.KcMax)
	*faults = append(*faults, faultsUnder(at, err)...)
	return r
}

func climateIn(faults *Faults, at string, wind, rhMin *float64) {
	optionalIn(faults, at+"/wind_m_s", wind, 0, 12)
	optionalIn(faults, at+"/rh_min_pct", rhMin, 0, 100)
}

// NeedDose asks how a depth of water becomes litres and minutes.
type NeedDose struct {
	// NetMm is the net depth over all the ground; left out it is the part of the available water that is missing in the
	// root zone.
	NetMm           *float64 `json:"net_mm,omitempty"`
	AvailableMmPerM float64  `json:"available_mm_per_m,omitempty"`
	RootDepthM      float64  `json:"root_depth_m,omitempty"`
	Depletion       float64  `json:"depletion,omitempty"` // share of the available water that is missing
	WettedFraction  float64  `json:"wetted_fraction,omitempty"`
	Efficiency      float64  `json:"efficiency,omitempty"` // left out: 1
	// WaterDSM and SoilDSM are electrical conductivities, of the water and of the soil that the crop bears, for leaching.
	WaterDSM *float64 `json:"water_ds_m,omitempty"`
	SoilDSM  *float64 `json:"soil_ds_m,omitempty"`
	// AreaM2 of ground, or rows of a length and a spacing.
	AreaM2        float64 `json:"area_m2,omitempty"`
	RowLengthM    float64 `json:"row_length_m,omitempty"`
	RowSpacingM   float64 `json:"row_spacing_m,omitempty"`
	PlantSpacingM float64 `json:"plant_spacing_m,omitempty"`
	FlowLPerH     float64 `json:"flow_l_per_h,omitempty"`
	CanL          float64 `json:"can_l,omitempty"`
	IntakeMmH     float64 `json:"intake_mm_h,omitempty"`        // of the soil, for cycles
	StorageMm     float64 `json:"surface_storage_mm,omitempty"` // left out: 3
	// ETcMm is the daily use over all the ground, for the interval that the dose lasts.
	ETcMm float64 `json:"etc_mm,omitempty"`
}

// DoseResult is the dose. What its question doesn't give is left out.
type DoseResult struct {
	NetMm               float64  `json:"net_mm"`
	StripMm             float64  `json:"strip_mm"` // net, over the wetted part
	LeachingRequirement float64  `json:"leaching_requirement"`
	GrossMm             float64  `json:"gross_mm"`
	VolumeL             *float64 `json:"volume_l,omitempty"`
	PerMeterL           *float64 `json:"per_meter_of_row_l,omitempty"`
	PerPlantL           *float64 `json:"per_plant_l,omitempty"`
	RunMin              *float64 `json:"run_min,omitempty"`
	RateMmH             *float64 `json:"rate_mm_h,omitempty"` // over the wetted part
	Spells              int      `json:"spells,omitempty"`
	SpellMin            *float64 `json:"spell_min,omitempty"`
	SoakMin             *float64 `json:"soak_min,omitempty"`
	Cans                int      `json:"cans,omitempty"`
	IntervalD           *int     `json:"interval_d,omitempty"`
}

func (q NeedDose) check(at string, faults *Faults) bool {
	before := len(*faults)
	for _, v := range []struct {
		name            string
		value, low, top float64
	}{
		{"available_mm_per_m", q.AvailableMmPerM, 1, 500},
		{"root_depth_m", q.RootDepthM, 0.01, 5},
		{"depletion", q.Depletion, 0.001, 1},
		{"wetted_fraction", q.WettedFraction, 0.01, 1},
		{"efficiency", q.Efficiency, 0.05, 1},
		{"area_m2", q.AreaM2, 0.01, 1e6},
		{"row_length_m", q.RowLengthM, 0.01, 1e5},
		{"row_spacing_m", q.RowSpacingM, 0.01, 100},
		{"plant_spacing_m", q.PlantSpacingM, 0.001, 100},
		{"flow_l_per_h", q.FlowLPerH, 0.01, 1e6},
		{"can_l", q.CanL, 0.1, 1000},
		{"intake_mm_h", q.IntakeMmH, 0.1, 1000},
		{"surface_storage_mm", q.StorageMm, 0.1, 50},
		{"etc_mm", q.ETcMm, 0.01, 50},
	} {
		if v.value != 0 { // 0 stands for a value left out
			within(faults, at+"/"+v.name, v.value, v.low, v.top)
		}
	}
	optionalIn(faults, at+"/net_mm", q.NetMm, 0, 2000)
	optionalIn(faults, at+"/water_ds_m", q.WaterDSM, 0, 50)
	optionalIn(faults, at+"/soil_ds_m", q.SoilDSM, 0.01, 50)
	if q.NetMm == nil && (q.AvailableMmPerM == 0 || q.RootDepthM == 0 || q.Depletion == 0) {
		faults.Add(at+"/net_mm", "is required without available_mm_per_m, root_depth_m and depletion")
	}
	if (q.WaterDSM == nil) != (q.SoilDSM == nil) {
		faults.Add(at+"/water_ds_m", "goes together with soil_ds_m")
	}
	if q.WaterDSM != nil && q.SoilDSM != nil && waterneed.LeachingRequirement(*q.WaterDSM, *q.SoilDSM) >= 1 {
		faults.Add(at+"/water_ds_m", "the water is too salty for the crop")
	}
	return len(*faults) == before
}

func (q NeedDose) run(at string, faults *Faults) DoseResult {
	if !q.check(at, faults) {
		return DoseResult{}
	}
	net := optional[unit.Depth](q.NetMm).Or(waterneed.NetDose(q.AvailableMmPerM/1000, unit.Length(q.RootDepthM), q.Depletion))
	r := DoseResult{NetMm: float64(net), StripMm: float64(waterneed.StripDepth(net, orOne(q.WettedFraction)))}
	if q.WaterDSM != nil {
		r.LeachingRequirement = waterneed.LeachingRequirement(*q.WaterDSM, *q.SoilDSM)
	}
	gross := waterneed.GrossDepth(net, orOne(q.Efficiency), r.LeachingRequirement)
	r.GrossMm = float64(gross)
	if q.ETcMm > 0 {
		days := waterneed.RefillInterval(net, unit.Depth(q.ETcMm))
		r.IntervalD = &days
	}
	if q.RowSpacingM > 0 {
		meter := waterneed.PerMeterOfRow(gross, unit.Length(q.RowSpacingM)).Liters()
		r.PerMeterL = &meter
		if q.PlantSpacingM > 0 {
			plant := meter * q.PlantSpacingM
			r.PerPlantL = &plant
		}
	}
	q.apply(gross, &r)
	return r
}

// apply works out how the gross depth is brought to the ground.
func (q NeedDose) apply(gross unit.Depth, r *DoseResult) {
	area := unit.Area(q.AreaM2)
	if area == 0 {
		area = unit.Area(q.RowLengthM * q.RowSpacingM)
	}
	if area == 0 {
		return
	}
	volume := gross.Over(area)
	liters := volume.Liters()
	r.VolumeL = &liters
	if q.CanL > 0 {
		_, r.Cans = waterneed.HandTurns(volume, 0, unit.Liters(q.CanL))
	}
	if q.FlowLPerH == 0 {
		return
	}
	flow := unit.LitersPerHour(q.FlowLPerH)
	run := float64(waterneed.RunTime(gross, area, flow))
	rate := float64(unit.IntensityOf(flow, area*unit.Area(orOne(q.WettedFraction))))
	r.RunMin, r.RateMmH = &run, &rate
	if q.IntakeMmH == 0 {
		return
	}
	storage := unit.Depth(q.StorageMm)
	if storage == 0 {
		storage = waterneed.SurfaceStorage
	}
	on, soak, limited := waterneed.CycleAndSoak(unit.Intensity(rate), unit.Intensity(q.IntakeMmH), storage)
	if !limited {
		r.Spells, r.SpellMin = 1, &run
		return
	}
	spells, each := waterneed.Cycles(unit.Minutes(run), on)
	spell, pause := float64(each), float64(soak)*float64(each/on)
	r.Spells, r.SpellMin, r.SoakMin = spells, &spell, &pause
}

// NeedEffectiveRain asks for the useful part of rain by the published rules.
type NeedEffectiveRain struct {
	RainMm    float64 `json:"rain_mm" file:"required"`
	ETcMm     float64 `json:"etc_mm,omitempty"`     // of the month, for the SCS method
	StorageMm float64 `json:"storage_mm,omitempty"` // usable, for the SCS method; left out: 75
}

// EffectiveRainResult holds the useful part of a month's rain by three rules, and of a day's rain by the rule for bursts.
type EffectiveRainResult struct {
	SCSMm    *float64 `json:"month_scs_mm,omitempty"`
	ShortMm  float64  `json:"month_short_form_mm"`
	SimpleMm float64  `json:"month_gentle_slope_mm"`
	BurstsMm float64  `json:"day_bursts_mm"`
}

func (q NeedEffectiveRain) run(at string, faults *Faults) EffectiveRainResult {
	before := len(*faults)
	within(faults, at+"/rain_mm", q.RainMm, 0, 5000)
	within(faults, at+"/etc_mm", q.ETcMm, 0, 1000)
	within(faults, at+"/storage_mm", q.StorageMm, 0, 300)
	if len(*faults) > before {
		return EffectiveRainResult{}
	}
	rain, storage := unit.Depth(q.RainMm), unit.Depth(q.StorageMm)
	if storage == 0 {
		storage = 75
	}
	r := EffectiveRainResult{
		ShortMm: float64(waterneed.EffectiveRainShort(rain)), SimpleMm: float64(waterneed.EffectiveRainSimple(rain)),
		BurstsMm: float64(waterneed.EffectiveRainBursts(rain)),
	}
	if q.ETcMm > 0 {
		scs := float64(waterneed.EffectiveRainSCS(rain, unit.Depth(q.ETcMm), storage))
		if !math.IsNaN(scs) {
			r.SCSMm = &scs
		}
	}
	return r
}
