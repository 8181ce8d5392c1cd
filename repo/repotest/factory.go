package repotest

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"fmt"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rillturn.example/rillturn/repo"
)

// The factories write one valid record each and what it cannot be without. A test names only what it is about:
//
//	repotest.Plot(t, tx, garden.GardenID, func(v *repo.PlotValues) { v.AreaM2 = 12 })
//
// They work on a transaction, or on a pool, where they commit.

var serial atomic.Int64

// numbered is a name that no other record of the binary has.
func numbered(word string) string { return fmt.Sprintf("%s %03d", word, serial.Add(1)) }

// FirstDay is the day on which the records of the factories begin, a Monday.
var FirstDay = time.Date(2026, time.June, 1, 0, 0, 0, 0, time.UTC)

// Enter makes a transaction see one garden from here on.
func Enter(t testing.TB, tx pgx.Tx, garden uuid.UUID) {
	t.Helper()
	if _, err := tx.Exec(t.Context(), `SELECT set_config('app.garden_id', $1, true)`, garden.String()); err != nil {
		t.Fatal(err)
	}
}

// made writes one record in the garden.
func made[V, R any](t testing.TB, db repo.Beginner, garden uuid.UUID, values V, edit []func(*V), insert func(*repo.Queries, context.Context, V) (R, error)) R {
	t.Helper()
	for _, e := range edit {
		e(&values)
	}
	var record R
	err := repo.InTenant(t.Context(), db, garden, func(tx pgx.Tx) error {
		var err error
		record, err = insert(repo.New(tx), t.Context(), values)
		return err
	})
	if err != nil {
		t.Fatalf("make %T: %v", record, err)
	}
	return record
}

// edited applies the edits to values that need to be known before others are made.
func edited[V any](values V, edit []func(*V)) V {
	for _, e := range edit {
		e(&values)
	}
	return values
}

// Garden makes a garden. A transaction has entered it afterwards.
func Garden(t testing.TB, db repo.Beginner, edit ...func(*repo.GardenValues)) repo.Garden {
	t.Helper()
	values := edited(repo.GardenValues{
		Name: numbered("Garden"), TimeZone: "America/Los_Angeles", LatitudeDeg: 45.5, LongitudeDeg: -122.6, ElevationM: 60,
		Units: "us", Language: "en", Fairness: "need", StartGridMin: 5, NoticePeriodH: 24, GardenID: uuid.Must(uuid.NewV7()), Revision: 1,
	}, edit)
	return made(t, db, values.GardenID, values, nil, func(q *repo.Queries, ctx context.Context, v repo.GardenValues) (repo.Garden, error) {
		if err := q.GardenDirectoryInsert(ctx, v.GardenID); err != nil {
			return repo.Garden{}, err
		}
		return q.GardenInsert(ctx, v)
	})
}

// Member makes a gardener.
func Member(t testing.TB, db repo.Beginner, garden uuid.UUID, edit ...func(*repo.MemberValues)) repo.Member {
	t.Helper()
	return made(t, db, garden, repo.MemberValues{Name: numbered("Wren"), Role: "gardener", GardenID: garden, ID: newID(), Revision: 1},
		edit, (*repo.Queries).MemberInsert)
}

// Token makes a token of a new member with the same role, or of none for an integration. Its secret is nobody's.
func Token(t testing.TB, db repo.Beginner, garden uuid.UUID, edit ...func(*repo.TokenValues)) repo.Token {
	t.Helper()
	hash := make([]byte, 32)
	_, _ = rand.Read(hash) // never fails
	values := edited(repo.TokenValues{
		Label: numbered("Token"), Role: "gardener", SecretSha256: hash, GardenID: garden, ID: newID(), Revision: 1,
	}, edit)
	if values.MemberID == nil && values.Role != "integration" {
		m := Member(t, db, garden, func(v *repo.MemberValues) { v.Role = values.Role })
		values.MemberID = &m.ID
	}
	return made(t, db, garden, values, nil, (*repo.Queries).TokenInsert)
}

// ServiceLine makes a service line.
func ServiceLine(t testing.TB, db repo.Beginner, garden uuid.UUID, edit ...func(*repo.ServiceLineValues)) repo.ServiceLine {
	t.Helper()
	return made(t, db, garden, repo.ServiceLineValues{
		Name: numbered("Line"), FlowLimitLPerMin: 40, GardenID: garden, ID: newID(), Revision: 1,
	}, edit, (*repo.Queries).ServiceLineInsert)
}

