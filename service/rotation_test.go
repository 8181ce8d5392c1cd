package service

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/repo/repotest"
	"rillturn.example/rillturn/service/file"
)

// newPlannableWorld is a garden with hours on three mornings a week, one drilled layout on the gardener's plot and one hose plot.
func newPlannableWorld(t *testing.T) *world {
	t.Helper()
	w := newWorld(t)
	repotest.WaterHours(t, w.pool, w.garden, func(v *repo.WaterHoursValues) { v.Weekdays = []int16{2, 4, 6} })
	w.layoutIn(t, "accepted")
	repotest.Planting(t, w.pool, w.garden, lettuce(t, w.plot))
	hose := repotest.Plot(t, w.pool, w.garden, func(v *repo.PlotValues) {
		v.Label, v.Method, v.WaterSourceID, v.HoseFlowLPerMin = "Z hose", "hose", &w.source, new(10.0)
	})
	repotest.Planting(t, w.pool, w.garden, lettuce(t, hose.ID))
	return w
}

func lettuce(t *testing.T, plot uuid.UUID) func(*repo.PlantingValues) {
	t.Helper()
	return func(v *repo.PlantingValues) {
		v.PlotID, v.CropConstants, v.AreaM2, v.WettedFraction = plot, libraryCrop(t, "lettuce"), 20, 0.8
	}
}

func (w *world) propose(t *testing.T, first string) repo.Rotation {
	t.Helper()
	return must[repo.Rotation](t)(w.ProposeRotation(t.Context(), w.coordinator, w.week(t, first)))
}

func (w *world) week(t *testing.T, first string) Proposal {
	t.Helper()
	d := day(t, first)
	return Proposal{FirstDay: &d, Days: 7, Effort: "fast", Seed: 1}
}

func (w *world) publish(t *testing.T, r repo.Rotation) repo.Rotation {
	t.Helper()
	return must[repo.Rotation](t)(w.PublishRotation(t.Context(), w.coordinator, r.ID, r.Revision, false))
}

// turnsOf are the turns that rotation r has now, by start.
func (w *world) turnsOf(t *testing.T, r uuid.UUID) []repo.Turn {
	t.Helper()
	var turns []repo.Turn
	w.inGarden(t, func(q *repo.Queries) error {
		var err error
		turns, err = q.TurnListByRotation(t.Context(), w.garden, r)
		return err
	})
	return turns
}

func (w *world) bindingTurns(t *testing.T) []repo.ScheduledTurn {
	t.Helper()
	turns, _, err := w.Turns(t.Context(), w.gardener, repo.TurnFilter{}, Page{Limit: 500})
	if err != nil {
		t.Fatal(err)
	}
	return turns
}

func TestProposeRotation_canBeComputedAgainToTheByte(t *testing.T) {
	t.Parallel()
	w := newPlannableWorld(t)
	ctx := t.Context()
	r := w.propose(t, "2026-07-07")
	plan, _ := w.versions(t)
	if r.Status != "proposed" || r.PlanRevision != plan || r.EngineVersion != EngineVersion || r.Days != 7 {
		t.Errorf("%+v", r)
	}
	// Midnight to midnight in Los Angeles, seven hours behind Greenwich in July.
	if want := time.Date(2026, time.July, 7, 7, 0, 0, 0, time.UTC); !r.StartsAt.Equal(want) || !r.EndsAt.Equal(want.AddDate(0, 0, 7)) {
		t.Errorf("from %s to %s", r.StartsAt, r.EndsAt)
	}
	input, hash, err := w.RotationInput(ctx, w.coordinator, r.ID)
	if err != nil {
		t.Fatal(err)
	}
	if sum := sha256.Sum256(input); !bytes.Equal(hash, sum[:]) || !bytes.Equal(r.InputSha256, hash) {
		t.Error("the hash is not that of the stored input")
	}
	output, _, err := w.RotationPlan(ctx, w.gardener, r.ID)
	if err != nil {
		t.Fatal(err)
	}
	g, err := file.ReadGarden(bytes.NewReader(input))
	if err != nil {
		t.Fatal(err)
	}
	made, err := PlanGarden(g, nil)
	if err != nil {
		t.Fatal(err)
	}
	again, err := json.Marshal(made)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(again, output) {
		t.Error("the stored input gives another output")
	}
	if len(made.Turns) == 0 || len(made.Turns) != len(w.turnsOf(t, r.ID)) {
		t.Errorf("%d turns planned, %d stored", len(made.Turns), len(w.turnsOf(t, r.ID)))
	}
	if shown := w.bindingTurns(t); len(shown) > 0 {
		t.Errorf("%d turns of a proposal are shown as the schedule", len(shown))
	}
	twin := w.propose(t, "2026-07-07")
	other, _, err := w.RotationPlan(ctx, w.gardener, twin.ID)
	if err != nil || !bytes.Equal(other, output) {
		t.Errorf("the same question got another plan: %v", err)
	}
}

