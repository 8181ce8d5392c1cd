package waterneed

import (
	"math"

	"rillturn.example/rillturn/engine/unit"
)

// Place is where the weather is.
type Place struct {
	Latitude  unit.Angle // north positive
	Elevation unit.Length
	// Coastal says that a large water body governs the air; it matters when radiation is estimated from temperatures.
	Coastal bool
	// Humidity is the class of the climate, used where humidity is not measured.
	Humidity HumidityClass
}

// Weather is what is known of a day, or of the mean day of a month.
type Weather struct {
	TMax, TMin    Optional[unit.Temperature]
	VaporPressure Optional[unit.Pressure]
	DewPoint      Optional[unit.Temperature]
	// DryBulb and WetBulb are the readings of a psychrometer, Ventilation says of which kind.
	DryBulb, WetBulb     Optional[unit.Temperature]
	Ventilation          Ventilation
	RHMax, RHMin, RHMean Optional[unit.Percent]
	// Radiation is the measured solar radiation Rs; Sunshine the hours of bright sun, n.
	Radiation Optional[unit.Irradiation]
	Sunshine  Optional[unit.Hours]
	// Wind is the mean wind at WindHeight; a height of 0 stands for 2 m.
	Wind       Optional[unit.Velocity]
	WindHeight unit.Length
	Rain       Optional[unit.Depth]
	// RainRead says that a person read the rain from a gauge in the garden.
	RainRead bool
	// ET0 is reference evapotranspiration that somebody else computed; it prevails over all above.
	ET0 Optional[unit.Depth]
}

// ReferenceET is the reference evapotranspiration of a day with all that led to it. Symbols are those of FAO-56.
type ReferenceET struct {
	Sky
	TMean          unit.Temperature
	Pressure       unit.Pressure // P
	Psychrometric  float64       // γ [kPa/°C]
	Slope          float64       // Δ [kPa/°C]
	SaturationTMax unit.Pressure // e°(Tmax)
	SaturationTMin unit.Pressure // e°(Tmin)
	Saturation     unit.Pressure // es
	Actual         unit.Pressure // ea
	Deficit        unit.Pressure // es - ea, not below 0
	Solar          unit.Irradiation
	ClearSky       unit.Irradiation
	NetShortwave   unit.Irradiation
	NetLongwave    NetLongwave
	Net            unit.Irradiation
	SoilHeat       unit.Irradiation
	Wind           unit.Velocity // u2 as used
	// RadiationTerm and AerodynamicTerm are the two terms of the sum [mm/day]; ET0 is their sum, not below 0.
	RadiationTerm, AerodynamicTerm, ET0 unit.Depth
	// Hargreaves is the estimate of Hargreaves and Samani from temperatures alone, beside ET0 for comparison.
	Hargreaves unit.Depth

	HumiditySource, RadiationSource, WindSource Code
	Notes                                       []Code
}

// The notes of a ReferenceET.
const (
	NoteWindRaised       Code = "wind_raised_to_0.5_m_s"
	NoteWindCalm         Code = "wind_below_0.3_m_s"
	NoteSaturated        Code = "vapor_pressure_above_saturation"
	NoteET0Negative      Code = "et0_below_zero_set_to_zero"
	NoteRadiationClear   Code = "radiation_held_to_clear_sky"
	NoteSoilHeatUnknown  Code = "soil_heat_unknown"
	NoteSunshineAboveDay Code = "sunshine_held_to_day_length"
)

// Limits of plausible input. They are wide enough for every garden on earth; a value outside is a slip of the pen or of
// the unit.
const (
	coldest, hottest = -60, 60 // [°C]
	// windMost: a day's mean above 12 m/s at 2 m is hardly ever a storm, mostly km/h or knots taken for m/s;
	// windLeastMonthly: a month's mean below 0.3 m/s is no anemometer's. Single days may be calm.
	windMost, windLeastMonthly = 12, 0.3
	// sunshineSlack [h] and radiationSlack [-] allow for clocks and instruments: n up to N + 0.1 and Rs up to 1.05 Rso,
	// plus half a megajoule for the days when the sun hardly rises.
	sunshineSlack        = 0.1
	radiationSlack       = 1.05
	radiationSlackLow    = 0.5
	lowestWind           = 0.5 // [m/s], FAO-56 p. 63
	assumedWind          = 2   // [m/s], FAO-56 p. 63 and Table 4
	rainMost             = 2000
	et0Most              = 30       // [mm/day]
	lowestMast, tallMast = 0.5, 200 // [m]
)

