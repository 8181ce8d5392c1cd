package file

import (
	"cmp"
	"errors"

	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/engine/waterneed"
)

// NeedResult answers a need file, part by part and in its order, with every intermediate.
type NeedResult struct {
	Days   []ReferenceETResult `json:"days,omitempty"`
	Months []ReferenceETResult `json:"months,omitempty"`
	Series []SeriesDayResult   `json:"series,omitempty"`
	Curves []CurveResult       `json:"curves,omitempty"`
	Units  []UnitNeedResult    `json:"units,omitempty"`
	StepResults
}

// ReferenceETResult is reference evapotranspiration with its working. engine/NOMENCLATURE.md gives the symbols.
type ReferenceETResult struct {
	Date                    *NeedDate `json:"date,omitempty"`
	LatitudeRad             float64   `json:"latitude_rad"`
	DayOfYear               int       `json:"day_of_year"`
	TmeanC                  float64   `json:"tmean_c"`
	PressureKpa             float64   `json:"pressure_kpa"`
	PsychrometricKpaPerC    float64   `json:"psychrometric_kpa_per_c"`
	SlopeKpaPerC            float64   `json:"slope_kpa_per_c"`
	SaturationTmaxKpa       float64   `json:"saturation_tmax_kpa"`
	SaturationTminKpa       float64   `json:"saturation_tmin_kpa"`
	SaturationKpa           float64   `json:"saturation_kpa"`
	VaporPressureKpa        float64   `json:"vapor_pressure_kpa"`
	VaporPressureDeficitKpa float64   `json:"vapor_pressure_deficit_kpa"`
	InverseDistance         float64   `json:"inverse_distance"`
	DeclinationRad          float64   `json:"declination_rad"`
	SunsetAngleRad          float64   `json:"sunset_angle_rad"`
	ExtraterrestrialMjM2    float64   `json:"extraterrestrial_mj_m2"`
	ExtraterrestrialMm      float64   `json:"extraterrestrial_mm"`
	DaylightH               float64   `json:"daylight_h"`
	SolarMjM2               float64   `json:"solar_mj_m2"`
	SolarMm                 float64   `json:"solar_mm"`
	ClearSkyMjM2            float64   `json:"clear_sky_mj_m2"`
	NetShortwaveMjM2        float64   `json:"net_shortwave_mj_m2"`
	LongwaveEmissionMjM2    float64   `json:"longwave_emission_mj_m2"`
	HumidityFactor          float64   `json:"humidity_factor"`
	CloudFactor             float64   `json:"cloud_factor"`
	NetLongwaveMjM2         float64   `json:"net_longwave_mj_m2"`
	NetRadiationMjM2        float64   `json:"net_radiation_mj_m2"`
	NetRadiationMm          float64   `json:"net_radiation_mm"`
	SoilHeatMjM2            float64   `json:"soil_heat_mj_m2"`
	WindTwoMetersMS         float64   `json:"wind_2m_m_s"`
	RadiationTermMm         float64   `json:"radiation_term_mm"`
	AerodynamicTermMm       float64   `json:"aerodynamic_term_mm"`
	ET0Mm                   float64   `json:"et0_mm"`
	HargreavesMm            float64   `json:"hargreaves_mm"`
	HumiditySource          string    `json:"humidity_source"`
	RadiationSource         string    `json:"radiation_source"`
	WindSource              string    `json:"wind_source"`
	Notes                   []string  `json:"notes,omitempty"`
}

// SeriesDayResult is one day of a run of days, with the rung its ET0 stands on. Unknown rain is left out.
type SeriesDayResult struct {
	Date   NeedDate `json:"date"`
	ET0Mm  float64  `json:"et0_mm"`
	Rung   string   `json:"rung"`
	RainMm *float64 `json:"rain_mm,omitempty"`
	// RainRead says that a person read the rain from a gauge in the garden.
	RainRead bool               `json:"rain_read,omitempty"`
	Working  *ReferenceETResult `json:"working,omitempty"`
}