func TestProposeRotation_beginsTomorrowOnTheGardensCalendar(t *testing.T) {
	t.Parallel()
	w := newPlannableWorld(t)
	w.now = time.Date(2026, time.July, 7, 5, 0, 0, 0, time.UTC) // still the 6th in Los Angeles
	r := must[repo.Rotation](t)(w.ProposeRotation(t.Context(), w.coordinator, Proposal{Days: 7, Effort: "fast"}))
	if got := r.FirstDay.Format(time.DateOnly); got != "2026-07-07" {
		t.Errorf("begins on %s", got)
	}
}

func TestProposeRotation_refusals(t *testing.T) {
	t.Parallel()
	w := newPlannableWorld(t)
	_, err := w.ProposeRotation(t.Context(), w.gardener, w.week(t, "2026-07-07"))
	wantKind(t, err, Forbidden)
	_, err = w.ProposeRotation(t.Context(), w.integration, w.week(t, "2026-07-07"))
	wantKind(t, err, Forbidden)

	w.planning.Store(w.garden, true) // as while another request plans
	_, err = w.ProposeRotation(t.Context(), w.coordinator, w.week(t, "2026-07-07"))
	wantKind(t, err, Conflict)
	w.planning.Delete(w.garden)

	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err = w.ProposeRotation(ended, w.coordinator, w.week(t, "2026-07-07")); err == nil {
		t.Error("a plan nobody waits for is kept")
	}
	untested := must[repo.WaterSource](t)(w.CreateWaterSource(t.Context(), w.coordinator, repo.WaterSourceValues{
		Name: "South tap", Kind: "spigot", HoseConnections: 1,
	}))
	_, err = w.ProposeRotation(t.Context(), w.coordinator, w.week(t, "2026-07-07"))
	if refused := refusal(t, err, Conflict); !strings.Contains(refused.Detail, untested.Name) {
		t.Errorf("%q doesn't name %s", refused.Detail, untested.Name)
	}
	if rows, _, err := w.Rotations(t.Context(), w.coordinator, Page{Limit: 10}); err != nil || len(rows) > 0 {
		t.Errorf("%d rotations are kept, %v", len(rows), err)
	}
	if _, busy := w.planning.Load(w.garden); busy {
		t.Error("the garden stays marked as being planned")
	}
}

