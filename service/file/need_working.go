package file

import (
	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/engine/waterneed"
)

// NeedWorking is a day of which only some things are known. The place of the file stands in for a latitude or an
// elevation that it doesn't give.
type NeedWorking struct {
	LatitudeDeg *float64 `json:"latitude_deg,omitempty"`
	ElevationM  *float64 `json:"elevation_m,omitempty"`
	Coastal     bool     `json:"coastal,omitempty"`
	NeedDay
	// ClearSkyMjM2 and SoilHeatMjM2 are given where they can't be computed.
	ClearSkyMjM2 *float64 `json:"clear_sky_mj_m2,omitempty"`
	SoilHeatMjM2 *float64 `json:"soil_heat_mj_m2,omitempty"`
}

// WorkingResult holds what follows from a working, under the names that whole days have.
type WorkingResult map[string]float64

// working is a working under way.
type working struct {
	q     NeedWorking
	place waterneed.Place
	w     waterneed.Weather
	sky   *waterneed.Sky
	out   WorkingResult
}

func (q NeedWorking) run(place waterneed.Place, at string, faults *Faults) WorkingResult {
	before := len(*faults)
	q.dayFaults(at, faults)
	k := working{q: q, place: place, w: q.engine(), out: WorkingResult{}}
	k.place.Coastal = place.Coastal || q.Coastal
	if q.LatitudeDeg != nil {
		k.place.Latitude = unit.Degrees(*q.LatitudeDeg)
	}
	if q.ElevationM != nil {
		k.place.Elevation = unit.Length(*q.ElevationM)
	}
	*faults = append(*faults, faultsUnder(at, k.place.Validate())...)
	optionalIn(faults, at+"/clear_sky_mj_m2", q.ClearSkyMjM2, 0, 60)
	optionalIn(faults, at+"/soil_heat_mj_m2", q.SoilHeatMjM2, -30, 30)
	if len(*faults) > before {
		return nil
	}
	k.check(at, faults)
	if len(*faults) > before {
		return nil
	}
	k.air()
	k.sun()
	k.sum()
	return k.out
}

// check holds what is known of the weather against what can be. Without a day the sun's part can't be checked.
func (k *working) check(at string, faults *Faults) {
	date := k.q.date()
	w := k.w
	if date == (waterneed.Date{}) {
		if k.q.SunshineH != nil {
			faults.Add(at+"/date", "is required with sunshine_h")
		}
		date = waterneed.Date{Year: normalYear, Month: 1, Day: 1}
		w.Radiation, w.Sunshine = waterneed.Optional[unit.Irradiation]{}, waterneed.Optional[unit.Hours]{}
	} else {
		sky := waterneed.SkyAt(k.place.Latitude, date.DayOfYear())
		k.sky = &sky
	}
	if w.TMax.Known != w.TMin.Known { // one temperature is enough for a working
		w.TMax = waterneed.Given(w.TMax.Or(w.TMin.Value))
		w.TMin = w.TMax
	}
	*faults = append(*faults, faultsUnder(at, w.Validate(k.place, date))...)
}

func (k *working) put(name string, v float64) { k.out[name] = v }

// air works out what the temperatures, humidity and wind give.
func (k *working) air() {
	pressure := waterneed.AtmosphericPressure(k.place.Elevation)
	k.put("pressure_kpa", float64(pressure))
	k.put("psychrometric_kpa_per_c", waterneed.PsychrometricConstant(pressure))
	if k.w.TMax.Known {
		k.put("saturation_tmax_kpa", float64(waterneed.SaturationVaporPressure(k.w.TMax.Value)))
	}
	if k.w.TMin.Known {
		k.put("saturation_tmin_kpa", float64(waterneed.SaturationVaporPressure(k.w.TMin.Value)))
	}
	warm := k.w.TMax.Known && k.w.TMin.Known
	if warm {
		mean := (k.w.TMax.Value + k.w.TMin.Value) / 2
		k.put("tmean_c", float64(mean))
		k.put("slope_kpa_per_c", waterneed.SaturationSlope(mean))
		k.put("saturation_kpa", float64(waterneed.MeanSaturationVaporPressure(k.w.TMax.Value, k.w.TMin.Value)))
	}
	itself := k.w.VaporPressure.Known || k.w.DewPoint.Known || k.w.WetBulb.Known
	if itself || warm || k.w.TMin.Known && !k.w.RHMin.Known && !k.w.RHMean.Known {
		ea, _ := waterneed.ActualVaporPressure(k.place, k.w)
		k.put("vapor_pressure_kpa", float64(ea))
		if warm {
			k.put("vapor_pressure_deficit_kpa", max(0, k.out["saturation_kpa"]-float64(ea)))
		}
	}
	if k.w.Wind.Known {
		k.put("wind_2m_m_s", float64(k.w.TwoMeterWind()))
	}
	if k.w.WindHeight > 0 {
		k.put("wind_factor", float64(waterneed.WindAtTwoMeters(1, k.w.WindHeight)))
	}
}