// WaterSource makes a spigot.
func WaterSource(t testing.TB, db repo.Beginner, garden uuid.UUID, edit ...func(*repo.WaterSourceValues)) repo.WaterSource {
	t.Helper()
	return made(t, db, garden, repo.WaterSourceValues{
		Name: numbered("Spigot"), Kind: "spigot", HoseConnections: 1, ChangeoverMin: 5, MinRunMin: 5,
		GardenID: garden, ID: newID(), Revision: 1,
	}, edit, (*repo.Queries).WaterSourceInsert)
}

// FlowTest makes a bucket test of 10 L in 25 s, of a new source unless one is named.
func FlowTest(t testing.TB, db repo.Beginner, garden uuid.UUID, edit ...func(*repo.FlowTestValues)) repo.FlowTest {
	t.Helper()
	values := edited(repo.FlowTestValues{
		TestedAt: FirstDay.Add(-24 * time.Hour), Kind: "bucket", VolumeL: new(10.0), DurationS: new(25.0),
		GardenID: garden, ID: newID(), Revision: 1,
	}, edit)
	if values.WaterSourceID == uuid.Nil {
		values.WaterSourceID = WaterSource(t, db, garden).ID
	}
	return made(t, db, garden, values, nil, (*repo.Queries).FlowTestInsert)
}

// WaterHours makes hours from 06:00 to 09:30 on all days, for all sources.
func WaterHours(t testing.TB, db repo.Beginner, garden uuid.UUID, edit ...func(*repo.WaterHoursValues)) repo.WaterHours {
	t.Helper()
	return made(t, db, garden, repo.WaterHoursValues{
		Weekdays: []int16{1, 2, 3, 4, 5, 6, 7}, StartLocal: "06:00", EndLocal: "09:30", GardenID: garden, ID: newID(), Revision: 1,
	}, edit, (*repo.Queries).WaterHoursInsert)
}

// Closure makes a closure of all sources on the first day.
func Closure(t testing.TB, db repo.Beginner, garden uuid.UUID, edit ...func(*repo.ClosureValues)) repo.Closure {
	t.Helper()
	return made(t, db, garden, repo.ClosureValues{
		FirstDay: FirstDay, LastDay: FirstDay, Weekdays: []int16{}, DayParity: "all", ExemptMethods: []string{}, Rule: "Pipe repair",
		GardenID: garden, ID: newID(), Revision: 1,
	}, edit, (*repo.Queries).ClosureInsert)
}

// Plot makes a plot of 20 m² that is watered through layouts.
func Plot(t testing.TB, db repo.Beginner, garden uuid.UUID, edit ...func(*repo.PlotValues)) repo.Plot {
	t.Helper()
	return made(t, db, garden, repo.PlotValues{
		Label: numbered("Plot"), AreaM2: 20, Method: "layout", GardenID: garden, ID: newID(), Revision: 1,
	}, edit, (*repo.Queries).PlotInsert)
}

// PlotHolder makes a holder from the first day on, of a new plot and a new member unless they are named.
func PlotHolder(t testing.TB, db repo.Beginner, garden uuid.UUID, edit ...func(*repo.PlotHolderValues)) repo.PlotHolder {
	t.Helper()
	values := edited(repo.PlotHolderValues{HeldFrom: FirstDay, GardenID: garden, ID: newID(), Revision: 1}, edit)
	if values.PlotID == uuid.Nil {
		values.PlotID = Plot(t, db, garden).ID
	}
	if values.MemberID == uuid.Nil {
		values.MemberID = Member(t, db, garden).ID
	}
	return made(t, db, garden, values, nil, (*repo.Queries).PlotHolderInsert)
}