// CurveResult is a coefficient curve: the values it is drawn through, then its days.
type CurveResult struct {
	Crop       Crop             `json:"crop"`
	KcIni      float64          `json:"kc_ini"`
	KcMid      float64          `json:"kc_mid"`
	KcEnd      float64          `json:"kc_end"`
	KcbIni     float64          `json:"kcb_ini"`
	KcbMid     float64          `json:"kcb_mid"`
	KcbEnd     float64          `json:"kcb_end"`
	HeightM    float64          `json:"height_m"`
	RootStartM float64          `json:"root_start_m"`
	RootDepthM float64          `json:"root_depth_m"`
	Days       []CurveDayResult `json:"days"`
}

// CurveDayResult is a crop on a day, 1 on the day of planting.
type CurveDayResult struct {
	Day     int     `json:"day"`
	Stage   string  `json:"stage"`
	Kc      float64 `json:"kc"`
	Kcb     float64 `json:"kcb"`
	HeightM float64 `json:"height_m"`
	RootsM  float64 `json:"roots_m"`
}

// UnitNeedResult answers a unit's questions.
type UnitNeedResult struct {
	ID         string             `json:"id"`
	Soil       SoilResult         `json:"soil"`
	Efficiency EfficiencyResult   `json:"efficiency"`
	Ledgers    []LedgerResult     `json:"ledgers,omitempty"`
	Demand     *DemandResult      `json:"demand,omitempty"`
	Replay     []PredictionResult `json:"replay,omitempty"`
	Season     *SeasonResult      `json:"season,omitempty"`
}

// SoilResult is the soil as it was used.
type SoilResult struct {
	Texture             string  `json:"texture"`
	Assumed             bool    `json:"assumed"`
	FieldCapacityM3M3   float64 `json:"field_capacity_m3_m3"`
	WiltingPointM3M3    float64 `json:"wilting_point_m3_m3"`
	RewMm               float64 `json:"rew_mm"`
	TewMm               float64 `json:"tew_mm"`
	InfiltrationMmH     float64 `json:"infiltration_mm_h"`
	InfiltrationLowMmH  float64 `json:"infiltration_low_mm_h"`
	InfiltrationHighMmH float64 `json:"infiltration_high_mm_h"`
	SurfaceStorageMm    float64 `json:"surface_storage_mm"`
}

// EfficiencyResult is the share of the gross litres that the quarter which gets least receives.
type EfficiencyResult struct {
	Value  float64 `json:"value"`
	Low    float64 `json:"low"`
	High   float64 `json:"high"`
	Source string  `json:"source"`
	// DU is the uniformity that it comes from, Factor what drilling and plugging leave of it; left out where nothing is known.
	DU     float64 `json:"du,omitempty"`
	Factor float64 `json:"factor,omitempty"`
}

// StateResult is a planting's soil on a morning.
type StateResult struct {
	Date          NeedDate  `json:"date"`
	DepletionMm   float64   `json:"depletion_mm"`
	SurfaceMm     float64   `json:"surface_depletion_mm"`
	SurfaceWetted float64   `json:"surface_wetted"`
	LastWatered   *NeedDate `json:"last_watered"`
	LastEvidence  *NeedDate `json:"last_evidence"`
}

// LedgerDayResult is a day of a ledger; depths are over the wet strip but for et0_mm and ground_et_mm.
type LedgerDayResult struct {
	Date  NeedDate `json:"date"`
	Day   int      `json:"day"`
	Stage string   `json:"stage"`
	Rung  string   `json:"rung"`
	ET0Mm float64  `json:"et0_mm"`
	Kc    float64  `json:"kc"`
	Kcb   float64  `json:"kcb"`
	Ke    float64  `json:"ke"`
	// Surface is the working of the dual method.
	Surface             *SurfaceDayResult `json:"surface,omitempty"`
	GroundETMm          float64           `json:"ground_et_mm"`
	StripETMm           float64           `json:"strip_et_mm"`
	RootsM              float64           `json:"roots_m"`
	TawMm               float64           `json:"taw_mm"`
	DepletionFraction   float64           `json:"depletion_fraction"`
	RawMm               float64           `json:"raw_mm"`
	StartMm             float64           `json:"start_mm"`
	AdjustmentMm        float64           `json:"adjustment_mm"`
	RainMm              *float64          `json:"rain_mm,omitempty"`
	RainCountedMm       float64           `json:"rain_counted_mm"`
	IrrigationMm        float64           `json:"irrigation_mm"`
	AssumedIrrigationMm float64           `json:"assumed_irrigation_mm"`
	PercolationMm       float64           `json:"percolation_mm"`
	WetMm               float64           `json:"wet_mm"`
	Ks                  float64           `json:"ks"`
	ETMm                float64           `json:"et_mm"`
	Stress              float64           `json:"stress"`
	EndMm               float64           `json:"end_mm"`
	Flags               []string          `json:"flags,omitempty"`
}

