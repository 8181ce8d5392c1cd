package file

import (
	"bytes"
	"encoding/json"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"rillturn.example/rillturn/testdata/garden"
)

var gardenFiles = map[string][]byte{"Tanager Bend": garden.TanagerBend, "Cinder Lane": garden.CinderLane}

// A rotation stores its garden as it marshals; what is read back has to be the same garden and the same bytes.
func TestReadGarden_roundTrip(t *testing.T) {
	t.Parallel()
	for name, text := range gardenFiles {
		g, err := ReadGarden(bytes.NewReader(text))
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		stored, err := json.Marshal(g)
		if err != nil {
			t.Fatal(err)
		}
		again, err := ReadGarden(bytes.NewReader(stored))
		if err != nil {
			t.Fatalf("%s, stored: %v", name, err)
		}
		if diff := cmp.Diff(g, again, cmpopts.EquateEmpty()); diff != "" {
			t.Errorf("%s comes back changed:\n%s", name, diff)
		}
		twice, err := json.Marshal(again)
		if err != nil || !bytes.Equal(stored, twice) {
			t.Errorf("%s: other bytes the second time, %v", name, err)
		}
	}
}

// The ids that a committed garden refers to are ids that it has.
func TestGardenFiles_referToWhatTheyHave(t *testing.T) {
	t.Parallel()
	for name, text := range gardenFiles {
		g, err := ReadGarden(bytes.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		ids := map[string]bool{}
		add := func(kind, id string) {
			if ids[kind+id] {
				t.Errorf("%s: two %s %q", name, kind, id)
			}
			ids[kind+id] = true
		}
		refer := func(kind string, id *string) {
			if id != nil && !ids[kind+*id] {
				t.Errorf("%s: no %s %q", name, kind, *id)
			}
		}
		for _, m := range g.Members {
			add("member", m.ID)
		}
		for _, l := range g.ServiceLines {
			add("line", l.ID)
		}
		for _, s := range g.WaterSources {
			add("source", s.ID)
			refer("line", s.ServiceLineID)
		}
		for _, p := range g.Plots {
			add("plot", p.ID)
			refer("source", p.WaterSourceID)
			for _, h := range p.Holders {
				refer("member", &h.MemberID)
			}
		}
		for _, l := range g.Layouts {
			add("layout", l.ID)
			refer("plot", &l.PlotID)
			refer("source", &l.WaterSourceID)
		}
		for _, p := range g.Plantings {
			refer("plot", &p.PlotID)
			refer("layout", p.LayoutID)
		}
	}
}

// Faults of a garden file come all at once, each with the place.
func TestReadGarden_allFaultsAtOnce(t *testing.T) {
	t.Parallel()
	_, err := ReadGarden(strings.NewReader(`{
		"garden": {"id": "g", "name": "Tanager Bend Garden", "time_zone": 7, "latitude_deg": "north", "elevation_m": 3, "units": "us",
			"language": "en", "fairness": "need", "free_share": 0, "start_grid_min": 5, "notice_period_h": 0, "colour": "green"},
		"water_sources": [{"id": "s", "name": "tap", "kind": "spigot", "hose_connections": 1.5, "changeover_min": 2}],
		"water_hours": {},
		"plots": [{"id": "p", "label": "A1", "area_m2": null, "method": "layout"}],
		"horizon": {"first_day": "6 July", "days": 7, "effort": "fast", "seed": 1}
	}`))
	var faults Faults
	if !errors.As(err, &faults) {
		t.Fatal(err)
	}
	var got []string
	for _, f := range faults {
		got = append(got, f.Pointer)
	}
	for _, want := range []string{
		"/garden/time_zone", "/garden/latitude_deg", "/garden/longitude_deg", "/garden/colour", "/water_sources/0/hose_connections",
		"/water_sources/0/min_run_min", "/water_hours", "/plots/0/area_m2", "/horizon/first_day",
	} {
		if !slices.Contains(got, want) {
			t.Errorf("%s is missing from %q", want, got)
		}
	}
}

func TestDay_readsAndWritesDates(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{`"2015-07-06"`: "2015-07-06", `"2016-02-29"`: "2016-02-29"} {
		var d Day
		if err := json.Unmarshal([]byte(text), &d); err != nil || d.Format(time.DateOnly) != want {
			t.Errorf("%s: %s, %v", text, d, err)
		}
		if out, err := json.Marshal(d); err != nil || string(out) != text {
			t.Errorf("%s came back as %s, %v", text, out, err)
		}
		if out, err := d.MarshalText(); err != nil || string(out) != want {
			t.Errorf("%s as text: %s, %v", text, out, err)
		}
	}
	for _, text := range []string{`"2015-02-29"`, `"06/07/2015"`, `"2015-07-06T00:00:00Z"`, `7`, `""`, `"2015-7-6"`} {
		var d Day
		if err := json.Unmarshal([]byte(text), &d); err == nil {
			t.Errorf("%s was read as %s", text, d)
		}
	}
	newYork, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	late := time.Date(2015, time.July, 7, 2, 0, 0, 0, time.UTC).In(newYork) // ten in the evening of the 6th
	if got := DayOf(late).Format(time.DateOnly); got != "2015-07-06" {
		t.Errorf("the day of %s is %s", late, got)
	}
}

func TestHasField(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]bool{
		`{"garden": {}}`: true, `{"garden": 1}`: true, `{}`: false, `{"name": "garden"}`: false, `["garden"]`: false, ``: false, `{"garden": `: false,
	} {
		if got := HasField([]byte(text), "garden"); got != want {
			t.Errorf("%s: %v", text, got)
		}
	}
}

// A tank feeds by its level: flow tests that were made at it are left out.
func TestFlowSource_ofATankAndOfASpigot(t *testing.T) {
	t.Parallel()
	test := []FlowTest{{Kind: "bucket", VolumeL: new(10.0), DurationS: new(30.0)}}
	spigot := WaterSource{StaticHeadM: new(30.0), HoseLengthM: new(15.0), HoseInsideDiameterMM: new(15.9), FlowTests: test}
	if s := (Garden{}).FlowSource(spigot); s.Tank != nil || s.Hose == nil || s.Hose.LengthM != 15 || len(s.FlowTests) != 1 || *s.StaticHeadM != 30 {
		t.Errorf("spigot: %+v", s)
	}
	tank := spigot
	tank.TankLevelM = new(2.0)
	if s := (Garden{}).FlowSource(tank); s.Tank == nil || s.Tank.LevelM != 2 || s.FlowTests != nil || s.StaticHeadM != nil {
		t.Errorf("tank: %+v", s)
	}
}
