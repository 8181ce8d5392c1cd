package repo_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/repo/repotest"
)

func TestPlot_comesBackAsWritten(t *testing.T) {
	t.Parallel()
	tx := repotest.Tx(t)
	garden := repotest.Garden(t, tx).GardenID
	source := repotest.WaterSource(t, tx, garden)
	values := repo.PlotValues{
		Label: "7 b, “Föhn”", AreaM2: 4.1, Method: "hose", Communal: true, WaterSourceID: &source.ID, HoseFlowLPerMin: new(12.3),
		MaxDayMin: new(90.0), SoilTexture: new("sandy_loam"), FieldCapacity: new(0.23), WiltingPoint: new(0.1), BedDepthM: new(0.3),
		GardenID: garden, ID: uuid.Must(uuid.NewV7()), Revision: 1,
	}
	q := repo.New(tx)
	written, err := q.PlotInsert(t.Context(), values)
	if err != nil {
		t.Fatal(err)
	}
	read, err := q.PlotByID(t.Context(), garden, values.ID)
	if err != nil {
		t.Fatal(err)
	}
	want := repo.Plot{
		GardenID: garden, ID: values.ID, Label: values.Label, AreaM2: 4.1, Method: "hose", Communal: true, WaterSourceID: &source.ID,
		HoseFlowLPerMin: new(12.3), MaxDayMin: new(90.0), SoilTexture: new("sandy_loam"), FieldCapacity: new(0.23),
		WiltingPoint: new(0.1), BedDepthM: new(0.3), Revision: 1, CreatedAt: written.CreatedAt, UpdatedAt: written.UpdatedAt,
	}
	if d := cmp.Diff(want, read) + cmp.Diff(want, written); d != "" {
		t.Error(d)
	}
	if zone, _ := read.CreatedAt.Zone(); zone != "UTC" {
		t.Errorf("times are in %s, want UTC on every machine", zone)
	}
}

func TestUpdate_countsRevisions(t *testing.T) {
	t.Parallel()
	tx := repotest.Tx(t)
	garden := repotest.Garden(t, tx).GardenID
	plot := repotest.Plot(t, tx, garden)
	q := repo.New(tx)
	values := repo.PlotValues{Label: "renamed", AreaM2: 5, Method: "none", GardenID: garden, ID: plot.ID, Revision: 1}
	got, err := q.PlotUpdate(t.Context(), values)
	if err != nil || got.Revision != 2 || got.Label != "renamed" {
		t.Errorf("got %+v, %v; want revision 2 of the renamed plot", got, err)
	}
	if _, err := q.PlotUpdate(t.Context(), values); !errors.Is(err, pgx.ErrNoRows) {
		t.Errorf("over a revision that has moved on: %v, want no row", err)
	}
	if n, err := q.PlotDelete(t.Context(), garden, plot.ID, 1); err != nil || n != 0 {
		t.Errorf("%d deleted at an old revision, %v; want none", n, err)
	}
	if n, err := q.PlotDelete(t.Context(), garden, plot.ID, 2); err != nil || n != 1 {
		t.Errorf("%d deleted, %v; want 1", n, err)
	}
}

// A date is a calendar day: midnight UTC of that day, whatever zone it was written in.
func TestDates_areCalendarDays(t *testing.T) {
	t.Parallel()
	tx := repotest.Tx(t)
	garden := repotest.Garden(t, tx).GardenID
	day := time.Date(2026, time.August, 31, 0, 0, 0, 0, time.UTC)
	for name, written := range map[string]time.Time{
		"UTC":         day,
		"far east":    time.Date(2026, time.August, 31, 0, 30, 0, 0, time.FixedZone("", 14*3600)),
		"far west":    time.Date(2026, time.August, 31, 23, 30, 0, 0, time.FixedZone("", -12*3600)),
		"not monday?": time.Date(2026, time.August, 31, 12, 0, 0, 0, time.UTC),
	} {
		c := repotest.Closure(t, tx, garden, func(v *repo.ClosureValues) { v.FirstDay, v.LastDay = written, written })
		if !c.FirstDay.Equal(day) || c.FirstDay.Location() != time.UTC {
			t.Errorf("%s: %s came back, want %s", name, c.FirstDay, day)
		}
	}
}

