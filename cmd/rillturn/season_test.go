package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rillturn.example/rillturn/service/file"
)

// The seasons of both stations as a table and as the picture of the README, to be read when the engine or the words change.
func TestNeed_seasonGolden(t *testing.T) {
	t.Parallel()
	drawn := filepath.Join(t.TempDir(), "season.svg")
	got := rillturn(t, "", "need", "--season", "--svg", drawn)
	if got.code != 0 || got.err != "" {
		t.Fatalf("code %d: %s", got.code, got.err)
	}
	picture, err := os.ReadFile(drawn)
	if err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{"season.txt": got.out, "season.svg": string(picture)} {
		golden := example("waterneed/" + name)
		if *update {
			if err := os.WriteFile(golden, []byte(text), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(golden)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(strings.Split(string(want), "\n"), strings.Split(text, "\n")); diff != "" {
			t.Errorf("%s has changed (go test ./cmd/rillturn -run season -update writes it anew):\n%s", name, diff)
		}
	}
}

// One's own beds and weather, in gallons, as a table and as JSON.
func TestNeed_seasonOfOnesOwn(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	weather := filepath.Join(dir, "weather.csv")
	var table strings.Builder
	table.WriteString("station,date,tmax_c,tmin_c,wind_m_s,rain_mm\n")
	for d := 1; d <= 31; d++ {
		table.WriteString("shed," + "2015-07-" + string(rune('0'+d/10)) + string(rune('0'+d%10)) + ",30,16,1.5,0\n")
	}
	if err := os.WriteFile(weather, []byte(table.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	question := `{"units": "us", "stations": [{"station": "shed", "place": {"latitude_deg": 40}}], "beds": [{"id": "A1",
		"plantings": [{"id": "radish", "crop": {"code": "radish"}, "from": "2015-07-01", "to": "2015-07-28", "ground_area_m2": 4, "wet_area_m2": 2}]}]}`
	got := rillturn(t, question, "need", "--season", "--weather", weather, "-")
	if got.code != 0 || !strings.Contains(got.out, "Radish in shed, Wed 1 July – Tue 28 July 2015") || !strings.Contains(got.out, " gal in ") {
		t.Errorf("code %d\n%s%s", got.code, got.out, got.err)
	}
	got = rillturn(t, question, "need", "--season", "--json", "--weather", weather, "-")
	var r file.SeasonsResult
	if err := json.Unmarshal([]byte(got.out), &r); err != nil || len(r.Seasons) != 1 || len(r.Seasons[0].Weeks) != 4 {
		t.Errorf("%v: %s", err, got.out)
	}
	for name, c := range map[string]struct {
		question, weather string
		want              string
	}{
		"a station without weather": {strings.Replace(question, `"shed"`, `"roof"`, 1), table.String(), "/stations/0/station"},
		"two plantings":             {strings.Replace(question, `"plantings": [`, `"plantings": [{"id": "x", "crop": {"code": "radish"}, "from": "2015-07-01", "ground_area_m2": 4},`, 1), table.String(), "/beds/0/plantings"},
		"a crop nobody knows":       {strings.Replace(question, `"code": "radish"`, `"code": "moonflower"`, 1), table.String(), "/beds/0/plantings/0/crop/stages"},
		"a season past the weather": {strings.Replace(question, "07-28", "08-28", 1), table.String(), "/beds/0/plantings/0/from"},
		"colder by day":             {question, strings.Replace(table.String(), "2015-07-03,30", "2015-07-03,10", 1), "/weather/shed/2/tmax_c"},
		"not a number":              {question, strings.Replace(table.String(), "2015-07-03,30", "2015-07-03,warm", 1), "/2/tmax_c"},
		"not a date":                {question, strings.Replace(table.String(), "2015-07-03", "3 July", 1), "/2/date"},
		"unknown column":            {question, strings.Replace(table.String(), "wind_m_s", "wind_mph", 1), "/wind_mph"},
		"no date":                   {question, strings.Replace(table.String(), "date", "tmin_c", 1), "/date"},
		"nothing":                   {question, "", "/"},
	} {
		path := filepath.Join(dir, strings.ReplaceAll(name, " ", "-")+".csv")
		if err := os.WriteFile(path, []byte(c.weather), 0o600); err != nil {
			t.Fatal(err)
		}
		if got := rillturn(t, c.question, "need", "--season", "--weather", path, "-"); got.code != exitRefused || !strings.Contains(got.err, c.want+": ") {
			t.Errorf("%s: code %d, %q doesn't name %s", name, got.code, got.err, c.want)
		}
	}
	for _, args := range [][]string{{"need"}, {"need", "--svg", "x.svg", "-"}, {"need", "--json", "-"}} {
		if got := rillturn(t, "{}", args...); got.code != exitRefused || got.out != "" {
			t.Errorf("%q: %+v", args, got)
		}
	}
}
