package waterneed

import (
	"math"

	"rillturn.example/rillturn/engine/unit"
)

// AtmosphericPressure returns the mean pressure of the air at elevation z [m] above sea level [kPa]:
//
//	P = 101.3 ((293 - 0.0065 z)/293)^5.26
//
// Source: FAO-56 eq. 7.
func AtmosphericPressure(z unit.Length) unit.Pressure {
	return unit.Pressure(101.3 * math.Pow((293-0.0065*float64(z))/293, 5.26))
}

// PsychrometricConstant returns γ [kPa/°C] at air pressure p: 0.000665 P. Source: FAO-56 eq. 8.
func PsychrometricConstant(p unit.Pressure) float64 { return 0.665e-3 * float64(p) }

// SaturationVaporPressure returns e°(T) [kPa] at air temperature t [°C]. Source: FAO-56 eq. 11.
func SaturationVaporPressure(t unit.Temperature) unit.Pressure {
	return unit.Pressure(0.6108 * math.Exp(17.27*float64(t)/(float64(t)+237.3)))
}

// MeanSaturationVaporPressure returns es [kPa], the mean of e° at the day's highest and lowest temperature; e° of the
// mean temperature would be too low. Source: FAO-56 eq. 12.
func MeanSaturationVaporPressure(tmax, tmin unit.Temperature) unit.Pressure {
	return (SaturationVaporPressure(tmax) + SaturationVaporPressure(tmin)) / 2
}

// SaturationSlope returns Δ [kPa/°C], the slope of e°(T) at temperature t [°C]. Source: FAO-56 eq. 13.
func SaturationSlope(t unit.Temperature) float64 {
	return 4098 * float64(SaturationVaporPressure(t)) / ((float64(t) + 237.3) * (float64(t) + 237.3))
}

// WindAtTwoMeters returns the wind [m/s] at 2 m over grass from wind uz measured at height z [m]:
//
//	u2 = uz 4.87 / ln(67.8 z - 5.42)
//
// Holds for z of 0.5 m and more. Source: FAO-56 eq. 47.
func WindAtTwoMeters(uz unit.Velocity, z unit.Length) unit.Velocity {
	return unit.Velocity(float64(uz) * 4.87 / math.Log(67.8*float64(z)-5.42))
}

// The sources of the day's vapour pressure, in the order of choice of FAO-56 ch. 3 (p. 36-39).
const (
	HumidityGiven      Code = "vapor_pressure"
	HumidityDewPoint   Code = "dew_point"
	HumidityWetBulb    Code = "psychrometer"
	HumidityMaxMin     Code = "rh_max_min"
	HumidityMax        Code = "rh_max"
	HumidityMean       Code = "rh_mean"
	HumidityFromTMin   Code = "tmin"
	HumidityTMinDrop   Code = "tmin_less_drop"
	RadiationMeasured  Code = "measured"
	RadiationSunshine  Code = "sunshine"
	RadiationFromRange Code = "temperature_range"
	WindMeasured       Code = "measured"
	WindAssumed        Code = "assumed_2_m_s"
)

// ActualVaporPressure returns ea [kPa] from the best humidity datum of the day and says which it was. Where none is known
// the lowest temperature stands in. Relative humidity needs the temperatures.
// Sources: FAO-56 eq. 14 (dew point), 15 (psychrometer), 17 (both extremes of relative humidity), 18 (its maximum), 19 (its mean), 48 (the
// lowest temperature, less 2 to 3 °C where air is dry).
func ActualVaporPressure(p Place, w Weather) (ea unit.Pressure, source Code) {
	eMax, eMin := SaturationVaporPressure(w.TMax.Value), SaturationVaporPressure(w.TMin.Value)
	switch {
	case w.VaporPressure.Known:
		return w.VaporPressure.Value, HumidityGiven
	case w.DewPoint.Known:
		return SaturationVaporPressure(w.DewPoint.Value), HumidityDewPoint
	case w.WetBulb.Known:
		return w.Ventilation.vaporPressure(w.DryBulb.Value, w.WetBulb.Value, AtmosphericPressure(p.Elevation)), HumidityWetBulb
	case w.RHMax.Known && w.RHMin.Known:
		return (eMin*unit.Pressure(w.RHMax.Value) + eMax*unit.Pressure(w.RHMin.Value)) / 200, HumidityMaxMin
	case w.RHMax.Known:
		return eMin * unit.Pressure(w.RHMax.Value) / 100, HumidityMax
	case w.RHMean.Known:
		return (eMax + eMin) / 2 * unit.Pressure(w.RHMean.Value) / 100, HumidityMean
	}
	if drop := p.Humidity.dewPointDrop(); drop > 0 {
		return SaturationVaporPressure(w.TMin.Value - drop), HumidityTMinDrop
	}
	return eMin, HumidityFromTMin
}

// Ventilation is how the air passes the bulbs of a psychrometer.
type Ventilation string

// The kinds of FAO-56 p. 38. The empty kind is a ventilated psychrometer.
const (
	Ventilated          Ventilation = "ventilated"           // Asmann type, air at about 5 m/s
	NaturallyVentilated Ventilation = "naturally_ventilated" // air at about 1 m/s
	Indoor              Ventilation = "indoor"
)

// coefficient returns a_psy [1/°C]. Source: FAO-56 eq. 16.
func (v Ventilation) coefficient() (a float64, known bool) {
	switch v {
	case "", Ventilated:
		return 0.000662, true
	case NaturallyVentilated:
		return 0.000800, true
	case Indoor:
		return 0.001200, true
	}
	return 0, false
}

// vaporPressure returns ea = e°(Twet) - a_psy P (Tdry - Twet), not below 0. Source: FAO-56 eq. 15, 16.
func (v Ventilation) vaporPressure(dry, wet unit.Temperature, p unit.Pressure) unit.Pressure {
	a, _ := v.coefficient()
	return max(0, SaturationVaporPressure(wet)-unit.Pressure(a*float64(p)*float64(dry-wet)))
}

// HumidityClass says how dry a place is. Source: FAO-56 Table 16 and p. 58-59.
type HumidityClass string

// The classes of FAO-56 Table 16. The empty class is a place of unknown humidity, taken as the standard climate of the
// crop tables (RHmin 45 %) and without a correction of the dew point.
const (
	HumidityUnknown   HumidityClass = ""
	HumidityArid      HumidityClass = "arid"
	HumiditySemiArid  HumidityClass = "semi_arid"
	HumiditySubHumid  HumidityClass = "sub_humid"
	HumidityHumid     HumidityClass = "humid"
	HumidityVeryHumid HumidityClass = "very_humid"
)

// dewPointDrop is how far the dew point lies below the lowest temperature [°C]: FAO-56 eq. 48 says 2 to 3 °C for dry
// climates; 3 is taken for arid and 2 for semi-arid places.
func (c HumidityClass) dewPointDrop() unit.Temperature {
	switch c {
	case HumidityArid:
		return 3
	case HumiditySemiArid:
		return 2
	default:
		return 0
	}
}

// lowestHumidity returns RHmin [%] of the class. Source: FAO-56 Table 16.
func (c HumidityClass) lowestHumidity() (rhMin float64, known bool) {
	switch c {
	case HumidityUnknown:
		return 45, true
	case HumidityArid:
		return 20, true
	case HumiditySemiArid:
		return 30, true
	case HumiditySubHumid:
		return 45, true
	case HumidityHumid:
		return 70, true
	case HumidityVeryHumid:
		return 80, true
	}
	return 0, false
}