// pages walks a keyset list to its end and returns what it met.
func pages[R any](t *testing.T, size int32, next func(last *R, limit int32) ([]R, error)) []R {
	t.Helper()
	var all []R
	var last *R
	for range 1000 {
		rows, err := next(last, size)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, rows...)
		if len(rows) < int(size) {
			return all
		}
		last = &rows[len(rows)-1]
	}
	t.Fatal("the list has no end")
	return nil
}

func TestPages_haveNoGapsAndNoRepeats(t *testing.T) {
	t.Parallel()
	tx := repotest.Tx(t)
	garden := repotest.Garden(t, tx).GardenID
	repotest.Plot(t, tx, repotest.Garden(t, tx).GardenID) // of somebody else
	repotest.Enter(t, tx, garden)
	q := repo.New(tx)
	plot := repotest.Plot(t, tx, garden, func(v *repo.PlotValues) { v.Label = "b" })
	for i := range 16 { // labels of several lengths and cases; all times are the same inside a transaction
		repotest.Plot(t, tx, garden, func(v *repo.PlotValues) { v.Label = fmt.Sprintf("%c%d", "aBÄ "[i%4], i) })
		repotest.Closure(t, tx, garden)
		repotest.Planting(t, tx, garden, func(v *repo.PlantingValues) { v.PlotID = plot.ID })
		repotest.Layout(t, tx, garden, nil, func(v *repo.LayoutValues) {
			v.Name = fmt.Sprint("same", i%3)
			v.PlotID = repotest.Plot(t, tx, garden).ID
		})
	}
	everything := map[string]int{}
	for name, sql := range map[string]string{"plot": "plot", "closure": "closure", "planting": "planting", "layout": "layout"} {
		var n int
		if err := tx.QueryRow(t.Context(), `SELECT count(*) FROM `+sql).Scan(&n); err != nil {
			t.Fatal(err)
		}
		everything[name] = n
	}
	check := func(name string, size int32, ids []uuid.UUID) {
		t.Helper()
		n := len(ids)
		slices.SortFunc(ids, func(a, b uuid.UUID) int { return slices.Compare(a[:], b[:]) })
		if n != everything[name] || len(slices.Compact(ids)) != n {
			t.Errorf("%s in pages of %d: %d rows, %d of them different, want %d", name, size, n, len(slices.Compact(ids)), everything[name])
		}
	}
	for _, size := range []int32{1, 3, 17, 200} {
		check("plot", size, ids(pages(t, size, func(last *repo.Plot, limit int32) ([]repo.Plot, error) {
			if last == nil {
				return q.PlotListPage(t.Context(), garden, "", uuid.Nil, limit)
			}
			return q.PlotListPage(t.Context(), garden, last.Label, last.ID, limit)
		}), func(r repo.Plot) uuid.UUID { return r.ID }))
		check("closure", size, ids(pages(t, size, func(last *repo.Closure, limit int32) ([]repo.Closure, error) {
			if last == nil {
				return q.ClosureListPage(t.Context(), garden, time.Unix(0, 0), uuid.Nil, limit)
			}
			return q.ClosureListPage(t.Context(), garden, last.CreatedAt, last.ID, limit)
		}), func(r repo.Closure) uuid.UUID { return r.ID }))
		check("planting", size, ids(pages(t, size, func(last *repo.Planting, limit int32) ([]repo.Planting, error) {
			if last == nil {
				return q.PlantingListPage(t.Context(), garden, &plot.ID, time.Unix(0, 0), uuid.Nil, limit)
			}
			return q.PlantingListPage(t.Context(), garden, &plot.ID, last.CreatedAt, last.ID, limit)
		}), func(r repo.Planting) uuid.UUID { return r.ID }))
		check("layout", size, ids(pages(t, size, func(last *repo.Layout, limit int32) ([]repo.Layout, error) {
			if last == nil {
				return q.LayoutListPage(t.Context(), garden, repo.LayoutFilter{Status: new("draft")}, "", uuid.Nil, limit)
			}
			return q.LayoutListPage(t.Context(), garden, repo.LayoutFilter{Status: new("draft")}, last.Name, last.ID, limit)
		}), func(r repo.Layout) uuid.UUID { return r.ID }))
	}
}

func ids[R any](rows []R, of func(R) uuid.UUID) []uuid.UUID {
	out := make([]uuid.UUID, len(rows))
	for i, r := range rows {
		out[i] = of(r)
	}
	return out
}