// TotalsResult sums a ledger; residual_mm closes the balance.
type TotalsResult struct {
	ETMm                float64 `json:"et_mm"`
	PotentialETMm       float64 `json:"potential_et_mm"`
	RainMm              float64 `json:"rain_mm"`
	RainCountedMm       float64 `json:"rain_counted_mm"`
	IrrigationMm        float64 `json:"irrigation_mm"`
	AssumedIrrigationMm float64 `json:"assumed_irrigation_mm"`
	PercolationMm       float64 `json:"percolation_mm"`
	AdjustmentMm        float64 `json:"adjustment_mm"`
	StressDays          float64 `json:"stress_days"`
	RainMissingDays     int     `json:"rain_missing_days"`
	ResidualMm          float64 `json:"residual_mm"`
}

// LedgerResult is the ledger of a planting.
type LedgerResult struct {
	Planting    string            `json:"planting"`
	WithAssumed bool              `json:"with_assumed"`
	StartMm     float64           `json:"start_mm"`
	Days        []LedgerDayResult `json:"days"`
	State       StateResult       `json:"state"`
	Totals      TotalsResult      `json:"totals"`
	Flags       []string          `json:"flags,omitempty"`
}

// PredictionResult is a planting under a plan.
type PredictionResult struct {
	Planting string            `json:"planting"`
	Days     []LedgerDayResult `json:"days"`
	State    StateResult       `json:"state"`
	Totals   TotalsResult      `json:"totals"`
}

// PlantingDayResult is a planting on a day of a horizon; volumes are gross litres at the unit.
type PlantingDayResult struct {
	Active            bool    `json:"active"`
	Day               int     `json:"day"`
	Stage             string  `json:"stage"`
	Kc                float64 `json:"kc"`
	StripETMm         float64 `json:"strip_et_mm"`
	TawMm             float64 `json:"taw_mm"`
	DepletionFraction float64 `json:"depletion_fraction"`
	RawMm             float64 `json:"raw_mm"`
	WantedMm          float64 `json:"wanted_mm"`
	RoomMm            float64 `json:"room_mm"`
	UseL              float64 `json:"use_l"`
	WantedL           float64 `json:"wanted_l"`
	RoomL             float64 `json:"room_l"`
	IntervalD         int     `json:"interval_d"`
	Seedling          bool    `json:"seedling"`
}

// PlantingDemandResult is the need of a planting.
type PlantingDemandResult struct {
	Planting     string              `json:"planting"`
	Start        StateResult         `json:"start"`
	GrossLPerMm  float64             `json:"gross_l_per_mm"`
	WantedL      float64             `json:"wanted_l"`
	GetsL        float64             `json:"gets_l"`
	SurplusL     float64             `json:"surplus_l"`
	SurplusHereL float64             `json:"surplus_here_l"`
	DueD         int                 `json:"due_d"`
	Days         []PlantingDayResult `json:"days"`
	Notes        []string            `json:"notes,omitempty"`
}

// DemandDayResult is a unit on a day of a horizon.
type DemandDayResult struct {
	Date      NeedDate `json:"date"`
	Rung      string   `json:"rung"`
	ET0Mm     float64  `json:"et0_mm"`
	UseL      float64  `json:"use_l"`
	WantedL   float64  `json:"wanted_l"`
	MostL     float64  `json:"most_l"`
	IntervalD int      `json:"interval_d"`
}

// SpellResult limits a run by infiltration; spells are 0 when the soil takes all.
type SpellResult struct {
	RateMmH   float64 `json:"rate_mm_h"`
	IntakeMmH float64 `json:"intake_mm_h"`
	Limited   bool    `json:"limited"`
	OnMin     float64 `json:"on_min"`
	OnLowMin  float64 `json:"on_low_min"`
	OnHighMin float64 `json:"on_high_min"`
	SoakMin   float64 `json:"soak_min"`
}

