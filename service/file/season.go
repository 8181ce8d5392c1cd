package file

import (
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/engine/waterneed"
)

// Season is a season file: beds whose seasons are reckoned at stations with daily weather, answered by RunSeason. Each bed
// has one planting and is watered when its readily available water is used.
type Season struct {
	Units    string          `json:"units,omitempty"` // metric or us, for people; left out: metric
	Stations []SeasonStation `json:"stations" file:"required"`
	Beds     []SeasonBed     `json:"beds" file:"required"`
}

// SeasonStation is a station of the weather and where it lies.
type SeasonStation struct {
	Station string    `json:"station" file:"required"`
	Place   NeedPlace `json:"place" file:"required"`
}

// SeasonBed is a bed with its planting.
type SeasonBed struct {
	ID         string         `json:"id" file:"required"`
	Soil       NeedSoil       `json:"soil,omitempty"`
	Plantings  []NeedPlanting `json:"plantings" file:"required"`
	Uniformity NeedUniformity `json:"uniformity,omitempty"`
}

// SeasonsResult holds the seasons, station by station and bed by bed.
type SeasonsResult struct {
	Seasons []StationSeasonResult `json:"seasons"`
}

// StationSeasonResult is the season of a bed at a station.
type StationSeasonResult struct {
	Station     string  `json:"station"`
	Bed         string  `json:"bed"`
	Crop        string  `json:"crop"`
	GroundM2    float64 `json:"ground_area_m2"`
	WetAreaM2   float64 `json:"wet_area_m2"`
	MidWindMS   float64 `json:"mid_season_wind_m_s"`
	MidRHMinPct float64 `json:"mid_season_rh_min_pct"`
	SeasonResult
}

// RuleResult is the season by the rule of thumb, an inch a week less rain.
type RuleResult struct {
	GrossL       float64  `json:"gross_l"`
	Waterings    int      `json:"waterings"`
	StressDays   float64  `json:"stress_days"`
	LostMm       float64  `json:"lost_mm"` // past the roots, over the ground
	YieldLostPct *float64 `json:"yield_lost_pct,omitempty"`
}

func ruleResult(r waterneed.RuleReport) RuleResult {
	return RuleResult{
		GrossL: r.Gross.Liters(), Waterings: r.Waterings, StressDays: r.StressDays, LostMm: float64(r.Lost), YieldLostPct: percentOf(r.YieldLost),
	}
}

func percentOf(share waterneed.Optional[float64]) *float64 {
	if !share.Known {
		return nil
	}
	v := 100 * share.Value
	return &v
}

// ReadSeason reads a season file. Its errors are Faults.
func ReadSeason(r io.Reader) (Season, error) {
	var s Season
	if err := Decode(r, &s); err != nil {
		return Season{}, err
	}
	var faults Faults
	if s.Units != "" && s.Units != "metric" && s.Units != "us" {
		faults.Add("/units", "%q is neither metric nor us", s.Units)
	}
	for i, b := range s.Beds {
		if len(b.Plantings) != 1 {
			faults.Add(Point("beds", i, "plantings"), "has %d plantings, must have one", len(b.Plantings))
		}
	}
	return s, faults.Err()
}

// stationDay is one row of a table of daily weather.
type stationDay struct {
	station string
	day     NeedDay
}

// weatherColumns are the columns that a table of daily weather may have beside station and date: those of a weather day,
// and the wind of a mast of 10 m.
var weatherColumns = map[string]func(*NeedConditions) **float64{
	"tmax_c":             func(c *NeedConditions) **float64 { return &c.TmaxC },
	"tmin_c":             func(c *NeedConditions) **float64 { return &c.TminC },
	"vapor_pressure_kpa": func(c *NeedConditions) **float64 { return &c.VaporPressureKpa },
	"dew_point_c":        func(c *NeedConditions) **float64 { return &c.DewPointC },
	"rh_max_pct":         func(c *NeedConditions) **float64 { return &c.RhMaxPct },
	"rh_min_pct":         func(c *NeedConditions) **float64 { return &c.RhMinPct },
	"rh_mean_pct":        func(c *NeedConditions) **float64 { return &c.RhMeanPct },
	"radiation_mj_m2":    func(c *NeedConditions) **float64 { return &c.RadiationMjM2 },
	"sunshine_h":         func(c *NeedConditions) **float64 { return &c.SunshineH },
	"wind_m_s":           func(c *NeedConditions) **float64 { return &c.WindMS },
	"wind_height_m":      func(c *NeedConditions) **float64 { return &c.WindHeightM },
	"wind_10m_m_s":       func(c *NeedConditions) **float64 { return &c.WindMS },
	"rain_mm":            func(c *NeedConditions) **float64 { return &c.RainMm },
	"et0_mm":             func(c *NeedConditions) **float64 { return &c.ET0Mm },
}

// mast is the height of the wind of the column wind_10m_m_s [m].
const mast = 10.0

// WeatherTable is daily weather by station.
type WeatherTable map[string][]NeedDay

