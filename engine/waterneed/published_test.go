package waterneed

import (
	"math"
	"testing"

	"rillturn.example/rillturn/engine/unit"
)

// near fails unless got is want within the tolerance that the print allows.
func near[T ~float64](t *testing.T, what string, got T, want, tolerance float64) {
	t.Helper()
	if math.IsNaN(float64(got)) || math.Abs(float64(got)-want) > tolerance {
		t.Errorf("%s: got %.5g, printed %g ± %g", what, float64(got), want, tolerance)
	}
}

func temperatures(tmax, tmin float64) Weather {
	return Weather{TMax: Given(unit.Temperature(tmax)), TMin: Given(unit.Temperature(tmin))}
}

// FAO-56 ch. 3 Example 2, p. 32.
func TestPublished_example2PressureAndPsychrometricConstant(t *testing.T) {
	p := AtmosphericPressure(1800)
	near(t, "P", p, 81.8, 0.05)
	near(t, "γ", PsychrometricConstant(p), 0.054, 0.0005)
}

// FAO-56 ch. 3 Example 3, p. 36; the mean temperature gives the wrong 2.30.
func TestPublished_example3SaturationVaporPressure(t *testing.T) {
	near(t, "e°(Tmax)", SaturationVaporPressure(24.5), 3.075, 0.0006)
	near(t, "e°(Tmin)", SaturationVaporPressure(15), 1.705, 0.0006)
	near(t, "es", MeanSaturationVaporPressure(24.5, 15), 2.39, 0.005)
	near(t, "e°(Tmean)", SaturationVaporPressure(19.75), 2.30, 0.005)
}

// FAO-56 ch. 3 Examples 5 and 6, p. 39.
func TestPublished_example5And6ActualVaporPressure(t *testing.T) {
	w := temperatures(25, 18)
	w.RHMax, w.RHMin = Given(unit.Percent(82)), Given(unit.Percent(54))
	r, err := DailyReferenceET(Place{}, Date{2015, 7, 1}, w)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "e°(Tmin)", r.SaturationTMin, 2.064, 0.0006)
	near(t, "e°(Tmax)", r.SaturationTMax, 3.168, 0.0006)
	near(t, "ea", r.Actual, 1.70, 0.005)
	near(t, "es - ea", r.Deficit, 0.91, 0.006)
	if r.HumiditySource != HumidityMaxMin {
		t.Errorf("source %s", r.HumiditySource)
	}
	w.RHMax, w.RHMin, w.RHMean = Optional[unit.Percent]{}, Optional[unit.Percent]{}, Given(unit.Percent(68))
	r, err = DailyReferenceET(Place{}, Date{2015, 7, 1}, w)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "ea from the mean", r.Actual, 1.78, 0.005)
}

// FAO-56 ch. 3 Example 8, p. 47.
func TestPublished_example8ExtraterrestrialRadiation(t *testing.T) {
	s := SkyAt(unit.Degrees(-20), 246)
	near(t, "dr", s.InverseDistance, 0.985, 0.0006)
	near(t, "δ", s.Declination, 0.120, 0.0006)
	near(t, "ωs", s.SunsetAngle, 1.527, 0.0006)
	near(t, "Ra", s.Extraterrestrial, 32.2, 0.05)
	near(t, "Ra as depth", s.Extraterrestrial.Evaporation(), 13.1, 0.05)
}

// FAO-56 ch. 3 Example 10, p. 50: Rio de Janeiro, May.
func TestPublished_example10SolarRadiation(t *testing.T) {
	s := SkyAt(unit.Degrees(-22.90), 135)
	near(t, "Ra", s.Extraterrestrial, 25.1, 0.05)
	near(t, "N", s.DaylightHours, 10.9, 0.05)
	rs := SunshineRadiation(s, 220.0/31)
	near(t, "Rs", rs, 14.5, 0.05)
	near(t, "Rs as depth", rs.Evaporation(), 5.9, 0.05)
}