// DemandResult is the demand of a unit over a horizon; volumes are gross litres at the holes or the hose end.
type DemandResult struct {
	Start            NeedDate               `json:"start"`
	TotalL           float64                `json:"total_l"`
	TotalLowL        float64                `json:"total_low_l"`
	TotalHighL       float64                `json:"total_high_l"`
	MostPerDayL      float64                `json:"most_per_day_l"`
	IntervalD        int                    `json:"interval_d"`
	DueD             int                    `json:"due_d"`
	DaysSinceWatered *int                   `json:"days_since_watered,omitempty"`
	Spell            SpellResult            `json:"spell"`
	Seedlings        bool                   `json:"seedlings"`
	Thirstiest       string                 `json:"thirstiest,omitempty"`
	Days             []DemandDayResult      `json:"days"`
	Plantings        []PlantingDemandResult `json:"plantings"`
	Flags            []string               `json:"flags,omitempty"`
}

// WeekResult is a week of a season, or all of it; depths are over the ground.
type WeekResult struct {
	From       NeedDate `json:"from"`
	Days       int      `json:"days"`
	CropETMm   float64  `json:"crop_et_mm"`
	RainMm     float64  `json:"rain_mm"`
	RainUsedMm float64  `json:"rain_used_mm"`
	NetMm      float64  `json:"net_mm"`
	GrossL     float64  `json:"gross_l"`
	Waterings  int      `json:"waterings"`
	StressDays float64  `json:"stress_days"`
	RuleRatio  float64  `json:"rule_ratio"`
}

// SeasonResult is a season of a planting irrigated when readily available water is used.
type SeasonResult struct {
	Planting string       `json:"planting"`
	Weeks    []WeekResult `json:"weeks"`
	Total    WeekResult   `json:"total"`
	Totals   TotalsResult `json:"totals"`
	// YieldLostPct is what stress costs by Ky; left out where no Ky is published.
	YieldLostPct *float64   `json:"yield_lost_pct,omitempty"`
	Rule         RuleResult `json:"rule_of_thumb"`
	Flags        []string   `json:"flags,omitempty"`
}

// RunNeed answers a need file. Faults of the values are Faults with the pointers of the file.
func RunNeed(n Need) (NeedResult, error) {
	var r NeedResult
	var faults Faults
	place := n.Place.engine()
	if err := place.Validate(); err != nil {
		return r, enginePointers("/place", err)
	}
	n.runReferenceET(&r, &faults)
	r.StepResults = n.NeedSteps.run(place, &faults)
	climate := n.Weather.engine(place)
	if err := climate.Validate(); err != nil {
		faults = append(faults, faultsUnder("/weather", err)...)
	}
	n.runCurves(&r, &faults)
	if err := faults.Err(); err != nil {
		return NeedResult{}, err
	}
	if n.Series != nil {
		s, err := climate.Series(waterneed.Date(n.Series.From), n.Series.Days)
		faults = append(faults, faultsUnder("/series", err)...)
		r.Series = SeriesOf(s)
	}
	for i, u := range n.Units {
		result, err := u.run(climate, Point("units", i))
		faults = append(faults, faultsUnder("", err)...)
		r.Units = append(r.Units, result)
	}
	if err := faults.Err(); err != nil {
		return NeedResult{}, err
	}
	return r, nil
}

// EngineFaults returns the faults of an error of the engine or of this package, with the engine's paths as pointers.
func EngineFaults(err error) Faults { return faultsUnder("", err) }

// faultsUnder returns an error's faults with pointers under a prefix; Faults already have theirs.
func faultsUnder(prefix string, err error) Faults {
	if err == nil {
		return nil
	}
	err = enginePointers(prefix, err)
	var faults Faults
	if errors.As(err, &faults) {
		return faults
	}
	return Faults{{Pointer: prefix, Reason: err.Error()}}
}