// Layout makes a layout with its first revision as a draft, of a new plot and source unless they are named. With the
// status submitted, accepted or returned, its revision has that status, too; that of a retired one is superseded. The document is empty unless one is given.
func Layout(t testing.TB, db repo.Beginner, garden uuid.UUID, spec json.RawMessage, edit ...func(*repo.LayoutValues)) repo.Layout {
	t.Helper()
	values := edited(repo.LayoutValues{
		Name: numbered("Layout"), Status: "draft", LatestNumber: 1, GardenID: garden, ID: newID(), Revision: 1,
	}, edit)
	if values.PlotID == uuid.Nil {
		values.PlotID = Plot(t, db, garden).ID
	}
	if values.WaterSourceID == uuid.Nil {
		values.WaterSourceID = WaterSource(t, db, garden).ID
	}
	if values.Status == "accepted" {
		values.AcceptedNumber = &values.LatestNumber
	}
	status := values.Status
	if status == "retired" {
		status = "superseded"
	}
	if spec == nil {
		spec = json.RawMessage("{}")
	}
	return made(t, db, garden, values, nil, func(q *repo.Queries, ctx context.Context, v repo.LayoutValues) (repo.Layout, error) {
		layout, err := q.LayoutInsert(ctx, v)
		if err != nil {
			return repo.Layout{}, err
		}
		_, err = q.LayoutRevisionInsert(ctx, repo.LayoutRevisionValues{
			Status: status, Spec: spec, Author: "Wren", GardenID: garden, LayoutID: v.ID, Number: v.LatestNumber,
		})
		return layout, err
	})
}

// Planting makes a planting of 10 m² on the first day, on a new plot unless one is named.
func Planting(t testing.TB, db repo.Beginner, garden uuid.UUID, edit ...func(*repo.PlantingValues)) repo.Planting {
	t.Helper()
	values := edited(repo.PlantingValues{
		Crop: "lettuce", CropConstants: json.RawMessage(`{"code": "lettuce"}`), PlantedOn: FirstDay, AreaM2: 10, WettedFraction: 0.4, Mulch: "none",
		GardenID: garden, ID: newID(), Revision: 1,
	}, edit)
	if values.PlotID == uuid.Nil {
		values.PlotID = Plot(t, db, garden).ID
	}
	return made(t, db, garden, values, nil, (*repo.Queries).PlantingInsert)
}

// Dig makes a dig that found moist soil on the first day, on a new plot unless one is named.
func Dig(t testing.TB, db repo.Beginner, garden uuid.UUID, edit ...func(*repo.DigValues)) repo.Dig {
	t.Helper()
	values := edited(repo.DigValues{Day: FirstDay, Finding: new("moist"), Reporter: "Wren", GardenID: garden, ID: newID(), Revision: 1}, edit)
	if values.PlotID == uuid.Nil {
		values.PlotID = Plot(t, db, garden).ID
	}
	return made(t, db, garden, values, nil, (*repo.Queries).DigInsert)
}

// RainReading makes a reading of 5 mm on the first day, on a new plot unless one is named.
func RainReading(t testing.TB, db repo.Beginner, garden uuid.UUID, edit ...func(*repo.RainReadingValues)) repo.RainReading {
	t.Helper()
	values := edited(repo.RainReadingValues{Day: FirstDay, RainMm: 5, Reporter: "Wren", GardenID: garden, ID: newID(), Revision: 1}, edit)
	if values.PlotID == uuid.Nil {
		values.PlotID = Plot(t, db, garden).ID
	}
	return made(t, db, garden, values, nil, (*repo.Queries).RainReadingInsert)
}

// OwnCrop makes a crop of the garden's own that waters like lettuce with deeper roots.
func OwnCrop(t testing.TB, db repo.Beginner, garden uuid.UUID, edit ...func(*repo.OwnCropValues)) repo.OwnCrop {
	t.Helper()
	return made(t, db, garden, repo.OwnCropValues{
		Code: "lettuce", Constants: json.RawMessage(`{"code": "lettuce", "root_depth_m": 0.4}`), GardenID: garden, ID: newID(), Revision: 1,
	}, edit, (*repo.Queries).OwnCropInsert)
}

// StoredPipe makes a stored pipe of 3 m without holes.
func StoredPipe(t testing.TB, db repo.Beginner, garden uuid.UUID, edit ...func(*repo.StoredPipeValues)) repo.StoredPipe {
	t.Helper()
	return made(t, db, garden, repo.StoredPipeValues{
		Label: numbered("Pipe"), Piece: json.RawMessage(`{"pipe":{"size":"1/2","wall":"schedule 40"},"length_m":3}`),
		Plugged: json.RawMessage("[]"), Condition: "good", GardenID: garden, ID: newID(), Revision: 1,
	}, edit, (*repo.Queries).StoredPipeInsert)
}

