package file

import (
	"cmp"
	"errors"
	"math"
	"slices"
	"strings"
	"time"

	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/engine/waterneed"
)

// WeatherStation is a station or gauge whose days the garden has. Stations are listed in the order in which they are
// believed.
type WeatherStation struct {
	Station string `json:"station" file:"required"`
	// LatitudeDeg and ElevationM are the station's own where it lies far from the garden; left out: the garden's.
	LatitudeDeg *float64 `json:"latitude_deg,omitempty"`
	ElevationM  *float64 `json:"elevation_m,omitempty"`
	// WindHeightM is the height of the anemometer, for days that don't say their own; left out: 2 m.
	WindHeightM *float64 `json:"wind_height_m,omitempty"`
}

// WeatherDay is one day of one station, measured or forecast. Values that are not known are left out. The rain of a
// forecast is never booked.
type WeatherDay struct {
	Station string `json:"station" file:"required"`
	Day     Day    `json:"day"     file:"required"`
	Kind    string `json:"kind"    file:"required"` // measured or forecast
	NeedConditions
}

// RainReading is the rain of a day that somebody read from a gauge on a plot. Of two for a plot and day the later holds. On
// its own plot it prevails over every station. Elsewhere it counts on days of which no station knows the rain: the median
// of the garden's readings of that day, so that no single slip of the pen decides.
type RainReading struct {
	PlotID string  `json:"plot_id" file:"required"`
	Day    Day     `json:"day"     file:"required"`
	RainMm float64 `json:"rain_mm" file:"required"`
}

// MonthNormals is the mean day of a month over many years, typed in from a table of the climate. Its rain is never booked.
type MonthNormals struct {
	Month int `json:"month" file:"required"`
	NeedConditions
}

// EngineDate returns the calendar date as the engine writes it.
func (d Day) EngineDate() waterneed.Date {
	y, m, day := d.Date()
	return waterneed.Date{Year: y, Month: int(m), Day: day}
}

// engineDate returns the date, or the zero date for none.
func (d *Day) engineDate() waterneed.Date {
	if d == nil {
		return waterneed.Date{}
	}
	return d.EngineDate()
}

// Place returns where the garden's weather is.
func (s GardenSettings) Place() waterneed.Place {
	return waterneed.Place{
		Latitude: unit.Degrees(s.LatitudeDeg), Elevation: unit.Length(s.ElevationM), Coastal: s.Coastal,
		Humidity: waterneed.HumidityClass(s.HumidityClass),
	}
}

// CheckDay returns nil or Faults with what the engine can't use of a day at its station, such as a wind that looks like
// another unit; at is the pointer of the day in its document.
func (g Garden) CheckDay(d WeatherDay, at string) error {
	_, place := g.station(&d)
	return lastField(at, d.engine().Validate(place, d.Day.EngineDate()))
}

// station completes a day by its station and returns how many stations come before it and where it is. Stations that are
// not listed come after those that are.
func (g Garden) station(d *WeatherDay) (rank int, place waterneed.Place) {
	place = g.Garden.Place()
	for i, s := range g.Stations {
		if s.Station != d.Station {
			continue
		}
		if d.WindHeightM == nil {
			d.WindHeightM = s.WindHeightM
		}
		return i, s.place(place)
	}
	return len(g.Stations), place
}

// place is where the station is in the climate of a garden.
func (s WeatherStation) place(garden waterneed.Place) waterneed.Place {
	if s.LatitudeDeg != nil {
		garden.Latitude = unit.Degrees(*s.LatitudeDeg)
	}
	if s.ElevationM != nil {
		garden.Elevation = unit.Length(*s.ElevationM)
	}
	return garden
}

// CheckStations returns nil or Faults with what can't be true of the stations; at is the pointer of their list.
func (g Garden) CheckStations(at string) error {
	var faults Faults
	seen := map[string]bool{}
	for i, s := range g.Stations {
		here := at + Point(i)
		if seen[s.Station] {
			faults.Add(here+"/station", "appears twice")
			continue
		}
		seen[s.Station] = true
		place := s.place(g.Garden.Place())
		mast := waterneed.Weather{WindHeight: optional[unit.Length](s.WindHeightM).Value}
		newYear := waterneed.Date{Year: normalYear, Month: 1, Day: 1}
		faults = append(faults, EngineFaults(lastField(here, place.Validate()))...)
		faults = append(faults, EngineFaults(lastField(here, mast.Validate(waterneed.Place{}, newYear)))...)
	}
	return faults.Err()
}