func (n Need) runReferenceET(r *NeedResult, faults *Faults) {
	place := n.Place.engine()
	for i, d := range n.Days {
		et, err := waterneed.DailyReferenceET(place, d.date(), d.engine())
		*faults = append(*faults, faultsUnder(Point("days", i), err)...)
		result := referenceETResult(et)
		if d.DayOfYear == 0 {
			result.Date = &n.Days[i].Date
		}
		r.Days = append(r.Days, result)
	}
	for i, m := range n.Months {
		previous, next := n.neighbours(i)
		et, err := waterneed.MonthlyReferenceET(place, cmp.Or(m.Year, normalYear), m.Month, m.engine(), previous, next)
		*faults = append(*faults, faultsUnder(Point("months", i), err)...)
		r.Months = append(r.Months, referenceETResult(et))
	}
}

// neighbours returns the mean temperatures of the months before and after a month: as it gives them, else from the months
// beside it in the file.
func (n Need) neighbours(i int) (previous, next waterneed.Optional[unit.Temperature]) {
	m := n.Months[i]
	previous, next = optional[unit.Temperature](m.PreviousTmeanC), optional[unit.Temperature](m.NextTmeanC)
	for _, o := range n.Months {
		if o.TmaxC == nil || o.TminC == nil {
			continue
		}
		mean := waterneed.Given(unit.Temperature((*o.TmaxC + *o.TminC) / 2))
		apart := (o.Year-m.Year)*12 + o.Month - m.Month
		anyYear := o.Year == 0 && m.Year == 0
		if !previous.Known && (apart == -1 || anyYear && apart == 11) {
			previous = mean
		}
		if !next.Known && (apart == 1 || anyYear && apart == -11) {
			next = mean
		}
	}
	return previous, next
}

func (n Need) runCurves(r *NeedResult, faults *Faults) {
	for i, c := range n.Curves {
		var own Faults
		crop := c.Crop.engine(Point("curves", i, "crop"), &own)
		if len(own) > 0 {
			*faults = append(*faults, own...)
			continue
		}
		setting := c.Setting.engine()
		setting.WettedFraction = c.WettedFraction
		curve, err := waterneed.NewCurve(crop, setting)
		*faults = append(*faults, faultsUnder(Point("curves", i), err)...)
		for j, day := range c.Days {
			if day < 1 || day > 3660 {
				faults.Add(Point("curves", i, "days", j), "%d is not between 1 and 3660", day)
				return
			}
		}
		r.Curves = append(r.Curves, curveResult(crop, curve, c.Days))
	}
}

// run answers one unit. The series begins with the earliest planting or the morning asked for, whichever is earlier.
func (u NeedUnit) run(climate waterneed.Climate, pointer string) (UnitNeedResult, error) {
	var faults Faults
	e := u.engine(pointer, &faults)
	if err := faults.Err(); err != nil {
		return UnitNeedResult{}, err
	}
	if err := e.Validate(); err != nil {
		return UnitNeedResult{}, enginePointers(pointer, err)
	}
	r := UnitNeedResult{ID: u.ID, Soil: soilResult(e.Soil), Efficiency: EfficiencyOf(e.Uniformity.Efficiency())}
	s, err := u.series(climate, e)
	if err != nil {
		return UnitNeedResult{}, enginePointers(pointer+"/plantings", err)
	}
	if u.Season {
		season, err := waterneed.Season(e, s)
		if err != nil {
			return UnitNeedResult{}, enginePointers(pointer, err)
		}
		r.Season = seasonResult(season)
	}
	if u.LedgerUntil == nil {
		return r, nil
	}
	return r, u.ledgers(&r, e, s, pointer)
}

// series covers all that the unit asks.
func (u NeedUnit) series(climate waterneed.Climate, e waterneed.Unit) (waterneed.Series, error) {
	first, last := e.Plantings[0].From, e.Plantings[0].From
	for _, p := range e.Plantings {
		if p.From.Compare(first) < 0 {
			first = p.From
		}
		if u.Season && p.End().Compare(last) > 0 {
			last = p.End()
		}
	}
	if u.LedgerUntil != nil {
		until := waterneed.Date(*u.LedgerUntil)
		if until.Compare(first) < 0 {
			first = until
		}
		if end := until.AddDays(max(u.HorizonDays, len(u.PlanL))); end.Compare(last) > 0 {
			last = end
		}
	}
	return climate.Series(first, last.Sub(first)+1)
}

