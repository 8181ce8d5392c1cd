package repo_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/repo/repotest"
)

func TestInTenant_seesItsGardenAlone(t *testing.T) {
	t.Parallel()
	tx := repotest.Tx(t)
	first, second := repotest.Garden(t, tx), repotest.Garden(t, tx)
	plot := repotest.Plot(t, tx, first.GardenID)

	err := repo.InTenant(t.Context(), tx, first.GardenID, func(tx pgx.Tx) error {
		got, err := repo.New(tx).PlotByID(t.Context(), first.GardenID, plot.ID)
		if err == nil && got.Label != plot.Label {
			t.Errorf("label %q, want %q", got.Label, plot.Label)
		}
		return err
	})
	if err != nil {
		t.Error(err)
	}
	err = repo.InTenant(t.Context(), tx, second.GardenID, func(tx pgx.Tx) error {
		_, err := repo.New(tx).PlotByID(t.Context(), first.GardenID, plot.ID)
		return err
	})
	if !errors.Is(err, repo.ErrNotFound) || !errors.Is(err, pgx.ErrNoRows) {
		t.Errorf("another garden's plot: %v, want ErrNotFound", err)
	}
}

func TestInTenant_refusesNoGarden(t *testing.T) {
	t.Parallel()
	err := repo.InTenant(t.Context(), repotest.Tx(t), uuid.Nil, func(pgx.Tx) error {
		t.Error("fn was called")
		return nil
	})
	if err == nil {
		t.Error("want an error")
	}
}

func TestInTenant_rollsBackOnError(t *testing.T) {
	t.Parallel()
	tx := repotest.Tx(t)
	garden := repotest.Garden(t, tx).GardenID
	stop := errors.New("stop")
	err := repo.InTenant(t.Context(), tx, garden, func(tx pgx.Tx) error {
		repotest.Plot(t, tx, garden)
		return stop
	})
	if !errors.Is(err, stop) {
		t.Errorf("got %v, want what fn returned", err)
	}
	plots, err := repo.New(tx).PlotList(t.Context(), garden)
	if err != nil || len(plots) != 0 {
		t.Errorf("%d plots, %v; want none", len(plots), err)
	}
}

// A connection that has served a garden must show nothing to who names none.
func TestNoGarden_hasNoRows(t *testing.T) {
	t.Parallel()
	pool := repotest.Pool(t)
	garden := repotest.Garden(t, pool).GardenID
	repotest.Plot(t, pool, garden)
	if plots, err := repo.New(repo.Read(pool, garden)).PlotList(t.Context(), garden); err != nil || len(plots) != 1 {
		t.Fatalf("%d plots, %v; want 1", len(plots), err)
	}
	for range 10 { // whichever connection it is
		plots, err := repo.New(pool).PlotList(t.Context(), garden)
		if err != nil || len(plots) != 0 {
			t.Fatalf("%d plots without a garden, %v; want none", len(plots), err)
		}
	}
}

func TestRead_givesConnectionsBack(t *testing.T) {
	t.Parallel()
	pool := repotest.Pool(t)
	garden := repotest.Garden(t, pool).GardenID
	plot := repotest.Plot(t, pool, garden)
	q := repo.New(repo.Read(pool, garden))
	for range 3 * pool.Config().MaxConns {
		if _, err := q.PlotByID(t.Context(), garden, plot.ID); err != nil {
			t.Fatal(err)
		}
		if _, err := q.PlotByID(t.Context(), garden, uuid.Must(uuid.NewV7())); !errors.Is(err, repo.ErrNotFound) {
			t.Fatalf("an unknown plot: %v, want ErrNotFound", err)
		}
		if plots, err := q.PlotList(t.Context(), garden); err != nil || len(plots) != 1 {
			t.Fatalf("%d plots, %v; want 1", len(plots), err)
		}
	}
	if n := pool.Stat().AcquiredConns(); n != 0 {
		t.Errorf("%d connections are still out", n)
	}
}

func TestRead_writesNothing(t *testing.T) {
	t.Parallel()
	pool := repotest.Pool(t)
	garden := repotest.Garden(t, pool)
	plot := repotest.Plot(t, pool, garden.GardenID)
	q := repo.New(repo.Read(pool, garden.GardenID))
	if err := q.GardenPlanTouch(t.Context(), garden.GardenID); err == nil {
		t.Error("a command went through the read door")
	}
	if _, err := q.PlotDelete(t.Context(), garden.GardenID, plot.ID, 1); err == nil {
		t.Error("a delete went through the read door")
	}
	_, err := q.MemberInsert(t.Context(), repo.MemberValues{Name: "Ash", Role: "gardener", GardenID: garden.GardenID, ID: uuid.Must(uuid.NewV7()), Revision: 1})
	if err == nil {
		t.Error("an insert that returns its row went through the read door")
	}
	repotest.Member(t, pool, garden.GardenID) // the same connections write again
}

func TestRead_survivesLostConnections(t *testing.T) {
	t.Parallel()
	pool := repotest.Pool(t)
	garden := repotest.Garden(t, pool).GardenID
	owner, err := pgx.Connect(t.Context(), repotest.OwnerURL(t))
	if err != nil {
		t.Fatal(err)
	}
	defer owner.Close(context.Background()) //nolint:errcheck // the test is over

	asleep := make(chan error, 1)
	go func() {
		rows, err := repo.Read(pool, garden).Query(t.Context(), `SELECT pg_sleep(60)`)
		if err == nil {
			for rows.Next() {
			}
			err = rows.Err()
		}
		asleep <- err
	}()
	for killed := false; !killed; { // until the sleeper is there
		err := owner.QueryRow(t.Context(), `SELECT count(pg_terminate_backend(pid)) > 0 FROM pg_stat_activity
			WHERE datname = current_database() AND pid <> pg_backend_pid() AND state = 'active' AND query LIKE '%pg_sleep(60)%'`).Scan(&killed)
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := <-asleep; err == nil {
		t.Error("the statement of a lost connection succeeded")
	}
	for range pool.Config().MaxConns {
		if _, err := repo.New(repo.Read(pool, garden)).GardenByID(t.Context(), garden); err != nil {
			t.Fatalf("after the loss: %v", err)
		}
	}
	if n := pool.Stat().AcquiredConns(); n != 0 {
		t.Errorf("%d connections are still out", n)
	}
}

func TestRead_endsWithItsContext(t *testing.T) {
	t.Parallel()
	pool := repotest.Pool(t)
	garden := repotest.Garden(t, pool).GardenID
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Millisecond)
	defer cancel()
	var nothing string
	if err := repo.Read(pool, garden).QueryRow(ctx, `SELECT pg_sleep(60)::text`).Scan(&nothing); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("got %v, want the deadline", err)
	}
	if _, err := repo.New(repo.Read(pool, garden)).GardenByID(t.Context(), garden); err != nil {
		t.Errorf("after the deadline: %v", err)
	}
}