// DailyReferenceET returns ET0 of one day by Penman–Monteith (FAO-56 eq. 6) from whatever is known, with soil heat 0
// (eq. 42). Highest and lowest temperature are required: temperature cannot be estimated. A missing datum is replaced
// as FAO-56 ch. 3 says: humidity by the lowest temperature, radiation by the range of temperature, wind by 2 m/s.
// Faults are InputErrors with fields such as weather.tmax_c.
func DailyReferenceET(p Place, d Date, w Weather) (ReferenceET, error) {
	var faults InputErrors
	faults.join("place", p.faults())
	if faults.checkDate("date", d) && len(faults) == 0 {
		faults.join("weather", w.faults(p, SkyAt(p.Latitude, d.DayOfYear()), 0))
	}
	if err := faults.err(); err != nil {
		return ReferenceET{}, err
	}
	return penmanMonteith(p, d.DayOfYear(), w, 0), nil
}

// Validate returns what is wrong with the weather of a date, as InputErrors. Temperatures may both be unknown.
func (w Weather) Validate(p Place, d Date) error {
	faults := p.faults()
	if faults.checkDate("date", d) && len(faults) == 0 {
		faults = w.knownFaults(p, SkyAt(p.Latitude, d.DayOfYear()))
	}
	return faults.err()
}

// Transfer returns the weather of a date at one place as it is taken to be at another in the same climate: radiation and
// sunshine keep their share of what the sky allows there, a psychrometer is read in the air pressure of its own place, and
// all else stays as measured. Temperatures are not changed with elevation. The weather must have no faults.
//
//	Rs = Ra Rs,station/Ra,station
//
// Source: FAO-56 eq. 49 for radiation (from memory); eq. 35 and 16 say why sunshine goes by N and psychrometers by P.
func (w Weather) Transfer(from, to Place, d Date) Weather {
	there, here := SkyAt(from.Latitude, d.DayOfYear()), SkyAt(to.Latitude, d.DayOfYear())
	if w.Radiation.Known && there.Extraterrestrial > 0 {
		w.Radiation.Value *= here.Extraterrestrial / there.Extraterrestrial
		w.Radiation.Value = min(w.Radiation.Value, mostRadiation(here, to.Elevation))
	}
	if w.Sunshine.Known {
		if there.DaylightHours > 0 {
			w.Sunshine.Value *= here.DaylightHours / there.DaylightHours
		}
		w.Sunshine.Value = min(w.Sunshine.Value, here.DaylightHours)
	}
	if w.WetBulb.Known {
		if !w.VaporPressure.Known && !w.DewPoint.Known {
			w.VaporPressure = Given(w.Ventilation.vaporPressure(w.DryBulb.Value, w.WetBulb.Value, AtmosphericPressure(from.Elevation)))
		}
		w.DryBulb, w.WetBulb = Optional[unit.Temperature]{}, Optional[unit.Temperature]{}
	}
	return w
}

// mostRadiation is the most that a day's radiation may be under a sky.
func mostRadiation(sky Sky, elevation unit.Length) unit.Irradiation {
	return max(radiationSlack*ClearSkyRadiation(sky, elevation), radiationSlackLow)
}

// knownFaults checks a day whose temperatures may both be unknown.
func (w Weather) knownFaults(p Place, sky Sky) InputErrors {
	if w.TMax.Known || w.TMin.Known {
		return w.faults(p, sky, 0)
	}
	return w.partFaults(p, sky, 0)
}

// MonthlyReferenceET returns ET0 of the mean day of a month, taken on the 15th, with the soil heat of FAO-56 eq. 43 or
// 44 from the mean temperatures of the previous and the next month.
func MonthlyReferenceET(p Place, year, month int, w Weather, previous, next Optional[unit.Temperature]) (ReferenceET, error) {
	var faults InputErrors
	faults.join("place", p.faults())
	middle := Date{year, month, 15}
	optionalWithin(&faults, "previous_tmean_c", previous, coldest, hottest)
	optionalWithin(&faults, "next_tmean_c", next, coldest, hottest)
	if faults.checkDate("month", middle) && len(faults) == 0 {
		faults.join("weather", w.faults(p, SkyAt(p.Latitude, middle.DayOfYear()), windLeastMonthly))
	}
	if err := faults.err(); err != nil {
		return ReferenceET{}, err
	}
	r := penmanMonteith(p, middle.DayOfYear(), w, MonthlySoilHeat((w.TMax.Value+w.TMin.Value)/2, previous, next))
	if !previous.Known {
		r.Notes = append(r.Notes, NoteSoilHeatUnknown)
	}
	return r, nil
}

