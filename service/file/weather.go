package file

import (
	"cmp"
	"errors"
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

// Validate returns nil or Faults with what the engine can't use at the place, such as a wind that looks like another
// unit; at is the pointer of the day in its document.
func (d WeatherDay) Validate(place waterneed.Place, at string) error {
	return lastField(at, d.engine().Validate(place, d.Day.EngineDate()))
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
	known := g.stations(c.Place, &faults)
	days := g.stationDays(c.Place, known, &faults)
	slices.SortStableFunc(days, func(a, b WeatherDay) int {
		return cmp.Or(cmp.Compare(a.Kind, b.Kind), a.Day.Compare(b.Day.Time), cmp.Compare(known[a.Station].rank, known[b.Station].rank),
			strings.Compare(a.Station, b.Station))
	})
	for _, d := range days {
		list := &c.Measured
		if d.Kind == "forecast" {
			list = &c.Forecast
		}
		if last := len(*list) - 1; last >= 0 && (*list)[last].Date == d.Day.EngineDate() {
			complete(&(*list)[last].Weather, d.engine())
			continue
		}
		*list = append(*list, waterneed.Day{Date: d.Day.EngineDate(), Weather: d.engine()})
	}
	c.Normals = g.normals(c.Place, &faults)
	return c, faults.Err()
}

// knownStation is how a listed station is read.
type knownStation struct {
	rank       int
	windHeight *float64
}

func (g Garden) stations(place waterneed.Place, faults *Faults) map[string]knownStation {
	known := map[string]knownStation{}
	for i, s := range g.Stations {
		if _, twice := known[s.Station]; twice {
			faults.Add(Point("weather_stations", i, "station"), "appears twice")
			continue
		}
		mast := WeatherDay{Day: Day{time.Date(normalYear, 1, 1, 0, 0, 0, 0, time.UTC)}, NeedConditions: NeedConditions{WindHeightM: s.WindHeightM}}
		if err := EngineFaults(mast.Validate(place, Point("weather_stations", i))); err != nil {
			*faults, s.WindHeightM = append(*faults, err...), nil
		}
		known[s.Station] = knownStation{rank: i - len(g.Stations), windHeight: s.WindHeightM} // stations not listed have rank 0
	}
	return known
}

// stationDays returns the days that can be used, each with the height of its wind.
func (g Garden) stationDays(place waterneed.Place, known map[string]knownStation, faults *Faults) []WeatherDay {
	days := make([]WeatherDay, 0, len(g.Weather))
	seen := map[string]bool{}
	for i, d := range g.Weather {
		key := d.Kind + " " + d.Day.Format(time.DateOnly) + " " + d.Station
		if seen[key] {
			faults.Add(Point("weather_days", i, "day"), "appears twice for this station")
			continue
		}
		seen[key] = true
		if d.WindHeightM == nil {
			d.WindHeightM = known[d.Station].windHeight
		}
		if err := EngineFaults(d.Validate(place, Point("weather_days", i))); err != nil {
			*faults = append(*faults, err...)
			continue
		}
		days = append(days, d)
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
		faults.Add("/climate_normals", "has %d months, must have 12", len(g.Normals))
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
