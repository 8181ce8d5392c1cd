package waterneed

import (
	"math"

	"rillturn.example/rillturn/engine/unit"
)

// solarConstant is Gsc [MJ/(m² min)]. Source: FAO-56 eq. 21.
const solarConstant = 0.0820

// stefanBoltzmann is σ [MJ/(K⁴ m² day)]. Source: FAO-56 eq. 39.
const stefanBoltzmann = 4.903e-9

// albedo is that of the reference grass [-]. Source: FAO-56 eq. 38.
const albedo = 0.23

// Sky is the geometry of the sun on one day at one latitude.
type Sky struct {
	Latitude  unit.Angle // φ, north positive
	DayOfYear int
	// InverseDistance is the inverse relative distance of earth and sun dr [-] (FAO-56 eq. 23).
	InverseDistance float64
	// Declination of the sun δ (eq. 24).
	Declination unit.Angle
	// SunsetAngle is the hour angle of sunset ωs (eq. 25): 0 in the polar night, π on the polar day.
	SunsetAngle unit.Angle
	// Extraterrestrial radiation Ra (eq. 21).
	Extraterrestrial unit.Irradiation
	// DaylightHours is N, the longest possible sunshine (eq. 34).
	DaylightHours unit.Hours
}

// SkyAt returns the sun's geometry at a latitude (north positive) on day of the year j, 1 to 366. Poleward of the polar
// circles the sunset angle is clamped, so that polar day and night are ordinary days.
// Source: FAO-56 eq. 21 to 25 and 34.
func SkyAt(latitude unit.Angle, j int) Sky {
	phi, season := float64(latitude), 2*math.Pi*float64(j)/365
	dr := 1 + 0.033*math.Cos(season)
	delta := 0.409 * math.Sin(season-1.39)
	ws := math.Acos(min(1, max(-1, -math.Tan(phi)*math.Tan(delta))))
	ra := 24 * 60 / math.Pi * solarConstant * dr *
		(ws*math.Sin(phi)*math.Sin(delta) + math.Cos(phi)*math.Cos(delta)*math.Sin(ws))
	return Sky{
		Latitude: latitude, DayOfYear: j, InverseDistance: dr, Declination: unit.Angle(delta), SunsetAngle: unit.Angle(ws),
		Extraterrestrial: unit.Irradiation(max(0, ra)), DaylightHours: unit.Hours(24 / math.Pi * ws),
	}
}

// SunshineRadiation returns Rs from n hours of sunshine: (0.25 + 0.50 n/N) Ra, n/N at most 1. Source: FAO-56 eq. 35
// with the coefficients for places without a calibration.
func SunshineRadiation(sky Sky, n unit.Hours) unit.Irradiation {
	ratio := 0.0
	if sky.DaylightHours > 0 {
		ratio = min(1, float64(n)/float64(sky.DaylightHours))
	}
	return unit.Irradiation((0.25 + 0.50*ratio) * float64(sky.Extraterrestrial))
}

// RangeRadiation returns Rs from the day's range of temperature: krs √(Tmax-Tmin) Ra, not above the clear sky; krs is
// 0.16 inland and 0.19 near a coast. Source: FAO-56 eq. 50.
func RangeRadiation(p Place, sky Sky, tmax, tmin unit.Temperature) unit.Irradiation {
	krs := 0.16
	if p.Coastal {
		krs = 0.19
	}
	rs := krs * math.Sqrt(float64(tmax-tmin)) * float64(sky.Extraterrestrial)
	return unit.Irradiation(min(rs, float64(ClearSkyRadiation(sky, p.Elevation))))
}

// ClearSkyRadiation returns Rso at elevation z [m]: (0.75 + 2·10⁻⁵ z) Ra. Source: FAO-56 eq. 37.
func ClearSkyRadiation(sky Sky, z unit.Length) unit.Irradiation {
	return unit.Irradiation((0.75 + 2e-5*float64(z)) * float64(sky.Extraterrestrial))
}

// NetLongwave is the net outgoing longwave radiation with its factors.
type NetLongwave struct {
	// Emission is σ times the mean of the fourth powers of both temperatures [MJ/m² day].
	Emission unit.Irradiation
	// HumidityFactor is 0.34 - 0.14 √ea, CloudFactor is 1.35 Rs/Rso - 0.35 [-].
	HumidityFactor, CloudFactor float64
	Radiation                   unit.Irradiation
}

// LongwaveRadiation returns Rnl for vapour pressure ea and solar radiation rs under a clear-sky radiation rso. Rs/Rso is
// taken as 1 in the polar night, and no factor is allowed below 0, where the equation was never fitted.
// Source: FAO-56 eq. 39, with 273.16 as in its examples.
func LongwaveRadiation(tmax, tmin unit.Temperature, ea unit.Pressure, rs, rso unit.Irradiation) NetLongwave {
	kelvin := func(t unit.Temperature) float64 { return math.Pow(float64(t)+273.16, 4) }
	ratio := 1.0
	if rso > 0 {
		ratio = min(1, float64(rs/rso))
	}
	l := NetLongwave{
		Emission:       unit.Irradiation(stefanBoltzmann * (kelvin(tmax) + kelvin(tmin)) / 2),
		HumidityFactor: max(0, 0.34-0.14*math.Sqrt(float64(ea))),
		CloudFactor:    max(0, 1.35*ratio-0.35),
	}
	l.Radiation = unit.Irradiation(float64(l.Emission) * l.HumidityFactor * l.CloudFactor)
	return l
}

// NetShortwave returns Rns: the part of rs that grass does not reflect. Source: FAO-56 eq. 38.
func NetShortwave(rs unit.Irradiation) unit.Irradiation { return (1 - albedo) * rs }

// MonthlySoilHeat returns G of a month from the mean temperatures of this month and its neighbours: 0.07 (next -
// previous), or 0.14 (this - previous) when the next is unknown, or none. Source: FAO-56 eq. 43, 44.
func MonthlySoilHeat(mean unit.Temperature, previous, next Optional[unit.Temperature]) unit.Irradiation {
	switch {
	case previous.Known && next.Known:
		return unit.Irradiation(0.07 * float64(next.Value-previous.Value))
	case previous.Known:
		return unit.Irradiation(0.14 * float64(mean-previous.Value))
	default:
		return 0
	}
}