// penmanMonteith computes ET0 of checked weather with soil heat g.
func penmanMonteith(p Place, j int, w Weather, g unit.Irradiation) ReferenceET {
	tmax, tmin := w.TMax.Value, w.TMin.Value
	r := ReferenceET{Sky: SkyAt(p.Latitude, j), TMean: (tmax + tmin) / 2, SoilHeat: g}
	r.Pressure = AtmosphericPressure(p.Elevation)
	r.Psychrometric = PsychrometricConstant(r.Pressure)
	r.Slope = SaturationSlope(r.TMean)
	r.SaturationTMax, r.SaturationTMin = SaturationVaporPressure(tmax), SaturationVaporPressure(tmin)
	r.Saturation = MeanSaturationVaporPressure(tmax, tmin)
	r.Actual, r.HumiditySource = ActualVaporPressure(p, w)
	r.Deficit = max(0, r.Saturation-r.Actual)
	if r.Actual > r.Saturation {
		r.Notes = append(r.Notes, NoteSaturated)
	}
	r.radiation(p, w)
	r.windOf(w)
	r.terms()
	r.Hargreaves = Hargreaves(r.TMean, tmax-tmin, r.Extraterrestrial)
	return r
}

func (r *ReferenceET) radiation(p Place, w Weather) {
	r.ClearSky = ClearSkyRadiation(r.Sky, p.Elevation)
	switch {
	case w.Radiation.Known:
		r.Solar, r.RadiationSource = w.Radiation.Value, RadiationMeasured
	case w.Sunshine.Known:
		r.Solar, r.RadiationSource = SunshineRadiation(r.Sky, w.Sunshine.Value), RadiationSunshine
		if w.Sunshine.Value > r.DaylightHours {
			r.Notes = append(r.Notes, NoteSunshineAboveDay)
		}
	default:
		r.Solar, r.RadiationSource = RangeRadiation(p, r.Sky, w.TMax.Value, w.TMin.Value), RadiationFromRange
		if r.Solar == r.ClearSky {
			r.Notes = append(r.Notes, NoteRadiationClear)
		}
	}
	r.NetShortwave = NetShortwave(r.Solar)
	r.NetLongwave = LongwaveRadiation(w.TMax.Value, w.TMin.Value, r.Actual, r.Solar, r.ClearSky)
	r.Net = r.NetShortwave - r.NetLongwave.Radiation
}

func (r *ReferenceET) windOf(w Weather) {
	if !w.Wind.Known {
		r.Wind, r.WindSource = assumedWind, WindAssumed
		return
	}
	r.Wind, r.WindSource = w.TwoMeterWind(), WindMeasured
	if w.Wind.Value < windLeastMonthly {
		r.Notes = append(r.Notes, NoteWindCalm)
	}
	if r.Wind < lowestWind {
		r.Wind = lowestWind
		r.Notes = append(r.Notes, NoteWindRaised)
	}
}

// TwoMeterWind returns the day's wind at 2 m, as measured there or brought down by eq. 47.
func (w Weather) TwoMeterWind() unit.Velocity {
	if w.WindHeight == 0 || w.WindHeight == 2 {
		return w.Wind.Value
	}
	return WindAtTwoMeters(w.Wind.Value, w.WindHeight)
}

// terms computes both terms of
//
//	ET0 = [0.408 Δ (Rn - G) + γ 900/(T+273) u2 (es - ea)] / [Δ + γ (1 + 0.34 u2)]
//
// Source: FAO-56 eq. 6.
func (r *ReferenceET) terms() {
	u2 := float64(r.Wind)
	divisor := r.Slope + r.Psychrometric*(1+0.34*u2)
	r.RadiationTerm = unit.Depth(r.Slope / divisor * float64((r.Net - r.SoilHeat).Evaporation()))
	r.AerodynamicTerm = unit.Depth(r.Psychrometric * 900 / (float64(r.TMean) + 273) * u2 * float64(r.Deficit) / divisor)
	r.ET0 = r.RadiationTerm + r.AerodynamicTerm
	if r.ET0 < 0 {
		r.ET0 = 0
		r.Notes = append(r.Notes, NoteET0Negative)
	}
}

