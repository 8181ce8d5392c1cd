package file

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rillturn.example/rillturn/engine/waterneed"
)

var updateNeed = flag.Bool("update-need", false, "rewrite the golden answer of the need file")

const needFolder = "../../testdata/waterneed"

func readNeedFile(t testing.TB, name string) Need {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(needFolder, name))
	if err != nil {
		t.Fatal(err)
	}
	n, err := ReadNeed(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// The first day of the file is FAO-56 ch. 4 Example 18, p. 72; its intermediates must reach the reader.
func TestRunNeed_printsTheWorking(t *testing.T) {
	r, err := RunNeed(readNeedFile(t, "need.json"))
	if err != nil {
		t.Fatal(err)
	}
	d := r.Days[0]
	for _, c := range []struct {
		what                 string
		got, want, tolerance float64
	}{
		{"u2", d.WindTwoMetersMS, 2.078, 0.001},
		{"P", d.PressureKpa, 100.1, 0.05},
		{"slope", d.SlopeKpaPerC, 0.122, 0.0006},
		{"gamma", d.PsychrometricKpaPerC, 0.0666, 0.00006},
		{"es", d.SaturationKpa, 1.997, 0.001},
		{"ea", d.VaporPressureKpa, 1.409, 0.001},
		{"deficit", d.VaporPressureDeficitKpa, 0.589, 0.001},
		{"Ra", d.ExtraterrestrialMjM2, 41.09, 0.03},
		{"N", d.DaylightH, 16.1, 0.05},
		{"Rs", d.SolarMjM2, 22.07, 0.03},
		{"Rso", d.ClearSkyMjM2, 30.90, 0.03},
		{"Rns", d.NetShortwaveMjM2, 17.00, 0.03},
		{"Rnl", d.NetLongwaveMjM2, 3.71, 0.03},
		{"Rn", d.NetRadiationMjM2, 13.28, 0.03},
		{"terms", d.RadiationTermMm, 2.81, 0.01},
		{"terms", d.AerodynamicTermMm, 1.07, 0.01},
		{"ET0", d.ET0Mm, 3.88, 0.01},
	} {
		if math.Abs(c.got-c.want) > c.tolerance {
			t.Errorf("%s = %g, printed %g", c.what, c.got, c.want)
		}
	}
}

func TestRunNeed_golden(t *testing.T) {
	r, err := RunNeed(readNeedFile(t, "need.json"))
	if err != nil {
		t.Fatal(err)
	}
	got, err := json.MarshalIndent(roundNumbers(t, r), "", " ")
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(needFolder, "need.golden.json")
	if *updateNeed {
		if err := os.WriteFile(path, append(got, '\n'), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), string(got)+"\n"); diff != "" {
		t.Error(diff)
	}
}

// roundNumbers passes a value through JSON with numbers of six digits, so that a golden file does not depend on the
// machine's last bit.
func roundNumbers(t *testing.T, v any) any {
	t.Helper()
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	var tree any
	if err := json.Unmarshal(text, &tree); err != nil {
		t.Fatal(err)
	}
	var walk func(any) any
	walk = func(v any) any {
		switch x := v.(type) {
		case float64:
			if math.Abs(x) < 1e-9 { // what is left of sums that cancel
				return 0.0
			}
			scale := math.Pow(10, 5-math.Floor(math.Log10(math.Abs(x))))
			return math.Round(x*scale) / scale
		case []any:
			for i := range x {
				x[i] = walk(x[i])
			}
		case map[string]any:
			for k := range x {
				x[k] = walk(x[k])
			}
		}
		return v
	}
	return walk(tree)
}

func TestReadNeed_reportsAllFaultsWithPointers(t *testing.T) {
	cases := []struct {
		name, text string
		want       []string
	}{
		{"no place", `{"days":[{"date":"2015-07-06","day_of_year":187},{"day_of_year":400}]}`, []string{"/place", "/days/0/day_of_year", "/days/1/day_of_year"}},
		{"unknown field", `{"place":{"latitude_deg":1,"latitude":2}}`, []string{"/place/latitude"}},
		{
			"not a date", `{"place":{"latitude_deg":1},"days":[{"date":"2015-02-29"},{"date":"6 July"},{"date":5}]}`,
			[]string{"/days/0/date", "/days/1/date", "/days/2/date"},
		},
		{
			"horizon without a morning", `{"place":{"latitude_deg":1},"units":[{"id":"u","plantings":[],"horizon_days":7}]}`,
			[]string{"/units/0/ledger_until"},
		},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			_, err := ReadNeed(strings.NewReader(c.text))
			comparePointers(t, err, c.want)
		})
	}
}

