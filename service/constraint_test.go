package service

import (
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/repo/repotest"
)

// writtenByPeople are the tables whose rows come from a body.
var writtenByPeople = []string{
	"garden", "member", "token", "service_line", "water_source", "flow_test", "water_hours", "closure", "plot", "plot_holder", "layout",
	"layout_revision", "planting", "stored_pipe", "weather_day", "turn_report", "rotation", "water_off", "dig", "webhook",
	"own_crop", "rain_reading",
}

// ownDoing are columns that the service fills in itself: a row that breaks their rules is a fault of ours.
var ownDoing = []string{
	"id", "revision", "number", "status", "latest_number", "accepted_number", "secret_sha256", "input_sha256",
	"starts_at", "ends_at", "stage", "level", "trouble", "on_at", "off_at", "last_outcome",
}

// Whoever breaks a rule of the schema is told the field of the body, by its own name.
func TestExplain_namesAFieldForEveryConstraint(t *testing.T) {
	t.Parallel()
	tx := repotest.Tx(t)
	columns := columnsOf(t, tx)
	all := repotest.Constraints(t, tx)
	known := map[string]bool{"layout_revision_keep_accepted": true} // a trigger's, in no catalogue
	for _, c := range all {
		known[c.Name] = true
		if !slices.Contains(writtenByPeople, c.Table) || len(c.Columns) == 0 || strings.HasSuffix(c.Name, "_pkey") || ours(c.Columns) ||
			c.Name == "layout_revision_layout_fkey" { // written together with its layout
			continue
		}
		err := explain(&repo.ConstraintError{Kind: c.Kind, Table: c.Table, Constraint: c.Name}, effect{action: "create", entity: c.Table})
		want := Invalid
		if c.Kind == repo.Unique || c.Kind == repo.Exclusion {
			want = Conflict
		}
		refused := refusal(t, err, want)
		for _, f := range refused.Fields {
			field := strings.TrimPrefix(f.Pointer, "/")
			if f.Pointer != "" && c.Kind != repo.Exclusion && !slices.Contains(c.Columns, field) { // an exclusion reads ranges of columns
				t.Errorf("%s: names %s, which is none of its columns %v", c.Name, f.Pointer, c.Columns)
			}
			if f.Pointer != "" && !slices.Contains(columns[c.Table], field) {
				t.Errorf("%s: the record has no field %s", c.Name, field)
			}
			if f.Reason == "" {
				t.Errorf("%s: no reason", c.Name)
			}
		}
		if len(c.Columns) > 1 && constraintFields[c.Name] == (Field{}) {
			t.Errorf("%s reads %v and has no sentence", c.Name, c.Columns)
		}
	}
	for name := range constraintColumns {
		if !known[name] {
			t.Errorf("%s has a column and is no rule of the schema", name)
		}
	}
	for name := range constraintFields {
		if !known[name] {
			t.Errorf("%s has a sentence and is no rule of the schema", name)
		}
	}
}

func ours(columns []string) bool {
	return !slices.ContainsFunc(columns, func(c string) bool { return !slices.Contains(ownDoing, c) })
}