// normalYear stands for all years where only the season matters.
const normalYear = 2001

// lastField keeps of an engine's faults the last part of the field's path.
func lastField(at string, err error) error {
	var faults Faults
	if err = enginePointers("", err); !errors.As(err, &faults) {
		return err
	}
	for i, f := range faults {
		faults[i].Pointer = at + f.Pointer[strings.LastIndexByte(f.Pointer, '/'):]
	}
	return faults
}

// Climate gathers all that is known of the garden's weather. Where several stations know a day, each part is taken from
// the first station that has it: temperatures with the humidity read beside them, wind with its height, sunshine and
// radiation, rain. Stations come in the order of weather_stations, then by name. Faults are Faults with pointers into the
// garden file.
func (g Garden) Climate() (waterneed.Climate, error) {
	c := waterneed.Climate{Place: g.Garden.Place()}
	if err := c.Place.Validate(); err != nil {
		return c, enginePointers("/garden", err)
	}
	var faults Faults
	faults = append(faults, EngineFaults(g.CheckStations("/weather_stations"))...)
	known := g
	if len(faults) > 0 { // the days of a station that can't be are held against the garden's place
		known.Stations = nil
	}
	days := known.stationDays(&faults)
	slices.SortStableFunc(days, func(a, b placedDay) int {
		return cmp.Or(cmp.Compare(a.Kind, b.Kind), a.Day.Compare(b.Day.Time), cmp.Compare(a.rank, b.rank), strings.Compare(a.Station, b.Station))
	})
	for _, d := range days {
		list := &c.Measured
		if d.Kind == "forecast" {
			list = &c.Forecast
		}
		if last := len(*list) - 1; last >= 0 && (*list)[last].Date == d.Day.EngineDate() {
			complete(&(*list)[last].Weather, d.weather)
			continue
		}
		*list = append(*list, waterneed.Day{Date: d.Day.EngineDate(), Weather: d.weather})
	}
	g.readRain(&c, &faults)
	c.Normals = g.normals(c.Place, &faults)
	return c, faults.Err()
}

// readRain gives the days of which no station knows the rain the median of what people read.
func (g Garden) readRain(c *waterneed.Climate, faults *Faults) {
	byDay := map[waterneed.Date][]float64{}
	held := g.lastReadings()
	for i, r := range g.RainReadings {
		if !held[i] {
			continue
		}
		if r.RainMm < 0 || r.RainMm > mostRain || math.IsNaN(r.RainMm) {
			faults.Add(Point("rain_readings", i, "rain_mm"), "%g is not between 0 and %d", r.RainMm, mostRain)
			continue
		}
		date := r.Day.EngineDate()
		byDay[date] = append(byDay[date], r.RainMm)
	}
	for date, read := range byDay {
		i := slices.IndexFunc(c.Measured, func(d waterneed.Day) bool { return d.Date == date })
		if i < 0 {
			i = len(c.Measured)
			c.Measured = append(c.Measured, waterneed.Day{Date: date})
		}
		if w := &c.Measured[i].Weather; !w.Rain.Known {
			w.Rain, w.RainRead = waterneed.Given(unit.Depth(median(read))), true
		}
	}
	slices.SortFunc(c.Measured, func(a, b waterneed.Day) int { return a.Date.Compare(b.Date) })
}

// mostRain is the most rain of a day that a reading may say [mm].
const mostRain = 1000

// lastReadings tells of each reading by its place in the file whether it holds.
func (g Garden) lastReadings() []bool {
	type key struct{ plot, day string }
	seen := map[key]bool{}
	held := make([]bool, len(g.RainReadings))
	for i := len(g.RainReadings) - 1; i >= 0; i-- {
		r := g.RainReadings[i]
		k := key{r.PlotID, r.Day.Format(time.DateOnly)}
		held[i], seen[k] = !seen[k], true
	}
	return held
}

