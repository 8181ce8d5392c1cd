package service

import (
	"log/slog"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/rivertype"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/repo/repotest"
	"rillturn.example/rillturn/service/file"
)

// at moves the clock to some hours after the beginning of a rotation.
func (w *world) at(r repo.Rotation, hours float64) {
	w.now = r.StartsAt.Add(time.Duration(hours * float64(time.Hour)))
}

// Proposing the same days again, in the middle of them and with nothing changed, proposes what is published; publishing
// that changes nothing that anybody sees.
func TestProposeRotation_nothingChangedProposesThePublished(t *testing.T) {
	t.Parallel()
	w := newPlannableWorld(t)
	ctx := t.Context()
	first := w.publish(t, w.propose(t, "2026-07-07"))
	w.at(first, 60)
	before := w.bindingTurns(t)
	again := w.propose(t, "2026-07-07")
	c := must[Comparison](t)(w.CompareRotation(ctx, w.gardener, again.ID))
	if c.ToCome == 0 || c.Kept != c.ToCome || len(c.Changed) > 0 || c.Part != 0 || c.Published.ID != first.ID {
		t.Errorf("of %d turns to come %d stay: %+v", c.ToCome, c.Kept, c.Changed)
	}
	for _, s := range c.Shares {
		if s.Was == nil || s.Now == nil || *s.Now < *s.Was-1e-9 {
			t.Errorf("the share of plot %s becomes worse: %v", s.PlotID, s)
		}
	}
	w.publish(t, again)
	after := w.bindingTurns(t)
	if len(after) != len(before) {
		t.Fatalf("%d turns became %d", len(before), len(after))
	}
	for i, turn := range after {
		old := before[i]
		if turn.ID != old.ID || turn.Sequence != old.Sequence || turn.Status != old.Status || !turn.StartsAt.Equal(old.StartsAt) || !turn.EndsAt.Equal(old.EndsAt) {
			t.Errorf("the turn of %s became %+v", old.StartsAt, turn.Turn)
		}
	}
}

// After a missed turn a new plan makes up for it with few changes; turns that go on keep their ids.
func TestProposeRotation_afterAMissedTurn(t *testing.T) {
	t.Parallel()
	w := newPlannableWorld(t)
	ctx := t.Context()
	first := w.publish(t, w.propose(t, "2026-07-07"))
	turns := w.bindingTurns(t)
	missed := turns[0]
	w.now = missed.EndsAt.Add(time.Hour)
	if _, err := w.CreateReport(ctx, w.coordinator, repo.TurnReportValues{TurnID: missed.ID, Outcome: "missed"}); err != nil {
		t.Fatal(err)
	}
	next := w.propose(t, "2026-07-07")
	c := must[Comparison](t)(w.CompareRotation(ctx, w.integration, next.ID))
	if c.Part > 0.25 && len(c.Forced) == 0 {
		t.Errorf("%.2f of the turns to come change, and no limit asks for it", c.Part)
	}
	w.publish(t, next)
	was := map[uuid.UUID]repo.ScheduledTurn{}
	for _, turn := range turns {
		was[turn.ID] = turn
	}
	for _, change := range c.Changed {
		id := uuid.Nil
		if change.Was != nil {
			id = change.Was.ID
		}
		if change.Kind == turnAdded {
			continue
		}
		now := must[repo.ScheduledTurn](t)(w.Turn(ctx, w.gardener, id))
		if now.Sequence <= was[id].Sequence || (now.Status == "cancelled") != (change.Kind == turnCancelled) {
			t.Errorf("turn %s is %s at sequence %d after it was %s", id, now.Status, now.Sequence, change.Kind)
		}
	}
	if now := must[repo.ScheduledTurn](t)(w.Turn(ctx, w.gardener, missed.ID)); now.Sequence != missed.Sequence || now.RotationID != first.ID {
		t.Errorf("the missed turn became %+v", now.Turn)
	}
	for id := range was {
		if _, err := w.Turn(ctx, w.gardener, id); err != nil {
			t.Errorf("turn %s has vanished: %v", id, err)
		}
	}
}

