package service

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/riverqueue/river"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/repo/repotest"
	"rillturn.example/rillturn/service/file"
)

// The pipe bursts in the middle of a turn: the turn ends, those to come are cancelled, plans leave the time out, and when
// the water is on again the garden is planned anew.
func TestWaterOff_andOnAgain(t *testing.T) {
	t.Parallel()
	w := newPlannableWorld(t)
	ctx := t.Context()
	first := w.publish(t, w.propose(t, "2026-07-07"))
	turns := w.bindingTurns(t)
	running := turns[0]
	w.now = running.StartsAt.Add(running.EndsAt.Sub(running.StartsAt) / 4)
	_, schedule := w.versions(t)
	_, err := w.TurnWaterOff(ctx, w.gardener, repo.WaterOffValues{WaterSourceID: &w.source, Reason: "Burst pipe"})
	wantKind(t, err, Forbidden)
	_, err = w.TurnWaterOff(ctx, w.coordinator, repo.WaterOffValues{WaterSourceID: new(w.newID()), Reason: "Burst pipe"})
	wantKind(t, err, NotFound)
	_, err = w.TurnWaterOff(ctx, w.coordinator, repo.WaterOffValues{WaterSourceID: &w.source, Reason: "Burst pipe", ExpectedUntil: &w.now})
	wantField(t, err, "/expected_until")

	off := must[WaterOff](t)(w.TurnWaterOff(ctx, w.coordinator, repo.WaterOffValues{WaterSourceID: &w.source, Reason: "Burst pipe"}))
	if off.CutShort != 1 || off.Cancelled != int64(len(turns)-1) || off.OnAt != nil {
		t.Errorf("%+v of %d turns", off, len(turns))
	}
	if _, after := w.versions(t); after <= schedule {
		t.Error("the schedule's version stays")
	}
	for i, turn := range w.bindingTurns(t) {
		old := turns[i]
		if turn.ID != old.ID || turn.Sequence != old.Sequence+1 {
			t.Errorf("turn %d is %+v, was %+v", i, turn.Turn, old.Turn)
		}
		if i > 0 && turn.Status != "cancelled" {
			t.Errorf("the turn of %s is %s", turn.StartsAt, turn.Status)
		}
		// A quarter of the turn gave a quarter of the litres.
		if got, want := turn.Members[0].VolumeL, old.Members[0].VolumeL/4; i == 0 && (turn.Status != "planned" || !turn.EndsAt.Equal(w.now) || got < want*0.999 || got > want*1.001) {
			t.Errorf("the turn that ran is %s until %s with %.1f L, want %.1f", turn.Status, turn.EndsAt, got, want)
		}
	}
	_, err = w.TurnWaterOff(ctx, w.coordinator, repo.WaterOffValues{WaterSourceID: &w.source, Reason: "Burst pipe"})
	wantKind(t, err, Conflict)
	for _, turn := range w.turnsOf(t, w.propose(t, "2026-07-07").ID) { // the only source is off to the end of the week
		t.Errorf("a turn is planned for %s, without water", turn.StartsAt)
	}

	w.now = w.now.Add(30 * time.Hour)
	_, err = w.TurnWaterOn(ctx, w.gardener, &w.source, nil)
	wantKind(t, err, Forbidden)
	on := must[WaterOn](t)(w.TurnWaterOn(ctx, w.coordinator, &w.source, nil))
	if on.ID != off.ID || on.OnAt == nil || !on.OnAt.Equal(w.now) {
		t.Errorf("%+v", on)
	}
	restored := int64(0)
	for i, turn := range w.bindingTurns(t) { // those to come run after all, within the notice period too
		switch to := turn.StartsAt.Before(w.now); {
		case i > 0 && to != (turn.Status == "cancelled"):
			t.Errorf("the turn of %s is %s at %s", turn.StartsAt, turn.Status, w.now)
		case turn.Status == "planned" && !to:
			restored++
			if turn.ID != turns[i].ID || turn.Sequence != turns[i].Sequence+2 || len(turn.Members) != len(turns[i].Members) {
				t.Errorf("%+v is back as %+v", turns[i], turn)
			}
		}
	}
	if restored == 0 || on.Restored != restored {
		t.Errorf("%d turns are back, the answer says %d", restored, on.Restored)
	}
	_, err = w.TurnWaterOn(ctx, w.coordinator, &w.source, nil)
	wantKind(t, err, Conflict)
	worker := &replanWorker{svc: w.Service} // as the queue does with the job that was handed to it
	if err := worker.Work(ctx, &river.Job[replanJob]{Args: replanJob{w.garden}}); err != nil {
		t.Fatal(err)
	}
	rotations := must[[]repo.Rotation](t)(drop(w.Rotations(ctx, w.coordinator, Page{Limit: 5})))
	made := rotations[0]
	if made.ID == first.ID || made.Status != "proposed" {
		t.Fatalf("%+v", made)
	}
	planned := w.turnsOf(t, made.ID)
	if len(planned) == 0 || planned[0].StartsAt.Before(w.now) {
		t.Errorf("%d turns are proposed for after %s", len(planned), w.now)
	}
	w.publish(t, made)
	if audit := must[[]repo.AuditEntry](t)(drop(w.AuditEntries(ctx, w.coordinator, Page{Limit: 50}))); !slices.ContainsFunc(audit, func(a repo.AuditEntry) bool { return a.Action == "turn off" && a.Actor == w.coordinator.Name }) {
		t.Error("nobody knows who turned the water off")
	}
}