// sun works out the radiation.
func (k *working) sun() {
	if k.sky != nil {
		k.put("latitude_rad", float64(k.sky.Latitude))
		k.put("day_of_year", float64(k.sky.DayOfYear))
		k.put("inverse_distance", k.sky.InverseDistance)
		k.put("declination_rad", float64(k.sky.Declination))
		k.put("sunset_angle_rad", float64(k.sky.SunsetAngle))
		k.put("daylight_h", float64(k.sky.DaylightHours))
		k.put("extraterrestrial_mj_m2", float64(k.sky.Extraterrestrial))
		k.put("extraterrestrial_mm", float64(k.sky.Extraterrestrial.Evaporation()))
		k.put("clear_sky_mj_m2", float64(waterneed.ClearSkyRadiation(*k.sky, k.place.Elevation)))
	}
	if k.q.ClearSkyMjM2 != nil {
		k.put("clear_sky_mj_m2", *k.q.ClearSkyMjM2)
	}
	rs, known := k.solar()
	if !known {
		return
	}
	k.put("solar_mj_m2", float64(rs))
	k.put("solar_mm", float64(rs.Evaporation()))
	k.put("net_shortwave_mj_m2", float64(waterneed.NetShortwave(rs)))
}

func (k *working) solar() (unit.Irradiation, bool) {
	switch {
	case k.w.Radiation.Known:
		return k.w.Radiation.Value, true
	case k.sky == nil:
		return 0, false
	case k.w.Sunshine.Known:
		return waterneed.SunshineRadiation(*k.sky, k.w.Sunshine.Value), true
	case k.w.TMax.Known && k.w.TMin.Known:
		return waterneed.RangeRadiation(k.place, *k.sky, k.w.TMax.Value, k.w.TMin.Value), true
	default:
		return 0, false
	}
}

// sum works out the longwave and the net radiation, and the estimate from temperatures alone.
func (k *working) sum() {
	if k.q.SoilHeatMjM2 != nil {
		k.put("soil_heat_mj_m2", *k.q.SoilHeatMjM2)
	}
	_, warm := k.out["tmean_c"]
	if !warm {
		return
	}
	if k.sky != nil {
		k.put("hargreaves_mm", float64(waterneed.Hargreaves(unit.Temperature(k.out["tmean_c"]), k.w.TMax.Value-k.w.TMin.Value, k.sky.Extraterrestrial)))
	}
	rs, sunny := k.out["solar_mj_m2"]
	rso, clear := k.out["clear_sky_mj_m2"]
	if !sunny || !clear {
		return
	}
	l := waterneed.LongwaveRadiation(k.w.TMax.Value, k.w.TMin.Value, unit.Pressure(k.out["vapor_pressure_kpa"]), unit.Irradiation(rs), unit.Irradiation(rso))
	net := unit.Irradiation(k.out["net_shortwave_mj_m2"]) - l.Radiation
	k.put("longwave_emission_mj_m2", float64(l.Emission))
	k.put("humidity_factor", l.HumidityFactor)
	k.put("cloud_factor", l.CloudFactor)
	k.put("net_longwave_mj_m2", float64(l.Radiation))
	k.put("net_longwave_mm", float64(l.Radiation.Evaporation()))
	k.put("net_radiation_mj_m2", float64(net))
	k.put("net_radiation_mm", float64(net.Evaporation()))
}
