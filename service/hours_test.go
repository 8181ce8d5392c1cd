package service

import (
	"testing"
	"time"
	_ "time/tzdata"

	"rillturn.example/rillturn/service/file"
)

func day(t *testing.T, s string) file.Day {
	t.Helper()
	d, err := time.Parse(time.DateOnly, s)
	if err != nil {
		t.Fatal(err)
	}
	return file.Day{Time: d}
}

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

func TestInstant_clockChanges(t *testing.T) {
	for _, c := range []struct{ name, zone, date, clock, want string }{
		{"plain morning", "America/New_York", "2015-07-06", "06:00", "2015-07-06T10:00:00Z"},
		{"end of the day", "America/New_York", "2015-07-06", "24:00", "2015-07-07T04:00:00Z"},
		{"gap in New York: the next valid moment", "America/New_York", "2015-03-08", "02:30", "2015-03-08T07:00:00Z"},
		{"before the gap", "America/New_York", "2015-03-08", "01:59", "2015-03-08T06:59:00Z"},
		{"after the gap", "America/New_York", "2015-03-08", "03:00", "2015-03-08T07:00:00Z"},
		{"repeated hour in New York: the first", "America/New_York", "2015-11-01", "01:30", "2015-11-01T05:30:00Z"},
		{"after the repeated hour", "America/New_York", "2015-11-01", "02:00", "2015-11-01T07:00:00Z"},
		{"gap in Warsaw", "Europe/Warsaw", "2026-03-29", "02:15", "2026-03-29T01:00:00Z"},
		{"repeated hour in Warsaw", "Europe/Warsaw", "2026-10-25", "02:15", "2026-10-25T00:15:00Z"},
		{"half-hour change on Lord Howe", "Australia/Lord_Howe", "2026-10-04", "02:10", "2026-10-03T15:30:00Z"},
		{"no midnight in Cairo on the day of change", "Africa/Cairo", "2026-04-24", "00:00", "2026-04-23T22:00:00Z"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := instant(day(t, c.date).Time, minuteOfDay(c.clock), zone(t, c.zone))
			if s := got.UTC().Format(time.RFC3339); s != c.want {
				t.Errorf("%s %s in %s = %s, want %s", c.date, c.clock, c.zone, s, c.want)
			}
		})
	}
}

func TestOpenings_weekdaysSeasonAndMerging(t *testing.T) {
	on, off, west := day(t, "2015-07-07"), day(t, "2015-07-10"), "west"
	g := file.Garden{
		Garden:       file.GardenSettings{WaterOn: &on, WaterOff: &off},
		WaterSources: []file.WaterSource{{ID: "east"}, {ID: "west"}},
		WaterHours: []file.WaterHours{
			{Weekdays: []int{2, 4, 5}, StartLocal: "06:00", EndLocal: "08:00"},
			{Weekdays: []int{2}, StartLocal: "07:30", EndLocal: "09:30", WaterSourceID: &west},
		},
		Horizon: file.Horizon{FirstDay: day(t, "2015-07-06"), Days: 7}, // a Monday
	}
	var got []string
	for _, o := range openings(g, zone(t, "America/New_York")) {
		got = append(got, o.Source+o.Start.Format(" 2 15:04")+o.End.Format("-15:04"))
	}
	want := []string{"east 7 06:00-08:00", "west 7 06:00-09:30", "east 9 06:00-08:00", "west 9 06:00-08:00", "east 10 06:00-08:00", "west 10 06:00-08:00"}
	if len(got) != len(want) {
		t.Fatalf("got %q, want %q", got, want)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("opening %d is %q, want %q", i, got[i], want[i])
		}
	}
}

// A day with a clock change has 23 or 25 hours; hours that span the change grow or shrink with it.
func TestOpenings_acrossAClockChange(t *testing.T) {
	for date, want := range map[string]time.Duration{"2015-03-08": 3 * time.Hour, "2015-11-01": 5 * time.Hour, "2015-07-05": 4 * time.Hour} {
		g := file.Garden{
			WaterSources: []file.WaterSource{{ID: "s"}},
			WaterHours:   []file.WaterHours{{Weekdays: []int{7}, StartLocal: "00:00", EndLocal: "04:00"}},
			Horizon:      file.Horizon{FirstDay: day(t, date), Days: 1},
		}
		o := openings(g, zone(t, "America/New_York"))
		if len(o) != 1 || o[0].End.Sub(o[0].Start) != want {
			t.Errorf("%s: %v, want one opening of %v", date, o, want)
		}
	}
}

func TestClosed_parityWeekdayMethodAndSource(t *testing.T) {
	west := "west"
	closures := []file.Closure{
		{FirstDay: day(t, "2015-08-01"), LastDay: day(t, "2015-08-31"), DayParity: "even", ExemptMethods: []string{"can"}, Rule: "even days"},
		{FirstDay: day(t, "2015-09-01"), LastDay: day(t, "2015-09-30"), DayParity: "all", Weekdays: []int{7}, WaterSourceID: &west, Rule: "Sundays"},
	}
	for _, c := range []struct {
		date, source, method string
		want                 bool
	}{
		{"2015-08-02", "east", "layout", true},
		{"2015-08-02", "east", "can", false},
		{"2015-08-31", "east", "layout", false},
		{"2015-07-30", "east", "layout", false},
		{"2015-09-06", "west", "hose", true},
		{"2015-09-06", "east", "hose", false},
		{"2015-09-07", "west", "hose", false},
	} {
		if got := closed(closures, c.source, c.method, day(t, c.date).Time); got != c.want {
			t.Errorf("%s %s by %s: closed %v, want %v", c.date, c.source, c.method, got, c.want)
		}
	}
}