func TestLockTurn(t *testing.T) {
	t.Parallel()
	w := newPlannableWorld(t)
	ctx := t.Context()
	w.publish(t, w.propose(t, "2026-07-07"))
	turns := w.bindingTurns(t)
	last := turns[len(turns)-1]
	_, err := w.LockTurn(ctx, w.gardener, last.ID, last.Revision, true)
	wantKind(t, err, Forbidden)
	_, err = w.LockTurn(ctx, w.coordinator, last.ID, last.Revision+7, true)
	wantKind(t, err, Stale)
	_, err = w.LockTurn(ctx, w.coordinator, last.ID, last.Revision, false)
	wantKind(t, err, Conflict)
	_, err = w.LockTurn(ctx, w.coordinator, w.newID(), 1, true)
	wantKind(t, err, NotFound)
	before, _ := w.versions(t)
	locked := must[repo.ScheduledTurn](t)(w.LockTurn(ctx, w.coordinator, last.ID, last.Revision, true))
	if after, _ := w.versions(t); !locked.Locked || locked.Sequence != last.Sequence || after <= before {
		t.Errorf("%+v, plan revision from %d to %d", locked.Turn, before, after)
	}
	// Twice as much to water: other turns change, the locked one does not, and it stays locked.
	repotest.Planting(t, w.pool, w.garden, lettuce(t, last.Members[0].PlotID))
	w.publish(t, w.propose(t, "2026-07-07"))
	now := must[repo.ScheduledTurn](t)(w.Turn(ctx, w.gardener, last.ID))
	if !now.StartsAt.Equal(last.StartsAt) || !now.EndsAt.Equal(last.EndsAt) || now.Status != "planned" || !now.Locked {
		t.Errorf("the locked turn became %+v", now.Turn)
	}
	w.now = now.StartsAt
	_, err = w.LockTurn(ctx, w.coordinator, now.ID, now.Revision, false)
	wantKind(t, err, Conflict)
}

func TestPlanningRules(t *testing.T) {
	t.Parallel()
	w := newPlannableWorld(t)
	ctx := t.Context()
	plots := must[[]repo.Plot](t)(drop(w.Plots(ctx, w.coordinator, Page{Limit: 50})))
	hose := plots[slices.IndexFunc(plots, func(p repo.Plot) bool { return p.Method == "hose" })].ID.String()
	layout := must[[]repo.Layout](t)(drop(w.Layouts(ctx, w.coordinator, repo.LayoutFilter{}, Page{Limit: 50})))[0]
	rules, revision, err := w.PlanningRules(ctx, w.integration)
	if err != nil || revision != 1 || len(rules.Pins) > 0 {
		t.Fatalf("%+v at %d, %v", rules, revision, err)
	}
	set := func(r file.Planning) error {
		next, err := w.ReplacePlanningRules(ctx, w.coordinator, revision, r)
		if err == nil {
			revision = next
		}
		return err
	}
	_, err = w.ReplacePlanningRules(ctx, w.gardener, 1, file.Planning{})
	wantKind(t, err, Forbidden)
	_, err = w.ReplacePlanningRules(ctx, w.coordinator, 2, file.Planning{})
	wantKind(t, err, Stale)
	unknown := w.newID().String()
	for pointer, r := range map[string]file.Planning{
		"/pins/0/units/1":   {Pins: []file.Pin{{Units: []string{hose, unknown}}}},
		"/pins/1/units/0":   {Pins: []file.Pin{{Units: []string{hose}, Alone: true}, {Units: []string{hose}, Alone: true}}},
		"/apart/0/units":    {Apart: []file.Apart{{Units: []string{hose, hose}}}},
		"/excluded/0":       {Excluded: []string{unknown}},
		"/excluded/1":       {Excluded: []string{hose, hose}},
		"/serve_first/1":    {ServeFirst: []string{"communal", "communal"}},
		"/attended_hours/0": {AttendedHours: []string{unknown}},
	} {
		wantField(t, set(r), pointer)
	}
	before, _ := w.versions(t)
	if err := set(file.Planning{Excluded: []string{hose}, Pins: []file.Pin{{Units: []string{layout.ID.String()}, Alone: true}}}); err != nil {
		t.Fatal(err)
	}
	if after, _ := w.versions(t); after <= before || revision != 2 {
		t.Errorf("plan revision from %d to %d, rules at %d", before, after, revision)
	}
	for _, turn := range w.turnsOf(t, w.propose(t, "2026-07-07").ID) {
		if turn.Kind == "hose" {
			t.Error("an excluded plot is watered")
		}
	}
	if _, err := w.RetireLayout(ctx, w.coordinator, layout.ID, layout.Revision); err != nil { // the pin names it still
		t.Fatal(err)
	}
	if err := set(file.Planning{Pins: []file.Pin{{Units: []string{layout.ID.String()}, Alone: true}}}); err == nil {
		t.Error("a retired layout can be pinned")
	}
	w.inGarden(t, func(q *repo.Queries) error {
		_, err := q.PlanningRulesPut(ctx, w.garden, []byte(`{"pins": [{"units": ["`+layout.ID.String()+`"]}]}`), revision)
		return err
	})
	if turns := w.turnsOf(t, w.propose(t, "2026-07-07").ID); len(turns) == 0 {
		t.Error("nothing is planned")
	}
}