func TestLists_goBackInTime(t *testing.T) {
	t.Parallel()
	tx := repotest.Tx(t)
	garden := repotest.Garden(t, tx).GardenID
	var made []uuid.UUID
	for range 5 {
		made = append(made, repotest.Rotation(t, tx, garden).ID)
	}
	slices.Reverse(made) // the newest first; created at the same moment, so by id
	q := repo.New(tx)
	got := pages(t, 2, func(last *repo.Rotation, limit int32) ([]repo.Rotation, error) {
		if last == nil {
			return q.RotationListPage(t.Context(), garden, repo.EndOfTime, uuid.Max, limit)
		}
		return q.RotationListPage(t.Context(), garden, last.CreatedAt, last.ID, limit)
	})
	if d := cmp.Diff(made, ids(got, func(r repo.Rotation) uuid.UUID { return r.ID })); d != "" {
		t.Error(d)
	}
}

func TestLayoutRevision_acceptedStaysAsItIs(t *testing.T) {
	t.Parallel()
	tx := repotest.Tx(t)
	garden := repotest.Garden(t, tx).GardenID
	for _, c := range []struct {
		from, to string
		spec     string
		refused  bool
	}{
		{"draft", "draft", `{"changed": 1}`, false},
		{"draft", "submitted", `{}`, false},
		{"submitted", "submitted", `{"changed": 1}`, true},
		{"submitted", "accepted", `{}`, false},
		{"submitted", "returned", `{}`, false},
		{"accepted", "accepted", `{"changed": 1}`, true},
		{"accepted", "superseded", `{}`, false},
		{"accepted", "draft", `{}`, true},
		{"accepted", "returned", `{}`, true},
		{"superseded", "superseded", `{"changed": 1}`, true},
		{"superseded", "draft", `{}`, true},
	} {
		layout := repotest.Layout(t, tx, garden, nil, func(v *repo.LayoutValues) { v.Status = "retired" })
		values := repo.LayoutRevisionValues{
			Status: c.from, Spec: json.RawMessage(`{}`), Author: "Wren", GardenID: garden, LayoutID: layout.ID, Number: 2,
		}
		change := func(ctx context.Context, q *repo.Queries) error {
			if _, err := q.LayoutRevisionInsert(ctx, values); err != nil {
				t.Fatal(err)
			}
			changed := values
			changed.Status, changed.Spec = c.to, json.RawMessage(c.spec)
			_, err := q.LayoutRevisionUpdate(ctx, changed)
			return err
		}
		if c.refused {
			if broken := refused(t, tx, garden, change); broken.Constraint != "layout_revision_keep_accepted" || broken.Kind != repo.Check {
				t.Errorf("%s to %s with %s broke %s", c.from, c.to, c.spec, broken.Constraint)
			}
			continue
		}
		err := repo.InTenant(t.Context(), tx, garden, func(tx pgx.Tx) error { return change(t.Context(), repo.New(tx)) })
		if err != nil {
			t.Errorf("%s to %s with %s: %v", c.from, c.to, c.spec, err)
		}
	}
}

func TestLayout_documentsInUse(t *testing.T) {
	t.Parallel()
	tx := repotest.Tx(t)
	garden := repotest.Garden(t, tx).GardenID
	q := repo.New(tx)
	spec := json.RawMessage(`{"v": 1}`)
	used := repotest.Layout(t, tx, garden, spec, func(v *repo.LayoutValues) { v.Status = "accepted" })
	repotest.Layout(t, tx, garden, nil) // a draft
	repotest.Layout(t, tx, garden, nil, func(v *repo.LayoutValues) { v.Status = "retired"; v.AcceptedNumber = new(int32(1)) })

	// The author goes on drawing; what was accepted stays in use.
	_, err := q.LayoutRevisionInsert(t.Context(), repo.LayoutRevisionValues{
		Status: "draft", Spec: json.RawMessage(`{"v": 2}`), Author: "Wren", GardenID: garden, LayoutID: used.ID, Number: 2,
	})
	if err != nil {
		t.Fatal(err)
	}
	used, err = q.LayoutUpdate(t.Context(), repo.LayoutValues{
		PlotID: used.PlotID, WaterSourceID: used.WaterSourceID, Name: used.Name, Status: "draft", LatestNumber: 2, AcceptedNumber: new(int32(1)),
		GardenID: garden, ID: used.ID, Revision: 1,
	})
	if err != nil {
		t.Fatal(err)
	}
	accepted, err := q.LayoutListAccepted(t.Context(), garden)
	if err != nil || len(accepted) != 1 {
		t.Fatalf("%d layouts in use, %v; want 1", len(accepted), err)
	}
	latest, err := q.LayoutLatest(t.Context(), garden, used.ID)
	if err != nil {
		t.Fatal(err)
	}
	if string(accepted[0].LayoutRevision.Spec) != `{"v": 1}` || string(latest.LayoutRevision.Spec) != `{"v": 2}` {
		t.Errorf("in use %s, latest %s", accepted[0].LayoutRevision.Spec, latest.LayoutRevision.Spec)
	}
	if d := cmp.Diff(used, latest.Layout); d != "" {
		t.Error(d)
	}
}

