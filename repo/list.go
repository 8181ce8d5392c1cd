package repo

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// The lists with optional filters. Their columns come from the fixed lists below; values only ever travel as arguments.
const (
	layoutColumns = `garden_id, id, plot_id, water_source_id, name, status, own_valve, measured_du, latest_number,
		accepted_number, revision, created_at, updated_at`
	plantingColumns = `garden_id, id, plot_id, crop, crop_constants, planted_on, removed_on, area_m2, wetted_fraction, mulch,
		mulch_cover, plant_spacing_m, row_spacing_m, layout_id, outlets, from_m, to_m, both_sides, note, revision, created_at,
		updated_at, establishment, supported, exposure_factor, dual_coefficient, opening, opening_depletion_mm, ground_share, companions`
	digColumns         = `garden_id, id, plot_id, planting_id, day, finding, depletion_mm, note, reporter, revision, created_at`
	rainReadingColumns = `garden_id, id, plot_id, day, rain_mm, note, reporter, revision, created_at`
	storedPipeColumns  = `garden_id, id, label, owner_id, piece, plugged, condition, note, reserved_layout_id, from_layout_id,
		revision, created_at, updated_at`
	weatherDayColumns = `garden_id, station, day, kind, tmax_c, tmin_c, dew_point_c, rh_max_pct, rh_min_pct, rh_mean_pct,
		wind_m_s, wind_height_m, radiation_mj_m2, sunshine_h, rain_mm, updated_at, vapor_pressure_kpa, dry_bulb_c, wet_bulb_c,
		psychrometer, et0_mm`
	scheduleColumns = `garden_id, id, rotation_id, water_source_id, zone, kind, starts_at, ends_at, flow_l_per_min, status,
		sequence, opener_id, locked, follows, revision, created_at, updated_at,
		(SELECT s.name FROM water_source s WHERE s.garden_id = turn.garden_id AND s.id = turn.water_source_id) AS water_source_name,
		(SELECT o.name FROM member o WHERE o.garden_id = turn.garden_id AND o.id = turn.opener_id) AS opener_name`
)

// where gathers conditions with their arguments. In a condition, ? stands for the argument's number.
type where struct {
	conditions []string
	args       []any
}

func (w *where) arg(v any) string {
	w.args = append(w.args, v)
	return fmt.Sprintf("$%d", len(w.args))
}

func (w *where) add(condition string, values ...any) {
	for _, v := range values {
		condition = strings.Replace(condition, "?", w.arg(v), 1)
	}
	w.conditions = append(w.conditions, condition)
}

func (w *where) String() string { return strings.Join(w.conditions, " AND ") }

// given adds a condition when its value is there.
func given[V any](w *where, condition string, value *V) {
	if value != nil {
		w.add(condition, *value)
	}
}

func list[R any](ctx context.Context, q *Queries, sql string, args []any) ([]R, error) {
	rows, err := q.db.Query(ctx, sql, args...)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowToStructByName[R])
}

// LayoutFilter chooses layouts; nil asks for all.
type LayoutFilter struct {
	PlotID *uuid.UUID
	Status *string
}

// LayoutListPage lists layouts by name.
func (q *Queries) LayoutListPage(ctx context.Context, garden uuid.UUID, f LayoutFilter, afterKey string, afterID uuid.UUID, limit int32) ([]Layout, error) {
	var w where
	w.add("garden_id = ?", garden)
	w.add("(name, id) > (?, ?)", afterKey, afterID)
	given(&w, "plot_id = ?", f.PlotID)
	given(&w, "status = ?", f.Status)
	return list[Layout](ctx, q, `SELECT `+layoutColumns+` FROM layout WHERE `+w.String()+`
		ORDER BY name, id LIMIT `+w.arg(limit), w.args)
}

// PlantingListPage lists the plantings of one plot, or of all when it is nil, in the order in which they were entered.
func (q *Queries) PlantingListPage(ctx context.Context, garden uuid.UUID, plot *uuid.UUID, afterKey time.Time, afterID uuid.UUID, limit int32) ([]Planting, error) {
	var w where
	w.add("garden_id = ?", garden)
	w.add("(created_at, id) > (?, ?)", afterKey, afterID)
	given(&w, "plot_id = ?", plot)
	return list[Planting](ctx, q, `SELECT `+plantingColumns+` FROM planting WHERE `+w.String()+`
		ORDER BY created_at, id LIMIT `+w.arg(limit), w.args)
}

