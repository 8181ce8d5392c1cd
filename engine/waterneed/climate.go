package waterneed

import (
	"fmt"
	"slices"

	"rillturn.example/rillturn/engine/unit"
)

// The rungs of the ladder from full weather to none, best first. Every day of a Series says on which it stands.
const (
	// RungGiven: reference evapotranspiration that somebody else computed.
	RungGiven Code = "et0_given"
	// RungMeasured: temperatures, humidity, radiation or sunshine, and wind.
	RungMeasured Code = "measured"
	// RungPartly: temperatures and some of the others.
	RungPartly Code = "measured_partly"
	// RungTemperatures: highest and lowest temperature only.
	RungTemperatures Code = "temperatures_only"
	// RungForecast: temperatures that a forecast gave for a day not yet measured.
	RungForecast Code = "forecast"
	// RungRecentMean: the mean of the last seven days with weather.
	RungRecentMean Code = "recent_mean"
	// RungNormals: twelve monthly normals, interpolated by date.
	RungNormals Code = "normals"
	// RungLatitude: the table by month and latitude of this package.
	RungLatitude Code = "latitude_table"
)

// recentDays is the length of the recent mean and how far it reaches; recentLeast is the fewest days it is made of.
// Own judgement: FAO-56 p. 60-61 trusts estimates over several days, and a week later the season has moved on.
const recentDays, recentLeast = 7, 3

// Day is the weather of a date.
type Day struct {
	Date    Date
	Weather Weather
}

// Climate is all that is known of a place's weather.
type Climate struct {
	Place Place
	// Measured and Forecast hold a date at most once each, in any order. Where both know a date, Measured prevails.
	Measured, Forecast []Day
	// Normals are twelve mean days, January first, or nothing.
	Normals []Weather
}

// DayClimate is one day of a Series.
type DayClimate struct {
	Date Date
	ET0  unit.Depth
	Rung Code
	// Rain is the measured rain; it is unknown on days without a reading, whatever a forecast says.
	Rain Optional[unit.Depth]
	// RainRead says that a person read that rain from a gauge in the garden.
	RainRead bool
	// Working is how the day's weather leads to ET0; nil on rungs that are means or a table, and where nothing but ET0
	// itself is known.
	Working *ReferenceET
}

// Series is a run of days without a gap.
type Series struct {
	Days []DayClimate
}

// From returns the first date. The series must not be empty.
func (s Series) From() Date { return s.Days[0].Date }

// At returns the day of a date, which must lie in the series.
func (s Series) At(d Date) DayClimate { return s.Days[d.Sub(s.From())] }

// Covers reports whether the series holds all of n days from a date.
func (s Series) Covers(from Date, n int) bool {
	if len(s.Days) == 0 {
		return n == 0
	}
	first := from.Sub(s.From())
	return first >= 0 && first+n <= len(s.Days)
}

// Total returns the sum of ET0. Single days on estimated radiation are rough; sums over 3 to 7 days are good
// (FAO-56 p. 60-61).
func (s Series) Total() unit.Depth {
	var sum unit.Depth
	for _, d := range s.Days {
		sum += d.ET0
	}
	return sum
}

// maxSeriesDays is the longest series: far more than a season, and a guard against a mistyped year.
const maxSeriesDays = 3660

// Series climbs down the ladder for each of n days from a date:
//
//  1. measured weather of the day, as much as there is; ET0 that somebody else computed for the day comes before it;
//  2. forecast weather of the day, never its rain;
//  3. the mean ET0 of the seven days that end with the last day of 1 or 2, when at least three of them are known and
//     that last day is at most seven days ago;
//  4. monthly normals, interpolated between the middles of the months;
//  5. the table by month and latitude.
//
// Faults are InputErrors.
func (c Climate) Series(from Date, n int) (Series, error) {
	ladder, err := c.ladder()
	if err != nil {
		return Series{}, err
	}
	var faults InputErrors
	faults.checkDate("from", from)
	faults.within("days", float64(n), 0, maxSeriesDays)
	if err := faults.err(); err != nil {
		return Series{}, err
	}
	s := Series{Days: make([]DayClimate, n)}
	first := from.Number()
	for i := range s.Days {
		s.Days[i] = ladder.day(DateOf(first + i))
	}
	return s, nil
}

// ladder is a Climate made ready: checked, sorted, with its own ET0 computed once.
type ladder struct {
	place   Place
	known   []DayClimate // measured or forecast, by date
	numbers []int
	normals []unit.Depth
}

func (c Climate) ladder() (ladder, error) {
	var faults InputErrors
	faults.join("place", c.Place.faults())
	l := ladder{place: c.Place}
	if len(faults) == 0 {
		measured := knownDays(&faults, "measured", c.Place, c.Measured, false)
		forecast := knownDays(&faults, "forecast", c.Place, c.Forecast, true)
		l.merge(measured, forecast)
		l.normals = normalET0(&faults, c.Place, c.Normals)
	}
	return l, faults.err()
}