// full asks for a plan that a job makes.
func (w *world) full(t *testing.T) repo.Rotation {
	t.Helper()
	ask := w.week(t, "2026-07-07")
	ask.Effort = "full"
	return must[repo.Rotation](t)(w.ProposeRotation(t.Context(), w.coordinator, ask))
}

func (w *world) status(t *testing.T, id uuid.UUID) repo.Rotation {
	t.Helper()
	return must[repo.Rotation](t)(w.Rotation(t.Context(), w.coordinator, id))
}

// job is a try of the job that plans a rotation.
func (w *world) job(r repo.Rotation, try int) (*planWorker, *river.Job[planJob]) {
	return &planWorker{svc: w.Service}, &river.Job[planJob]{JobRow: &rivertype.JobRow{Attempt: try}, Args: planJob{w.garden, r.ID}}
}

func TestPlanJob_plansWhatWasAskedFor(t *testing.T) {
	t.Parallel()
	w := newPlannableWorld(t)
	r := w.full(t)
	if r.Status != "planning" || len(w.turnsOf(t, r.ID)) > 0 {
		t.Fatalf("%+v", r)
	}
	_, _, err := w.RotationPlan(t.Context(), w.coordinator, r.ID)
	wantKind(t, err, Conflict)
	_, err = w.ProposeRotation(t.Context(), w.coordinator, w.week(t, "2026-07-07"))
	wantKind(t, err, Conflict) // one at a time
	_, err = w.Replan(t.Context(), w.coordinator)
	wantKind(t, err, Conflict)
	if _, err := w.WhatIf(t.Context(), w.coordinator, 7, []Supposed{{Other: &file.WhatIf{Weather: "dry_week"}}}); err != nil {
		t.Errorf("looking at what might be is no plan: %v", err)
	}
	_, err = w.PublishRotation(t.Context(), w.coordinator, r.ID, r.Revision, false)
	wantKind(t, err, Conflict)
	stop, err := w.StartJobs(t.Context(), slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	for end := time.Now().Add(time.Minute); w.status(t, r.ID).Status == "planning"; time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("no job plans the rotation")
		}
	}
	if err := stop(); err != nil {
		t.Error(err)
	}
	made := w.status(t, r.ID)
	if made.Status != "proposed" || made.Revision != r.Revision+1 || len(w.turnsOf(t, r.ID)) == 0 {
		t.Fatalf("%+v", made)
	}
	w.publish(t, made)
}

