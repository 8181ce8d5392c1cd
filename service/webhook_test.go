package service

import (
	"context"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/rivertype"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/repo/repotest"
	"rillturn.example/rillturn/service/hook"
)

// The last try that fails is shown on the webhook, which stays.
func TestDeliver_theLastFailureShows(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	server := httptest.NewServer(http.HandlerFunc(func(res http.ResponseWriter, _ *http.Request) { res.WriteHeader(http.StatusBadGateway) }))
	t.Cleanup(server.Close)
	to := repotest.Webhook(t, w.pool, w.garden, func(v *repo.WebhookValues) { v.Url = server.URL })
	for _, c := range []struct {
		svc     *Service
		attempt int
		outcome string
		status  int32 // 0: none
		trouble string
	}{
		{w.WithLocalHooks(), 1, "retrying", 502, "502"},
		{w.WithLocalHooks(), hookTries, "failed", 502, "502"},
		{w.Service, hookTries, "failed", 0, "public internet"}, // which does not reach this machine
	} {
		job := river.Job[hookJob]{Args: hookJob{Garden: w.garden, Webhook: to.ID, Event: hook.Event{ID: "e"}}}
		job.JobRow = jobRow(c.attempt)
		var trouble *hook.Trouble
		if err := (&hookWorker{svc: c.svc}).Work(t.Context(), &job); !errors.As(err, &trouble) {
			t.Errorf("%+v: %v", c, err)
		}
		row := must[repo.Webhook](t)(w.Webhook(t.Context(), w.coordinator, to.ID))
		if *row.LastOutcome != c.outcome || !strings.Contains(*row.LastTrouble, c.trouble) || !row.LastTriedAt.Equal(w.now) ||
			(row.LastStatus == nil) != (c.status == 0) || row.LastStatus != nil && *row.LastStatus != c.status {
			t.Errorf("%+v, want %+v", row, c)
		}
	}
}

// A server that stops in the middle of a try uses up none.
func TestDeliver_aStopIsNoFailure(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx, stop := context.WithCancel(t.Context())
	server := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		_, _ = io.Copy(io.Discard, r.Body) // only then does a server see that its client is gone
		stop()
		<-r.Context().Done()
	}))
	t.Cleanup(server.Close)
	to := repotest.Webhook(t, w.pool, w.garden, func(v *repo.WebhookValues) { v.Url = server.URL })
	job := river.Job[hookJob]{JobRow: jobRow(hookTries), Args: hookJob{Garden: w.garden, Webhook: to.ID, Event: hook.Event{ID: "e"}}}
	var snooze *river.JobSnoozeError
	if err := (&hookWorker{svc: w.WithLocalHooks()}).Work(ctx, &job); !errors.As(err, &snooze) {
		t.Errorf("%v", err)
	}
	if row := must[repo.Webhook](t)(w.Webhook(t.Context(), w.coordinator, to.ID)); row.LastOutcome != nil {
		t.Errorf("%+v", row)
	}
}

// What did not happen is not told: the event is handed over in the transaction of the change, once for each webhook that asks
// for it.
func TestAnnounce_goesWithItsTransaction(t *testing.T) {
	t.Parallel()
	w := newPlannableWorld(t)
	ctx := t.Context()
	for _, events := range [][]string{{"rotation.published"}, {"water.on", "rotation.published"}, {"water.off"}} {
		repotest.Webhook(t, w.pool, w.garden, func(v *repo.WebhookValues) { v.Events = events })
	}
	repotest.Webhook(t, w.pool, w.garden, func(v *repo.WebhookValues) { v.Active = false })
	handed := func() int {
		jobs, err := w.jobs.JobList(ctx, river.NewJobListParams().Kinds(hookJob{}.Kind()))
		if err != nil {
			t.Fatal(err)
		}
		return len(jobs.Jobs)
	}
	made := w.propose(t, "2026-07-07")
	_, err := w.PublishRotation(ctx, w.coordinator, made.ID, made.Revision+1, false)
	wantKind(t, err, Stale)
	lost := errors.New("lost")
	err = w.change(ctx, w.coordinator, effect{}, func(q *repo.Queries) error {
		return errors.Join(w.announcePublished(ctx, q, w.coordinator, made), lost)
	})
	if n := handed(); n != 0 || !errors.Is(err, lost) {
		t.Errorf("%d jobs, %v", n, err)
	}
	w.publish(t, made)
	if n := handed(); n != 2 {
		t.Errorf("%d jobs, want 2", n)
	}
}

func jobRow(attempt int) *rivertype.JobRow {
	return &rivertype.JobRow{Attempt: attempt, MaxAttempts: hookTries}
}
