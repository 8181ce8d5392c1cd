package repo

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"
)

// column gathers one field of many rows, as unnest takes it. COPY would be the usual way to write many rows, but
// Postgres refuses it on tables with row security.
func column[R, V any](rows []R, of func(R) V) []V {
	out := make([]V, len(rows))
	for i, r := range rows {
		out[i] = of(r)
	}
	return out
}

// TurnPut writes turns whole, in one statement: new ones are inserted; one whose id exists is replaced, its revision
// rises, and its sequence becomes the one given. Created and updated times are the database's.
func (q *Queries) TurnPut(ctx context.Context, turns []Turn) error {
	_, err := q.db.Exec(ctx, `
		INSERT INTO turn (garden_id, id, rotation_id, water_source_id, zone, kind, starts_at, ends_at, flow_l_per_min,
			status, sequence, opener_id, locked, follows, water_off_id, revision)
		SELECT *, 1 FROM unnest($1::uuid[], $2::uuid[], $3::uuid[], $4::uuid[], $5::text[], $6::text[], $7::timestamptz[],
			$8::timestamptz[], $9::double precision[], $10::text[], $11::integer[], $12::uuid[], $13::boolean[], $14::uuid[], $15::uuid[])
		ON CONFLICT (garden_id, id) DO UPDATE SET
			rotation_id = excluded.rotation_id, water_source_id = excluded.water_source_id, zone = excluded.zone,
			kind = excluded.kind, starts_at = excluded.starts_at, ends_at = excluded.ends_at,
			flow_l_per_min = excluded.flow_l_per_min, status = excluded.status, sequence = excluded.sequence,
			opener_id = excluded.opener_id, locked = excluded.locked, follows = excluded.follows,
			water_off_id = excluded.water_off_id, revision = turn.revision + 1, updated_at = now()`,
		column(turns, func(t Turn) uuid.UUID { return t.GardenID }),
		column(turns, func(t Turn) uuid.UUID { return t.ID }),
		column(turns, func(t Turn) uuid.UUID { return t.RotationID }),
		column(turns, func(t Turn) uuid.UUID { return t.WaterSourceID }),
		column(turns, func(t Turn) string { return t.Zone }),
		column(turns, func(t Turn) string { return t.Kind }),
		column(turns, func(t Turn) time.Time { return t.StartsAt }),
		column(turns, func(t Turn) time.Time { return t.EndsAt }),
		column(turns, func(t Turn) float64 { return t.FlowLPerMin }),
		column(turns, func(t Turn) string { return t.Status }),
		column(turns, func(t Turn) int32 { return t.Sequence }),
		column(turns, func(t Turn) *uuid.UUID { return t.OpenerID }),
		column(turns, func(t Turn) bool { return t.Locked }),
		column(turns, func(t Turn) *uuid.UUID { return t.Follows }),
		column(turns, func(t Turn) *uuid.UUID { return t.WaterOffID }),
	)
	if err != nil {
		return fmt.Errorf("put %d turns: %w", len(turns), err)
	}
	return nil
}

// TurnMemberInsert writes the members of turns in one statement.
func (q *Queries) TurnMemberInsert(ctx context.Context, members []TurnMember) error {
	_, err := q.db.Exec(ctx, `
		INSERT INTO turn_member (garden_id, turn_id, plot_id, layout_id, volume_l, closes_at)
		SELECT * FROM unnest($1::uuid[], $2::uuid[], $3::uuid[], $4::uuid[], $5::double precision[], $6::timestamptz[])`,
		column(members, func(m TurnMember) uuid.UUID { return m.GardenID }),
		column(members, func(m TurnMember) uuid.UUID { return m.TurnID }),
		column(members, func(m TurnMember) uuid.UUID { return m.PlotID }),
		column(members, func(m TurnMember) *uuid.UUID { return m.LayoutID }),
		column(members, func(m TurnMember) float64 { return m.VolumeL }),
		column(members, func(m TurnMember) *time.Time { return m.ClosesAt }),
	)
	if err != nil {
		return fmt.Errorf("insert %d members of turns: %w", len(members), err)
	}
	return nil
}

