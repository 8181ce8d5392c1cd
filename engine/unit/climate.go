package unit

import "math"

// Pressure is the pressure of air or of the water vapour in it [kPa]. Water pipes carry Head instead.
type Pressure float64

// Angle is an angle [rad].
type Angle float64

// Degrees returns the angle of v [°].
func Degrees(v float64) Angle { return Angle(v * math.Pi / 180) }

// Degrees returns the angle in °.
func (a Angle) Degrees() float64 { return float64(a) * 180 / math.Pi }

// evaporationPerIrradiation is the depth of water that a unit of energy evaporates at 20 °C [mm per MJ/m²]: the inverse
// of the latent heat 2.45 MJ/kg, rounded as the trade prints it. Source: FAO-56 eq. 20 and Table 3.
const evaporationPerIrradiation = 0.408

// Irradiation is the energy of one day on a square metre [MJ/m²].
type Irradiation float64

// Evaporation returns the depth of water that the energy would evaporate.
func (r Irradiation) Evaporation() Depth { return Depth(evaporationPerIrradiation * float64(r)) }

// Hours is a span of time [h].
type Hours float64

// Minutes returns the span in minutes.
func (h Hours) Minutes() Minutes { return Minutes(h * 60) }

// Hours returns the span in hours.
func (m Minutes) Hours() Hours { return Hours(m / 60) }

// Intensity is a depth of water in time [mm/h], over an area that its user names.
type Intensity float64

// IntensityOf returns the depth per hour that flow q makes over area a. The area must not be zero.
func IntensityOf(q Flow, a Area) Intensity { return Intensity(q.LitersPerHour() / float64(a)) }

// Percent is a share in hundredths [%].
type Percent float64

// KilometersPerHour returns the speed of v [km/h].
func KilometersPerHour(v float64) Velocity { return Velocity(v / 3.6) }

// KilometersPerHour returns the speed in km/h.
func (v Velocity) KilometersPerHour() float64 { return float64(v) * 3.6 }