// Hargreaves returns the estimate of ET0 by Hargreaves and Samani from temperatures alone: 0.0023 (Tmean + 17.8)
// √(Tmax - Tmin) Ra, Ra as depth, not below 0. spread is Tmax - Tmin. Source: FAO-56 eq. 52.
func Hargreaves(tmean, spread unit.Temperature, ra unit.Irradiation) unit.Depth {
	et := 0.0023 * (float64(tmean) + 17.8) * math.Sqrt(float64(spread)) * float64(ra.Evaporation())
	return unit.Depth(max(0, et))
}

func (p Place) faults() InputErrors {
	var faults InputErrors
	faults.within("latitude_deg", p.Latitude.Degrees(), -90, 90)
	faults.within("elevation_m", float64(p.Elevation), -450, 6000)
	if _, ok := p.Humidity.lowestHumidity(); !ok {
		faults.add("humidity_class", ReasonUnknown)
	}
	return faults
}

// faults checks the weather of a day under a sky; the mean wind must reach windLeast.
func (w Weather) faults(p Place, sky Sky, windLeast float64) InputErrors {
	var faults InputErrors
	w.temperatureFaults(&faults)
	return append(faults, w.partFaults(p, sky, windLeast)...)
}

// partFaults checks all but the temperatures.
func (w Weather) partFaults(p Place, sky Sky, windLeast float64) InputErrors {
	var faults InputErrors
	optionalWithin(&faults, "vapor_pressure_kpa", w.VaporPressure, 0, 20)
	optionalWithin(&faults, "dew_point_c", w.DewPoint, coldest, hottest)
	w.psychrometerFaults(&faults)
	w.humidityFaults(&faults)
	optionalWithin(&faults, "sunshine_h", w.Sunshine, 0, float64(sky.DaylightHours)+sunshineSlack)
	optionalWithin(&faults, "radiation_mj_m2", w.Radiation, 0, float64(mostRadiation(sky, p.Elevation)))
	w.windFaults(&faults, windLeast)
	optionalWithin(&faults, "rain_mm", w.Rain, 0, rainMost)
	optionalWithin(&faults, "et0_mm", w.ET0, 0, et0Most)
	return faults
}

// windFaults checks the wind at its own height, with limits that hold at 2 m.
func (w Weather) windFaults(faults *InputErrors, least float64) {
	factor := 1.0
	if w.WindHeight != 0 {
		if !faults.within("wind_height_m", float64(w.WindHeight), lowestMast, tallMast) {
			return
		}
		factor = float64(WindAtTwoMeters(1, w.WindHeight))
	}
	if v := float64(w.Wind.Value); w.Wind.Known && faults.within("wind_m_s", v, 0, math.MaxFloat64) {
		faults.check("wind_m_s", ReasonUnit, v, least/factor, windMost/factor)
	}
}

func (w Weather) temperatureFaults(faults *InputErrors) {
	for _, t := range []struct {
		field string
		value Optional[unit.Temperature]
	}{{"tmax_c", w.TMax}, {"tmin_c", w.TMin}} {
		if !t.value.Known {
			faults.add(t.field, ReasonMissing)
			return
		}
		if !faults.within(t.field, float64(t.value.Value), coldest, hottest) {
			return
		}
	}
	faults.check("tmax_c", ReasonOrder, float64(w.TMax.Value), float64(w.TMin.Value), hottest)
}

func (w Weather) psychrometerFaults(faults *InputErrors) {
	if _, ok := w.Ventilation.coefficient(); !ok {
		faults.add("psychrometer", ReasonUnknown)
	}
	ok := optionalWithin(faults, "dry_bulb_c", w.DryBulb, coldest, hottest)
	ok = optionalWithin(faults, "wet_bulb_c", w.WetBulb, coldest, hottest) && ok
	switch {
	case w.DryBulb.Known && !w.WetBulb.Known:
		faults.add("wet_bulb_c", ReasonMissing)
	case w.WetBulb.Known && !w.DryBulb.Known:
		faults.add("dry_bulb_c", ReasonMissing)
	case ok && w.DryBulb.Known:
		faults.check("dry_bulb_c", ReasonOrder, float64(w.DryBulb.Value), float64(w.WetBulb.Value), hottest)
	}
}

func (w Weather) humidityFaults(faults *InputErrors) {
	ok := optionalWithin(faults, "rh_max_pct", w.RHMax, 0, 100)
	ok = optionalWithin(faults, "rh_min_pct", w.RHMin, 0, 100) && ok
	optionalWithin(faults, "rh_mean_pct", w.RHMean, 0, 100)
	if ok && w.RHMax.Known && w.RHMin.Known {
		faults.check("rh_max_pct", ReasonOrder, float64(w.RHMax.Value), float64(w.RHMin.Value), 100)
	}
}