// DigListPage lists the digs of one plot, or of all when it is nil, in the order in which they were entered.
func (q *Queries) DigListPage(ctx context.Context, garden uuid.UUID, plot *uuid.UUID, afterKey time.Time, afterID uuid.UUID, limit int32) ([]Dig, error) {
	var w where
	w.add("garden_id = ?", garden)
	w.add("(created_at, id) > (?, ?)", afterKey, afterID)
	given(&w, "plot_id = ?", plot)
	return list[Dig](ctx, q, `SELECT `+digColumns+` FROM dig WHERE `+w.String()+`
		ORDER BY created_at, id LIMIT `+w.arg(limit), w.args)
}

// RainReadingListPage lists the rain readings of one plot, or of all when it is nil, in the order in which they were entered.
func (q *Queries) RainReadingListPage(ctx context.Context, garden uuid.UUID, plot *uuid.UUID, afterKey time.Time, afterID uuid.UUID, limit int32) ([]RainReading, error) {
	var w where
	w.add("garden_id = ?", garden)
	w.add("(created_at, id) > (?, ?)", afterKey, afterID)
	given(&w, "plot_id = ?", plot)
	return list[RainReading](ctx, q, `SELECT `+rainReadingColumns+` FROM rain_reading WHERE `+w.String()+`
		ORDER BY created_at, id LIMIT `+w.arg(limit), w.args)
}

// StoredPipeFilter chooses stored pipes; nil asks for all.
type StoredPipeFilter struct {
	OwnerID, ReservedLayoutID *uuid.UUID
}

// StoredPipeListPage lists stored pipes by what is written on them.
func (q *Queries) StoredPipeListPage(ctx context.Context, garden uuid.UUID, f StoredPipeFilter, afterKey string, afterID uuid.UUID, limit int32) ([]StoredPipe, error) {
	var w where
	w.add("garden_id = ?", garden)
	w.add("(label, id) > (?, ?)", afterKey, afterID)
	given(&w, "owner_id = ?", f.OwnerID)
	given(&w, "reserved_layout_id = ?", f.ReservedLayoutID)
	return list[StoredPipe](ctx, q, `SELECT `+storedPipeColumns+` FROM stored_pipe WHERE `+w.String()+`
		ORDER BY label, id LIMIT `+w.arg(limit), w.args)
}

// WeatherFilter chooses days of weather, First and Last included; nil asks for all.
type WeatherFilter struct {
	First, Last *time.Time
	Station     *string
}

// WeatherKey names the last day of a page; the zero key comes before all.
type WeatherKey struct {
	Day           time.Time
	Station, Kind string
}

// WeatherDayListPage lists days of weather by day, station and kind.
func (q *Queries) WeatherDayListPage(ctx context.Context, garden uuid.UUID, f WeatherFilter, after WeatherKey, limit int32) ([]WeatherDay, error) {
	var w where
	w.add("garden_id = ?", garden)
	w.add("(day, station, kind) > (?::date, ?, ?)", after.Day, after.Station, after.Kind)
	given(&w, "day >= ?", f.First)
	given(&w, "day <= ?", f.Last)
	given(&w, "station = ?", f.Station)
	return list[WeatherDay](ctx, q, `SELECT `+weatherDayColumns+` FROM weather_day WHERE `+w.String()+`
		ORDER BY day, station, kind LIMIT `+w.arg(limit), w.args)
}

// TurnFilter chooses turns; what is nil or empty asks for all. A turn is in a stretch of time when it reaches into it.
type TurnFilter struct {
	ID            *uuid.UUID
	From, To      *time.Time
	WaterSourceID *uuid.UUID
	PlotID        *uuid.UUID // one that the turn serves
	RotationID    *uuid.UUID
	OpenerID      *uuid.UUID
	Statuses      []string
	AfterKey      time.Time // start of the last turn of the page before
	AfterID       uuid.UUID
	Limit         int32 // 0 asks for all
}

// ScheduledTurn is a turn with what a reader wants to see beside it.
type ScheduledTurn struct {
	Turn
	WaterSourceName string
	OpenerName      *string
	Members         []ScheduledMember
}

// ScheduledMember is a plot that a turn serves, through a layout or by hand.
type ScheduledMember struct {
	TurnMember
	PlotLabel  string
	LayoutName *string
}