// median returns the middle of some numbers, or the mean of the two in the middle.
func median(v []float64) float64 {
	slices.Sort(v)
	return (v[(len(v)-1)/2] + v[len(v)/2]) / 2
}

// RainOn returns a series with the rain that was read on a plot in place of all other.
func (g Garden) RainOn(plot string, s waterneed.Series) waterneed.Series {
	days := s.Days
	for i, held := range g.lastReadings() {
		r := g.RainReadings[i]
		if r.PlotID != plot || !held || len(days) == 0 {
			continue
		}
		n := r.Day.EngineDate().Sub(s.From())
		if n < 0 || n >= len(days) {
			continue
		}
		if &days[0] == &s.Days[0] {
			days = slices.Clone(days)
		}
		days[n].Rain, days[n].RainRead = waterneed.Given(unit.Depth(r.RainMm)), true
	}
	return waterneed.Series{Days: days}
}

// placedDay is a day as its station makes it: its rank among stations, and the weather brought to the garden.
type placedDay struct {
	WeatherDay
	rank    int
	weather waterneed.Weather
}

// stationDays returns the days that can be used.
func (g Garden) stationDays(faults *Faults) []placedDay {
	days := make([]placedDay, 0, len(g.Weather))
	seen := map[string]bool{}
	for i, d := range g.Weather {
		key := d.Kind + " " + d.Day.Format(time.DateOnly) + " " + d.Station
		if seen[key] {
			faults.Add(Point("weather_days", i, "day"), "appears twice for this station")
			continue
		}
		seen[key] = true
		if err := EngineFaults(g.CheckDay(d, Point("weather_days", i))); err != nil {
			*faults = append(*faults, err...)
			continue
		}
		day := placedDay{WeatherDay: d}
		var place waterneed.Place
		day.rank, place = g.station(&day.WeatherDay)
		if day.weather = day.engine(); place != g.Garden.Place() {
			day.weather = day.weather.Transfer(place, g.Garden.Place(), d.Day.EngineDate())
		}
		days = append(days, day)
	}
	return days
}

// complete fills what a day of one station lacks from another's.
func complete(w *waterneed.Weather, from waterneed.Weather) {
	if !w.TMax.Known {
		w.TMax, w.TMin = from.TMax, from.TMin
		w.VaporPressure, w.DewPoint, w.RHMax, w.RHMin, w.RHMean = from.VaporPressure, from.DewPoint, from.RHMax, from.RHMin, from.RHMean
		w.DryBulb, w.WetBulb, w.Ventilation = from.DryBulb, from.WetBulb, from.Ventilation
	}
	if !w.Wind.Known {
		w.Wind, w.WindHeight = from.Wind, from.WindHeight
	}
	if !w.Radiation.Known && !w.Sunshine.Known {
		w.Radiation, w.Sunshine = from.Radiation, from.Sunshine
	}
	if !w.Rain.Known {
		w.Rain = from.Rain
	}
	if !w.ET0.Known {
		w.ET0 = from.ET0
	}
}

// normals returns the twelve mean days by month, or none.
func (g Garden) normals(place waterneed.Place, faults *Faults) []waterneed.Weather {
	if len(g.Normals) == 0 {
		return nil
	}
	if len(g.Normals) != 12 {
		faults.Add("/climate_normals", "must have 12 months, has %d", len(g.Normals))
		return nil
	}
	out := make([]waterneed.Weather, 12)
	at := make([]string, 12)
	for i, n := range g.Normals {
		if n.Month < 1 || n.Month > 12 {
			faults.Add(Point("climate_normals", i, "month"), "%d is not between 1 and 12", n.Month)
			return nil
		}
		if at[n.Month-1] != "" {
			faults.Add(Point("climate_normals", i, "month"), "appears twice")
			return nil
		}
		out[n.Month-1], at[n.Month-1] = n.engine(), Point("climate_normals", i)
	}
	var months Faults
	if err := enginePointers("", (waterneed.Climate{Place: place, Normals: out}).Validate()); errors.As(err, &months) {
		for _, f := range months { // as in /normals/4/tmax_c
			for month := range at {
				if rest, ok := strings.CutPrefix(f.Pointer, Point("normals", month)+"/"); ok {
					faults.Add(at[month]+"/"+rest, "%s", f.Reason)
				}
			}
		}
	}
	return out
}