// ReadWeatherTable reads daily weather as CSV: a row of column names, then a row for each station and day; an empty cell
// is not known, and lines that begin with # are notes. Its errors are Faults that name the row, counted from 0 after the
// names, and the column.
func ReadWeatherTable(r io.Reader) (WeatherTable, error) {
	reader := csv.NewReader(io.LimitReader(r, MaxBytes))
	reader.Comment = '#'
	rows, err := reader.ReadAll()
	if err != nil {
		return nil, Faults{{Reason: "not a table of comma-separated values: " + err.Error()}}
	}
	if len(rows) == 0 {
		return nil, Faults{{Reason: "the table is empty"}}
	}
	var faults Faults
	names := rows[0]
	for i, name := range names {
		if slices.Contains(names[:i], name) {
			faults.Add("/"+escapeToken(name), "the column appears twice")
		}
		if _, known := weatherColumns[name]; !known && name != "station" && name != "date" {
			faults.Add("/"+escapeToken(name), "is not a known column")
		}
	}
	for _, name := range []string{"station", "date"} {
		if !slices.Contains(names, name) {
			faults.Add("/"+name, "the column is missing")
		}
	}
	if len(faults) > 0 {
		return nil, faults
	}
	table := WeatherTable{}
	for i, row := range rows[1:] {
		d := weatherRow(names, row, i, &faults)
		table[d.station] = append(table[d.station], d.day)
	}
	return table, faults.Err()
}

func weatherRow(names, row []string, i int, faults *Faults) stationDay {
	var d stationDay
	for j, name := range names {
		switch cell := strings.TrimSpace(row[j]); {
		case name == "station":
			d.station = cell
		case name == "date":
			if err := d.day.Date.UnmarshalJSON([]byte(strconv.Quote(cell))); err != nil {
				faults.Add(Point(i, name), "%s", err)
			}
		case cell != "":
			v, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				faults.Add(Point(i, name), "%q is not a number", cell)
				continue
			}
			*weatherColumns[name](&d.day.NeedConditions) = &v
			if name == "wind_10m_m_s" {
				d.day.WindHeightM = new(mast)
			}
		}
	}
	return d
}

// RunSeason reckons the seasons of a season file on daily weather. Faults are Faults; those of the weather name the station
// and the day of its rows.
func RunSeason(s Season, weather WeatherTable) (SeasonsResult, error) {
	var faults Faults
	var r SeasonsResult
	for i, station := range s.Stations {
		days, known := weather[station.Station]
		if !known {
			faults.Add(Point("stations", i, "station"), "the weather has no station %q", station.Station)
			continue
		}
		climate := NeedWeather{Measured: days}.engine(station.Place.engine())
		if err := climate.Validate(); err != nil {
			for _, f := range EngineFaults(err) {
				f.Pointer = strings.Replace(f.Pointer, "/measured/", "/weather/"+escapeToken(station.Station)+"/", 1)
				faults = append(faults, f)
			}
			continue
		}
		for j, bed := range s.Beds {
			season, err := bed.season(climate, station.Station, Point("beds", j))
			faults = append(faults, EngineFaults(err)...)
			r.Seasons = append(r.Seasons, season)
		}
	}
	if err := faults.Err(); err != nil {
		return SeasonsResult{}, withoutRepeats(faults)
	}
	return r, nil
}

// withoutRepeats drops the faults of a bed that every station finds again.
func withoutRepeats(faults Faults) Faults {
	var out Faults
	for _, f := range faults {
		if !slices.Contains(out, f) {
			out = append(out, f)
		}
	}
	return out
}

func (b SeasonBed) season(climate waterneed.Climate, station, at string) (StationSeasonResult, error) {
	var faults Faults
	u := NeedUnit{ID: b.ID, Soil: b.Soil, Plantings: b.Plantings, Uniformity: b.Uniformity}.engine(at, &faults)
	if len(faults) > 0 {
		return StationSeasonResult{}, faults
	}
	if err := u.Validate(); err != nil {
		return StationSeasonResult{}, enginePointers(at, err)
	}
	p := u.Plantings[0]
	first := p.Opens()
	series, err := climate.Series(first, max(1, p.End().Sub(first)+1))
	if err != nil {
		return StationSeasonResult{}, enginePointers(at, err)
	}
	for _, d := range series.Days {
		if !d.Rain.Known || d.Working == nil && d.Rung != waterneed.RungGiven {
			return StationSeasonResult{}, Faults{{Pointer: at + "/plantings/0/from", Reason: fmt.Sprintf("the weather of %s doesn't cover %s", station, d.Date)}}
		}
	}
	season, err := waterneed.Season(u, series)
	if err != nil {
		return StationSeasonResult{}, enginePointers(at, err)
	}
	wind, rh := series.MidSeason(p)
	return StationSeasonResult{
		Station: station, Bed: b.ID, Crop: p.Crop.Code, GroundM2: float64(p.GroundArea), WetAreaM2: float64(p.GroundArea) * p.WettedFraction(),
		MidWindMS: float64(p.Setting.Wind.Or(wind.Or(unit.Velocity(2)))), MidRHMinPct: float64(p.Setting.RHMin.Or(rh.Or(45))),
		SeasonResult: *seasonResult(season),
	}, nil
}