func TestPublishRotation_refusals(t *testing.T) {
	t.Parallel()
	w := newPlannableWorld(t)
	ctx := t.Context()
	r := w.propose(t, "2026-07-07")
	_, err := w.PublishRotation(ctx, w.coordinator, r.ID, r.Revision+1, false)
	wantKind(t, err, Stale)
	_, err = w.PublishRotation(ctx, w.gardener, r.ID, r.Revision, false)
	wantKind(t, err, Forbidden)
	_, err = w.PublishRotation(ctx, w.coordinator, w.newID(), 1, false)
	wantKind(t, err, NotFound)

	if _, err := w.CreatePlot(ctx, w.coordinator, plotValues("new")); err != nil { // the garden changes under the proposal
		t.Fatal(err)
	}
	_, err = w.PublishRotation(ctx, w.coordinator, r.ID, r.Revision, false)
	refused := refusal(t, err, Conflict)
	if want := fmt.Sprintf("plan revision %d, now %d", r.PlanRevision, r.PlanRevision+1); !strings.Contains(refused.Detail, want) {
		t.Errorf("%q doesn't say %q", refused.Detail, want)
	}
	before := w.now
	w.now = r.EndsAt
	_, err = w.PublishRotation(ctx, w.coordinator, r.ID, r.Revision, true)
	wantKind(t, err, Conflict)
	w.now = before
	_, schedule := w.versions(t)
	published, err := w.PublishRotation(ctx, w.coordinator, r.ID, r.Revision, true) // asked for all the same
	if err != nil || published.Status != "published" || published.PublishedAt == nil {
		t.Fatalf("%+v, %v", published, err)
	}
	if _, after := w.versions(t); after <= schedule {
		t.Error("publishing left the schedule's version alone")
	}
	_, err = w.PublishRotation(ctx, w.coordinator, r.ID, published.Revision, true)
	wantKind(t, err, Conflict)
}

// Publishing again over the same days: turns that go on keep their ids, with a higher sequence when they change; the others are cancelled,
// and the rotation before is out of force.
func TestPublishRotation_keepsTheIdsOfTurnsThatGoOn(t *testing.T) {
	t.Parallel()
	w := newPlannableWorld(t)
	ctx := t.Context()
	first := w.publish(t, w.propose(t, "2026-07-07"))
	turns := w.turnsOf(t, first.ID)
	opened := turns[slices.IndexFunc(turns, func(x repo.Turn) bool { return x.Kind == "zone" })]
	w.inGarden(t, func(q *repo.Queries) error {
		var err error
		opened, err = q.TurnSetOpener(ctx, w.gardener.Member, w.garden, opened.ID, opened.Revision)
		return err
	})
	before := map[uuid.UUID]repo.ScheduledTurn{}
	for _, turn := range w.bindingTurns(t) {
		before[turn.ID] = turn
	}
	// The hose plot gets no more water: its turns drop out, those of the layout go on.
	plots := must[[]repo.Plot](t)(drop(w.Plots(ctx, w.coordinator, Page{Limit: 50})))
	hose := plots[slices.IndexFunc(plots, func(p repo.Plot) bool { return p.Method == "hose" })]
	if _, err := w.ReplacePlot(ctx, w.coordinator, hose.ID, hose.Revision, repo.PlotValues{Label: hose.Label, AreaM2: hose.AreaM2, Method: "none"}); err != nil {
		t.Fatal(err)
	}
	second := w.publish(t, w.propose(t, "2026-07-07"))
	if old := must[repo.Rotation](t)(w.Rotation(ctx, w.coordinator, first.ID)); old.Status != "superseded" || old.SupersededAt == nil {
		t.Errorf("the first rotation is %s", old.Status)
	}
	if now := must[repo.Rotation](t)(w.CurrentRotation(ctx, w.gardener)); now.ID != second.ID {
		t.Errorf("in force is %s", now.ID)
	}
	kept, cancelled := 0, 0
	for _, turn := range w.bindingTurns(t) {
		old, known := before[turn.ID]
		switch {
		case !known && (turn.Sequence != 0 || turn.Status != "planned"):
			t.Errorf("a new turn is %s at sequence %d", turn.Status, turn.Sequence)
		case !known:
		case (turn.Sequence > old.Sequence) != (turn.Status != old.Status || !turn.StartsAt.Equal(old.StartsAt) || !turn.EndsAt.Equal(old.EndsAt)):
			t.Errorf("turn %s is %s at %s at sequence %d, was %s at %d", turn.ID, turn.Status, turn.StartsAt, turn.Sequence, old.StartsAt, old.Sequence)
		case turn.Status == "cancelled":
			cancelled++
			if turn.RotationID != first.ID {
				t.Errorf("a cancelled turn moved to rotation %s", turn.RotationID)
			}
		default:
			kept++
			if turn.RotationID != second.ID || turn.Kind != old.Kind || turn.Kind == "hose" || !turn.StartsAt.Truncate(24*time.Hour).Equal(old.StartsAt.Truncate(24*time.Hour)) {
				t.Errorf("the turn of %s goes on as %s at %s in rotation %s", old.StartsAt, turn.Kind, turn.StartsAt, turn.RotationID)
			}
		}
		delete(before, turn.ID)
	}
	if len(before) > 0 {
		t.Errorf("%d turns have vanished", len(before))
	}
	if kept == 0 || cancelled == 0 {
		t.Errorf("%d turns go on, %d are cancelled: the test needs both", kept, cancelled)
	}
	if turn := must[repo.ScheduledTurn](t)(w.Turn(ctx, w.gardener, opened.ID)); turn.Status != "planned" || turn.OpenerID == nil || *turn.OpenerID != *w.gardener.Member {
		t.Error("a turn that goes on lost its opener")
	}
	for _, turn := range w.bindingTurns(t) {
		if turn.Status == "planned" && len(turn.Members) != 1 {
			t.Errorf("turn %s has %d members", turn.ID, len(turn.Members))
		}
	}
}

