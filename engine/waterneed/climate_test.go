package waterneed

import (
	"math"
	"testing"

	"rillturn.example/rillturn/engine/unit"
)

// ladderClimate knows 1 to 5 July, forecasts 6 and 7 July, has rain without temperatures on 3 July, and normals on demand.
func ladderClimate(normals bool) Climate {
	c := Climate{Place: Place{Latitude: unit.Degrees(45), Elevation: 100}}
	full := temperatures(25, 13)
	full.RHMax, full.RHMin = Given(unit.Percent(90)), Given(unit.Percent(40))
	full.Sunshine, full.Wind = Given(unit.Hours(9)), Given(unit.Velocity(1.5))
	partly := temperatures(26, 14)
	partly.Wind = Given(unit.Velocity(3))
	gauge := Weather{Rain: Given(unit.Depth(4))}
	for i, w := range []Weather{full, partly, gauge, temperatures(24, 12), temperatures(22, 12)} {
		c.Measured = append(c.Measured, Day{Date: Date{2015, 7, 1 + i}, Weather: w})
	}
	wet := temperatures(28, 16)
	wet.Rain = Given(unit.Depth(20))
	c.Forecast = []Day{{Date{2015, 7, 5}, temperatures(40, 20)}, {Date{2015, 7, 6}, temperatures(27, 15)}, {Date{2015, 7, 7}, wet}}
	if normals {
		for range 12 {
			c.Normals = append(c.Normals, temperatures(20, 10))
		}
	}
	return c
}

func TestSeries_climbsDownTheLadder(t *testing.T) {
	s, err := ladderClimate(true).Series(Date{2015, 6, 30}, 17)
	if err != nil {
		t.Fatal(err)
	}
	want := []Code{
		RungNormals, RungMeasured, RungPartly, RungNormals, RungTemperatures, RungTemperatures, RungForecast, RungForecast,
		RungRecentMean, RungRecentMean, RungRecentMean, RungRecentMean, RungRecentMean, RungRecentMean, RungRecentMean, RungNormals, RungNormals,
	}
	for i, d := range s.Days {
		if d.Rung != want[i] {
			t.Errorf("%s stands on %s, want %s", d.Date, d.Rung, want[i])
		}
		if (d.Working != nil) != (d.Rung == RungMeasured || d.Rung == RungPartly || d.Rung == RungTemperatures || d.Rung == RungForecast) {
			t.Errorf("%s on %s: working %v", d.Date, d.Rung, d.Working != nil)
		}
	}
	var sum unit.Depth
	for _, i := range []int{1, 2, 4, 5, 6, 7} {
		sum += s.Days[i].ET0
	}
	near(t, "recent mean of the six days with weather", s.Days[8].ET0, float64(sum)/6, 1e-12)
	near(t, "the same a week on", s.Days[14].ET0, float64(sum)/6, 1e-12)
}

// ET0 that somebody else computed comes before the day's own weather, and needs none.
func TestSeries_takesGivenET0(t *testing.T) {
	c := ladderClimate(false)
	c.Measured[0].Weather.ET0 = Given(unit.Depth(4.4))
	c.Measured[2].Weather.ET0 = Given(unit.Depth(3.3))
	s, err := c.Series(Date{2015, 7, 1}, 3)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range map[int]unit.Depth{0: 4.4, 2: 3.3} {
		if d := s.Days[i]; d.ET0 != want || d.Rung != RungGiven || (d.Working != nil) != (i == 0) {
			t.Errorf("%s: %g mm on rung %s", d.Date, d.ET0, d.Rung)
		}
	}
	c.Measured[1].Weather.ET0 = Given(unit.Depth(-1))
	_, err = c.Series(Date{2015, 7, 1}, 3)
	wantField(t, err, "measured[1].et0_mm")
}

func TestSeries_booksMeasuredRainOnly(t *testing.T) {
	s, err := ladderClimate(false).Series(Date{2015, 7, 1}, 8)
	if err != nil {
		t.Fatal(err)
	}
	for i, d := range s.Days {
		if d.Rain.Known != (i == 2) {
			t.Errorf("%s: rain known %v", d.Date, d.Rain.Known)
		}
	}
	if s.Days[2].Rain.Value != 4 || s.Days[2].Rung != RungLatitude {
		t.Errorf("a gauge without temperatures: %+v", s.Days[2])
	}
}

