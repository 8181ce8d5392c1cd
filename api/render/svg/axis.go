package svg

import (
	"cmp"
	"math"
	"slices"
	"time"
)

const (
	minutesPerHour = 60
	minutesPerDay  = 24 * minutesPerHour
)

// piece is a part of a span of time that lies on one local day, in minutes of that day's clock.
type piece struct {
	day      time.Time // local midnight, or the day's first instant where the clock skips midnight
	from, to float64
}

// splitByDay cuts [start, end) at the midnights of a zone. Minutes are those of the clock on the wall; a piece that
// runs through a repeated hour ends by its length, so that it never runs backwards.
func splitByDay(start, end time.Time, zone *time.Location) []piece {
	var pieces []piece
	for start.Before(end) {
		local := start.In(zone)
		day := midnight(local)
		next := midnight(day.AddDate(0, 0, 1))
		stop := end
		to := float64(minutesPerDay)
		if end.Before(next) {
			to = clockMinute(end.In(zone))
		} else {
			stop = next
		}
		from := clockMinute(local)
		if to <= from {
			to = math.Min(from+stop.Sub(start).Minutes(), minutesPerDay)
		}
		pieces = append(pieces, piece{day: day, from: from, to: to})
		start = stop
	}
	return pieces
}

func midnight(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, t.Location())
}

func clockMinute(t time.Time) float64 {
	return float64(t.Hour()*minutesPerHour+t.Minute()) + float64(t.Second())/60
}

// stretch is a stretch of the clock that the axis shows, in minutes of the day, drawn from x on.
type stretch struct{ from, to, x float64 }

// clockAxis shows only the hours in which something happens; longer gaps between them are left out.
type clockAxis struct {
	stretches []stretch
	perMinute float64 // pixels
}

const (
	// axisGap is the width drawn for hours that are left out: room for the times written on both sides.
	axisGap = 46
	// shortestGap is the least time that is worth leaving out.
	shortestGap = 90
	// axisRounding is to what the shown stretches are widened, so that the axis begins and ends at a written time.
	axisRounding = 30
)

// newClockAxis fits all pieces between x and x+width.
func newClockAxis(pieces []piece, x, width float64) clockAxis {
	var spans []stretch
	for _, p := range pieces {
		spans = append(spans, stretch{
			from: math.Floor(p.from/axisRounding) * axisRounding,
			to:   math.Ceil(p.to/axisRounding) * axisRounding,
		})
	}
	if len(spans) == 0 {
		spans = []stretch{{from: 0, to: minutesPerDay}}
	}
	slices.SortFunc(spans, func(a, b stretch) int { return cmp.Or(cmp.Compare(a.from, b.from), cmp.Compare(a.to, b.to)) })
	merged := spans[:1]
	for _, s := range spans[1:] {
		last := &merged[len(merged)-1]
		if s.from-last.to < shortestGap {
			last.to = math.Max(last.to, s.to)
			continue
		}
		merged = append(merged, s)
	}
	minutes := 0.0
	for _, s := range merged {
		minutes += s.to - s.from
	}
	a := clockAxis{stretches: merged, perMinute: (width - axisGap*float64(len(merged)-1)) / minutes}
	for i := range a.stretches {
		a.stretches[i].x = x
		x += (a.stretches[i].to-a.stretches[i].from)*a.perMinute + axisGap
	}
	return a
}

// x places a minute of the day; minutes that are left out fall on the edge of the nearest stretch before them.
func (a clockAxis) x(minute float64) float64 {
	at := a.stretches[0].x
	for _, s := range a.stretches {
		if minute < s.from {
			break
		}
		at = s.x + (math.Min(minute, s.to)-s.from)*a.perMinute
	}
	return at
}

// tickMinutes is the distance of two written times: the least for which they do not touch.
func (a clockAxis) tickMinutes() float64 {
	const room = 42 // pixels for 00:00 and some air
	for _, step := range []float64{15, 30, 60, 120, 180} {
		if step*a.perMinute >= room {
			return step
		}
	}
	return 6 * minutesPerHour
}
