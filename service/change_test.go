package service

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/repo/repotest"
	"rillturn.example/rillturn/service/file"
)

func plotValues(label string) repo.PlotValues {
	return repo.PlotValues{Label: label, AreaM2: 12, Method: "layout"}
}

func once(key, body string) Idempotency {
	return Idempotency{Key: key, Fingerprint: sha256.Sum256([]byte(body))}
}

func TestCreate_sameKeyHappensOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx := WithIdempotency(t.Context(), once("first", "A1"))
	made, err := w.CreatePlot(ctx, w.coordinator, plotValues("A1"))
	if err != nil {
		t.Fatal(err)
	}
	before, _ := w.versions(t)
	again, err := w.CreatePlot(ctx, w.coordinator, plotValues("A1"))
	if err != nil {
		t.Fatal(err)
	}
	if again.ID != made.ID || !again.CreatedAt.Equal(made.CreatedAt) || again.Label != "A1" {
		t.Errorf("the repeat got %+v, the first %+v", again, made)
	}
	if after, _ := w.versions(t); after != before {
		t.Errorf("the repeat moved the plan revision from %d to %d", before, after)
	}
	_, err = w.CreatePlot(WithIdempotency(t.Context(), once("first", "A2")), w.coordinator, plotValues("A2"))
	wantKind(t, err, Reused)
	other := w.person(t, Coordinator)
	_, err = w.CreatePlot(WithIdempotency(t.Context(), once("first", "A2")), other, plotValues("A2"))
	wantKind(t, err, 0) // keys belong to tokens
}

func TestCreate_aRefusedRequestKeepsNoKey(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx := WithIdempotency(t.Context(), once("k", "B1"))
	bad := plotValues("B1")
	bad.AreaM2 = -1
	_, err := w.CreatePlot(ctx, w.coordinator, bad)
	wantField(t, err, "/area_m2")
	_, err = w.CreatePlot(ctx, w.coordinator, plotValues("B1"))
	wantKind(t, err, 0)
}

func TestCreate_duplicatesAtTheSameMoment(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	const senders = 8
	var ids [senders]uuid.UUID
	var errs [senders]error
	var start, done sync.WaitGroup
	start.Add(1)
	for i := range senders {
		done.Go(func() {
			start.Wait()
			// Flow tests have no unique name: nothing but the key keeps a second one out.
			row, err := w.CreateFlowTest(WithIdempotency(t.Context(), once("bucket", "10 L in 25 s")), w.coordinator, repo.FlowTestValues{
				WaterSourceID: w.source, TestedAt: w.now, Kind: "bucket", VolumeL: new(10.0), DurationS: new(25.0),
			})
			ids[i], errs[i] = row.ID, err
		})
	}
	start.Done()
	done.Wait()
	for i := range senders {
		if errs[i] != nil || ids[i] != ids[0] {
			t.Errorf("sender %d got %s, %v; sender 0 got %s", i, ids[i], errs[i], ids[0])
		}
	}
	tests, _, err := w.FlowTests(t.Context(), w.coordinator, w.source, Page{Limit: 50})
	if err != nil || len(tests) != 2 { // one of the fixture
		t.Errorf("%d flow tests, %v", len(tests), err)
	}
	entries, _, err := w.AuditEntries(t.Context(), w.coordinator, Page{Limit: 50})
	if err != nil || len(entries) != 1 {
		t.Errorf("%d audit entries, %v", len(entries), err)
	}
}

func TestCreateToken_repeatGetsNoSecret(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx := WithIdempotency(t.Context(), once("t", "integration"))
	v := repo.TokenValues{Label: "station", Role: "integration"}
	first, secret, err := w.CreateToken(ctx, w.coordinator, v)
	if err != nil || !strings.HasPrefix(secret, "rt_"+w.garden.String()+"_") {
		t.Fatalf("secret %q, %v", secret, err)
	}
	again, secret, err := w.CreateToken(ctx, w.coordinator, v)
	if err != nil || secret != "" || again.ID != first.ID {
		t.Errorf("repeat: token %s, secret %q, %v", again.ID, secret, err)
	}
	w.inGarden(t, func(q *repo.Queries) error {
		kept, err := q.IdempotencyKeyByKey(t.Context(), w.garden, w.coordinator.Token, "t")
		if bytes.Contains(kept.Result, []byte("rt_")) {
			t.Error("the kept answer holds the secret")
		}
		return err
	})
}