func TestSeries_measuredPrevailsOverForecast(t *testing.T) {
	s, err := ladderClimate(false).Series(Date{2015, 7, 5}, 1)
	if err != nil {
		t.Fatal(err)
	}
	if s.Days[0].Rung != RungTemperatures || s.Days[0].Working.TMean != 17 {
		t.Errorf("%+v", s.Days[0])
	}
	c := ladderClimate(false)
	c.Forecast = append(c.Forecast, Day{Date{2015, 7, 3}, temperatures(30, 18)})
	if s, err = c.Series(Date{2015, 7, 3}, 1); err != nil {
		t.Fatal(err)
	}
	if d := s.Days[0]; d.Rung != RungForecast || d.Rain.Value != 4 {
		t.Errorf("a gauge's rain with a forecast's temperatures: %+v", d)
	}
}

func TestSeries_normalsAreMonthlyET0ByDate(t *testing.T) {
	c := Climate{Place: newYork}
	for _, row := range readRecords(t, "climate-normals.csv") {
		if row["station"] == "New York USA" {
			w := temperatures(parse(t, row["tmax_c"]), parse(t, row["tmin_c"]))
			w.Wind = Given(unit.Velocity(parse(t, row["u2_m_s"])))
			c.Normals = append(c.Normals, w)
		}
	}
	s, err := c.Series(Date{2015, 1, 1}, 365)
	if err != nil {
		t.Fatal(err)
	}
	july, err := MonthlyReferenceET(newYork, 2015, 7, c.Normals[6], Given(unit.Temperature(21.7)), Given(unit.Temperature(24.4)))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "15 July", s.At(Date{2015, 7, 15}).ET0, float64(july.ET0), 1e-9)
	between := (s.At(Date{2015, 7, 15}).ET0 + s.At(Date{2015, 8, 15}).ET0) / 2
	near(t, "half way to 15 August", (s.At(Date{2015, 7, 30}).ET0+s.At(Date{2015, 7, 31}).ET0)/2, float64(between), 1e-9)
	for i := 1; i < 365; i++ {
		if step := math.Abs(float64(s.Days[i].ET0 - s.Days[i-1].ET0)); step > 0.06 {
			t.Errorf("%s jumps by %g", s.Days[i].Date, step)
		}
	}
}

func TestClimate_refusesByField(t *testing.T) {
	cases := []struct {
		field  string
		change func(*Climate)
	}{
		{"place.latitude_deg", func(c *Climate) { c.Place.Latitude = unit.Degrees(91) }},
		{"place.humidity_class", func(c *Climate) { c.Place.Humidity = "soggy" }},
		{"measured[1].date", func(c *Climate) { c.Measured[1].Date = c.Measured[0].Date }},
		{"measured[0].date", func(c *Climate) { c.Measured[0].Date = Date{2015, 2, 29} }},
		{"measured[2].rain_mm", func(c *Climate) { c.Measured[2].Weather.Rain = Given(unit.Depth(-1)) }},
		{"measured[3].tmin_c", func(c *Climate) { c.Measured[3].Weather.TMin = Optional[unit.Temperature]{} }},
		{"forecast[0].tmax_c", func(c *Climate) { c.Forecast[0].Weather.TMax = Given(unit.Temperature(math.NaN())) }},
		{"normals", func(c *Climate) { c.Normals = c.Normals[:11] }},
		{"normals[4].tmax_c", func(c *Climate) { c.Normals[4] = temperatures(5, 10) }},
	}
	for _, k := range cases {
		t.Run(k.field, func(t *testing.T) {
			c := ladderClimate(true)
			k.change(&c)
			_, err := c.Series(Date{2015, 7, 1}, 7)
			wantField(t, err, k.field)
		})
	}
	_, err := ladderClimate(true).Series(Date{2015, 7, 1}, -1)
	wantField(t, err, "days")
}