// knownDays computes the days that have temperatures. A measured day that has only rain keeps the rain.
func knownDays(faults *InputErrors, field string, p Place, days []Day, forecast bool) []DayClimate {
	out := make([]DayClimate, 0, len(days))
	seen := make(map[Date]bool, len(days))
	for i, day := range days {
		path := fmt.Sprintf("%s[%d]", field, i)
		if !faults.checkDate(path+".date", day.Date) {
			continue
		}
		if seen[day.Date] {
			faults.add(path+".date", ReasonDuplicate)
			continue
		}
		seen[day.Date] = true
		w := day.Weather
		known := DayClimate{Date: day.Date, Rain: w.Rain, RainRead: w.RainRead}
		if forecast {
			known.Rain, known.RainRead = Optional[unit.Depth]{}, false
		}
		part := w.knownFaults(p, SkyAt(p.Latitude, day.Date.DayOfYear()))
		faults.join(path, part)
		if len(part) == 0 && w.TMax.Known {
			r := penmanMonteith(p, day.Date.DayOfYear(), w, 0)
			known.ET0, known.Working, known.Rung = r.ET0, &r, rungOf(r)
		}
		if w.ET0.Known {
			known.ET0, known.Rung = w.ET0.Value, RungGiven
		}
		if forecast && known.Rung != "" {
			known.Rung = RungForecast
		}
		out = append(out, known)
	}
	return out
}

// known reports whether the day's ET0 is known, not only its rain.
func (d DayClimate) known() bool { return d.Rung != "" }

func rungOf(r ReferenceET) Code {
	humid := r.HumiditySource != HumidityFromTMin && r.HumiditySource != HumidityTMinDrop
	sunny := r.RadiationSource != RadiationFromRange
	windy := r.WindSource == WindMeasured
	switch {
	case humid && sunny && windy:
		return RungMeasured
	case humid || sunny || windy:
		return RungPartly
	default:
		return RungTemperatures
	}
}

// merge sorts the days by date; a forecast gives its weather to a date that has none measured.
func (l *ladder) merge(measured, forecast []DayClimate) {
	all := append(measured, forecast...)
	slices.SortStableFunc(all, func(a, b DayClimate) int { return a.Date.Compare(b.Date) })
	for _, day := range all {
		number := day.Date.Number()
		if last := len(l.known) - 1; last >= 0 && l.numbers[last] == number {
			if !l.known[last].known() {
				day.Rain, day.RainRead = l.known[last].Rain, l.known[last].RainRead
				l.known[last] = day
			}
			continue
		}
		l.known = append(l.known, day)
		l.numbers = append(l.numbers, number)
	}
}

// day climbs down the ladder for one date.
func (l ladder) day(d Date) DayClimate {
	number := d.Number()
	i, found := slices.BinarySearch(l.numbers, number)
	day := DayClimate{Date: d}
	if found {
		day = l.known[i]
		if day.known() {
			return day
		}
	}
	if mean, ok := l.recentMean(i, number); ok {
		day.ET0, day.Rung = mean, RungRecentMean
		return day
	}
	if l.normals != nil {
		day.ET0, day.Rung = betweenMonths(d, func(month int) float64 { return float64(l.normals[month-1]) }), RungNormals
		return day
	}
	day.ET0, day.Rung = LatitudeET0(l.place.Latitude, d), RungLatitude
	return day
}

// recentMean is the mean ET0 of the days with weather among the seven that end with the last such day before number;
// before is the index of the first known day not before number.
func (l ladder) recentMean(before, number int) (mean unit.Depth, ok bool) {
	last, sum, n := 0, unit.Depth(0), 0
	for i := before - 1; i >= 0; i-- {
		if !l.known[i].known() {
			continue
		}
		if n == 0 {
			last = l.numbers[i]
		}
		if number-last > recentDays || last-l.numbers[i] >= recentDays {
			break
		}
		sum += l.known[i].ET0
		n++
	}
	if n < recentLeast {
		return 0, false
	}
	return sum / unit.Depth(n), true
}

// normalYear is the common year whose middles of months stand for those of the normals.
const normalYear = 2001

// normalET0 computes ET0 of twelve mean days, with the soil heat between the months.
func normalET0(faults *InputErrors, p Place, normals []Weather) []unit.Depth {
	if len(normals) == 0 {
		return nil
	}
	if len(normals) != 12 {
		faults.within("normals", float64(len(normals)), 12, 12)
		return nil
	}
	for i, w := range normals {
		sky := SkyAt(p.Latitude, Date{normalYear, i + 1, 15}.DayOfYear())
		faults.join(fmt.Sprintf("normals[%d]", i), w.faults(p, sky, windLeastMonthly))
	}
	if len(*faults) > 0 {
		return nil
	}
	mean := func(i int) unit.Temperature {
		w := normals[(i+12)%12]
		return (w.TMax.Value + w.TMin.Value) / 2
	}
	out := make([]unit.Depth, 12)
	for i, w := range normals {
		g := MonthlySoilHeat(mean(i), Given(mean(i-1)), Given(mean(i+1)))
		out[i] = penmanMonteith(p, Date{normalYear, i + 1, 15}.DayOfYear(), w, g).ET0
	}
	return out
}

// betweenMonths interpolates a value per month, which stands for the 15th, to a date.
func betweenMonths(d Date, value func(month int) float64) unit.Depth {
	middle := Date{d.Year, d.Month, 15}
	previous, next := middle, middle
	if d.Day < 15 {
		previous = monthAfter(middle, -1)
	} else {
		next = monthAfter(middle, 1)
	}
	if previous == next {
		return unit.Depth(value(d.Month))
	}
	share := float64(d.Sub(previous)) / float64(next.Sub(previous))
	return unit.Depth(value(previous.Month)*(1-share) + value(next.Month)*share)
}

// monthAfter moves a date, whose day every month has, by n months.
func monthAfter(d Date, n int) Date {
	months := d.Year*12 + d.Month - 1 + n
	return Date{months / 12, months%12 + 1, d.Day}
}