func TestRunNeed_reportsFaultsOfValuesWithPointers(t *testing.T) {
	const planting = `{"id":"p","crop":{"code":"lettuce"},"from":"2015-06-10","ground_area_m2":4`
	cases := []struct {
		name, text string
		want       []string
	}{
		{"place", `{"place":{"latitude_deg":95}}`, []string{"/place/latitude_deg"}},
		{
			"days", `{"place":{"latitude_deg":50},"days":[{"date":"2015-07-06","tmax_c":10,"tmin_c":12,"rh_max_pct":101,"rain_mm":-1},
			{"date":"2015-07-06","tmax_c":20,"tmin_c":12,"wind_m_s":25}]}`,
			[]string{"/days/0/tmax_c", "/days/0/rh_max_pct", "/days/0/rain_mm", "/days/1/wind_m_s"},
		},
		{
			"weather", `{"place":{"latitude_deg":50},"weather":{"measured":[{"date":"2015-07-06","tmax_c":20,"tmin_c":12},
			{"date":"2015-07-06","tmax_c":20,"tmin_c":12}],"normals":[{"tmax_c":1,"tmin_c":0}]}}`,
			[]string{"/weather/measured/1/date", "/weather/normals"},
		},
		{"months", `{"place":{"latitude_deg":50},"months":[{"year":2015,"month":13,"tmax_c":20,"tmin_c":12}]}`, []string{"/months/0/month"}},
		{
			"curve", `{"place":{"latitude_deg":50},"curves":[{"crop":{"code":"lettuce","kc_mid":9}}]}`,
			[]string{"/curves/0/crop/kc_mid"},
		},
		{"unknown crop", `{"place":{"latitude_deg":50},"curves":[{"crop":{"code":"quinoa","stages":
			{"initial_d":1,"development_d":1,"mid_d":1,"late_d":1},"kc_ini":1,"kc_mid":1,"kc_end":1,"kcb_ini":1,"kcb_mid":1,"kcb_end":1,
			"height_m":1}}]}`, []string{"/curves/0/crop/root_depth_m", "/curves/0/crop/depletion_fraction"}},
		{
			"unit", `{"place":{"latitude_deg":50},"units":[{"id":"u","soil":{"texture":"chalk"},"plantings":[` + planting + `}]}]}`,
			[]string{"/units/0/soil/texture"},
		},
		{
			"planting", `{"place":{"latitude_deg":50},"units":[{"id":"u","plantings":[` + planting +
				`,"wet_area_m2":5,"establishment":"thrown","setting":{"exposure":2}}]}]}`,
			[]string{"/units/0/plantings/0/setting/exposure", "/units/0/plantings/0/establishment", "/units/0/plantings/0/wet_area_m2"},
		},
		{
			"history", `{"place":{"latitude_deg":50},"units":[{"id":"u","plantings":[` + planting + `}],"ledger_until":"2015-07-01",
			"turns":[{"date":"2015-06-12","volume_l":-3},{"date":"2015-06-13","outcome":"part"}],"digs":[{"date":"2015-06-13","finding":"sticky"}]}]}`,
			[]string{"/units/0/turns/0/volume_l", "/units/0/turns/1/ran_min", "/units/0/digs/0/finding"},
		},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			n, err := ReadNeed(strings.NewReader(c.text))
			if err != nil {
				t.Fatal(err)
			}
			_, err = RunNeed(n)
			comparePointers(t, err, c.want)
		})
	}
}

func comparePointers(t *testing.T, err error, want []string) {
	t.Helper()
	var faults Faults
	if !errors.As(err, &faults) {
		t.Fatalf("want Faults, got %v", err)
	}
	var got []string
	for _, f := range faults {
		got = append(got, f.Pointer)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("%s\n%v", diff, faults)
	}
}

func TestCrop_copyIsComplete(t *testing.T) {
	for _, crop := range waterneed.Crops() {
		text, err := json.Marshal(CropOf(crop))
		if err != nil {
			t.Fatal(err)
		}
		var copied Crop
		if err := Decode(bytes.NewReader(text), &copied); err != nil {
			t.Fatal(err)
		}
		copied.Code = "no such code"
		got, err := copied.Constants()
		if err != nil {
			t.Fatal(err)
		}
		got.Code = crop.Code
		if diff := cmp.Diff(crop, got); diff != "" {
			t.Errorf("%s: %s", crop.Code, diff)
		}
	}
}

// FuzzReadNeed looks for text that crashes the reader or its answer, or is answered without an error by a number that
// JSON cannot carry.
func FuzzReadNeed(f *testing.F) {
	text, err := os.ReadFile(filepath.Join(needFolder, "need.json"))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	f.Add([]byte(`{"place":{"latitude_deg":90},"days":[{"date":"2016-02-29","tmax_c":1,"tmin_c":1}]}`))
	published, err := os.ReadFile(filepath.Join(needFolder, "published.json"))
	if err != nil {
		f.Fatal(err)
	}
	var examples []publishedExample
	if err := json.Unmarshal(published, &examples); err != nil {
		f.Fatal(err)
	}
	for _, e := range examples {
		f.Add([]byte(e.Need))
	}
	f.Add([]byte(`{"place":{"latitude_deg":-66.6},"series":{"from":"9999-12-31","days":1}}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		n, err := ReadNeed(bytes.NewReader(text))
		if err != nil {
			if err.Error() == "" {
				t.Fatal("an error without text")
			}
			return
		}
		r, err := RunNeed(n)
		if err != nil {
			return
		}
		if _, err := json.Marshal(r); err != nil {
			t.Fatal(err)
		}
	})
}