func drop[V, C any](v V, _ C, err error) (V, error) { return v, err }

// A rotation published in the middle of another: what has begun stays as it was, what runs is not cut.
func TestPublishRotation_leavesPastAndRunningTurnsAlone(t *testing.T) {
	t.Parallel()
	w := newPlannableWorld(t)
	ctx := t.Context()
	first := w.publish(t, w.propose(t, "2026-07-07"))
	turns := w.turnsOf(t, first.ID)
	running := turns[len(turns)/2]
	w.now = running.StartsAt.Add(running.EndsAt.Sub(running.StartsAt) / 2)
	date := running.StartsAt.In(zone(t, "America/Los_Angeles")).Format(time.DateOnly)
	second := w.publish(t, w.propose(t, date)) // from the midnight before the running turn
	begun := 0
	for _, old := range turns {
		now := must[repo.ScheduledTurn](t)(w.Turn(ctx, w.gardener, old.ID))
		if !old.StartsAt.After(w.now) {
			begun++
			if now.Status != "planned" || now.Sequence != old.Sequence || !now.StartsAt.Equal(old.StartsAt) || !now.EndsAt.Equal(old.EndsAt) || now.RotationID != first.ID {
				t.Errorf("turn of %s, begun by %s, became %+v", old.StartsAt, w.now, now.Turn)
			}
		} else if changed := now.Status != "planned" || !now.StartsAt.Equal(old.StartsAt) || !now.EndsAt.Equal(old.EndsAt); changed != (now.Sequence > old.Sequence) {
			t.Errorf("turn of %s, still to come, is now %s at %s at sequence %d", old.StartsAt, now.Status, now.StartsAt, now.Sequence)
		}
	}
	if begun == 0 {
		t.Fatal("no turn had begun")
	}
	for _, turn := range w.turnsOf(t, second.ID) {
		if turn.StartsAt.Before(running.EndsAt) {
			t.Errorf("a turn of the new rotation begins at %s, while or before another runs until %s", turn.StartsAt, running.EndsAt)
		}
		if turn.Status == "proposed" {
			t.Errorf("a turn of the published rotation stays proposed")
		}
	}
	w.onePublishedAtATime(t)
}

func (w *world) onePublishedAtATime(t *testing.T) {
	t.Helper()
	rotations := must[[]repo.Rotation](t)(drop(w.Rotations(t.Context(), w.coordinator, Page{Limit: 50})))
	for i, a := range rotations {
		for _, b := range rotations[i+1:] {
			if a.Status == "published" && b.Status == "published" && a.StartsAt.Before(b.EndsAt) && b.StartsAt.Before(a.EndsAt) {
				t.Errorf("two rotations are in force from %s to %s and from %s to %s", a.StartsAt, a.EndsAt, b.StartsAt, b.EndsAt)
			}
		}
	}
	planned := slices.DeleteFunc(w.bindingTurns(t), func(x repo.ScheduledTurn) bool { return x.Status != "planned" })
	for i := 1; i < len(planned); i++ { // one source: no two at a time
		if planned[i].StartsAt.Before(planned[i-1].EndsAt) {
			t.Errorf("turns of %s and %s overlap", planned[i-1].StartsAt, planned[i].StartsAt)
		}
	}
}