func TestPlotHolder_heldOnADay(t *testing.T) {
	t.Parallel()
	tx := repotest.Tx(t)
	garden := repotest.Garden(t, tx).GardenID
	q := repo.New(tx)
	to := repotest.FirstDay.AddDate(0, 0, 9)
	h := repotest.PlotHolder(t, tx, garden, func(v *repo.PlotHolderValues) { v.HeldTo = &to })
	for day, held := range map[int]int{-1: 0, 0: 1, 9: 1, 10: 0} {
		date := repotest.FirstDay.AddDate(0, 0, day)
		holders, err := q.PlotHolderListOnDay(t.Context(), garden, h.PlotID, date)
		if err != nil || len(holders) != held {
			t.Errorf("day %d: %d holders, %v; want %d", day, len(holders), err, held)
		}
		plots, err := q.PlotListHeldBy(t.Context(), garden, h.MemberID, date)
		if err != nil || len(plots) != held {
			t.Errorf("day %d: %d plots, %v; want %d", day, len(plots), err, held)
		}
	}
}

func TestTokenBySecret_findsBearerAndGarden(t *testing.T) {
	t.Parallel()
	tx := repotest.Tx(t)
	garden := repotest.Garden(t, tx)
	q := repo.New(tx)
	member := repotest.Member(t, tx, garden.GardenID)
	gardener := repotest.Token(t, tx, garden.GardenID, func(v *repo.TokenValues) { v.MemberID = &member.ID })
	robot := repotest.Token(t, tx, garden.GardenID, func(v *repo.TokenValues) { v.Role = "integration" })
	if err := q.GardenScheduleTouch(t.Context(), garden.GardenID); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		token repo.Token
		name  string
	}{{gardener, member.Name}, {robot, ""}} {
		got, err := q.TokenBySecret(t.Context(), garden.GardenID, c.token.SecretSha256)
		if err != nil || got.ID != c.token.ID || got.MemberName != c.name || got.ScheduleVersion != garden.ScheduleVersion+1 {
			t.Errorf("got %+v, %v; want token %s of %q", got, err, c.token.ID, c.name)
		}
	}
	if _, err := q.TokenBySecret(t.Context(), garden.GardenID, make([]byte, 32)); !errors.Is(err, pgx.ErrNoRows) {
		t.Errorf("an unknown secret: %v", err)
	}
}

func TestWeatherDayPut_replacesAndCountsChanges(t *testing.T) {
	t.Parallel()
	tx := repotest.Tx(t)
	garden := repotest.Garden(t, tx).GardenID
	q := repo.New(tx)
	var days []repo.WeatherDay
	for i := range 400 {
		d := repo.WeatherDay{GardenID: garden, Station: "roof", Day: repotest.FirstDay.AddDate(0, 0, i), Kind: "measured", TmaxC: new(20.5), RainMm: new(0.0)}
		if i%2 == 1 {
			d.TmaxC = nil
		}
		days = append(days, d)
	}
	put := func(want int64) {
		t.Helper()
		if n, err := q.WeatherDayPut(t.Context(), days); err != nil || n != want {
			t.Fatalf("%d rows changed, %v; want %d", n, err, want)
		}
	}
	put(400)
	put(0)
	days[3].TmaxC, days[4].TmaxC = new(31.0), nil
	put(2)
	got, err := q.WeatherDayList(t.Context(), garden, days[3].Day, days[5].Day)
	if err != nil || len(got) != 3 {
		t.Fatalf("%d days, %v; want 3", len(got), err)
	}
	for i := range got {
		got[i].UpdatedAt = time.Time{}
	}
	if d := cmp.Diff(days[3:6], got); d != "" {
		t.Error(d)
	}
	walked := pages(t, 7, func(last *repo.WeatherDay, limit int32) ([]repo.WeatherDay, error) {
		filter := repo.WeatherFilter{First: &days[10].Day, Last: &days[49].Day, Station: new("roof")}
		if last == nil {
			return q.WeatherDayListPage(t.Context(), garden, filter, repo.WeatherKey{}, limit)
		}
		return q.WeatherDayListPage(t.Context(), garden, filter, repo.WeatherKey{Day: last.Day, Station: last.Station, Kind: last.Kind}, limit)
	})
	if len(walked) != 40 || !walked[0].Day.Equal(days[10].Day) {
		t.Errorf("%d days in pages, want 40 from the eleventh on", len(walked))
	}
	twice := refused(t, tx, garden, func(ctx context.Context, q *repo.Queries) error {
		_, err := q.WeatherDayPut(ctx, []repo.WeatherDay{days[0], days[1], days[0]})
		return err
	})
	if twice.Constraint != "weather_day_pkey" {
		t.Errorf("the same day twice broke %s", twice.Constraint)
	}
}