// FAO-56 ch. 3 Example 11, p. 52.
func TestPublished_example11LongwaveRadiation(t *testing.T) {
	l := LongwaveRadiation(25.1, 19.1, 2.1, 14.5, 18.8)
	near(t, "cloud factor", l.CloudFactor, 0.69, 0.005)
	near(t, "humidity factor", l.HumidityFactor, 0.14, 0.005)
	near(t, "Rnl", l.Radiation, 3.5, 0.05)
	near(t, "Rnl as depth", l.Radiation.Evaporation(), 1.4, 0.05)
}

// FAO-56 ch. 3 Example 14, p. 56.
func TestPublished_example14Wind(t *testing.T) {
	near(t, "factor", WindAtTwoMeters(1, 10), 0.75, 0.005)
	near(t, "u2", WindAtTwoMeters(3.2, 10), 2.4, 0.05)
}

// FAO-56 ch. 3 Example 15, p. 61: Lyon.
func TestPublished_example15RadiationFromTemperatures(t *testing.T) {
	p := Place{Latitude: unit.Degrees(45.72), Elevation: 200}
	s := SkyAt(p.Latitude, 196)
	near(t, "Ra", s.Extraterrestrial, 40.6, 0.05)
	rs := RangeRadiation(p, s, 26.6, 14.8)
	near(t, "Rs", rs, 22.3, 0.05)
	near(t, "Rs as depth", rs.Evaporation(), 9.1, 0.05)
}

// FAO-56 ch. 4 Example 18, p. 72: Uccle, 6 July.
func TestPublished_example18DailyET0(t *testing.T) {
	w := temperatures(21.5, 12.3)
	w.RHMax, w.RHMin = Given(unit.Percent(84)), Given(unit.Percent(63))
	w.Wind, w.WindHeight = Given(unit.KilometersPerHour(10)), 10
	w.Sunshine = Given(unit.Hours(9.25))
	r, err := DailyReferenceET(Place{Latitude: unit.Degrees(50.8), Elevation: 100}, Date{2015, 7, 6}, w)
	if err != nil {
		t.Fatal(err)
	}
	if r.DayOfYear != 187 {
		t.Errorf("J = %d", r.DayOfYear)
	}
	near(t, "u2", r.Wind, 2.078, 0.001)
	near(t, "P", r.Pressure, 100.1, 0.05)
	near(t, "Δ", r.Slope, 0.122, 0.0006)
	near(t, "γ", r.Psychrometric, 0.0666, 0.00006)
	near(t, "e°(Tmax)", r.SaturationTMax, 2.564, 0.001)
	near(t, "e°(Tmin)", r.SaturationTMin, 1.431, 0.001)
	near(t, "es", r.Saturation, 1.997, 0.001)
	near(t, "ea", r.Actual, 1.409, 0.001)
	near(t, "es - ea", r.Deficit, 0.589, 0.001)
	near(t, "Ra", r.Extraterrestrial, 41.09, 0.03)
	near(t, "N", r.DaylightHours, 16.1, 0.05)
	near(t, "Rs", r.Solar, 22.07, 0.03)
	near(t, "Rso", r.ClearSky, 30.90, 0.03)
	near(t, "Rns", r.NetShortwave, 17.00, 0.03)
	near(t, "Rnl", r.NetLongwave.Radiation, 3.71, 0.03)
	near(t, "Rn", r.Net, 13.28, 0.03)
	near(t, "radiation term", r.RadiationTerm, 2.81, 0.01)
	near(t, "aerodynamic term", r.AerodynamicTerm, 1.07, 0.01)
	near(t, "ET0", r.ET0, 3.88, 0.01)
}