func (u NeedUnit) ledgers(r *UnitNeedResult, e waterneed.Unit, s waterneed.Series, pointer string) error {
	until := waterneed.Date(*u.LedgerUntil)
	ledgers, err := waterneed.Ledgers(e, s, u.history(), until, waterneed.LedgerOptions{WithoutAssumed: u.WithoutAssumed})
	if err != nil {
		return enginePointers(pointer, err)
	}
	states := make([]waterneed.State, len(ledgers))
	for i, l := range ledgers {
		states[i] = l.State
		r.Ledgers = append(r.Ledgers, ledgerResult(l))
	}
	if u.HorizonDays != 0 {
		d, err := waterneed.UnitDemand(e, s, states, until, u.HorizonDays)
		if err != nil {
			return enginePointers(pointer, err)
		}
		r.Demand = DemandOf(d)
	}
	if len(u.PlanL) == 0 {
		return nil
	}
	plan := make([]unit.Volume, len(u.PlanL))
	for i, v := range u.PlanL {
		plan[i] = unit.Liters(v)
	}
	predictions, err := waterneed.Replay(e, s, states, until, plan)
	if err != nil {
		return enginePointers(pointer, err)
	}
	for _, p := range predictions {
		r.Replay = append(r.Replay, PredictionResult{
			Planting: p.Planting, Days: ledgerDays(p.Days), State: stateResult(p.State), Totals: totalsResult(p.Totals),
		})
	}
	return nil
}

func codes(from []waterneed.Code) []string {
	out := make([]string, len(from))
	for i, c := range from {
		out[i] = string(c)
	}
	return out
}

func depthOf(d waterneed.Optional[unit.Depth]) *float64 {
	if !d.Known {
		return nil
	}
	v := float64(d.Value)
	return &v
}

func referenceETResult(r waterneed.ReferenceET) ReferenceETResult {
	return ReferenceETResult{
		LatitudeRad: float64(r.Latitude), ExtraterrestrialMm: float64(r.Extraterrestrial.Evaporation()),
		SolarMm: float64(r.Solar.Evaporation()), NetRadiationMm: float64(r.Net.Evaporation()),
		DayOfYear: r.DayOfYear, TmeanC: float64(r.TMean), PressureKpa: float64(r.Pressure), PsychrometricKpaPerC: r.Psychrometric,
		SlopeKpaPerC: r.Slope, SaturationTmaxKpa: float64(r.SaturationTMax), SaturationTminKpa: float64(r.SaturationTMin),
		SaturationKpa: float64(r.Saturation), VaporPressureKpa: float64(r.Actual), VaporPressureDeficitKpa: float64(r.Deficit),
		InverseDistance: r.InverseDistance, DeclinationRad: float64(r.Declination), SunsetAngleRad: float64(r.SunsetAngle),
		ExtraterrestrialMjM2: float64(r.Extraterrestrial), DaylightH: float64(r.DaylightHours), SolarMjM2: float64(r.Solar),
		ClearSkyMjM2: float64(r.ClearSky), NetShortwaveMjM2: float64(r.NetShortwave),
		LongwaveEmissionMjM2: float64(r.NetLongwave.Emission), HumidityFactor: r.NetLongwave.HumidityFactor,
		CloudFactor: r.NetLongwave.CloudFactor, NetLongwaveMjM2: float64(r.NetLongwave.Radiation), NetRadiationMjM2: float64(r.Net),
		SoilHeatMjM2: float64(r.SoilHeat), WindTwoMetersMS: float64(r.Wind), RadiationTermMm: float64(r.RadiationTerm),
		AerodynamicTermMm: float64(r.AerodynamicTerm), ET0Mm: float64(r.ET0), HargreavesMm: float64(r.Hargreaves),
		HumiditySource: string(r.HumiditySource), RadiationSource: string(r.RadiationSource), WindSource: string(r.WindSource),
		Notes: codes(r.Notes),
	}
}

// SeriesOf returns a run of days as files show it.
func SeriesOf(s waterneed.Series) []SeriesDayResult {
	out := make([]SeriesDayResult, len(s.Days))
	for i, d := range s.Days {
		out[i] = SeriesDayResult{Date: NeedDate(d.Date), ET0Mm: float64(d.ET0), Rung: string(d.Rung), RainMm: depthOf(d.Rain), RainRead: d.RainRead}
		if d.Working != nil {
			working := referenceETResult(*d.Working)
			out[i].Working = &working
		}
	}
	return out
}

