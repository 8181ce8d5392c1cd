// Package unit holds the typed quantities of the engine and every conversion factor of the project.
//
// Exported fields and parameters of the engine carry these types; inside a formula plain float64 in SI is used. Two
// quantities keep the unit that their trade writes, because one number then means the same on paper and in code: Depth
// is in millimetres of water (1 mm on 1 m² is 1 L) and Temperature in degrees Celsius.
package unit

// Gravity is the standard acceleration of gravity [m/s²]. Source: ISO 80000-3.
const Gravity = 9.80665

// The factors below are exact by definition unless a comment says otherwise.
const (
	metersPerInch    = 0.0254
	metersPerFoot    = 0.3048
	cubicMPerLiter   = 1e-3
	litersPerGallon  = 3.785411784 // US liquid gallon of 231 in³
	ouncesPerGallon  = 128         // US fluid ounces
	secondsPerMinute = 60
	pascalPerPSI     = 6894.757293168361
	// waterDensity is that of water at 4 °C [kg/m³], the convention that makes a metre of water 9.80665 kPa.
	waterDensity = 1000
)

// Length is a distance [m].
type Length float64

// Millimeters returns the length of v [mm].
func Millimeters(v float64) Length { return Length(v / 1000) }

// Inches returns the length of v [in].
func Inches(v float64) Length { return Length(v * metersPerInch) }

// Feet returns the length of v [ft].
func Feet(v float64) Length { return Length(v * metersPerFoot) }

// Millimeters returns the length in mm.
func (l Length) Millimeters() float64 { return float64(l) * 1000 }

// Inches returns the length in inches.
func (l Length) Inches() float64 { return float64(l) / metersPerInch }

// Feet returns the length in feet.
func (l Length) Feet() float64 { return float64(l) / metersPerFoot }

// Area is an area [m²].
type Area float64

// Volume is a volume [m³].
type Volume float64

// Liters returns the volume of v [L].
func Liters(v float64) Volume { return Volume(v * cubicMPerLiter) }

// Gallons returns the volume of v [US gal].
func Gallons(v float64) Volume { return Volume(v * litersPerGallon * cubicMPerLiter) }

// Liters returns the volume in litres.
func (v Volume) Liters() float64 { return float64(v) / cubicMPerLiter }

// Gallons returns the volume in US gallons.
func (v Volume) Gallons() float64 { return v.Liters() / litersPerGallon }

// FluidOunces returns the volume in US fluid ounces.
func (v Volume) FluidOunces() float64 { return v.Gallons() * ouncesPerGallon }

// Flow is a volumetric flow rate [m³/s].
type Flow float64

// LitersPerMinute returns the flow of v [L/min].
func LitersPerMinute(v float64) Flow { return Flow(v * cubicMPerLiter / secondsPerMinute) }

// LitersPerHour returns the flow of v [L/h].
func LitersPerHour(v float64) Flow { return Flow(v * cubicMPerLiter / 3600) }

// GallonsPerMinute returns the flow of v [US gal/min].
func GallonsPerMinute(v float64) Flow {
	return Flow(v * litersPerGallon * cubicMPerLiter / secondsPerMinute)
}

// LitersPerMinute returns the flow in L/min.
func (q Flow) LitersPerMinute() float64 { return float64(q) * secondsPerMinute / cubicMPerLiter }

// LitersPerHour returns the flow in L/h.
func (q Flow) LitersPerHour() float64 { return float64(q) * 3600 / cubicMPerLiter }

// GallonsPerMinute returns the flow in US gal/min.
func (q Flow) GallonsPerMinute() float64 { return q.LitersPerMinute() / litersPerGallon }

// Head is pressure as the height of a water column [m].
type Head float64

// KiloPascals returns the head of a pressure v [kPa].
func KiloPascals(v float64) Head { return Head(v * 1000 / (waterDensity * Gravity)) }

// PSI returns the head of a pressure v [lbf/in²].
func PSI(v float64) Head { return KiloPascals(v * pascalPerPSI / 1000) }

// KiloPascals returns the pressure in kPa.
func (h Head) KiloPascals() float64 { return float64(h) * waterDensity * Gravity / 1000 }

// PSI returns the pressure in lbf/in².
func (h Head) PSI() float64 { return h.KiloPascals() * 1000 / pascalPerPSI }

// Velocity is a speed [m/s].
type Velocity float64

// Slope is rise over run [-]; positive rises.
type Slope float64

// Temperature is a temperature [°C].
type Temperature float64

// Fahrenheit returns the temperature of v [°F].
func Fahrenheit(v float64) Temperature { return Temperature((v - 32) * 5 / 9) }

// Fahrenheit returns the temperature in °F.
func (t Temperature) Fahrenheit() float64 { return float64(t)*9/5 + 32 }

// Depth is a depth of water [mm], over an area that its user names.
type Depth float64

// DepthInches returns the depth of v [in].
func DepthInches(v float64) Depth { return Depth(v * metersPerInch * 1000) }

// Inches returns the depth in inches.
func (d Depth) Inches() float64 { return float64(d) / 1000 / metersPerInch }

// Over returns the volume of the depth over an area.
func (d Depth) Over(a Area) Volume { return Volume(float64(d) / 1000 * float64(a)) }

// DepthOf returns the depth that volume v makes over area a. The area must not be zero.
func DepthOf(v Volume, a Area) Depth { return Depth(float64(v) / float64(a) * 1000) }

// Minutes is a span of time [min].
type Minutes float64
