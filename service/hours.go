package service

import (
	"slices"
	"strconv"
	"time"

	"rillturn.example/rillturn/service/file"
)

// opening is one stretch [Start, End) in which a source may run. Day counts calendar days of the garden's zone from the
// first day of the horizon.
type opening struct {
	Source     string
	Day        int
	Start, End time.Time
	Attended   bool // somebody is at the taps during turns
}

// openings expands the water hours of a horizon to instants. Each day of each source gets its hours in order of time,
// overlapping hours merged; days outside the season have none. Closures are not applied here: they may exempt some
// watering methods, so they close days of plots, not hours of sources (see closed). Outages are cut out.
func openings(g file.Garden, loc *time.Location) []opening {
	var all []opening
	for day := range g.Horizon.Days {
		date := g.Horizon.FirstDay.AddDate(0, 0, day)
		if outOfSeason(g.Garden, date) {
			continue
		}
		for _, s := range g.WaterSources {
			var hours []opening
			for _, w := range g.WaterHours {
				if (w.WaterSourceID == nil || *w.WaterSourceID == s.ID) && holdsOn(w, date) {
					start, end := instant(date, minuteOfDay(w.StartLocal), loc), instant(date, minuteOfDay(w.EndLocal), loc)
					if start.Before(end) { // hours inside a clock change's gap vanish
						hours = append(hours, opening{s.ID, day, start, end, attended(g, w.ID)})
					}
				}
			}
			for _, o := range g.Outages {
				if o.Closes(s) {
					hours = cutOut(hours, o)
				}
			}
			all = append(all, merged(hours)...)
		}
	}
	return all
}

func attended(g file.Garden, hours string) bool {
	return g.Planning != nil && slices.Contains(g.Planning.AttendedHours, hours)
}

// cutOut takes the time of an outage out of openings.
func cutOut(hours []opening, o file.Outage) []opening {
	var out []opening
	for _, h := range hours {
		if before := h; before.Start.Before(o.From) {
			before.End = minTime(h.End, o.From)
			out = append(out, before)
		}
		if after := h; o.Until != nil && o.Until.Before(h.End) {
			if after.Start.Before(*o.Until) {
				after.Start = *o.Until
			}
			out = append(out, after)
		}
	}
	return out
}

// merged sorts openings of one source and day and joins those that overlap or touch; somebody must be there during all
// that are joined.
func merged(hours []opening) []opening {
	slices.SortFunc(hours, func(a, b opening) int { return a.Start.Compare(b.Start) })
	var out []opening
	for _, h := range hours {
		if n := len(out); n > 0 && !h.Start.After(out[n-1].End) {
			out[n-1].Attended = out[n-1].Attended && h.Attended
			if h.End.After(out[n-1].End) {
				out[n-1].End = h.End
			}
			continue
		}
		out = append(out, h)
	}
	return out
}

func outOfSeason(g file.GardenSettings, date time.Time) bool {
	return g.WaterOn != nil && date.Before(g.WaterOn.Time) || g.WaterOff != nil && date.After(g.WaterOff.Time)
}

func holdsOn(w file.WaterHours, date time.Time) bool {
	if w.ValidFrom != nil && date.Before(w.ValidFrom.Time) || w.ValidTo != nil && date.After(w.ValidTo.Time) {
		return false
	}
	return slices.Contains(w.Weekdays, isoWeekday(date))
}

// closed tells whether a closure forbids a watering method on a source on a date. Parity is that of the day of the
// month, so the 31st and the 1st are both odd.
func closed(closures []file.Closure, source, method string, date time.Time) bool {
	for _, c := range closures {
		switch {
		case c.WaterSourceID != nil && *c.WaterSourceID != source,
			date.Before(c.FirstDay.Time), date.After(c.LastDay.Time),
			len(c.Weekdays) > 0 && !slices.Contains(c.Weekdays, isoWeekday(date)),
			c.DayParity == "odd" && date.Day()%2 == 0, c.DayParity == "even" && date.Day()%2 == 1,
			slices.Contains(c.ExemptMethods, method):
			continue
		}
		return true
	}
	return false
}

func isoWeekday(date time.Time) int { return (int(date.Weekday())+6)%7 + 1 }

// minuteOfDay reads a clock time of the form 18:30 (24:00 is the end of the day) that the schema has checked.
func minuteOfDay(clock string) int {
	h, _ := strconv.Atoi(clock[:2])
	m, _ := strconv.Atoi(clock[3:])
	return h*60 + m
}

// instant is the moment at which clocks in loc show a minute of a date. A time inside the gap of a clock change is the
// end of the gap, the next valid moment; of a repeated hour it is the first.
func instant(date time.Time, minute int, loc *time.Location) time.Time {
	y, mo, d := date.Date()
	wall := time.Date(y, mo, d, 0, minute, 0, 0, time.UTC)
	for _, near := range []time.Duration{-24 * time.Hour, 24 * time.Hour} {
		_, offset := wall.Add(near).In(loc).Zone()
		t := wall.Add(-time.Duration(offset) * time.Second).In(loc)
		if _, got := t.Zone(); got == offset {
			return t // the offset before a change comes first, so a repeated hour is its first
		}
	}
	_, before := wall.Add(-24 * time.Hour).In(loc).Zone()
	change, _ := wall.Add(-time.Duration(before) * time.Second).In(loc).ZoneBounds()
	return change
}