func curveResult(crop waterneed.Crop, c waterneed.Curve, days []int) CurveResult {
	r := CurveResult{
		Crop: CropOf(crop), KcIni: c.KcIni, KcMid: c.KcMid, KcEnd: c.KcEnd, KcbIni: c.KcbIni, KcbMid: c.KcbMid, KcbEnd: c.KcbEnd,
		HeightM: float64(c.Height), RootStartM: float64(c.RootStart), RootDepthM: float64(c.RootDepth),
	}
	if len(days) == 0 {
		for day := 1; day <= c.Stages.Total(); day++ {
			days = append(days, day)
		}
	}
	for _, day := range days {
		k := c.At(day)
		r.Days = append(r.Days, CurveDayResult{
			Day: k.Day, Stage: string(k.Stage), Kc: k.Kc, Kcb: k.Kcb, HeightM: float64(k.Height), RootsM: float64(k.Roots),
		})
	}
	return r
}

func soilResult(s waterneed.Soil) SoilResult {
	return SoilResult{
		Texture: string(s.Texture), Assumed: s.Assumed, FieldCapacityM3M3: s.FieldCapacity, WiltingPointM3M3: s.WiltingPoint,
		RewMm: float64(s.ReadilyEvaporable), TewMm: float64(s.TotallyEvaporable), InfiltrationMmH: float64(s.Infiltration),
		InfiltrationLowMmH: float64(s.InfiltrationLow), InfiltrationHighMmH: float64(s.InfiltrationHigh),
		SurfaceStorageMm: float64(s.SurfaceStorage),
	}
}

// EfficiencyOf returns an efficiency as files show it.
func EfficiencyOf(e waterneed.Efficiency) EfficiencyResult {
	return EfficiencyResult{Value: e.Value, Low: e.Low, High: e.High, Source: string(e.Source), DU: e.Uniformity, Factor: e.Factor}
}

func stateResult(s waterneed.State) StateResult {
	return StateResult{
		Date: NeedDate(s.Date), DepletionMm: float64(s.Depletion), SurfaceMm: float64(s.Surface), SurfaceWetted: s.SurfaceWetted,
		LastWatered: dateOrNull(s.LastWatered), LastEvidence: dateOrNull(s.LastEvidence),
	}
}

func dateOrNull(d waterneed.Date) *NeedDate {
	if d == (waterneed.Date{}) {
		return nil
	}
	out := NeedDate(d)
	return &out
}

func ledgerDays(days []waterneed.LedgerDay) []LedgerDayResult {
	out := make([]LedgerDayResult, len(days))
	for i, d := range days {
		out[i] = LedgerDayResult{
			Date: NeedDate(d.Date), Day: d.Coefficient.Day, Stage: string(d.Coefficient.Stage), Rung: string(d.Rung), ET0Mm: float64(d.ET0),
			Kc: d.Kc, Kcb: d.Coefficient.Kcb, Ke: d.Ke, Surface: surfaceDayResult(d.Surface), GroundETMm: float64(d.GroundET), StripETMm: float64(d.StripET),
			RootsM: float64(d.Roots), TawMm: float64(d.TAW), DepletionFraction: d.P, RawMm: float64(d.RAW), StartMm: float64(d.Start),
			AdjustmentMm: float64(d.Adjustment), RainMm: depthOf(d.Rain), RainCountedMm: float64(d.RainCounted),
			IrrigationMm: float64(d.Irrigation), AssumedIrrigationMm: float64(d.AssumedIrrigation), PercolationMm: float64(d.Percolation),
			WetMm: float64(d.Wet), Ks: d.Ks, ETMm: float64(d.ET), Stress: d.Stress, EndMm: float64(d.End), Flags: codes(d.Flags),
		}
	}
	return out
}

func totalsResult(t waterneed.Totals) TotalsResult {
	return TotalsResult{
		ETMm: float64(t.ET), PotentialETMm: float64(t.PotentialET), RainMm: float64(t.Rain), RainCountedMm: float64(t.RainCounted),
		IrrigationMm: float64(t.Irrigation), AssumedIrrigationMm: float64(t.AssumedIrrigation), PercolationMm: float64(t.Percolation),
		AdjustmentMm: float64(t.Adjustment), StressDays: t.StressDays, RainMissingDays: t.RainMissingDays, ResidualMm: float64(t.Residual),
	}
}

