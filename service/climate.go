package service

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/file"
)

// The documents of a garden's climate.
const (
	climateNormals  = "normals"
	climateStations = "stations"
)

// ClimateNormals reads the mean days of the twelve months, or none, with their revision. A garden that has none yet is at
// revision 1.
func (s *Service) ClimateNormals(ctx context.Context, p Principal) ([]file.MonthNormals, int64, error) {
	return readClimate[file.MonthNormals](ctx, s, p, climateNormals)
}

// ReplaceClimateNormals writes the twelve months, or none, over their revision match.
func (s *Service) ReplaceClimateNormals(ctx context.Context, p Principal, match int64, months []file.MonthNormals) (int64, error) {
	return replaceClimate(ctx, s, p, climateNormals, match, months, func(_ *repo.Queries, g repo.Garden) error {
		_, err := file.Garden{Garden: settingsFile(g), Normals: months}.Climate()
		return under("/climate_normals", "/months", err)
	})
}

// WeatherStations reads the garden's weather stations in the order in which they are believed, with the revision of the list.
// A garden that has none yet is at revision 1.
func (s *Service) WeatherStations(ctx context.Context, p Principal) ([]file.WeatherStation, int64, error) {
	return readClimate[file.WeatherStation](ctx, s, p, climateStations)
}

// ReplaceWeatherStations writes the list over its revision match. A list under which days that are stored can't be used is
// refused.
func (s *Service) ReplaceWeatherStations(ctx context.Context, p Principal, match int64, stations []file.WeatherStation) (int64, error) {
	return replaceClimate(ctx, s, p, climateStations, match, stations, func(q *repo.Queries, g repo.Garden) error {
		known := file.Garden{Garden: settingsFile(g), Stations: stations}
		if err := known.CheckStations("/stations"); err != nil {
			return err
		}
		today, err := s.today(g)
		if err != nil {
			return err
		}
		days, err := q.WeatherDayList(ctx, p.Garden, today.AddDate(0, 0, -weatherBefore), repo.EndOfTime)
		if err != nil {
			return err
		}
		return daysUnder(known, days)
	})
}

// daysUnder says which stations of a list make stored days useless, each with the first such day.
func daysUnder(g file.Garden, days []repo.WeatherDay) error {
	var faults file.Faults
	for i, station := range g.Stations {
		for _, d := range days {
			if d.Station != station.Station {
				continue
			}
			day := weatherDayFile(d)
			if bad := fieldsOf(g.CheckDay(day, "")); len(bad) > 0 {
				faults.Add(file.Point("stations", i), "under these values the stored day %s can't be used: %s %s", day.Day.Format("2006-01-02"),
					strings.TrimPrefix(bad[0].Pointer, "/"), bad[0].Reason)
				break
			}
		}
	}
	return faults.Err()
}

// under moves the faults of a part of a garden file to where that part stands in a body.
func under(from, to string, err error) error {
	var faults file.Faults
	if !errors.As(err, &faults) {
		return err
	}
	for i, f := range faults {
		if rest, ok := strings.CutPrefix(f.Pointer, from); ok {
			faults[i].Pointer = to + rest
		}
	}
	return faults
}

func readClimate[V any](ctx context.Context, s *Service, p Principal, kind string) ([]V, int64, error) {
	if err := p.may(ReadWeather); err != nil {
		return nil, 0, err
	}
	values, revision, err := climateDocument[V](ctx, s.read(p), p.Garden, kind)
	return values, revision, explain(err, effect{entity: "climate " + kind})
}

// climateDocument reads one of the documents; it is empty at revision 1 before it is first written.
func climateDocument[V any](ctx context.Context, q *repo.Queries, garden uuid.UUID, kind string) ([]V, int64, error) {
	values := []V{}
	row, err := q.ClimateDocumentGet(ctx, garden, kind)
	if errors.Is(err, pgx.ErrNoRows) {
		return values, 1, nil
	}
	if err == nil {
		err = json.Unmarshal(row.Document, &values)
	}
	return values, row.Revision, err
}

func replaceClimate[V any](
	ctx context.Context, s *Service, p Principal, kind string, match int64, values []V, check func(*repo.Queries, repo.Garden) error,
) (int64, error) {
	if err := p.may(Administer); err != nil {
		return 0, err
	}
	document, err := json.Marshal(append([]V{}, values...))
	if err != nil {
		return 0, err
	}
	e := effect{action: "replace", entity: "climate " + kind, id: p.Garden, planning: true}
	row, err := replace(ctx, s, p, e, match, func(q *repo.Queries) (repo.ClimateDocument, error) {
		g, err := q.GardenByID(ctx, p.Garden)
		if err != nil {
			return repo.ClimateDocument{}, err
		}
		err = check(q, g)
		if fields := fieldsOf(err); len(fields) > 0 {
			return repo.ClimateDocument{}, invalid(fields...)
		}
		if err != nil {
			return repo.ClimateDocument{}, err
		}
		return q.ClimateDocumentPut(ctx, p.Garden, kind, document, match)
	}, func(q *repo.Queries) (int64, error) {
		_, revision, err := climateDocument[V](ctx, q, p.Garden, kind)
		return revision, err
	})
	return row.Revision, err
}

// climate reads what the garden knows of its climate, and its own crops.
func (s *snapping) climate(ctx context.Context, out *file.Garden) error {
	normals, _, err := climateDocument[file.MonthNormals](ctx, s.q, s.garden, climateNormals)
	if err != nil {
		return fmt.Errorf("climate normals: %w", err)
	}
	stations, _, err := climateDocument[file.WeatherStation](ctx, s.q, s.garden, climateStations)
	if err != nil {
		return fmt.Errorf("weather stations: %w", err)
	}
	out.Normals, out.Stations = normals, stations
	out.Crops, err = ownCrops(ctx, s.q, s.garden)
	return err
}