func TestCreateGarden_repeatFindsTheFirst(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx := WithIdempotency(t.Context(), once("open", "Cinder Lane Beds"))
	first, err := w.CreateGarden(ctx, w.operator, gardenValues(), "Zola")
	if err != nil || first.Secret == "" {
		t.Fatal(err)
	}
	again, err := w.CreateGarden(ctx, w.operator, gardenValues(), "Zola")
	if err != nil || again.Secret != "" || again.Garden.GardenID != first.Garden.GardenID || again.Coordinator.ID != first.Coordinator.ID {
		t.Errorf("the repeat opened %+v, %v", again, err)
	}
	other, err := w.CreateGarden(t.Context(), w.operator, gardenValues(), "Zola")
	if err != nil || other.Garden.GardenID == first.Garden.GardenID {
		t.Errorf("without a key: %s, %v", other.Garden.GardenID, err)
	}
}

// revisioned is a record that is replaced and deleted over its revision.
type revisioned struct {
	id      uuid.UUID
	replace func(match int64) (revision int64, err error)
	remove  func(match int64) error
}

func revisionedRecords(t *testing.T, w *world) map[string]revisioned {
	ctx, p, garden := t.Context(), w.coordinator, w.garden
	out := map[string]revisioned{}
	member := repotest.Member(t, w.pool, garden)
	out["member"] = revisioned{member.ID, func(m int64) (int64, error) {
		r, err := w.ReplaceMember(ctx, p, member.ID, m, repo.MemberValues{Name: "Ida", Role: "gardener"})
		return r.Revision, err
	}, func(m int64) error { return w.DeleteMember(ctx, p, member.ID, m) }}
	line := repotest.ServiceLine(t, w.pool, garden)
	out["service line"] = revisioned{line.ID, func(m int64) (int64, error) {
		r, err := w.ReplaceServiceLine(ctx, p, line.ID, m, repo.ServiceLineValues{Name: "main", FlowLimitLPerMin: 30})
		return r.Revision, err
	}, func(m int64) error { return w.DeleteServiceLine(ctx, p, line.ID, m) }}
	source := repotest.WaterSource(t, w.pool, garden)
	out["water source"] = revisioned{source.ID, func(m int64) (int64, error) {
		r, err := w.ReplaceWaterSource(ctx, p, source.ID, m, repo.WaterSourceValues{Name: "north", Kind: "hydrant", HoseConnections: 2})
		return r.Revision, err
	}, func(m int64) error { return w.DeleteWaterSource(ctx, p, source.ID, m) }}
	hours := repotest.WaterHours(t, w.pool, garden)
	out["water hours"] = revisioned{hours.ID, func(m int64) (int64, error) {
		r, err := w.ReplaceWaterHours(ctx, p, hours.ID, m, repo.WaterHoursValues{Weekdays: []int16{1}, StartLocal: "18:30", EndLocal: "20:30"})
		return r.Revision, err
	}, func(m int64) error { return w.DeleteWaterHours(ctx, p, hours.ID, m) }}
	closure := repotest.Closure(t, w.pool, garden)
	out["closure"] = revisioned{closure.ID, func(m int64) (int64, error) {
		r, err := w.ReplaceClosure(ctx, p, closure.ID, m, repo.ClosureValues{
			FirstDay: repotest.FirstDay, LastDay: repotest.FirstDay, DayParity: "odd", Rule: "drought", Weekdays: []int16{}, ExemptMethods: []string{},
		})
		return r.Revision, err
	}, func(m int64) error { return w.DeleteClosure(ctx, p, closure.ID, m) }}
	plot := repotest.Plot(t, w.pool, garden)
	out["plot"] = revisioned{plot.ID, func(m int64) (int64, error) {
		r, err := w.ReplacePlot(ctx, p, plot.ID, m, plotValues("C1"))
		return r.Revision, err
	}, func(m int64) error { return w.DeletePlot(ctx, p, plot.ID, m) }}
	holder := repotest.PlotHolder(t, w.pool, garden)
	out["holder"] = revisioned{holder.ID, func(m int64) (int64, error) {
		r, err := w.ReplaceHolder(ctx, p, holder.ID, m, repo.PlotHolderValues{PlotID: holder.PlotID, MemberID: holder.MemberID, HeldFrom: w.now})
		return r.Revision, err
	}, func(m int64) error { return w.DeleteHolder(ctx, p, holder.PlotID, holder.ID, m) }}
	planting := repotest.Planting(t, w.pool, garden)
	out["planting"] = revisioned{planting.ID, func(m int64) (int64, error) {
		r, err := w.ReplacePlanting(ctx, p, planting.ID, m, w.plantingValues(planting.PlotID))
		return r.Revision, err
	}, func(m int64) error { return w.DeletePlanting(ctx, p, planting.ID, m) }}
	test := repotest.FlowTest(t, w.pool, garden)
	out["flow test"] = revisioned{id: test.ID, remove: func(m int64) error { return w.DeleteFlowTest(ctx, p, test.WaterSourceID, test.ID, m) }}
	token := repotest.Token(t, w.pool, garden)
	out["token"] = revisioned{id: token.ID, remove: func(m int64) error { return w.DeleteToken(ctx, p, token.ID, m) }}
	return out
}