func TestTurn_oneAtATimePerSource(t *testing.T) {
	t.Parallel()
	tx := repotest.Tx(t)
	garden := repotest.Garden(t, tx).GardenID
	turn := repotest.Turn(t, tx, garden, uuid.Nil, func(v *repo.Turn) { v.Status = "planned" })
	put := func(edit func(*repo.Turn)) func(context.Context, *repo.Queries) error {
		v := turn
		v.ID = uuid.Must(uuid.NewV7())
		v.StartsAt, v.EndsAt = turn.StartsAt.Add(29*time.Minute), turn.EndsAt.Add(29*time.Minute)
		edit(&v)
		return func(ctx context.Context, q *repo.Queries) error { return q.TurnPut(ctx, []repo.Turn{v}) }
	}
	overlapping := refused(t, tx, garden, put(func(*repo.Turn) {}))
	if overlapping.Constraint != "turn_one_per_source" || overlapping.Kind != repo.Exclusion {
		t.Errorf("two turns at once broke %s %s", overlapping.Kind, overlapping.Constraint)
	}
	empty := refused(t, tx, garden, put(func(v *repo.Turn) { v.EndsAt = v.StartsAt }))
	if empty.Constraint != "turn_during_not_empty" {
		t.Errorf("a turn of no length broke %s", empty.Constraint)
	}
	other := repotest.WaterSource(t, tx, garden).ID
	for name, edit := range map[string]func(*repo.Turn){
		"right after":       func(v *repo.Turn) { v.StartsAt, v.EndsAt = turn.EndsAt, turn.EndsAt.Add(time.Hour) },
		"at another source": func(v *repo.Turn) { v.WaterSourceID = other },
		"only proposed":     func(v *repo.Turn) { v.Status = "proposed" },
		"cancelled":         func(v *repo.Turn) { v.Status = "cancelled" },
	} {
		err := repo.InTenant(t.Context(), tx, garden, func(tx pgx.Tx) error { return put(edit)(t.Context(), repo.New(tx)) })
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestRotation_onePublishedAtATime(t *testing.T) {
	t.Parallel()
	tx := repotest.Tx(t)
	garden := repotest.Garden(t, tx).GardenID
	q := repo.New(tx)
	day := func(n int) time.Time { return repotest.FirstDay.AddDate(0, 0, n) }
	old := repotest.Rotation(t, tx, garden, func(v *repo.RotationValues) { v.Status = "published" })
	later := repotest.Rotation(t, tx, garden, func(v *repo.RotationValues) {
		v.Status, v.StartsAt, v.EndsAt = "published", day(7), day(14)
	})
	next := repotest.Rotation(t, tx, garden, func(v *repo.RotationValues) { v.StartsAt, v.EndsAt = day(3), day(10) })

	broken := refused(t, tx, garden, func(ctx context.Context, q *repo.Queries) error {
		_, err := q.RotationPublish(ctx, day(2), garden, next.ID, 1)
		return err
	})
	if broken.Constraint != "rotation_one_published" {
		t.Errorf("two rotations at once broke %s", broken.Constraint)
	}

	// What is under way is cut where the next begins, what would begin later gives way to it.
	if n, err := q.RotationCut(t.Context(), next.StartsAt, garden); err != nil || n != 1 {
		t.Fatalf("%d cut, %v; want 1", n, err)
	}
	if n, err := q.RotationSupersede(t.Context(), day(2), garden, next.StartsAt, next.EndsAt); err != nil || n != 1 {
		t.Fatalf("%d superseded, %v; want 1", n, err)
	}
	published, err := q.RotationPublish(t.Context(), day(2), garden, next.ID, 1)
	if err != nil || published.Status != "published" || published.Revision != 2 || published.PublishedAt == nil || !published.PublishedAt.Equal(day(2)) {
		t.Fatalf("got %+v, %v", published, err)
	}
	if _, err := q.RotationPublish(t.Context(), day(2), garden, next.ID, 2); !errors.Is(err, pgx.ErrNoRows) {
		t.Errorf("published twice: %v", err)
	}
	for at, want := range map[int]uuid.UUID{0: old.ID, 2: old.ID, 3: next.ID, 9: next.ID} {
		got, err := q.RotationPublishedAt(t.Context(), garden, day(at).Add(time.Hour))
		if err != nil || got.ID != want {
			t.Errorf("day %d: rotation %s, %v; want %s", at, got.ID, err, want)
		}
	}
	if _, err := q.RotationPublishedAt(t.Context(), garden, day(10)); !errors.Is(err, pgx.ErrNoRows) {
		t.Errorf("after the end: %v", err)
	}
	gone, err := q.RotationByID(t.Context(), garden, later.ID)
	if err != nil || gone.Status != "superseded" || gone.SupersededAt == nil {
		t.Errorf("the later one is %+v, %v; want it superseded", gone, err)
	}
}

// A re-plan releases what was to come, keeps ids, and only then claims the source again.
func TestTurn_idsSurviveAReplan(t *testing.T) {
	t.Parallel()
	tx := repotest.Tx(t)
	garden := repotest.Garden(t, tx).GardenID
	q := repo.New(tx)
	past := repotest.Turn(t, tx, garden, uuid.Nil, func(v *repo.Turn) { v.Status = "planned" })
	hour := func(n int) time.Time { return past.StartsAt.Add(time.Duration(n) * time.Hour) }
	turn := func(n int) repo.Turn {
		return repotest.Turn(t, tx, garden, uuid.Nil, func(v *repo.Turn) {
			v.Status, v.RotationID, v.WaterSourceID = "planned", past.RotationID, past.WaterSourceID
			v.StartsAt, v.EndsAt = hour(n), hour(n).Add(30*time.Minute)
		})
	}
	moved, dropped := turn(2), turn(3)
	next := repotest.Rotation(t, tx, garden)

	if n, err := q.TurnCancelFrom(t.Context(), garden, past.RotationID, hour(1)); err != nil || n != 2 {
		t.Fatalf("%d turns released, %v; want 2", n, err)
	}
	moved.RotationID, moved.Sequence = next.ID, 1
	moved.StartsAt, moved.EndsAt = hour(3), hour(4) // where the other was
	if err := q.TurnPut(t.Context(), []repo.Turn{moved}); err != nil {
		t.Fatal(err)
	}
	want := map[uuid.UUID]struct {
		status   string
		sequence int32
		revision int64
	}{past.ID: {"planned", 0, 1}, moved.ID: {"planned", 1, 3}, dropped.ID: {"cancelled", 1, 2}}
	for id, w := range want {
		got, err := q.TurnByID(t.Context(), garden, id)
		if err != nil || got.Status != w.status || got.Sequence != w.sequence || got.Revision != w.revision {
			t.Errorf("got %+v, %v; want %+v", got, err, w)
		}
	}
	members, err := q.TurnMemberListByTurns(t.Context(), garden, []uuid.UUID{moved.ID})
	if err != nil || len(members) != 1 {
		t.Errorf("%d members of the moved turn, %v; want its one", len(members), err)
	}
}

func TestTurnSchedule_filtersAndFolds(t *testing.T) {
	t.Parallel()
	tx := repotest.Tx(t)
	garden := repotest.Garden(t, tx).GardenID
	q := repo.New(tx)
	plotB := repotest.Plot(t, tx, garden, func(v *repo.PlotValues) { v.Label = "B" })
	plotA := repotest.Plot(t, tx, garden, func(v *repo.PlotValues) { v.Label = "A" })
	layout := repotest.Layout(t, tx, garden, nil, func(v *repo.LayoutValues) { v.PlotID, v.Name = plotA.ID, "long bed" })
	opener := repotest.Member(t, tx, garden, func(v *repo.MemberValues) { v.Name = "Wren" })
	source := repotest.WaterSource(t, tx, garden, func(v *repo.WaterSourceValues) { v.Name = "Gate spigot" })
	first := repotest.Turn(t, tx, garden, plotB.ID, func(v *repo.Turn) { v.WaterSourceID, v.OpenerID = source.ID, &opener.ID })
	closes := first.StartsAt.Add(10 * time.Minute)
	more := repo.TurnMember{GardenID: garden, TurnID: first.ID, PlotID: plotA.ID, LayoutID: &layout.ID, VolumeL: 77.7, ClosesAt: &closes}
	if err := q.TurnMemberInsert(t.Context(), []repo.TurnMember{more}); err != nil {
		t.Fatal(err)
	}
	second := repotest.Turn(t, tx, garden, plotB.ID, func(v *repo.Turn) {
		v.RotationID, v.WaterSourceID, v.Status = first.RotationID, source.ID, "cancelled"
		v.StartsAt, v.EndsAt = first.EndsAt, first.EndsAt.Add(time.Hour)
	})
	bare := second
	bare.ID, bare.WaterSourceID = uuid.Must(uuid.NewV7()), repotest.WaterSource(t, tx, garden).ID
	if err := q.TurnPut(t.Context(), []repo.Turn{bare}); err != nil {
		t.Fatal(err)
	}

	all, err := q.TurnSchedule(t.Context(), garden, repo.TurnFilter{})
	if err != nil || len(all) != 3 {
		t.Fatalf("%d turns, %v; want 3", len(all), err)
	}
	want := repo.ScheduledTurn{
		Turn: first, WaterSourceName: "Gate spigot", OpenerName: new("Wren"),
		Members: []repo.ScheduledMember{
			{TurnMember: more, PlotLabel: "A", LayoutName: new("long bed")},
			{TurnMember: repo.TurnMember{GardenID: garden, TurnID: first.ID, PlotID: plotB.ID, VolumeL: 300}, PlotLabel: "B"},
		},
	}
	if d := cmp.Diff(want, all[0]); d != "" {
		t.Error(d)
	}
	if all[2].ID == bare.ID && len(all[2].Members) != 0 || len(all[1].Members)+len(all[2].Members) != 1 {
		t.Errorf("members of the later turns: %v, %v", all[1].Members, all[2].Members)
	}
	for name, c := range map[string]struct {
		filter repo.TurnFilter
		want   []uuid.UUID
	}{
		"first page":     {repo.TurnFilter{Limit: 1}, []uuid.UUID{first.ID}},
		"rest":           {repo.TurnFilter{AfterKey: first.StartsAt, AfterID: first.ID, PlotID: &plotB.ID}, []uuid.UUID{second.ID}},
		"plot A":         {repo.TurnFilter{PlotID: &plotA.ID}, []uuid.UUID{first.ID}},
		"source":         {repo.TurnFilter{WaterSourceID: &bare.WaterSourceID}, []uuid.UUID{bare.ID}},
		"opener":         {repo.TurnFilter{OpenerID: &opener.ID}, []uuid.UUID{first.ID}},
		"before":         {repo.TurnFilter{To: &second.StartsAt}, []uuid.UUID{first.ID}},
		"reaches in":     {repo.TurnFilter{From: &closes, To: &second.StartsAt}, []uuid.UUID{first.ID}},
		"ended by then":  {repo.TurnFilter{From: &first.EndsAt, WaterSourceID: &source.ID}, []uuid.UUID{second.ID}},
		"status":         {repo.TurnFilter{Statuses: []string{"planned", "proposed"}}, []uuid.UUID{first.ID}},
		"other rotation": {repo.TurnFilter{RotationID: &garden}, []uuid.UUID{}},
	} {
		got, err := q.TurnSchedule(t.Context(), garden, c.filter)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(c.want, ids(got, func(s repo.ScheduledTurn) uuid.UUID { return s.ID })); d != "" {
			t.Errorf("%s: %s", name, d)
		}
	}
}

func TestTurnSchedule_isOneReadInTheGarden(t *testing.T) {
	t.Parallel()
	pool := repotest.Pool(t)
	garden := repotest.Garden(t, pool).GardenID
	turn := repotest.Turn(t, pool, garden, uuid.Nil)
	got, err := repo.New(repo.Read(pool, garden)).TurnSchedule(t.Context(), garden, repo.TurnFilter{})
	if err != nil || len(got) != 1 || got[0].ID != turn.ID || len(got[0].Members) != 1 {
		t.Errorf("got %v, %v; want the turn with its member", got, err)
	}
}

// What can't be stored leaves the doors as a sentinel, by SQLSTATE.
func TestErrors_haveAName(t *testing.T) {
	t.Parallel()
	tx := repotest.Tx(t)
	garden := repotest.Garden(t, tx).GardenID
	plot := func(edit func(*repo.PlotValues)) error {
		v := repo.PlotValues{Label: "x", AreaM2: 1, Method: "none", GardenID: garden, ID: uuid.Must(uuid.NewV7()), Revision: 1}
		edit(&v)
		return repo.InTenant(t.Context(), tx, garden, func(tx pgx.Tx) error {
			_, err := repo.New(tx).PlotInsert(t.Context(), v)
			return err
		})
	}
	for name, edit := range map[string]func(*repo.PlotValues){
		"plot_area_range":      func(v *repo.PlotValues) { v.AreaM2 = math.NaN() },
		"plot_bed_depth_range": func(v *repo.PlotValues) { v.BedDepthM = new(math.Inf(1)) },
		"plot_can_complete":    func(v *repo.PlotValues) { v.Method = "can" },
	} {
		var broken *repo.ConstraintError
		if err := plot(edit); !errors.As(err, &broken) || broken.Constraint != name || broken.Kind != repo.Check || broken.Table != "plot" {
			t.Errorf("got %v, want check %s", err, name)
		}
	}
	if err := plot(func(v *repo.PlotValues) { v.Label = "a\x00b" }); !errors.Is(err, repo.ErrText) {
		t.Errorf("NUL in a text: %v, want ErrText", err)
	}
	if err := plot(func(v *repo.PlotValues) { v.Label = "a\xffb" }); !errors.Is(err, repo.ErrText) {
		t.Errorf("no UTF-8: %v, want ErrText", err)
	}
	spec := func(text string) error {
		layout := repotest.Layout(t, tx, garden, nil)
		return repo.InTenant(t.Context(), tx, garden, func(tx pgx.Tx) error {
			_, err := repo.New(tx).LayoutRevisionInsert(t.Context(), repo.LayoutRevisionValues{
				Status: "draft", Spec: json.RawMessage(text), Author: "Wren", GardenID: garden, LayoutID: layout.ID, Number: 2,
			})
			return err
		})
	}
	if err := spec(`{"a": "\u0000"}`); !errors.Is(err, repo.ErrText) {
		t.Errorf("NUL in a document: %v, want ErrText", err)
	}
	if err := spec(`{"a": 1e1000000}`); !errors.Is(err, repo.ErrOverflow) {
		t.Errorf("a number beyond jsonb: %v, want ErrOverflow", err)
	}
	err := repo.InTenant(t.Context(), tx, garden, func(tx pgx.Tx) error {
		_, err := repo.New(tx).LayoutRevisionInsert(t.Context(), repo.LayoutRevisionValues{
			Status: "draft", Author: "Wren", GardenID: garden, LayoutID: repotest.Layout(t, tx, garden, nil).ID, Number: 2,
		})
		return err
	})
	var broken *repo.ConstraintError
	if !errors.As(err, &broken) || broken.Kind != repo.NotNull || broken.Constraint != "spec" {
		t.Errorf("no document: %v, want not null spec", err)
	}
}

// Two writers that take the same rows the other way round: one of them is told to try again.
func TestErrors_deadlockIsAConflict(t *testing.T) {
	t.Parallel()
	pool := repotest.Pool(t)
	garden := repotest.Garden(t, pool).GardenID
	plots := []uuid.UUID{repotest.Plot(t, pool, garden).ID, repotest.Plot(t, pool, garden).ID}
	held := make(chan struct{}, 2)
	met := make(chan struct{})
	done := make(chan error, 2)
	for i := range 2 {
		go func() {
			done <- repo.InTenant(t.Context(), pool, garden, func(tx pgx.Tx) error {
				lock := func(id uuid.UUID) error {
					_, err := tx.Exec(t.Context(), `SELECT FROM plot WHERE garden_id = $1 AND id = $2 FOR UPDATE`, garden, id)
					return err
				}
				if err := lock(plots[i]); err != nil {
					return err
				}
				held <- struct{}{}
				<-met
				return lock(plots[1-i])
			})
		}()
	}
	<-held
	<-held
	close(met)
	first, second := <-done, <-done
	if first == nil {
		first, second = second, first
	}
	if !errors.Is(first, repo.ErrConflict) || second != nil {
		t.Errorf("got %v and %v, want ErrConflict and success", first, second)
	}
}
