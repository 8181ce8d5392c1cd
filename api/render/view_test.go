package render_test

import (
	"strings"
	"testing"
	"time"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/internal/sample"
)

func TestSchedule_Validate_namesEveryFault(t *testing.T) {
	t.Parallel()
	if err := sample.Week().Validate(); err != nil {
		t.Errorf("the sample week: %v", err)
	}
	week := sample.Week()
	week.TimeZone = nil
	week.HorizonTo = week.HorizonFrom
	week.Turns[0].UID = ""
	week.Turns[1].UID = week.Turns[2].UID
	week.Turns[3].End = week.Turns[3].Start.Add(-time.Minute)
	week.Turns[4].Sequence = -2
	week.WaterHours[5].End = week.WaterHours[5].Start
	err := week.Validate()
	if err == nil {
		t.Fatal("no error")
	}
	for _, want := range []string{
		"the time zone is missing", "the horizon from", "turn 0: the identity is missing", "turn 2: the identity", "used twice",
		"turn 3", "turn 4", "the sequence -2 is negative", "water hours 5",
	} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("no word of %q in:\n%v", want, err)
		}
	}
}

func TestSchedule_Between_keepsOneDayAndLeavesTheRest(t *testing.T) {
	t.Parallel()
	week := sample.Week()
	from := time.Date(2026, time.July, 7, 0, 0, 0, 0, week.TimeZone)
	to := from.AddDate(0, 0, 1)
	turns, hours := len(week.Turns), len(week.WaterHours)
	day := week.Between(from, to)
	want := 0
	for _, turn := range week.Turns {
		if turn.Start.In(week.TimeZone).Day() == 7 {
			want++
		}
	}
	if len(day.Turns) != want || want == 0 || len(day.WaterHours) != 6 {
		t.Errorf("%d turns, want %d; %d water hours, want 6", len(day.Turns), want, len(day.WaterHours))
	}
	if !day.HorizonFrom.Equal(from) || !day.HorizonTo.Equal(to) {
		t.Errorf("horizon from %s to %s", day.HorizonFrom, day.HorizonTo)
	}
	if len(week.Turns) != turns || len(week.WaterHours) != hours || len(week.Between(to, to).Turns) != 0 {
		t.Error("the week itself has changed, or an empty span holds turns")
	}
	if err := day.Validate(); err != nil {
		t.Error(err)
	}
}

func TestIsShort_roundingIsNoThirst(t *testing.T) {
	t.Parallel()
	for fraction, want := range map[float64]bool{0: true, 0.62: true, 0.999: true, 0.9999: false, 1: false, 1.2: false} {
		if got := render.IsShort(fraction); got != want {
			t.Errorf("%g: %t", fraction, got)
		}
	}
}