// FAO-56 ch. 4 Example 20, p. 77: Lyon, July, temperatures only.
func TestPublished_example20TemperaturesOnly(t *testing.T) {
	p := Place{Latitude: unit.Degrees(45.72), Elevation: 200}
	r, err := MonthlyReferenceET(p, 2015, 7, temperatures(26.6, 14.8), Optional[unit.Temperature]{}, Optional[unit.Temperature]{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Δ", r.Slope, 0.150, 0.0006)
	near(t, "γ", r.Psychrometric, 0.066, 0.0006)
	near(t, "es", r.Saturation, 2.58, 0.006)
	near(t, "ea", r.Actual, 1.68, 0.006)
	near(t, "Ra", r.Extraterrestrial, 40.55, 0.03)
	near(t, "Rs", r.Solar, 22.29, 0.03)
	near(t, "Rso", r.ClearSky, 30.58, 0.03)
	near(t, "Rns", r.NetShortwave, 17.16, 0.03)
	near(t, "Rnl", r.NetLongwave.Radiation, 3.68, 0.03)
	near(t, "Rn", r.Net, 13.48, 0.03)
	near(t, "radiation term", r.RadiationTerm, 3.17, 0.01)
	near(t, "aerodynamic term", r.AerodynamicTerm, 1.39, 0.01)
	near(t, "ET0", r.ET0, 4.56, 0.01)
	near(t, "Hargreaves", r.Hargreaves, 5.0, 0.05)
}

// FAO-56 ch. 6 Box 14, p. 123; printed in classes of 0.05.
func TestPublished_box14ClimateOfKcMid(t *testing.T) {
	rows := []struct {
		rhMin unit.Percent
		want  [3]float64
	}{{20, [3]float64{1.25, 1.20, 1.17}}, {45, [3]float64{1.20, 1.15, 1.12}}, {75, [3]float64{1.10, 1.05, 1.02}}}
	for _, row := range rows {
		for i, u2 := range []unit.Velocity{4, 2, 1} {
			near(t, "Kc mid", ClimateCoefficientMid(1.15, u2, row.rhMin, 1), row.want[i], 0.03)
		}
	}
}

// FAO-56 ch. 6 Box 15, p. 130: dry bean.
func TestPublished_box15ClimateOfKc(t *testing.T) {
	near(t, "Kc mid", ClimateCoefficientMid(1.15, 2.2, 30, 0.4), 1.19, 0.005)
	near(t, "Kc end", ClimateCoefficientEnd(0.35, 2.2, 30, 0.4), 0.35, 0)
}

// FAO-56 ch. 6 Example 28, p. 133: dry bean by day.
func TestPublished_example28CurveByDay(t *testing.T) {
	c := Curve{Stages: StageLengths{25, 25, 30, 20}, KcIni: 0.15, KcMid: 1.19, KcEnd: 0.35}
	for day, want := range map[int]float64{20: 0.15, 40: 0.77, 70: 1.19, 95: 0.56} {
		near(t, "Kc", c.At(day).Kc, want, 0.0051)
	}
}

// FAO-56 ch. 10 Example 45, p. 197: cucumber under full plastic mulch, cut by 15 %.
func TestPublished_example45PlasticMulch(t *testing.T) {
	crop, _ := CropByCode("cucumber")
	c, err := NewCurve(crop, Setting{Mulch: MulchPlastic})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Kc ini", c.KcIni, 0.10, 0.001)
	near(t, "Kc mid", c.KcMid, 0.85, 0.0051)
	near(t, "Kc end", c.KcEnd, 0.64, 0.0051)
	near(t, "Kcb ini", c.KcbIni, 0.10, 0.001)
	near(t, "Kcb mid", c.KcbMid, 0.86, 0.0051)
	near(t, "Kcb end", c.KcbEnd, 0.63, 0.0051)
}

// FAO-56 ch. 7 Example 31, p. 146: evaporation of bare loam by day.
func TestPublished_example31EvaporationByDay(t *testing.T) {
	etc := []float64{5.4, 5.4, 5.2, 3.3, 2.1, 1.5, 1.2, 0.9, 0.8, 0.8}
	end := []float64{4.73, 9.45, 13.98, 16.57, 18.04, 18.88, 19.36, 19.64, 19.79, 19.88}
	s := SurfaceDay{ET0: 4.5, Kcb: 0.15, KcMax: 1.20, Wetted: 1, TEW: 20, REW: 9}
	for i := range etc {
		r := s.Evaporate()
		near(t, "ETc", (s.Kcb+r.Ke)*float64(s.ET0), etc[i], 0.06)
		near(t, "De", r.DepletionEnd, end[i], 0.02)
		s.Depletion = r.DepletionEnd
	}
}

// FAO-56 ch. 7 Examples 32 and 33, p. 150.
func TestPublished_example32And33DualCoefficient(t *testing.T) {
	kcMax := MaxCoefficient(0.9, 3, 20, 1)
	fc := CoverFraction(0.9, kcMax, 1)
	near(t, "Kc max", kcMax, 1.30, 0.005)
	near(t, "fc", fc, 0.53, 0.005)
	few := ExposedWetFraction(fc, 1)
	near(t, "few, sprinkler", few, 0.47, 0.005)
	ke := EvaporationCoefficient(1, kcMax, 0.9, few)
	near(t, "Ke, sprinkler", ke, 0.40, 0.005)
	near(t, "Kc, sprinkler", ke+0.9, 1.30, 0.005)
	ke = EvaporationCoefficient(1, kcMax, 0.9, ExposedWetFraction(fc, 0.3))
	near(t, "Ke, alternate furrow", ke, 0.39, 0.005)
	near(t, "Kc, alternate furrow", ke+0.9, 1.29, 0.005)
}

// FAO-56 ch. 8 Example 36, p. 166: onion and tomato on three soils.
func TestPublished_example36AvailableWater(t *testing.T) {
	soils := [3]Soil{{FieldCapacity: 0.15, WiltingPoint: 0.06}, {FieldCapacity: 0.32, WiltingPoint: 0.15}, {FieldCapacity: 0.35, WiltingPoint: 0.23}}
	rows := []struct {
		roots    unit.Length
		p        float64
		taw, raw [3]float64
	}{
		{0.4, 0.30, [3]float64{36, 68, 48}, [3]float64{11, 20, 14}},
		{0.8, 0.40, [3]float64{72, 136, 96}, [3]float64{29, 54, 38}},
	}
	for _, row := range rows {
		for i, soil := range soils {
			taw := soil.TotalAvailableWater(row.roots)
			near(t, "TAW", taw, row.taw[i], 0.5)
			near(t, "RAW", float64(taw)*row.p, row.raw[i], 0.5)
		}
	}
}

// example37 is the tomato of FAO-56 ch. 8 Example 37 on its silt, as a unit with its ledger's series.
func example37(days int) (Unit, Series) {
	soil, err := SoilOf(Silt)
	if err != nil {
		panic(err)
	}
	crop := Crop{
		Code: "tomato", Stages: StageLengths{0, 0, days, 0}, KcIni: 1.2, KcMid: 1.2, KcEnd: 1.2, KcbMid: 1.1,
		Height: 0.6, RootStart: 0.8, RootDepth: 0.8, DepletionFraction: 0.4,
	}
	u := Unit{ID: "u", Soil: soil.WithWaterContents(0.32, 0.12), Plantings: []Planting{{
		ID: "p", Crop: crop, From: Date{2015, 7, 1}, Establishment: Established, GroundArea: 10, FixedDepletion: true,
		Opening: Opening{Kind: OpeningGiven, Depletion: 55},
	}}}
	s := Series{}
	for i := range days {
		s.Days = append(s.Days, DayClimate{Date: Date{2015, 7, 1}.AddDays(i), ET0: 5, Rain: Given(unit.Depth(0))})
	}
	return u, s
}

// FAO-56 ch. 8 Example 37, p. 168: ten days without water.
func TestPublished_example37WaterStress(t *testing.T) {
	u, s := example37(10)
	l, err := Ledgers(u, s, History{}, Date{2015, 7, 11}, LedgerOptions{})
	if err != nil {
		t.Fatal(err)
	}
	ks := []float64{1.00, 1.00, 0.97, 0.91, 0.85, 0.80, 0.75, 0.70, 0.66, 0.62}
	et := []float64{6.0, 6.0, 5.8, 5.4, 5.1, 4.8, 4.5, 4.2, 3.9, 3.7}
	end := []float64{61.0, 67.0, 72.8, 78.3, 83.4, 88.2, 92.6, 96.9, 100.8, 104.5}
	for i, d := range l[0].Days {
		near(t, "TAW", d.TAW, 160, 0.01)
		near(t, "RAW", d.RAW, 64, 0.01)
		near(t, "Ks", d.Ks, ks[i], 0.006)
		near(t, "ETc adj", d.ET, et[i], 0.06)
		near(t, "Dr", d.End, end[i], 0.06)
	}
}
