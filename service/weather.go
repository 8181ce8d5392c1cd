package service

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/file"
)

// WeatherDays lists days of weather by day, station and kind.
func (s *Service) WeatherDays(ctx context.Context, p Principal, f repo.WeatherFilter, at Page) ([]repo.WeatherDay, *Cursor, error) {
	if err := p.may(ReadWeather); err != nil {
		return nil, nil, err
	}
	var after repo.WeatherKey
	if at.AfterKey != "" {
		day, rest, _ := strings.Cut(at.AfterKey, " ")
		kind, station, ok := strings.Cut(rest, " ")
		t, err := time.Parse(time.DateOnly, day)
		if err != nil || !ok {
			return nil, nil, invalid(Field{"#query/cursor", "is not a cursor of this list"})
		}
		after = repo.WeatherKey{Day: t, Station: station, Kind: kind}
	}
	rows, err := s.read(p).WeatherDayListPage(ctx, p.Garden, f, after, int32(at.Limit+1))
	return page(rows, err, at, "weather day", func(r repo.WeatherDay) Cursor {
		return Cursor{Key: fmt.Sprintf("%s %s %s", r.Day.Format(time.DateOnly), r.Kind, r.Station)}
	})
}

// StoreWeather writes days of weather: a day of a station that is there is corrected. All days are stored or none.
func (s *Service) StoreWeather(ctx context.Context, p Principal, days []repo.WeatherDay) error {
	if err := p.may(WriteWeather); err != nil {
		return err
	}
	garden, err := s.read(p).GardenByID(ctx, p.Garden)
	if err != nil {
		return explain(err, effect{entity: "garden"})
	}
	known := file.Garden{Garden: settingsFile(garden)}
	if known.Stations, _, err = climateDocument[file.WeatherStation](ctx, s.read(p), p.Garden, climateStations); err != nil {
		return err
	}
	for i := range days {
		days[i].GardenID = p.Garden
	}
	faults := twiceGiven(days)
	for i, d := range days {
		faults = append(faults, weatherFaults(known, i, d)...)
	}
	if len(faults) > 0 {
		return invalid(faults...)
	}
	e := effect{action: "store", entity: "weather", id: uuid.Nil}
	err = repo.InTenant(ctx, s.pool, p.Garden, func(tx pgx.Tx) error {
		q := repo.New(tx)
		changed, err := q.WeatherDayPut(ctx, days)
		if err != nil || changed == 0 { // what is known already changes no plan
			return err
		}
		e.planning = true
		return s.followUp(ctx, q, p, e)
	})
	if refused := new(repo.ConstraintError); errors.As(err, &refused) {
		err = s.blameDay(ctx, p, days, err)
	}
	return explain(err, e)
}

// blameDay says which of the days the database refused: a statement that writes many rows tells the constraint and not the
// row, so they are tried one by one. Nothing of that is kept.
func (s *Service) blameDay(ctx context.Context, p Principal, days []repo.WeatherDay, refused error) error {
	at := 0
	err := repo.InTenant(ctx, s.pool, p.Garden, func(tx pgx.Tx) error {
		q := repo.New(tx)
		for at = range days {
			if _, err := q.WeatherDayPut(ctx, days[at:at+1]); err != nil {
				return err
			}
		}
		return refused
	})
	if errors.Is(err, refused) { // each day alone is taken
		return refused
	}
	var ours *Error
	if errors.As(explain(err, effect{entity: "weather"}), &ours) {
		for n, f := range ours.Fields {
			ours.Fields[n].Pointer = file.Point("days", at) + f.Pointer
		}
		return ours
	}
	return err
}

// twiceGiven finds the days that one push gives twice: which of the two holds is not for us to guess.
func twiceGiven(days []repo.WeatherDay) []Field {
	type key struct {
		station, kind string
		day           time.Time
	}
	first := map[key]int{}
	var faults []Field
	for i, d := range days {
		k := key{d.Station, d.Kind, d.Day}
		if n, given := first[k]; given {
			faults = append(faults, Field{file.Point("days", i, "day"), fmt.Sprintf(
				"%s is given twice for the station %q as %s, first at %s: send it once", d.Day.Format(time.DateOnly), d.Station, d.Kind, file.Point("days", n),
			)})
			continue
		}
		first[k] = i
	}
	return faults
}

// weatherFaults holds a day against what the engine can use at its station, such as a wind that looks like another unit.
func weatherFaults(g file.Garden, i int, d repo.WeatherDay) []Field {
	faults := fieldsOf(g.CheckDay(weatherDayFile(d), file.Point("days", i)))
	if d.Kind == "forecast" && d.RainMm != nil {
		faults = append(faults, Field{file.Point("days", i, "rain_mm"), constraintFields["weather_day_forecast_rain"].Reason})
	}
	return faults
}

func weatherDayFile(d repo.WeatherDay) file.WeatherDay {
	out := file.WeatherDay{Station: d.Station, Day: file.Day{Time: d.Day}, Kind: d.Kind, NeedConditions: file.NeedConditions{
		TmaxC: d.TmaxC, TminC: d.TminC, VaporPressureKpa: d.VaporPressureKpa, DewPointC: d.DewPointC, DryBulbC: d.DryBulbC, WetBulbC: d.WetBulbC,
		RhMaxPct: d.RhMaxPct, RhMinPct: d.RhMinPct, RhMeanPct: d.RhMeanPct, WindMS: d.WindMS, WindHeightM: d.WindHeightM,
		RadiationMjM2: d.RadiationMjM2, SunshineH: d.SunshineH, RainMm: d.RainMm, ET0Mm: d.Et0Mm,
	}}
	if d.Psychrometer != nil {
		out.Psychrometer = *d.Psychrometer
	}
	return out
}