func TestDailyReferenceET_guardsEachField(t *testing.T) {
	p, d := Place{Latitude: unit.Degrees(45)}, Date{2015, 7, 6}
	cases := []struct {
		name, field string
		reason      Code
		change      func(*Weather)
	}{
		{"colder by day than by night", "weather.tmax_c", ReasonOrder, func(w *Weather) { w.TMax = Given(unit.Temperature(5)) }},
		{"no temperature", "weather.tmax_c", ReasonMissing, func(w *Weather) { w.TMax = Optional[unit.Temperature]{} }},
		{"bulbs the wrong way round", "weather.dry_bulb_c", ReasonOrder, func(w *Weather) {
			w.DryBulb, w.WetBulb = Given(unit.Temperature(15)), Given(unit.Temperature(20))
		}},
		{"one bulb", "weather.wet_bulb_c", ReasonMissing, func(w *Weather) { w.DryBulb = Given(unit.Temperature(20)) }},
		{"humidity above 100", "weather.rh_max_pct", ReasonOutOfRange, func(w *Weather) { w.RHMax = Given(unit.Percent(101)) }},
		{"humidity the wrong way round", "weather.rh_max_pct", ReasonOrder, func(w *Weather) {
			w.RHMax, w.RHMin = Given(unit.Percent(40)), Given(unit.Percent(60))
		}},
		{"wind in km/h", "weather.wind_m_s", ReasonUnit, func(w *Weather) { w.Wind = Given(unit.Velocity(14)) }},
		{"negative wind", "weather.wind_m_s", ReasonOutOfRange, func(w *Weather) { w.Wind = Given(unit.Velocity(-1)) }},
		{"sun longer than the day", "weather.sunshine_h", ReasonOutOfRange, func(w *Weather) { w.Sunshine = Given(unit.Hours(17)) }},
		{"radiation above a clear sky", "weather.radiation_mj_m2", ReasonOutOfRange, func(w *Weather) { w.Radiation = Given(unit.Irradiation(40)) }},
		{"negative rain", "weather.rain_mm", ReasonOutOfRange, func(w *Weather) { w.Rain = Given(unit.Depth(-0.1)) }},
		{"not a number", "weather.rain_mm", ReasonNotFinite, func(w *Weather) { w.Rain = Given(unit.Depth(math.NaN())) }},
	}
	for _, k := range cases {
		t.Run(k.name, func(t *testing.T) {
			w := temperatures(25, 13)
			k.change(&w)
			_, err := DailyReferenceET(p, d, w)
			wantField(t, err, k.field)
			if got := err.(InputErrors)[0].Reason; got != k.reason { //nolint:errorlint // the package returns them bare
				t.Errorf("reason %s, want %s", got, k.reason)
			}
		})
	}
	w := temperatures(25, 13)
	w.Wind = Given(unit.Velocity(0.1))
	if r, err := DailyReferenceET(p, d, w); err != nil || r.Wind != 0.5 || len(r.Notes) != 2 {
		t.Errorf("a calm day: %v, wind %g, notes %v", err, r.Wind, r.Notes)
	}
	_, err := MonthlyReferenceET(p, 2015, 7, w, Optional[unit.Temperature]{}, Optional[unit.Temperature]{})
	wantField(t, err, "weather.wind_m_s")
}

// The order of choice of FAO-56 ch. 3 for humidity, and the sources named beside it.
func TestReferenceET_takesTheBestHumidity(t *testing.T) {
	p, d := Place{Latitude: unit.Degrees(45), Humidity: HumidityArid}, Date{2015, 7, 6}
	w := temperatures(25, 13)
	steps := []struct {
		want Code
		add  func()
	}{
		{HumidityTMinDrop, func() {}},
		{HumidityMean, func() { w.RHMean = Given(unit.Percent(60)) }},
		{HumidityMax, func() { w.RHMax = Given(unit.Percent(90)) }},
		{HumidityMaxMin, func() { w.RHMin = Given(unit.Percent(40)) }},
		{HumidityWetBulb, func() { w.DryBulb, w.WetBulb = Given(unit.Temperature(22)), Given(unit.Temperature(16)) }},
		{HumidityDewPoint, func() { w.DewPoint = Given(unit.Temperature(12)) }},
		{HumidityGiven, func() { w.VaporPressure = Given(unit.Pressure(1.3)) }},
	}
	for _, s := range steps {
		s.add()
		r, err := DailyReferenceET(p, d, w)
		if err != nil {
			t.Fatal(err)
		}
		if r.HumiditySource != s.want {
			t.Errorf("humidity from %s, want %s", r.HumiditySource, s.want)
		}
	}
	r, err := DailyReferenceET(p, d, temperatures(25, 13))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "ea three degrees under Tmin", r.Actual, float64(SaturationVaporPressure(10)), 1e-12)
}

