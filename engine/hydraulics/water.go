package hydraulics

import (
	"math"

	"rillturn.example/rillturn/engine/unit"
)

// dynamicViscosity returns the viscosity [Pa·s] of liquid water at 0.1 MPa and temperature t [°C]:
//
//	mu = 1e-6 · Σ a_i · (T/300 K)^b_i
//
// Holds from -20 to 110 °C. Source: IAPWS SR6-08, Revised Supplementary Release on Properties of Liquid Water at
// 0.1 MPa, eq. 7 (coefficients from memory; checked against 1.0016 mPa·s at 20 °C).
func dynamicViscosity(t float64) float64 {
	r := (t + 273.15) / 300
	return 1e-6 * (280.68*math.Pow(r, -1.9) + 511.45*math.Pow(r, -7.7) + 61.131*math.Pow(r, -19.6) +
		0.45903*math.Pow(r, -40))
}

// waterDensity returns the density [kg/m³] of air-free water at temperature t [°C] and atmospheric pressure.
//
// Holds from 0 to 100 °C. Source: G. S. Kell, J. Chem. Eng. Data 20 (1975) 97, eq. 16 (from memory; checked against
// 998.2 kg/m³ at 20 °C).
func waterDensity(t float64) float64 {
	p := 999.83952 + t*(16.945176+t*(-7.9870401e-3+t*(-46.170461e-6+t*(105.56302e-9-t*280.54253e-12))))
	return p / (1 + 16.879850e-3*t)
}

// KinematicViscosity returns the kinematic viscosity [m²/s] of water.
func KinematicViscosity(t unit.Temperature) float64 {
	return dynamicViscosity(float64(t)) / waterDensity(float64(t))
}