// Webhook makes an active webhook of published rotations, with its secret.
func Webhook(t testing.TB, db repo.Beginner, garden uuid.UUID, edit ...func(*repo.WebhookValues)) repo.Webhook {
	t.Helper()
	return made(t, db, garden, repo.WebhookValues{
		Url: "https://valves.example.org/garden", Events: []string{"rotation.published"}, Active: true, GardenID: garden, ID: newID(), Revision: 1,
	}, edit, func(q *repo.Queries, ctx context.Context, v repo.WebhookValues) (repo.Webhook, error) {
		hook, err := q.WebhookInsert(ctx, v)
		if err != nil {
			return hook, err
		}
		return hook, q.WebhookSecretInsert(ctx, garden, v.ID, "rts_test")
	})
}

// Rotation makes a proposed rotation of seven days from the first day on, with its documents.
func Rotation(t testing.TB, db repo.Beginner, garden uuid.UUID, edit ...func(*repo.RotationValues)) repo.Rotation {
	t.Helper()
	return made(t, db, garden, repo.RotationValues{
		Status: "proposed", StartsAt: FirstDay, EndsAt: FirstDay.AddDate(0, 0, 7), FirstDay: FirstDay, Days: 7, PlanRevision: 1,
		EngineVersion: "test", Effort: "fast", InputSha256: make([]byte, 32), GardenID: garden, ID: newID(), Revision: 1,
	}, edit, func(q *repo.Queries, ctx context.Context, v repo.RotationValues) (repo.Rotation, error) {
		rotation, err := q.RotationInsert(ctx, v)
		if err != nil {
			return repo.Rotation{}, err
		}
		return rotation, q.RotationDocumentInsert(ctx, garden, v.ID, []byte("{}"), []byte("{}"))
	})
}

// Turn makes a proposed turn of half an hour at six on the first day that serves one plot; rotation, source and plot are
// new unless named.
func Turn(t testing.TB, db repo.Beginner, garden uuid.UUID, plot uuid.UUID, edit ...func(*repo.Turn)) repo.Turn {
	t.Helper()
	values := edited(repo.Turn{
		Zone: "A", Kind: "zone", StartsAt: FirstDay.Add(6 * time.Hour), EndsAt: FirstDay.Add(6*time.Hour + 30*time.Minute),
		FlowLPerMin: 28, Status: "proposed", GardenID: garden, ID: newID(), Revision: 1,
	}, edit)
	if values.RotationID == uuid.Nil {
		values.RotationID = Rotation(t, db, garden).ID
	}
	if values.WaterSourceID == uuid.Nil {
		values.WaterSourceID = WaterSource(t, db, garden).ID
	}
	if plot == uuid.Nil {
		plot = Plot(t, db, garden).ID
	}
	return made(t, db, garden, values, nil, func(q *repo.Queries, ctx context.Context, v repo.Turn) (repo.Turn, error) {
		if err := q.TurnPut(ctx, []repo.Turn{v}); err != nil {
			return repo.Turn{}, err
		}
		members := []repo.TurnMember{{GardenID: garden, TurnID: v.ID, PlotID: plot, VolumeL: 300}}
		if err := q.TurnMemberInsert(ctx, members); err != nil {
			return repo.Turn{}, err
		}
		return q.TurnByID(ctx, garden, v.ID)
	})
}

// TurnReport makes a report that a turn was done, a new one unless it is named.
func TurnReport(t testing.TB, db repo.Beginner, garden uuid.UUID, edit ...func(*repo.TurnReportValues)) repo.TurnReport {
	t.Helper()
	values := edited(repo.TurnReportValues{Outcome: "done", Reporter: "Wren", GardenID: garden, ID: newID()}, edit)
	if values.TurnID == uuid.Nil {
		values.TurnID = Turn(t, db, garden, uuid.Nil).ID
	}
	return made(t, db, garden, values, nil, (*repo.Queries).TurnReportInsert)
}

func newID() uuid.UUID { return uuid.Must(uuid.NewV7()) }