func TestPublishRotation_twoAtTheSameMoment(t *testing.T) {
	t.Parallel()
	w := newPlannableWorld(t)
	proposals := []repo.Rotation{w.propose(t, "2026-07-07"), w.propose(t, "2026-07-08"), w.propose(t, "2026-07-09")}
	errs := make([]error, len(proposals))
	var done sync.WaitGroup
	for i, r := range proposals {
		done.Go(func() { _, errs[i] = w.PublishRotation(t.Context(), w.coordinator, r.ID, r.Revision, false) })
	}
	done.Wait()
	for i, err := range errs {
		if err != nil {
			t.Errorf("proposal %d: %v", i, err)
		}
	}
	w.onePublishedAtATime(t)
	if _, err := w.Schedule(t.Context(), w.integration, nil, 0); err != nil {
		t.Error(err)
	}
}

// reported is a published turn of half an hour that gave a plot 300 L, on the day before the clock's.
func (w *world) reported(t *testing.T, rotation, plot uuid.UUID, hour int, edit ...func(*repo.Turn)) repo.Turn {
	t.Helper()
	start := w.now.AddDate(0, 0, -1).Truncate(24 * time.Hour).Add(time.Duration(hour) * time.Hour)
	return repotest.Turn(t, w.pool, w.garden, plot, func(v *repo.Turn) {
		v.RotationID, v.WaterSourceID, v.Status, v.StartsAt, v.EndsAt = rotation, w.source, "planned", start, start.Add(30*time.Minute)
		for _, e := range edit {
			e(v)
		}
	})
}

func TestCreateReport_whoAndWhen(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx := t.Context()
	rotation := repotest.Rotation(t, w.pool, w.garden).ID
	own, foreign := w.reported(t, rotation, w.plot, 13), w.reported(t, rotation, w.foreignPlot, 14)
	opened := w.reported(t, rotation, w.foreignPlot, 15, func(v *repo.Turn) { v.OpenerID = w.gardener.Member })
	future := w.reported(t, rotation, w.plot, 13+24*2)
	starting := w.reported(t, rotation, w.plot, 15+24, func(v *repo.Turn) { v.StartsAt, v.EndsAt = w.now, w.now.Add(time.Hour) })
	proposed := w.reported(t, rotation, w.plot, 16, func(v *repo.Turn) { v.Status = "proposed" })
	for _, c := range []struct {
		name string
		who  Principal
		turn uuid.UUID
		want Kind
	}{
		{"the holder of the plot", w.gardener, own.ID, 0},
		{"another's plot", w.gardener, foreign.ID, Forbidden},
		{"the opener of another's", w.gardener, opened.ID, 0},
		{"a coordinator", w.coordinator, foreign.ID, 0},
		{"an integration", w.integration, foreign.ID, 0},
		{"an operator", w.operator, own.ID, Forbidden},
		{"before it begins", w.coordinator, future.ID, Conflict},
		{"at its first moment", w.coordinator, starting.ID, 0},
		{"only proposed", w.coordinator, proposed.ID, NotFound},
		{"no such turn", w.coordinator, w.newID(), NotFound},
	} {
		before, _ := w.versions(t)
		made, err := w.CreateReport(ctx, c.who, repo.TurnReportValues{TurnID: c.turn, Outcome: "done"})
		wantKind(t, err, c.want)
		if err == nil && made.Reporter != c.who.Name {
			t.Errorf("%s: reported by %q", c.name, made.Reporter)
		}
		if after, _ := w.versions(t); (after > before) != (c.want == 0) {
			t.Errorf("%s: plan revision from %d to %d", c.name, before, after)
		}
	}
	for _, outcome := range []string{"part", "overran", "pressure_lost"} {
		_, err := w.CreateReport(ctx, w.gardener, repo.TurnReportValues{TurnID: own.ID, Outcome: outcome})
		wantField(t, err, "/duration_min")
	}
	_, err := w.CreateReport(ctx, w.gardener, repo.TurnReportValues{TurnID: own.ID, Outcome: "rained"})
	wantField(t, err, "/outcome")
	left := must[[]repo.PlotHolder](t)(drop(w.Holders(ctx, w.coordinator, w.plot, Page{Limit: 5})))[0]
	if _, err := w.ReplaceHolder(ctx, w.coordinator, left.ID, left.Revision, repo.PlotHolderValues{
		PlotID: w.plot, MemberID: *w.gardener.Member, HeldFrom: left.HeldFrom, HeldTo: new(w.now.AddDate(0, 0, -1)),
	}); err != nil {
		t.Fatal(err)
	}
	_, err = w.CreateReport(ctx, w.gardener, repo.TurnReportValues{TurnID: own.ID, Outcome: "done"})
	wantKind(t, err, Forbidden) // held it while it ran, but not today
}