func TestMonthlySoilHeat(t *testing.T) {
	unknown := Optional[unit.Temperature]{}
	near(t, "both neighbours", MonthlySoilHeat(16, Given(unit.Temperature(14)), Given(unit.Temperature(19))), 0.35, 1e-12)
	near(t, "the previous only", MonthlySoilHeat(16, Given(unit.Temperature(14)), unknown), 0.28, 1e-12)
	near(t, "none", MonthlySoilHeat(16, unknown, unknown), 0, 0)
}

// The sun stays up on 21 June and down on 21 December north of the circle; both days have their ET0.
func TestSky_polarDayAndNight(t *testing.T) {
	if n := SkyAt(unit.Degrees(70), 172).DaylightHours; n != 24 {
		t.Errorf("polar day has %g h", n)
	}
	if s := SkyAt(unit.Degrees(70), 355); s.DaylightHours != 0 || s.Extraterrestrial != 0 {
		t.Errorf("polar night: %+v", s)
	}
	r, err := DailyReferenceET(Place{Latitude: unit.Degrees(70)}, Date{2015, 12, 21}, temperatures(-10, -20))
	if err != nil || r.ET0 < 0 || math.IsNaN(float64(r.ET0)) {
		t.Errorf("%v, ET0 %g", err, r.ET0)
	}
}

func TestMidSeason_fromNormalsAndFromDays(t *testing.T) {
	c := Climate{Place: Place{Humidity: HumiditySemiArid}}
	crop, _ := CropByCode("lettuce")
	p := Planting{Crop: crop, From: Date{2015, 5, 1}}
	wind, rh, err := c.MidSeason(p)
	if err != nil || wind.Known || rh.Value != 30 {
		t.Errorf("class: %v %v %v", wind, rh, err)
	}
	for range 12 {
		w := temperatures(25, 15)
		w.Wind = Given(unit.Velocity(3))
		c.Normals = append(c.Normals, w)
	}
	c.Place.Humidity = HumidityUnknown
	wind, rh, err = c.MidSeason(p)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "wind", wind.Value, 3, 1e-12)
	near(t, "RHmin", rh.Value, 100*1.705/3.168, 0.05)
}

// Weather carried from one place to another keeps its share of what the sky allows, and the vapour of its psychrometer.
func TestWeather_transfer(t *testing.T) {
	t.Parallel()
	from, to := Place{Latitude: unit.Degrees(40), Elevation: 1800}, Place{Latitude: unit.Degrees(46), Elevation: 50}
	date := Date{2015, 12, 10}
	w := Weather{
		TMax: Given(unit.Temperature(12)), TMin: Given(unit.Temperature(1)), Radiation: Given(unit.Irradiation(8)), Sunshine: Given(unit.Hours(7)),
		DryBulb: Given(unit.Temperature(9)), WetBulb: Given(unit.Temperature(5)), Wind: Given(unit.Velocity(3)), WindHeight: 10, Rain: Given(unit.Depth(4)),
	}
	if err := w.Validate(from, date); err != nil {
		t.Fatal(err)
	}
	moved := w.Transfer(from, to, date)
	there, here := SkyAt(from.Latitude, date.DayOfYear()), SkyAt(to.Latitude, date.DayOfYear())
	near(t, "Rs/Ra", moved.Radiation.Value/here.Extraterrestrial, float64(w.Radiation.Value/there.Extraterrestrial), 1e-12)
	near(t, "n/N", moved.Sunshine.Value/here.DaylightHours, float64(w.Sunshine.Value/there.DaylightHours), 1e-12)
	before, _ := ActualVaporPressure(from, w)
	if after, source := ActualVaporPressure(to, moved); after != before || source != HumidityGiven {
		t.Errorf("ea %v by %s, want %v", after, source, before)
	}
	if moved.TMax != w.TMax || moved.Wind != w.Wind || moved.WindHeight != w.WindHeight || moved.Rain != w.Rain {
		t.Errorf("%+v", moved)
	}
	if err := moved.Validate(to, date); err != nil {
		t.Errorf("useless at its new place: %v", err)
	}
	dark := Place{Latitude: unit.Degrees(80)}
	if night := w.Transfer(from, dark, date); night.Radiation.Value < 0 || night.Sunshine.Value != 0 || night.Validate(dark, date) != nil {
		t.Errorf("in the polar night: %+v", night)
	}
	if day := (Weather{Radiation: Given(unit.Irradiation(0.2)), Sunshine: Given(unit.Hours(0))}).Transfer(dark, to, date); day.Validate(to, date) != nil {
		t.Errorf("out of the polar night: %+v", day)
	}
}