// WeatherDayPut writes days of weather in one statement: a day that is there (same station, day and kind) is replaced.
// It returns how many rows are new or differ from what was stored. The same day twice is refused as a breach of
// weather_day_pkey.
func (q *Queries) WeatherDayPut(ctx context.Context, days []WeatherDay) (int64, error) {
	days = slices.Clone(days)
	slices.SortFunc(days, compareWeatherDays) // two writers take their row locks in the same order
	for i := 1; i < len(days); i++ {
		if compareWeatherDays(days[i-1], days[i]) == 0 {
			return 0, &ConstraintError{
				Kind: Unique, Table: "weather_day", Constraint: "weather_day_pkey",
				cause: fmt.Errorf("%s %s of station %q is given twice", days[i].Kind, days[i].Day.Format(time.DateOnly), days[i].Station),
			}
		}
	}
	value := func(of func(WeatherDay) *float64) []*float64 { return column(days, of) }
	tag, err := q.db.Exec(ctx, `
		INSERT INTO weather_day AS w (garden_id, station, day, kind, tmax_c, tmin_c, dew_point_c, rh_max_pct, rh_min_pct,
			rh_mean_pct, wind_m_s, wind_height_m, radiation_mj_m2, sunshine_h, rain_mm, vapor_pressure_kpa, dry_bulb_c, wet_bulb_c,
			et0_mm, psychrometer)
		SELECT * FROM unnest($1::uuid[], $2::text[], $3::date[], $4::text[], $5::double precision[], $6::double precision[],
			$7::double precision[], $8::double precision[], $9::double precision[], $10::double precision[],
			$11::double precision[], $12::double precision[], $13::double precision[], $14::double precision[],
			$15::double precision[], $16::double precision[], $17::double precision[], $18::double precision[],
			$19::double precision[], $20::text[])
		ON CONFLICT (garden_id, station, day, kind) DO UPDATE SET
			tmax_c = excluded.tmax_c, tmin_c = excluded.tmin_c, dew_point_c = excluded.dew_point_c,
			rh_max_pct = excluded.rh_max_pct, rh_min_pct = excluded.rh_min_pct, rh_mean_pct = excluded.rh_mean_pct,
			wind_m_s = excluded.wind_m_s, wind_height_m = excluded.wind_height_m,
			radiation_mj_m2 = excluded.radiation_mj_m2, sunshine_h = excluded.sunshine_h, rain_mm = excluded.rain_mm,
			vapor_pressure_kpa = excluded.vapor_pressure_kpa, dry_bulb_c = excluded.dry_bulb_c, wet_bulb_c = excluded.wet_bulb_c,
			et0_mm = excluded.et0_mm, psychrometer = excluded.psychrometer, updated_at = now()
		WHERE (w.tmax_c, w.tmin_c, w.dew_point_c, w.rh_max_pct, w.rh_min_pct, w.rh_mean_pct, w.wind_m_s, w.wind_height_m,
			w.radiation_mj_m2, w.sunshine_h, w.rain_mm, w.vapor_pressure_kpa, w.dry_bulb_c, w.wet_bulb_c, w.et0_mm, w.psychrometer) IS DISTINCT FROM
			(excluded.tmax_c, excluded.tmin_c, excluded.dew_point_c, excluded.rh_max_pct, excluded.rh_min_pct,
			excluded.rh_mean_pct, excluded.wind_m_s, excluded.wind_height_m, excluded.radiation_mj_m2,
			excluded.sunshine_h, excluded.rain_mm, excluded.vapor_pressure_kpa, excluded.dry_bulb_c, excluded.wet_bulb_c,
			excluded.et0_mm, excluded.psychrometer)`,
		column(days, func(d WeatherDay) uuid.UUID { return d.GardenID }),
		column(days, func(d WeatherDay) string { return d.Station }),
		column(days, func(d WeatherDay) time.Time { return d.Day }),
		column(days, func(d WeatherDay) string { return d.Kind }),
		value(func(d WeatherDay) *float64 { return d.TmaxC }),
		value(func(d WeatherDay) *float64 { return d.TminC }),
		value(func(d WeatherDay) *float64 { return d.DewPointC }),
		value(func(d WeatherDay) *float64 { return d.RhMaxPct }),
		value(func(d WeatherDay) *float64 { return d.RhMinPct }),
		value(func(d WeatherDay) *float64 { return d.RhMeanPct }),
		value(func(d WeatherDay) *float64 { return d.WindMS }),
		value(func(d WeatherDay) *float64 { return d.WindHeightM }),
		value(func(d WeatherDay) *float64 { return d.RadiationMjM2 }),
		value(func(d WeatherDay) *float64 { return d.SunshineH }),
		value(func(d WeatherDay) *float64 { return d.RainMm }),
		value(func(d WeatherDay) *float64 { return d.VaporPressureKpa }),
		value(func(d WeatherDay) *float64 { return d.DryBulbC }),
		value(func(d WeatherDay) *float64 { return d.WetBulbC }),
		value(func(d WeatherDay) *float64 { return d.Et0Mm }),
		column(days, func(d WeatherDay) *string { return d.Psychrometer }),
	)
	if err != nil {
		return 0, fmt.Errorf("put %d days of weather: %w", len(days), err)
	}
	return tag.RowsAffected(), nil
}

func compareWeatherDays(a, b WeatherDay) int {
	return cmp.Or(
		cmp.Compare(a.GardenID.String(), b.GardenID.String()), cmp.Compare(a.Station, b.Station),
		cmp.Compare(a.Day.Format(time.DateOnly), b.Day.Format(time.DateOnly)), cmp.Compare(a.Kind, b.Kind),
	)
}