// A service line closes every source that it feeds, and no other, until the expected end.
func TestWaterOff_aLineUntilItsExpectedEnd(t *testing.T) {
	t.Parallel()
	w := newPlannableWorld(t)
	ctx := t.Context()
	line := repotest.ServiceLine(t, w.pool, w.garden)
	w.publish(t, w.propose(t, "2026-07-07"))
	off := must[WaterOff](t)(w.TurnWaterOff(ctx, w.coordinator, repo.WaterOffValues{ServiceLineID: &line.ID, Reason: "Meter"}))
	if off.Cancelled != 0 {
		t.Errorf("%d turns of a source that the line does not feed are cancelled", off.Cancelled)
	}
	must[WaterOn](t)(w.TurnWaterOn(ctx, w.coordinator, nil, &line.ID))
	source := must[repo.WaterSource](t)(w.WaterSource(ctx, w.coordinator, w.source))
	if _, err := w.ReplaceWaterSource(ctx, w.coordinator, w.source, source.Revision, repo.WaterSourceValues{
		Name: source.Name, Kind: source.Kind, ServiceLineID: &line.ID, HoseConnections: source.HoseConnections, StaticHeadM: source.StaticHeadM,
		MinRunMin: source.MinRunMin,
	}); err != nil {
		t.Fatal(err)
	}
	turns := w.bindingTurns(t)
	until := turns[len(turns)/2].StartsAt
	off = must[WaterOff](t)(w.TurnWaterOff(ctx, w.coordinator, repo.WaterOffValues{ServiceLineID: &line.ID, Reason: "Meter", ExpectedUntil: &until}))
	if off.Cancelled == 0 || off.Cancelled >= int64(len(turns)) {
		t.Errorf("%d of %d turns are cancelled", off.Cancelled, len(turns))
	}
	for _, turn := range w.bindingTurns(t) {
		if (turn.Status == "cancelled") != turn.StartsAt.Before(until) {
			t.Errorf("the turn of %s is %s", turn.StartsAt, turn.Status)
		}
	}
	for _, turn := range w.turnsOf(t, w.propose(t, "2026-07-07").ID) {
		if turn.StartsAt.Before(until) {
			t.Errorf("a turn is proposed for %s, before the water is on", turn.StartsAt)
		}
	}
}