func columnsOf(t *testing.T, tx pgx.Tx) map[string][]string {
	t.Helper()
	rows, err := tx.Query(t.Context(), `SELECT table_name::text, column_name::text FROM information_schema.columns WHERE table_schema = 'public'`)
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]string{}
	var table, column string
	if _, err := pgx.ForEachRow(rows, []any{&table, &column}, func() error {
		out[table] = append(out[table], column)
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return out
}

// Deleting what others refer to names who refers.
func TestExplain_foreignKeysOfADeletion(t *testing.T) {
	t.Parallel()
	for _, c := range repotest.Constraints(t, repotest.Tx(t)) {
		if c.Kind != repo.ForeignKey {
			continue
		}
		err := explain(&repo.ConstraintError{Kind: c.Kind, Table: c.Table, Constraint: c.Name}, effect{action: "delete", entity: c.Refers})
		refused := refusal(t, err, Conflict)
		if !strings.Contains(refused.Detail, strings.ReplaceAll(c.Table, "_", " ")) || len(refused.Fields) > 0 {
			t.Errorf("%s: %v", c.Name, refused)
		}
	}
}

func TestExplain_unknownErrorsStayFaultsOfOurs(t *testing.T) {
	t.Parallel()
	if got := explain(pgx.ErrTxClosed, effect{}); got != pgx.ErrTxClosed { //nolint:errorlint // the very error
		t.Errorf("got %v", got)
	}
	for err, want := range map[error]Kind{
		pgx.ErrNoRows: NotFound, repo.ErrNotFound: NotFound, repo.ErrConflict: Conflict, repo.ErrOverflow: Invalid, repo.ErrText: Invalid,
	} {
		wantKind(t, explain(err, effect{entity: "plot"}), want)
	}
	if got := explain(nil, effect{}); got != nil {
		t.Errorf("no error became %v", got)
	}
}

// The rows that the schema refuses reach the caller with the field named, not as a fault of ours.
func TestCreate_schemaRulesReachTheCaller(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx, p := t.Context(), w.coordinator
	plot := func(edit func(*repo.PlotValues)) error {
		v := plotValues("rules")
		edit(&v)
		_, err := w.CreatePlot(ctx, p, v)
		return err
	}
	source := func(edit func(*repo.WaterSourceValues)) error {
		v := repo.WaterSourceValues{Name: "rules", Kind: "spigot", HoseConnections: 1}
		edit(&v)
		_, err := w.CreateWaterSource(ctx, p, v)
		return err
	}
	hours := func(start, end string, weekdays ...int16) error {
		_, err := w.CreateWaterHours(ctx, p, repo.WaterHoursValues{Weekdays: weekdays, StartLocal: start, EndLocal: end})
		return err
	}
	for name, c := range map[string]struct {
		err   error
		field string
	}{
		"area":                 {plot(func(v *repo.PlotValues) { v.AreaM2 = 0 }), "/area_m2"},
		"label":                {plot(func(v *repo.PlotValues) { v.Label = "" }), "/label"},
		"soil":                 {plot(func(v *repo.PlotValues) { v.SoilTexture = new("peat") }), "/soil_texture"},
		"wilting over field":   {plot(func(v *repo.PlotValues) { v.FieldCapacity, v.WiltingPoint = new(0.2), new(0.3) }), "/wilting_point"},
		"hose without flow":    {plot(func(v *repo.PlotValues) { v.Method = "hose" }), "/hose_flow_l_per_min"},
		"can without volume":   {plot(func(v *repo.PlotValues) { v.Method, v.WaterSourceID = "can", &w.source }), "/can_volume_l"},
		"minutes of a can":     {plot(func(v *repo.PlotValues) { v.CanMinutesEach = new(0.0) }), "/can_minutes_each"},
		"most minutes a day":   {plot(func(v *repo.PlotValues) { v.MaxDayMin = new(0.0) }), "/max_day_min"},
		"tank without level":   {source(func(v *repo.WaterSourceValues) { v.Kind = "tank" }), "/tank_volume_l"},
		"hose without bore":    {source(func(v *repo.WaterSourceValues) { v.HoseLengthM = new(10.0) }), "/hose_inside_diameter_mm"},
		"no hose connection":   {source(func(v *repo.WaterSourceValues) { v.HoseConnections = 0 }), "/hose_connections"},
		"line of elsewhere":    {source(func(v *repo.WaterSourceValues) { v.ServiceLineID = new(w.newID()) }), "/service_line_id"},
		"hours over midnight":  {hours("20:00", "06:00", 1), "/end_local"},
		"an hour of 25":        {hours("25:00", "26:00", 1), "/end_local"},
		"an eighth weekday":    {hours("06:00", "08:00", 8), "/weekdays"},
		"no weekday":           {hours("06:00", "08:00"), "/weekdays"},
		"text with a NUL":      {plot(func(v *repo.PlotValues) { v.Label = "A\x00" }), ""},
		"label used":           {plot(func(v *repo.PlotValues) { v.Label = w.plotLabel(t) }), "conflict /label"},
		"more than a smallint": {source(func(v *repo.WaterSourceValues) { v.ChangeoverMin = 121 }), "/changeover_min"},
	} {
		t.Run(name, func(t *testing.T) {
			want, pointer := Invalid, c.field
			if rest, conflict := strings.CutPrefix(c.field, "conflict "); conflict {
				want, pointer = Conflict, rest
			}
			refused := refusal(t, c.err, want)
			var pointers []string
			for _, f := range refused.Fields {
				pointers = append(pointers, f.Pointer)
			}
			var wanted []string
			if pointer != "" {
				wanted = []string{pointer}
			}
			if !reflect.DeepEqual(pointers, wanted) {
				t.Errorf("names %q, want %q (%v)", pointers, wanted, refused)
			}
		})
	}
}

func (w *world) plotLabel(t *testing.T) string {
	t.Helper()
	p, err := w.Plot(t.Context(), w.coordinator, w.plot)
	if err != nil {
		t.Fatal(err)
	}
	return p.Label
}
