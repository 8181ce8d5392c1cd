package waterneed

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"rillturn.example/rillturn/engine/unit"
)

const dataFolder = "../../testdata/waterneed"

// readRecords reads a CSV file of records into maps by column.
func readRecords(t testing.TB, name string) []map[string]string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(dataFolder, name))
	if err != nil {
		t.Fatal(err)
	}
	r := csv.NewReader(strings.NewReader(string(text)))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := make([]map[string]string, 0, len(rows))
	for _, row := range rows[1:] {
		record := map[string]string{}
		for i, cell := range row {
			record[rows[0][i]] = cell
		}
		out = append(out, record)
	}
	return out
}

func parse(t testing.TB, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

var (
	seattle = Place{Latitude: unit.Degrees(47.45), Elevation: 130}
	newYork = Place{Latitude: unit.Degrees(40.78), Elevation: 40}
)

// records returns the daily weather of a station in 2015.
func records(t testing.TB, station string) []Day {
	t.Helper()
	var days []Day
	for _, row := range readRecords(t, "weather-2015.csv") {
		if row["station"] != station {
			continue
		}
		w := temperatures(parse(t, row["tmax_c"]), parse(t, row["tmin_c"]))
		w.Rain = Given(unit.Depth(parse(t, row["rain_mm"])))
		w.Wind, w.WindHeight = Given(unit.Velocity(parse(t, row["wind_10m_m_s"]))), 10
		var d Date
		if _, err := fmt.Sscanf(row["date"], "%d-%d-%d", &d.Year, &d.Month, &d.Day); err != nil {
			t.Fatal(err)
		}
		days = append(days, Day{Date: d, Weather: w})
	}
	if len(days) != 365 {
		t.Fatalf("%s has %d days", station, len(days))
	}
	return days
}

func yearSeries(t testing.TB, p Place, station string) Series {
	t.Helper()
	s, err := Climate{Place: p, Measured: records(t, station)}.Series(Date{2015, 1, 1}, 365)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// The monthly ET0 of both stations was computed independently from the same four years; a mean day differs from the mean
// of the days by the curvature of the equation, a few hundredths, on top of the print's 0.05.
func TestNormals_agreeWithAnIndependentComputation(t *testing.T) {
	for _, row := range readRecords(t, "climate-normals.csv") {
		p := Place{Latitude: unit.Degrees(parse(t, row["lat"])), Elevation: unit.Length(parse(t, row["elev_m"]))}
		w := temperatures(parse(t, row["tmax_c"]), parse(t, row["tmin_c"]))
		w.Wind = Given(unit.Velocity(parse(t, row["u2_m_s"])))
		month := int(parse(t, row["month"]))
		r, err := MonthlyReferenceET(p, 2015, month, w, Optional[unit.Temperature]{}, Optional[unit.Temperature]{})
		if err != nil {
			t.Fatal(err)
		}
		near(t, row["station"]+" "+row["month"]+" Penman-Monteith", r.ET0, parse(t, row["et0_pm_mm_d"]), 0.15)
		near(t, row["station"]+" "+row["month"]+" Hargreaves", r.Hargreaves, parse(t, row["et0_hs_mm_d"]), 0.15)
	}
}

// seasonUnit is ten square metres of a crop on sandy loam under drip that wets four tenths of the ground.
func seasonUnit(t testing.TB, code string, planted Date) Unit {
	t.Helper()
	crop, ok := CropByCode(code)
	if !ok {
		t.Fatalf("no crop %s", code)
	}
	soil, err := SoilOf(SandyLoam)
	if err != nil {
		t.Fatal(err)
	}
	return Unit{ID: "bed", Soil: soil, Uniformity: Uniformity{Measured: Given(0.85)}, Plantings: []Planting{{
		ID: code, Crop: crop, From: planted, GroundArea: 10, WetArea: 4, Opening: Opening{Kind: OpeningWinterRain},
	}}}
}

var seasons = []struct {
	code    string
	planted Date
}{{"tomato", Date{2015, 5, 15}}, {"lettuce", Date{2015, 5, 1}}, {"sweet_corn", Date{2015, 5, 20}}}

// Tomato, lettuce and sweet corn at both stations from planting to harvest. What must hold whatever the figures: no stress,
// every balance closes, litres follow the net depth, rain used is not above rain; and an inch a week, which is far too
// much for seedlings and too little in the weeks of greatest use, lets water pass the roots and plants go thirsty.
func TestSeason_ofBothStations(t *testing.T) {
	for _, station := range []struct {
		name  string
		place Place
	}{{"Seattle", seattle}, {"New York", newYork}} {
		s := yearSeries(t, station.place, station.name)
		for _, season := range seasons {
			r, err := Season(seasonUnit(t, season.code, season.planted), s)
			if err != nil {
				t.Fatal(err)
			}
			checkSeason(t, r)
			if r.Rule.Lost <= 0 || r.Rule.StressDays <= 0 || r.Rule.Waterings > len(r.Weeks) {
				t.Errorf("%s, %s by the rule: %+v", station.name, season.code, r.Rule)
			}
		}
	}
}

// By hand: ten square metres at Kc 1 and 5 mm a day, all wet, DU 0.8, no rain. The rule brings 254 L, 20.32 mm net, each
// seventh day from the first. The soil is full at first, so the first inch is lost; then 35 mm go in a week and 20.32 come
// back. In the morning of day 28 5·27 - 3·20.32 = 74.04 mm are missing of TAW 160, RAW 64: Ks = (160 - 74.04)/96 = 0.895.
// On day 27 it is (160 - 69.04)/96 = 0.9475 and on day 26 (160 - 64.04)/96 = 0.99958.
func TestSeason_ruleOfThumbByHand(t *testing.T) {
	u, s := bed(28)
	u.Plantings[0].WetArea, u.Plantings[0].To = 10, Date{2015, 7, 28}
	u.Plantings[0].Setting.RHMin = Given(unit.Percent(45))
	r, err := Season(u, s)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "gross", r.Rule.Gross.Liters(), 4*254, 1e-9)
	near(t, "lost", r.Rule.Lost, 25.4*0.8, 1e-9)
	near(t, "stress days", r.Rule.StressDays, 0.0004+0.0525+0.105, 0.004)
	if r.Rule.Waterings != 4 || r.YieldLost.Known {
		t.Errorf("%+v, yield lost %v", r.Rule, r.YieldLost)
	}
	u.Plantings[0].Crop.YieldResponse = 1.05
	s.Days[6].Rain = Given(unit.Depth(30)) // more than an inch: the second watering is spared
	if r, err = Season(u, s); err != nil {
		t.Fatal(err)
	}
	if r.Rule.Waterings != 3 || r.YieldLost.Value != 0 || !r.Rule.YieldLost.Known {
		t.Errorf("%+v, yield lost %v", r.Rule, r.YieldLost)
	}
}

func checkSeason(t *testing.T, r SeasonReport) {
	t.Helper()
	if days := len(r.Ledger.Days); days != r.Total.Days || days != r.Ledger.Days[days-1].Coefficient.Day {
		t.Errorf("%s: %d days of %d", r.Planting, days, r.Total.Days)
	}
	if math.Abs(float64(r.Ledger.Totals.Residual)) > 1e-9 {
		t.Errorf("%s: residual %g", r.Planting, r.Ledger.Totals.Residual)
	}
	for _, d := range r.Ledger.Days {
		if d.Ks < 1 {
			t.Errorf("%s: stress on %s although water is free", r.Planting, d.Date)
		}
		if d.Irrigation > 0 && d.Percolation > 0 {
			t.Errorf("%s: irrigation percolates on %s", r.Planting, d.Date)
		}
	}
	near(t, r.Planting+" litres", r.Total.Gross.Liters(), float64(r.Total.Net)*10/0.85, 1e-6)
	if r.Total.RainUsed > r.Total.Rain || r.Total.Net <= 0 {
		t.Errorf("%s: %+v", r.Planting, r.Total)
	}
}

// BenchmarkLedgers replays 1,000 plantings over 365 days, twice a week watered.
func BenchmarkLedgers(b *testing.B) {
	s := yearSeries(b, newYork, "New York")
	u := seasonUnit(b, "tomato", Date{2015, 1, 1})
	u.Plantings[0].To = Date{2015, 12, 31}
	var h History
	for i := 0; i < 365; i += 3 {
		h.Turns = append(h.Turns, Turn{Date: Date{2015, 1, 1}.AddDays(i), Volume: unit.Liters(80), Minutes: 20, Outcome: Done})
	}
	b.ReportAllocs()
	for b.Loop() {
		for range 1000 {
			if _, err := Ledgers(u, s, h, Date{2016, 1, 1}, LedgerOptions{}); err != nil {
				b.Fatal(err)
			}
		}
	}
}

// BenchmarkUnitDemand computes the demand of one unit over 14 days.
func BenchmarkUnitDemand(b *testing.B) {
	s := yearSeries(b, newYork, "New York")
	u := seasonUnit(b, "tomato", Date{2015, 5, 1})
	for b.Loop() {
		if _, err := UnitDemand(u, s, make([]State, 1), Date{2015, 7, 1}, 14); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkSeries climbs the ladder for a year of measured days.
func BenchmarkSeries(b *testing.B) {
	c := Climate{Place: newYork, Measured: records(b, "New York")}
	for b.Loop() {
		if _, err := c.Series(Date{2015, 1, 1}, 365); err != nil {
			b.Fatal(err)
		}
	}
}