// Turns come back when the last of two closures is lifted, and not when another rotation holds by then.
func TestWaterOn_bringsBackWhatStillHolds(t *testing.T) {
	t.Parallel()
	w := newPlannableWorld(t)
	ctx := t.Context()
	line := repotest.ServiceLine(t, w.pool, w.garden)
	source := must[repo.WaterSource](t)(w.WaterSource(ctx, w.coordinator, w.source))
	if _, err := w.ReplaceWaterSource(ctx, w.coordinator, w.source, source.Revision, repo.WaterSourceValues{
		Name: source.Name, Kind: source.Kind, ServiceLineID: &line.ID, HoseConnections: source.HoseConnections, StaticHeadM: source.StaticHeadM,
		MinRunMin: source.MinRunMin,
	}); err != nil {
		t.Fatal(err)
	}
	w.publish(t, w.propose(t, "2026-07-07"))
	turns := int64(len(w.bindingTurns(t)))
	off := func(v repo.WaterOffValues) int64 {
		v.Reason = "Repair"
		return must[WaterOff](t)(w.TurnWaterOff(ctx, w.coordinator, v)).Cancelled
	}
	on := func(source, line *uuid.UUID) int64 {
		return must[WaterOn](t)(w.TurnWaterOn(ctx, w.coordinator, source, line)).Restored
	}
	if n := off(repo.WaterOffValues{WaterSourceID: &w.source}); n != turns {
		t.Fatalf("%d of %d turns are cancelled", n, turns)
	}
	off(repo.WaterOffValues{ServiceLineID: &line.ID})
	if n := on(&w.source, nil); n != 0 {
		t.Errorf("%d turns are back while the line is off", n)
	}
	if n := on(nil, &line.ID); n != turns {
		t.Errorf("%d of %d turns are back", n, turns)
	}
	until := w.bindingTurns(t)[turns/2].StartsAt
	off(repo.WaterOffValues{WaterSourceID: &w.source, ExpectedUntil: &until})
	w.publish(t, w.propose(t, "2026-07-07"))
	if n := on(&w.source, nil); n != 0 {
		t.Errorf("%d turns of a superseded rotation are back", n)
	}
}

// Nights in which nothing changed propose nothing; small changes publish themselves only where the garden says so.
func TestReplan(t *testing.T) {
	t.Parallel()
	w := newPlannableWorld(t)
	ctx := t.Context()
	if r, err := w.Replan(ctx, w.coordinator); r != nil || err != nil {
		t.Errorf("nothing is published, and %+v is planned, %v", r, err)
	}
	ask := w.week(t, "2026-07-07")
	ask.Days = 14
	first := w.publish(t, must[repo.Rotation](t)(w.ProposeRotation(ctx, w.coordinator, ask)))
	w.at(first, 30)
	if r, err := w.Replan(ctx, w.coordinator); r != nil || err != nil {
		t.Errorf("nothing changed, and %+v is planned, %v", r, err)
	}
	wide := file.Planning{SmallChanges: &file.SmallChange{ShiftMin: 720, LengthMin: 720}}
	plots := must[[]repo.Plot](t)(drop(w.Plots(ctx, w.coordinator, Page{Limit: 50})))
	hose := plots[slices.IndexFunc(plots, func(p repo.Plot) bool { return p.Method == "hose" })]
	if _, err := w.ReplacePlot(ctx, w.coordinator, hose.ID, hose.Revision, repo.PlotValues{ // the hose gives more than was measured
		Label: hose.Label, AreaM2: hose.AreaM2, Method: "hose", WaterSourceID: hose.WaterSourceID, HoseFlowLPerMin: new(14.0),
	}); err != nil {
		t.Fatal(err)
	}
	r, err := w.Replan(ctx, w.coordinator)
	if err != nil || r == nil || r.Status != "proposed" {
		t.Fatalf("%+v, %v", r, err)
	}
	if _, err := w.ReplacePlanningRules(ctx, w.coordinator, 1, wide); err != nil {
		t.Fatal(err)
	}
	r, err = w.Replan(ctx, w.coordinator)
	if err != nil || r == nil {
		t.Fatal(r, err)
	}
	_, plan, err := w.RotationDocuments(ctx, w.coordinator, r.ID)
	if err != nil || (r.Status == "published") != plan.Changes.Small {
		t.Errorf("%s with changes %+v, %v", r.Status, plan.Changes, err)
	}
}