func ledgerResult(l waterneed.Ledger) LedgerResult {
	return LedgerResult{
		Planting: l.Planting, WithAssumed: l.WithAssumed, StartMm: float64(l.Start), Days: ledgerDays(l.Days), State: stateResult(l.State),
		Totals: totalsResult(l.Totals), Flags: codes(l.Flags),
	}
}

// DemandOf returns a demand as files show it.
func DemandOf(d waterneed.Demand) *DemandResult {
	r := DemandResult{
		Start: NeedDate(d.Start), TotalL: d.Total.Liters(), TotalLowL: d.TotalLow.Liters(), TotalHighL: d.TotalHigh.Liters(),
		MostPerDayL: d.MostPerDay.Liters(), IntervalD: d.Interval, DueD: d.Due, Seedlings: d.Seedlings, Flags: codes(d.Flags),
		Spell: SpellResult{
			RateMmH: float64(d.Spell.Rate), IntakeMmH: float64(d.Spell.Intake), Limited: d.Spell.Limited, OnMin: float64(d.Spell.On),
			OnLowMin: float64(d.Spell.OnLow), OnHighMin: float64(d.Spell.OnHigh), SoakMin: float64(d.Spell.Soak),
		},
	}
	if d.DaysSinceWatered >= 0 {
		r.DaysSinceWatered = &d.DaysSinceWatered
	}
	if d.Thirstiest >= 0 {
		r.Thirstiest = d.Plantings[d.Thirstiest].Planting
	}
	for _, day := range d.Days {
		r.Days = append(r.Days, DemandDayResult{
			Date: NeedDate(day.Date), Rung: string(day.Rung), ET0Mm: float64(day.ET0), UseL: day.Use.Liters(), WantedL: day.Wanted.Liters(),
			MostL: day.Most.Liters(), IntervalD: day.Interval,
		})
	}
	for _, p := range d.Plantings {
		r.Plantings = append(r.Plantings, plantingDemandResult(p))
	}
	return &r
}

func plantingDemandResult(p waterneed.PlantingDemand) PlantingDemandResult {
	r := PlantingDemandResult{
		Planting: p.Planting, Start: stateResult(p.Start), GrossLPerMm: p.GrossPerDepth.Liters(), WantedL: p.Wanted.Liters(),
		GetsL: p.Gets.Liters(), SurplusL: p.Surplus.Liters(), SurplusHereL: p.SurplusHere.Liters(), DueD: p.Due, Notes: codes(p.Notes),
	}
	for _, d := range p.Days {
		r.Days = append(r.Days, PlantingDayResult{
			Active: d.Active, Day: d.Coefficient.Day, Stage: string(d.Coefficient.Stage), Kc: d.Kc, StripETMm: float64(d.StripET),
			TawMm: float64(d.TAW), DepletionFraction: d.P, RawMm: float64(d.RAW), WantedMm: float64(d.Wanted), RoomMm: float64(d.Room),
			UseL: d.UseVolume.Liters(), WantedL: d.WantedVolume.Liters(), RoomL: d.RoomVolume.Liters(), IntervalD: d.Interval,
			Seedling: d.Seedling,
		})
	}
	return r
}

func weekResult(w waterneed.Week) WeekResult {
	return WeekResult{
		From: NeedDate(w.From), Days: w.Days, CropETMm: float64(w.CropET), RainMm: float64(w.Rain), RainUsedMm: float64(w.RainUsed),
		NetMm: float64(w.Net), GrossL: w.Gross.Liters(), Waterings: w.Irrigation, StressDays: w.StressDays, RuleRatio: w.RuleRatio,
	}
}

func seasonResult(s waterneed.SeasonReport) *SeasonResult {
	r := SeasonResult{
		Planting: s.Planting, Total: weekResult(s.Total), Totals: totalsResult(s.Ledger.Totals), YieldLostPct: percentOf(s.YieldLost),
		Rule: ruleResult(s.Rule), Flags: codes(s.Ledger.Flags),
	}
	for _, w := range s.Weeks {
		r.Weeks = append(r.Weeks, weekResult(w))
	}
	return &r
}