// TurnSchedule lists turns by their start, each with its members by plot label, in one statement: the pull of a schedule
// is one round trip.
func (q *Queries) TurnSchedule(ctx context.Context, garden uuid.UUID, f TurnFilter) ([]ScheduledTurn, error) {
	chosen, args := f.sql(garden)
	// Names and members are looked up per row, by key: the planner knows too little of a policy's garden to choose between
	// joins, and would read all members that the garden ever had for every turn. OFFSET 0 keeps it from trying.
	rows, err := q.db.Query(ctx, `
		SELECT t.garden_id, t.id, t.rotation_id, t.water_source_id, t.zone, t.kind, t.starts_at, t.ends_at, t.flow_l_per_min,
			t.status, t.sequence, t.opener_id, t.locked, t.follows, t.revision, t.created_at, t.updated_at, t.water_source_name, t.opener_name,
			m.plot_id, m.layout_id, m.volume_l, m.closes_at, m.label, m.layout_name
		FROM (`+chosen+`) t
		LEFT JOIN LATERAL (
			SELECT m.plot_id, m.layout_id, m.volume_l, m.closes_at,
				(SELECT p.label FROM plot p WHERE p.garden_id = m.garden_id AND p.id = m.plot_id) AS label,
				(SELECT l.name FROM layout l WHERE l.garden_id = m.garden_id AND l.id = m.layout_id) AS layout_name
			FROM turn_member m WHERE m.garden_id = t.garden_id AND m.turn_id = t.id OFFSET 0) m ON true
		ORDER BY t.starts_at, t.id, m.label, m.layout_name NULLS FIRST`, args...)
	if err != nil {
		return nil, err
	}
	return collectSchedule(rows)
}

func (f TurnFilter) sql(garden uuid.UUID) (string, []any) {
	var w where
	w.add("turn.garden_id = ?", garden)
	if !f.AfterKey.IsZero() {
		w.add("(starts_at, id) > (?, ?)", f.AfterKey, f.AfterID)
	}
	given(&w, "id = ?", f.ID)
	given(&w, "ends_at > ?", f.From)
	given(&w, "starts_at < ?", f.To)
	given(&w, "water_source_id = ?", f.WaterSourceID)
	given(&w, "rotation_id = ?", f.RotationID)
	given(&w, "opener_id = ?", f.OpenerID)
	given(&w, `EXISTS (SELECT FROM turn_member m
		WHERE m.garden_id = turn.garden_id AND m.turn_id = turn.id AND m.plot_id = ?)`, f.PlotID)
	if len(f.Statuses) > 0 {
		w.add("status = ANY (?)", f.Statuses)
	}
	sql := `SELECT ` + scheduleColumns + ` FROM turn WHERE ` + w.String() + ` ORDER BY starts_at, id`
	if f.Limit > 0 {
		sql += ` LIMIT ` + w.arg(f.Limit)
	}
	return sql, w.args
}

// collectSchedule folds the rows of one turn, which follow each other, into one.
func collectSchedule(rows pgx.Rows) ([]ScheduledTurn, error) {
	defer rows.Close()
	turns := []ScheduledTurn{}
	for rows.Next() {
		var t ScheduledTurn
		var plot, layout *uuid.UUID
		var volume *float64
		var closes *time.Time
		var label, layoutName *string
		err := rows.Scan(&t.GardenID, &t.ID, &t.RotationID, &t.WaterSourceID, &t.Zone, &t.Kind, &t.StartsAt, &t.EndsAt,
			&t.FlowLPerMin, &t.Status, &t.Sequence, &t.OpenerID, &t.Locked, &t.Follows, &t.Revision, &t.CreatedAt, &t.UpdatedAt,
			&t.WaterSourceName, &t.OpenerName, &plot, &layout, &volume, &closes, &label, &layoutName)
		if err != nil {
			return nil, err
		}
		if n := len(turns); n == 0 || turns[n-1].ID != t.ID {
			turns = append(turns, t)
		}
		if plot == nil {
			continue // a turn without members is one row with empty columns
		}
		last := &turns[len(turns)-1]
		last.Members = append(last.Members, ScheduledMember{
			TurnMember: TurnMember{GardenID: t.GardenID, TurnID: t.ID, PlotID: *plot, LayoutID: layout, VolumeL: *volume, ClosesAt: closes},
			PlotLabel:  *label, LayoutName: layoutName,
		})
	}
	return turns, rows.Err()
}