// Of nightly proposals only the newest waits, and none once the reason is gone.
func TestReplan_onlyTheNewestProposalWaits(t *testing.T) {
	t.Parallel()
	w := newPlannableWorld(t)
	ctx := t.Context()
	ask := w.week(t, "2026-07-07")
	ask.Days = 14
	first := w.publish(t, must[repo.Rotation](t)(w.ProposeRotation(ctx, w.coordinator, ask)))
	asked := w.propose(t, "2026-07-07")
	w.at(first, 30)
	hose := func(flow *float64) {
		plots := must[[]repo.Plot](t)(drop(w.Plots(ctx, w.coordinator, Page{Limit: 50})))
		p := plots[slices.IndexFunc(plots, func(p repo.Plot) bool { return p.Method == "hose" })]
		if _, err := w.ReplacePlot(ctx, w.coordinator, p.ID, p.Revision, repo.PlotValues{
			Label: p.Label, AreaM2: p.AreaM2, Method: "hose", WaterSourceID: p.WaterSourceID, HoseFlowLPerMin: flow,
		}); err != nil {
			t.Fatal(err)
		}
	}
	nightly := func() repo.Rotation {
		r := must[*repo.Rotation](t)(w.Replan(ctx, w.coordinator))
		if r == nil || r.Status != "proposed" || !r.Nightly {
			t.Fatalf("%+v", r)
		}
		return *r
	}
	plots := must[[]repo.Plot](t)(drop(w.Plots(ctx, w.coordinator, Page{Limit: 50})))
	before := plots[slices.IndexFunc(plots, func(p repo.Plot) bool { return p.Method == "hose" })].HoseFlowLPerMin
	hose(new(14.0))
	one := nightly()
	hose(new(16.0))
	two := nightly()
	if w.status(t, one.ID).Status != "superseded" || w.status(t, two.ID).Status != "proposed" {
		t.Errorf("%+v, %+v", w.status(t, one.ID), w.status(t, two.ID))
	}
	hose(before)
	if r, err := w.Replan(ctx, w.coordinator); r != nil || err != nil {
		t.Fatalf("%+v, %v", r, err)
	}
	if w.status(t, two.ID).Status != "superseded" || w.status(t, asked.ID).Status != "proposed" {
		t.Errorf("%+v, and what a coordinator asked for %+v", w.status(t, two.ID), w.status(t, asked.ID))
	}
}

// A garden that can't be planned at night says why, once, to people and to webhooks.
func TestReplan_saysWhyItFailed(t *testing.T) {
	t.Parallel()
	w := newPlannableWorld(t)
	ctx := t.Context()
	first := w.publish(t, w.propose(t, "2026-07-07"))
	repotest.Webhook(t, w.pool, w.garden, func(v *repo.WebhookValues) { v.Events = []string{"rotation.failed"} })
	w.at(first, 30)
	plots := must[[]repo.Plot](t)(drop(w.Plots(ctx, w.coordinator, Page{Limit: 50})))
	hose := plots[slices.IndexFunc(plots, func(p repo.Plot) bool { return p.Method == "hose" })].ID.String()
	layout := must[[]repo.Layout](t)(drop(w.Layouts(ctx, w.coordinator, repo.LayoutFilter{}, Page{Limit: 50})))[0].ID.String()
	if _, err := w.ReplacePlanningRules(ctx, w.coordinator, 1, file.Planning{Pins: []file.Pin{{Units: []string{hose, layout}}}}); err != nil {
		t.Fatal(err)
	}
	r := must[*repo.Rotation](t)(w.Replan(ctx, w.coordinator))
	if r == nil || r.Status != "failed" || !r.Nightly || r.Trouble == nil || !strings.Contains(*r.Trouble, "planning/pins/0") {
		t.Fatalf("%+v", r)
	}
	if again, err := w.Replan(ctx, w.coordinator); again != nil || err != nil {
		t.Errorf("said twice: %+v, %v", again, err)
	}
	jobs, err := w.jobs.JobList(ctx, river.NewJobListParams().Kinds(hookJob{}.Kind()))
	if err != nil || len(jobs.Jobs) != 1 || !strings.Contains(string(jobs.Jobs[0].EncodedArgs), "planning/pins/0") {
		t.Errorf("%d events, %v", len(jobs.Jobs), err)
	}
}