func TestRevisions_staleOnesAreRefused(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for name, r := range revisionedRecords(t, w) {
		t.Run(name, func(t *testing.T) {
			current := int64(1)
			if r.replace != nil {
				revision, err := r.replace(1)
				if wantKind(t, err, 0); revision != 2 {
					t.Fatalf("revision %d after the first change", revision)
				}
				_, err = r.replace(1) // somebody read it before the change
				refused := refusal(t, err, Stale)
				if want := fmt.Sprintf("at revision %d, not at %d", 2, 1); !strings.Contains(refused.Detail, want) {
					t.Errorf("%q doesn't say %q", refused.Detail, want)
				}
				current = revision
			}
			wantKind(t, r.remove(current+1), Stale)
			wantKind(t, r.remove(current), 0)
			wantKind(t, r.remove(current), NotFound)
			if r.replace != nil {
				_, err := r.replace(current)
				wantKind(t, err, NotFound)
			}
		})
	}
}

func TestReplaceGarden_atItsRevision(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	row, err := w.ReplaceGarden(t.Context(), w.coordinator, 1, gardenValues())
	if err != nil || row.Revision != 2 || row.Name != gardenValues().Name {
		t.Fatalf("%+v, %v", row, err)
	}
	_, err = w.ReplaceGarden(t.Context(), w.coordinator, 1, gardenValues())
	wantKind(t, err, Stale)
}

func TestDelete_whatIsStillUsedStays(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	if _, err := w.CreateLayout(t.Context(), w.coordinator, w.layoutValues(w.plot), tidy(t)); err != nil {
		t.Fatal(err)
	}
	refused := refusal(t, w.DeletePlot(t.Context(), w.coordinator, w.plot, 1), Conflict)
	if !strings.Contains(refused.Detail, "still used by a") {
		t.Errorf("%q", refused.Detail)
	}
	wantKind(t, w.DeleteWaterSource(t.Context(), w.coordinator, w.source, 1), Conflict)
}

// Every change that a plan is made from raises the plan revision, and only those do.
func TestPlanRevision_risesWithPlanningInputs(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for name, want := range map[string]bool{
		"member": false, "holder": false, "token": false, "service line": true, "water source": true, "water hours": true, "closure": true, "plot": true,
		"planting": true, "flow test": true,
	} {
		r, known := revisionedRecords(t, w)[name]
		if !known {
			t.Fatalf("no record %s", name)
		}
		before, _ := w.versions(t)
		wantKind(t, r.remove(1), 0)
		if after, _ := w.versions(t); (after > before) != want {
			t.Errorf("%s: plan revision from %d to %d, should rise: %v", name, before, after, want)
		}
	}
}

func TestForgetKeys_dropsThoseOlderThanAWeek(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx := WithIdempotency(t.Context(), once("k", "A1"))
	if _, err := w.CreatePlot(ctx, w.coordinator, plotValues("A1")); err != nil {
		t.Fatal(err)
	}
	key := func() (repo.IdempotencyKey, error) {
		return repo.New(repo.Read(w.pool, w.garden)).IdempotencyKeyByKey(t.Context(), w.garden, w.coordinator.Token, "k")
	}
	made, err := key()
	if err != nil {
		t.Fatal(err)
	}
	worker := &tidyWorker{svc: w.Service}
	w.now = made.CreatedAt.Add(keepIdempotencyKeys)
	if err := worker.Work(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	if _, err := key(); err != nil {
		t.Errorf("a key was dropped before its week was over: %v", err)
	}
	w.now = w.now.Add(time.Second)
	if err := worker.Work(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	if _, err := key(); !errors.Is(err, repo.ErrNotFound) {
		t.Errorf("a key older than its week: %v", err)
	}
}

func TestFileLayout_isStoredAsEntered(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	spec := tidy(t)
	made, err := w.CreateLayout(t.Context(), w.gardener, w.layoutValues(w.plot), spec)
	if err != nil {
		t.Fatal(err)
	}
	read, err := w.Layout(t.Context(), w.gardener, made.Layout.ID)
	if err != nil {
		t.Fatal(err)
	}
	if got := layoutOf(t, string(read.LayoutRevision.Spec)); !sameLayout(got, spec) {
		t.Errorf("stored %+v, entered %+v", got, spec)
	}
}

func sameLayout(a, b file.Layout) bool {
	x, errX := layoutDocument(a)
	y, errY := layoutDocument(b)
	return errX == nil && errY == nil && bytes.Equal(x, y)
}
