package waterneed

import (
	"encoding/csv"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"rillturn.example/rillturn/engine/unit"
)

var updateSeason = flag.Bool("update-season", false, "rewrite the golden report of the seasons")

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

// TestSeason_report waters tomato, lettuce and sweet corn at both stations from planting to harvest, and compares the
// weeks with the golden report. What must hold whatever the figures: no stress, every balance closes, litres follow the
// net depth, rain used is not above rain.
func TestSeason_report(t *testing.T) {
	var b strings.Builder
	b.WriteString("# Seasons of 2015 under drip: 10 m2 of ground, 4 m2 wet, sandy loam, DU 0.85, watered when readily available water is used.\n")
	b.WriteString("# Depths in mm over the ground, litres gross; ratio: rain used and irrigation over one inch a week.\n")
	for _, station := range []struct {
		name  string
		place Place
	}{{"Seattle", seattle}, {"New York", newYork}} {
		s := yearSeries(t, station.place, station.name)
		for _, season := range seasons {
			u := seasonUnit(t, season.code, season.planted)
			p := &u.Plantings[0]
			p.Setting.Wind, p.Setting.RHMin = s.MidSeason(*p)
			r, err := Season(u, s)
			if err != nil {
				t.Fatal(err)
			}
			checkSeason(t, r)
			writeSeason(&b, station.name, r)
		}
	}
	path := filepath.Join(dataFolder, "season.golden.txt")
	if *updateSeason {
		if err := os.WriteFile(path, []byte(b.String()), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if b.String() != string(want) {
		t.Errorf("the report changed:\n%s", b.String())
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

func writeSeason(b *strings.Builder, station string, r SeasonReport) {
	fmt.Fprintf(b, "\n%s, %s from %s\n", station, r.Planting, r.Total.From)
	b.WriteString("week of     days  crop_et  rain  rain_used  net  waterings  litres  stress_days  ratio\n")
	line := func(head string, w Week) {
		fmt.Fprintf(b, "%-11s %4d %8.1f %5.1f %10.1f %4.1f %10d %7.0f %12.2f %6.2f\n", head, w.Days, w.CropET, w.Rain, w.RainUsed, w.Net,
			w.Irrigation, w.Gross.Liters(), w.StressDays, w.RuleRatio)
	}
	for _, w := range r.Weeks {
		line(w.From.String(), w)
	}
	line("season", r.Total)
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