func TestPlanJob_cancelledOrCutShort(t *testing.T) {
	t.Parallel()
	w := newPlannableWorld(t)
	ctx := t.Context()
	cancelled := w.full(t)
	_, err := w.CancelRotation(ctx, w.gardener, cancelled.ID, cancelled.Revision)
	wantKind(t, err, Forbidden)
	_, err = w.CancelRotation(ctx, w.coordinator, cancelled.ID, cancelled.Revision+1)
	wantKind(t, err, Stale)
	if _, err = w.CancelRotation(ctx, w.coordinator, cancelled.ID, cancelled.Revision); err != nil {
		t.Fatal(err)
	}
	worker, job := w.job(cancelled, 1)
	if err := worker.Work(ctx, job); err != nil || w.status(t, cancelled.ID).Status != "cancelled" || len(w.turnsOf(t, cancelled.ID)) > 0 {
		t.Errorf("a cancelled rotation is %+v, %v", w.status(t, cancelled.ID), err)
	}
	_, err = w.CancelRotation(ctx, w.coordinator, cancelled.ID, cancelled.Revision+1)
	wantKind(t, err, Conflict)

	r := w.full(t)
	ended, end := contextEnded(t)
	end()
	worker, job = w.job(r, 1)
	if err := worker.Work(ended, job); err == nil || w.status(t, r.ID).Status != "planning" { // another try follows
		t.Errorf("%+v, %v", w.status(t, r.ID), err)
	}
	if err := (&tidyWorker{svc: w.Service}).Work(ctx, nil); err != nil || w.status(t, r.ID).Status != "planning" {
		t.Errorf("a plan that was heard of just now is given up: %v", err)
	}
	worker, job = w.job(r, planTries)
	if err := worker.Work(ended, job); err == nil {
		t.Error("a plan cut short is no failure")
	}
	if got := w.status(t, r.ID); got.Status != "failed" || got.Trouble == nil {
		t.Errorf("%+v", got)
	}
	r = w.full(t) // the garden is free again
	worker, job = w.job(r, 2)
	if err := worker.Work(ctx, job); err != nil || w.status(t, r.ID).Status != "proposed" {
		t.Errorf("%+v, %v", w.status(t, r.ID), err)
	}
}

// What only the planner finds out is said in the rotation.
func TestPlanJob_saysWhatKeepsItFromPlanning(t *testing.T) {
	t.Parallel()
	w := newPlannableWorld(t)
	ctx := t.Context()
	r := w.full(t)
	w.inGarden(t, func(q *repo.Queries) error {
		_, err := q.RotationSettle(ctx, "cancelled", nil, w.garden, r.ID)
		return err
	})
	plots := must[[]repo.Plot](t)(drop(w.Plots(ctx, w.coordinator, Page{Limit: 50})))
	hose := plots[slices.IndexFunc(plots, func(p repo.Plot) bool { return p.Method == "hose" })].ID.String()
	layout := must[[]repo.Layout](t)(drop(w.Layouts(ctx, w.coordinator, repo.LayoutFilter{}, Page{Limit: 50})))[0].ID.String()
	if _, err := w.ReplacePlanningRules(ctx, w.coordinator, 1, file.Planning{Pins: []file.Pin{{Units: []string{hose, layout}}}}); err != nil {
		t.Fatal(err) // a hand turn is always a zone of its own
	}
	r = w.full(t)
	worker, job := w.job(r, 1)
	if err := worker.Work(ctx, job); err != nil {
		t.Fatal(err)
	}
	if got := w.status(t, r.ID); got.Status != "failed" || got.Trouble == nil || !strings.Contains(*got.Trouble, "planning/pins/0") {
		t.Errorf("%+v", got)
	}
}
