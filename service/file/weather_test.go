package file

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"rillturn.example/rillturn/engine/waterneed"
)

func dayOf(t *testing.T, text string) Day {
	t.Helper()
	d, err := time.Parse(time.DateOnly, text)
	if err != nil {
		t.Fatal(err)
	}
	return Day{d}
}

// weatherGarden is a place with weather of one July week.
func weatherGarden(t *testing.T, days ...WeatherDay) Garden {
	t.Helper()
	return Garden{Garden: GardenSettings{LatitudeDeg: 47.45, ElevationM: 130}, Weather: days}
}

func station(t *testing.T, name, day string, c NeedConditions) WeatherDay {
	t.Helper()
	return WeatherDay{Station: name, Day: dayOf(t, day), Kind: "measured", NeedConditions: c}
}

func climateOf(t *testing.T, g Garden) waterneed.Climate {
	t.Helper()
	c, err := g.Climate()
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// A gauge on a plot and a station at the gate know one day together: the gauge comes first by name and has the rain.
func TestClimate_putsStationsTogether(t *testing.T) {
	t.Parallel()
	g := weatherGarden(t,
		station(t, "gate", "2015-07-06", NeedConditions{TmaxC: new(27.0), TminC: new(14.0), RhMeanPct: new(60.0), WindMS: new(2.5), RainMm: new(0.0)}),
		station(t, "A3 gauge", "2015-07-06", NeedConditions{RainMm: new(6.5)}),
	)
	g.Stations = []WeatherStation{{Station: "A3 gauge"}, {Station: "gate", WindHeightM: new(10.0)}}
	c := climateOf(t, g)
	if len(c.Measured) != 1 {
		t.Fatalf("%d days", len(c.Measured))
	}
	w := c.Measured[0].Weather
	if w.Rain.Value != 6.5 || w.TMax.Value != 27 || w.RHMean.Value != 60 || w.Wind.Value != 2.5 || w.WindHeight != 10 {
		t.Errorf("%+v", w)
	}
	g.Stations[0], g.Stations[1] = g.Stations[1], g.Stations[0] // the gate is believed first
	if w := climateOf(t, g).Measured[0].Weather; w.Rain.Value != 0 || !w.Rain.Known {
		t.Errorf("%+v", w)
	}
}

// The rain of a forecast and of normals is read and never booked; a day of July in the north may have 15 hours of sun.
func TestClimate_forecastsAndNormals(t *testing.T) {
	t.Parallel()
	forecast := station(t, "gate", "2015-07-07", NeedConditions{TmaxC: new(29.0), TminC: new(15.0), RainMm: new(12.0)})
	forecast.Kind = "forecast"
	g := weatherGarden(t, forecast, station(t, "gate", "2015-07-06", NeedConditions{TmaxC: new(27.0), TminC: new(14.0), SunshineH: new(15.0)}))
	for i := range 12 { // written from December to January
		g.Normals = append(g.Normals, MonthNormals{Month: 12 - i, NeedConditions: NeedConditions{TmaxC: new(20 + float64(12-i)), TminC: new(10.0), RainMm: new(3.0)}})
	}
	c := climateOf(t, g)
	if got := float64(c.Normals[6].TMax.Value); got != 27 {
		t.Errorf("July has %v °C", got)
	}
	s, err := c.Series(waterneed.Date{Year: 2015, Month: 7, Day: 6}, 3)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []waterneed.Code{waterneed.RungPartly, waterneed.RungForecast, waterneed.RungNormals} {
		if d := s.Days[i]; d.Rung != want || d.Rain.Known {
			t.Errorf("%s stands on %s, rain known %v", d.Date, d.Rung, d.Rain.Known)
		}
	}
}

func TestClimate_namesTheFieldByItsIndex(t *testing.T) {
	t.Parallel()
	good := NeedConditions{TmaxC: new(27.0), TminC: new(14.0)}
	bad := func(edit func(*NeedConditions)) NeedConditions {
		c := good
		edit(&c)
		return c
	}
	g := weatherGarden(t,
		station(t, "gate", "2015-07-06", good),
		station(t, "gate", "2015-07-07", bad(func(c *NeedConditions) { c.TmaxC = new(9.0) })),
		station(t, "gate", "2015-07-08", bad(func(c *NeedConditions) { c.RhMaxPct = new(104.0) })),
		station(t, "gate", "2015-07-09", bad(func(c *NeedConditions) { c.WindMS = new(18.0) })),
		station(t, "gate", "2015-07-10", bad(func(c *NeedConditions) { c.SunshineH = new(16.5) })),
		station(t, "gate", "2015-07-11", bad(func(c *NeedConditions) { c.RainMm = new(-1.0) })),
		station(t, "gate", "2015-07-12", NeedConditions{TmaxC: new(27.0)}),
		station(t, "gauge", "2015-07-12", NeedConditions{RhMinPct: new(-4.0)}),
		station(t, "gate", "2015-07-06", good),
	)
	g.Stations = []WeatherStation{{Station: "gate"}, {Station: "gate"}, {Station: "shed", WindHeightM: new(0.1)}}
	for i := range 12 {
		g.Normals = append(g.Normals, MonthNormals{Month: i + 1, NeedConditions: good})
	}
	g.Normals[3].TminC = new(30.0)
	_, err := g.Climate()
	comparePointers(t, err, []string{
		"/weather_stations/1/station", "/weather_stations/2/wind_height_m", "/weather_days/1/tmax_c", "/weather_days/2/rh_max_pct",
		"/weather_days/3/wind_m_s", "/weather_days/4/sunshine_h", "/weather_days/5/rain_mm", "/weather_days/6/tmin_c",
		"/weather_days/7/rh_min_pct", "/weather_days/8/day", "/climate_normals/3/tmax_c",
	})
	g = weatherGarden(t)
	g.Normals = make([]MonthNormals, 12)
	_, err = g.Climate()
	comparePointers(t, err, []string{"/climate_normals/0/month"})
}

// Each field of a planting reaches the engine.
func TestPlanting_reachesTheEngine(t *testing.T) {
	t.Parallel()
	p := Planting{
		ID: "p", PlotID: "bed", Crop: "our tomato", PlantedOn: dayOf(t, "2015-05-10"), RemovedOn: new(dayOf(t, "2015-09-20")), Establishment: "sown",
		AreaM2: 10, WettedFraction: 0.4, Mulch: "organic", MulchCover: 0.8, Supported: true, ExposureFactor: new(1.2), DualCoefficient: true,
		Opening: "given", OpeningDepletionMM: new(12.0),
		Companions: []PlantingCompanion{{Crop: "lettuce", PlantedOn: dayOf(t, "2015-05-01"), RemovedOn: new(dayOf(t, "2015-06-20")), GroundShare: 0.3}},
	}
	tomato, _ := waterneed.CropByCode("tomato")
	own := CropOf(tomato)
	own.Code, own.KcMid = "our tomato", new(1.1)
	got, err := p.Engine([]Crop{own}, "/plantings/0")
	if err != nil {
		t.Fatal(err)
	}
	lettuce, _ := waterneed.CropByCode("lettuce")
	tomato.Code, tomato.KcMid = "our tomato", 1.1
	want := waterneed.Planting{
		ID: "p", Crop: tomato, From: waterneed.Date{Year: 2015, Month: 5, Day: 10}, To: waterneed.Date{Year: 2015, Month: 9, Day: 20},
		Establishment: waterneed.Sown, GroundArea: 10, WetArea: 4,
		Setting: waterneed.Setting{Mulch: waterneed.MulchOrganic, MulchCover: 0.8, Supported: true, Exposure: 1.2}, Dual: true,
		Opening: waterneed.Opening{Kind: waterneed.OpeningGiven, Depletion: 12}, Ground: 0.7,
		Companions: []waterneed.Companion{{
			Crop: lettuce, From: waterneed.Date{Year: 2015, Month: 5, Day: 1}, To: waterneed.Date{Year: 2015, Month: 6, Day: 20}, Ground: 0.3,
		}},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	p.Companions[0].GroundShare = 1
	_, err = p.Engine([]Crop{own}, "/plantings/0")
	comparePointers(t, err, []string{"/plantings/0/ground_share"})
	p.Companions[0].RemovedOn = new(dayOf(t, "2015-04-20"))
	_, err = p.Engine([]Crop{own}, "/plantings/0")
	comparePointers(t, err, []string{"/plantings/0/companions/0/removed_on", "/plantings/0/ground_share"})
}

// The garden's own crop comes before the published one; the constants that a planting keeps come before both.
func TestCropBy_order(t *testing.T) {
	t.Parallel()
	own := []Crop{{Code: "lettuce", KcMid: new(0.9)}}
	for want, constants := range map[float64]*Crop{0.9: nil, 0.8: {Code: "lettuce", KcMid: new(0.8)}} {
		c, err := CropBy("lettuce", constants, own, "")
		if err != nil || c.KcMid != want || c.KcIni != 0.7 {
			t.Errorf("Kc mid %v, want %v, Kc ini %v, %v", c.KcMid, want, c.KcIni, err)
		}
	}
	faults := Garden{Crops: []Crop{own[0], own[0], {Code: "quinoa"}}}.OwnCropFaults()
	if len(faults) < 2 || faults[0].Pointer != "/crops/1/code" || faults[1].Pointer != "/crops/2/stages" {
		t.Errorf("%v", faults)
	}
}

// A station far away reads its psychrometer and its sun under its own sky; a bad place of a station is named, not its days.
func TestClimate_stationsElsewhere(t *testing.T) {
	t.Parallel()
	day := station(t, "pass", "2015-07-06", NeedConditions{TmaxC: new(20.0), TminC: new(8.0), DryBulbC: new(15.0), WetBulbC: new(11.0), SunshineH: new(15.2)})
	g := weatherGarden(t, day)
	plain := climateOf(t, g).Measured[0].Weather
	g.Stations = []WeatherStation{{Station: "pass", LatitudeDeg: new(48.5), ElevationM: new(1600.0)}}
	w := climateOf(t, g).Measured[0].Weather
	if !w.VaporPressure.Known || w.WetBulb.Known || w.Sunshine.Value >= plain.Sunshine.Value || w.Sunshine.Value <= 14 {
		t.Errorf("brought to the garden: %+v", w)
	}
	g.Stations[0].ElevationM, g.Stations[0].LatitudeDeg = new(9000.0), new(91.0)
	_, err := g.Climate()
	comparePointers(t, err, []string{"/weather_stations/0/latitude_deg", "/weather_stations/0/elevation_m"})
}

// A reading holds on its own plot before all stations. Elsewhere the median counts where no station knows the rain.
func TestClimate_rainReadings(t *testing.T) {
	t.Parallel()
	g := weatherGarden(t,
		station(t, "gate", "2015-07-06", NeedConditions{TmaxC: new(27.0), TminC: new(14.0), RainMm: new(1.0)}),
		station(t, "gate", "2015-07-08", NeedConditions{TmaxC: new(27.0), TminC: new(14.0)}),
	)
	reading := func(plot, day string, mm float64) RainReading {
		return RainReading{PlotID: plot, Day: dayOf(t, day), RainMm: mm}
	}
	g.RainReadings = []RainReading{
		reading("a", "2015-07-06", 4), reading("a", "2015-07-07", 60), reading("b", "2015-07-07", 5), reading("c", "2015-07-07", 7),
		reading("a", "2015-07-07", 6), reading("c", "2015-07-08", 0),
	}
	s, err := climateOf(t, g).Series(waterneed.Date{Year: 2015, Month: 7, Day: 6}, 4)
	if err != nil {
		t.Fatal(err)
	}
	want := func(s waterneed.Series, of string, rain ...float64) { // -1: unknown
		t.Helper()
		for i, mm := range rain {
			if d := s.Days[i]; d.Rain.Known != (mm >= 0) || mm >= 0 && float64(d.Rain.Value) != mm {
				t.Errorf("%s, %s: %+v, want %v", of, d.Date, d.Rain, mm)
			}
		}
	}
	want(s, "elsewhere", 1, 6, 0, -1)
	want(g.RainOn("a", s), "on plot a", 4, 6, 0, -1)
	want(g.RainOn("b", s), "on plot b", 1, 5, 0, -1)
	want(s, "the garden's own series", 1, 6, 0, -1)
	if s.Days[0].RainRead || !s.Days[1].RainRead || !g.RainOn("a", s).Days[0].RainRead {
		t.Error("what people read is not marked")
	}
	g.RainReadings = []RainReading{reading("a", "2015-07-06", -1), reading("b", "2015-07-06", 1001)}
	_, err = g.Climate()
	comparePointers(t, err, []string{"/rain_readings/0/rain_mm", "/rain_readings/1/rain_mm"})
}