// What was reported, and what nobody reported, is what the next plan starts from. A turn published for 300 L in 30 min
// gives 300 L when done, 300 · 10/30 = 100 L in 10 min, 300 · 45/30 = 450 L in 45 min.
func TestSnapshot_wateringsComeFromReports(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx := t.Context()
	rotation := repotest.Rotation(t, w.pool, w.garden).ID
	type report struct {
		outcome string
		minutes float64 // 0 for none
	}
	cases := []struct {
		reports []report
		outcome string
		volume  float64
	}{
		{nil, "", 300},
		{[]report{{"done", 0}}, "done", 300},
		{[]report{{"done", 20}}, "done", 200},
		{[]report{{"part", 10}}, "part", 100},
		{[]report{{"overran", 45}}, "overran", 450},
		{[]report{{"pressure_lost", 15}}, "pressure_lost", 150},
		{[]report{{"missed", 0}}, "missed", 0},
		{[]report{{"skipped_wet", 0}}, "skipped_wet", 0},
		{[]report{{"done", 0}, {"missed", 0}, {"part", 12}}, "part", 120}, // the last one holds
	}
	for i, c := range cases {
		turn := w.reported(t, rotation, w.plot, 7+i) // midnight in Los Angeles is at seven
		for _, r := range c.reports {
			v := repo.TurnReportValues{TurnID: turn.ID, Outcome: r.outcome}
			if r.minutes > 0 {
				v.DurationMin = &r.minutes
			}
			if _, err := w.CreateReport(ctx, w.coordinator, v); err != nil {
				t.Fatal(err)
			}
		}
	}
	w.reported(t, rotation, w.plot, 20, func(v *repo.Turn) { v.Status = "cancelled" })
	w.reported(t, rotation, w.plot, 21, func(v *repo.Turn) { v.Status = "proposed" })
	w.reported(t, rotation, w.plot, 7+24) // on the first day of the horizon: not before it
	var g file.Garden
	err := repo.InTenant(ctx, w.pool, w.garden, func(tx pgx.Tx) error {
		var err error
		g, err = snapshot(ctx, tx, w.garden, file.Horizon{FirstDay: day(t, "2026-07-06"), Days: 7}, time.Time{})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(g.Waterings) != len(cases) {
		t.Fatalf("%d waterings of %d turns", len(g.Waterings), len(cases))
	}
	for _, c := range cases {
		i := slices.IndexFunc(g.Waterings, func(x file.Watering) bool {
			counts := x.Engine("").Booked().Volume.Liters()
			return x.Outcome == c.outcome && x.PlotID == w.plot.String() && counts > c.volume-1e-9 && counts < c.volume+1e-9
		})
		if i < 0 {
			t.Errorf("%v: no watering %s of %v L in %+v", c.reports, c.outcome, c.volume, g.Waterings)
			continue
		}
		if got := g.Waterings[i].Day.Format(time.DateOnly); got != "2026-07-05" {
			t.Errorf("%v: on %s", c.reports, got)
		}
		g.Waterings = slices.Delete(g.Waterings, i, i+1)
	}
}
