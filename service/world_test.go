package service

import (
	"context"
	"encoding/json"
	"errors"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rillturn.example/rillturn/engine/waterneed"
	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/repo/repotest"
	"rillturn.example/rillturn/service/file"
)

func TestMain(m *testing.M) { repotest.Main(m) }

// world is the service on a database of its own, with one garden in it and a clock that the test sets.
type world struct {
	*Service
	now    time.Time // a Monday, eight in the morning on the garden's calendar
	garden uuid.UUID

	coordinator, gardener, integration, operator Principal

	plot, foreignPlot uuid.UUID // the gardener holds the first only
	holder            repo.PlotHolder
	source            uuid.UUID // a spigot with a supply curve
}

func newWorld(t *testing.T) *world {
	t.Helper()
	pool := repotest.Pool(t)
	w := &world{now: time.Date(2026, time.July, 6, 15, 0, 0, 0, time.UTC)}
	w.Service = New(pool, func() time.Time { return w.now })
	w.garden = repotest.Garden(t, pool).GardenID
	w.coordinator = w.person(t, Coordinator)
	w.gardener = w.person(t, Gardener)
	w.integration = Principal{Garden: w.garden, Token: w.newID(), Role: Integration, Name: "weather station"}
	w.operator = Principal{Token: w.newID(), Role: Operator, Name: "operator"}
	w.source = repotest.WaterSource(t, pool, w.garden, func(v *repo.WaterSourceValues) { v.StaticHeadM, v.MinRunMin = new(30.0), 2 }).ID
	repotest.FlowTest(t, pool, w.garden, func(v *repo.FlowTestValues) { v.WaterSourceID = w.source })
	w.plot, w.foreignPlot = repotest.Plot(t, pool, w.garden).ID, repotest.Plot(t, pool, w.garden).ID
	w.holder = repotest.PlotHolder(t, pool, w.garden, func(v *repo.PlotHolderValues) { v.PlotID, v.MemberID = w.plot, *w.gardener.Member })
	return w
}

// person is a new member of the garden with a role.
func (w *world) person(t *testing.T, role Role) Principal {
	t.Helper()
	m := repotest.Member(t, w.pool, w.garden, func(v *repo.MemberValues) { v.Role = string(role) })
	return Principal{Garden: w.garden, Token: w.newID(), Member: &m.ID, Role: role, Name: m.Name}
}

// inGarden runs statements in the garden, past the service.
func (w *world) inGarden(t *testing.T, fn func(q *repo.Queries) error) {
	t.Helper()
	if err := repo.InTenant(t.Context(), w.pool, w.garden, func(tx pgx.Tx) error { return fn(repo.New(tx)) }); err != nil {
		t.Fatal(err)
	}
}

// versions are the garden's plan revision and schedule version.
func (w *world) versions(t *testing.T) (plan, schedule int64) {
	t.Helper()
	w.inGarden(t, func(q *repo.Queries) error {
		g, err := q.GardenByID(t.Context(), w.garden)
		plan, schedule = g.PlanRevision, g.ScheduleVersion
		return err
	})
	return plan, schedule
}

// must takes the value of a call that has to work.
func must[V any](t *testing.T) func(V, error) V {
	t.Helper()
	return func(v V, err error) V {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// wantKind holds an error against the kind of refusal that it should be; 0 means none.
func wantKind(t *testing.T, err error, want Kind) {
	t.Helper()
	if want != 0 {
		_ = refusal(t, err, want)
	} else if err != nil {
		t.Errorf("refused: %v", err)
	}
}

// refusal is an error as the refusal that it should be.
func refusal(t *testing.T, err error, want Kind) *Error {
	t.Helper()
	var refused *Error
	if !errors.As(err, &refused) {
		t.Fatalf("got %v, want a refusal of kind %d", err, want)
	}
	if refused.Kind != want {
		t.Errorf("kind %d (%v), want %d", refused.Kind, refused, want)
	}
	return refused
}

// wantField holds an error against the field that it should name.
func wantField(t *testing.T, err error, pointer string) {
	t.Helper()
	refused := refusal(t, err, Invalid)
	for _, f := range refused.Fields {
		if f.Pointer == pointer {
			return
		}
	}
	t.Errorf("the refusal names %v, not %s", refused.Fields, pointer)
}

// tidy is a layout that any spigot can carry: one lateral of 3 m with 20 holes of 1.5 mm.
func tidy(t *testing.T) file.Layout {
	t.Helper()
	return layoutOf(t, `{"feed": {"hose_length_m": 10, "hose_diameter_mm": 15.9},
		"manifold": {"pipe": {"inside_diameter_mm": 20}, "length_m": 0, "outlets": [{"at_m": 0, "lateral": {"pieces": [
			{"pipe": {"inside_diameter_mm": 20}, "length_m": 3, "pattern": {"spacing_m": 0.15, "hole_diameter_mm": 1.5}}]}}]}}`)
}

func layoutOf(t *testing.T, text string) file.Layout {
	t.Helper()
	var l file.Layout
	if err := json.Unmarshal([]byte(text), &l); err != nil {
		t.Fatal(err)
	}
	return l
}

// libraryCrop is the constants of a crop of the library as a planting keeps them.
func libraryCrop(t *testing.T, code string) json.RawMessage {
	t.Helper()
	crop, known := waterneed.CropByCode(code)
	if !known {
		t.Fatalf("no crop %s", code)
	}
	text, err := json.Marshal(file.CropOf(crop))
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// contextEnded is a context of the test and the function that ends it.
func contextEnded(t *testing.T) (context.Context, func()) {
	t.Helper()
	return context.WithCancel(t.Context())
}