func TestReplanAll_looksAtGardensInTheirNight(t *testing.T) {
	t.Parallel()
	w := newPlannableWorld(t)
	night := time.Date(2026, time.July, 7, 2, 30, 0, 0, zone(t, "America/Los_Angeles"))
	worker := &replanAllWorker{svc: w.Service}
	for _, c := range []struct {
		now  time.Time
		want int
	}{{night.Add(-time.Hour), 0}, {night, 1}} {
		w.now = c.now
		if err := worker.Work(t.Context(), nil); err != nil {
			t.Fatal(err)
		}
		jobs, err := w.jobs.JobList(t.Context(), river.NewJobListParams().Kinds(replanJob{}.Kind()))
		if err != nil || len(jobs.Jobs) != c.want {
			t.Errorf("at %s: %d jobs, %v", c.now, len(jobs.Jobs), err)
		}
	}
}

func TestWhatIf_changesTogetherAndNothingIsStored(t *testing.T) {
	t.Parallel()
	w := newPlannableWorld(t)
	ctx := t.Context()
	before, _ := w.versions(t)
	hot := Supposed{Other: &file.WhatIf{Weather: "hot_week"}}
	more := Supposed{Other: &file.WhatIf{MoreHours: &file.MoreHours{Weekday: 2, Minutes: 60}}}
	like := Supposed{AddPlot: &PlotLike{Plot: w.plot, Label: "New bed"}}
	alone := must[WhatIfAnswer](t)(w.WhatIf(ctx, w.coordinator, 7, []Supposed{hot}))
	if d := alone.Difference; d.After.NeedL <= d.Before.NeedL*1.1 {
		t.Errorf("a hot week asks for %.0f L instead of %.0f", d.After.NeedL, d.Before.NeedL)
	}
	all := must[WhatIfAnswer](t)(w.WhatIf(ctx, w.coordinator, 7, []Supposed{hot, more, like}))
	if all.Difference.After.NeedL <= alone.Difference.After.NeedL*1.1 || len(all.Garden.Plots) != len(alone.Garden.Plots)+1 {
		t.Errorf("with another plot %.0f L are needed, without it %.0f", all.Difference.After.NeedL, alone.Difference.After.NeedL)
	}
	if after, _ := w.versions(t); after != before {
		t.Errorf("plan revision from %d to %d", before, after)
	}
	if rows := must[[]repo.Rotation](t)(drop(w.Rotations(ctx, w.coordinator, Page{Limit: 5}))); len(rows) > 0 {
		t.Errorf("%d rotations are stored", len(rows))
	}
	_, err := w.WhatIf(ctx, w.gardener, 7, []Supposed{hot})
	wantKind(t, err, Forbidden)
	for pointer, c := range map[string]Supposed{
		"/changes/1/add_plot/like_plot_id":       {AddPlot: &PlotLike{Plot: w.newID(), Label: "x"}},
		"/changes/1/accept_layout/layout_id":     {AcceptLayout: new(w.newID())},
		"/changes/1/lose_source/water_source_id": {Other: &file.WhatIf{LoseSource: &file.LoseSource{WaterSourceID: w.newID().String()}}},
		"/changes/1/water_off":                   {Other: &file.WhatIf{WaterOff: &file.WaterOff{FirstDay: day(t, "2026-07-07"), LastDay: day(t, "2026-07-08")}}},
	} {
		_, err := w.WhatIf(ctx, w.coordinator, 7, []Supposed{hot, c})
		wantField(t, err, pointer)
	}
}

func TestLayoutEffect(t *testing.T) {
	t.Parallel()
	w := newPlannableWorld(t)
	ctx := t.Context()
	w.publish(t, w.propose(t, "2026-07-07"))
	submitted := w.layoutIn(t, "submitted")
	answer := must[WhatIfAnswer](t)(w.LayoutEffect(ctx, w.gardener, submitted.ID))
	if !slices.ContainsFunc(answer.Difference.Units, func(u file.UnitDifference) bool {
		return u.Unit == submitted.ID.String() && u.Before == nil && u.After != nil
	}) {
		t.Errorf("the layout is not in %+v", answer.Difference.Units)
	}
	accepted := must[[]repo.Layout](t)(drop(w.Layouts(ctx, w.coordinator, repo.LayoutFilter{Status: new("accepted")}, Page{Limit: 5})))[0]
	_, err := w.LayoutEffect(ctx, w.coordinator, accepted.ID)
	wantKind(t, err, Conflict)
	_, err = w.LayoutEffect(ctx, w.coordinator, uuid.New())
	wantKind(t, err, NotFound)
}
