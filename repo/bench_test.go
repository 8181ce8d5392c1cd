package repo_test

import (
	"testing"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/repo/repotest"
)

// BenchmarkByKey compares the two doors with a plain statement that names its garden itself: what tenancy costs.
func BenchmarkByKey(b *testing.B) {
	pool := repotest.Pool(b)
	garden := repotest.Garden(b, pool).GardenID
	plot := repotest.Plot(b, pool, garden).ID
	owner, err := pgx.Connect(b.Context(), repotest.OwnerURL(b)) // row security doesn't bind a superuser
	if err != nil {
		b.Fatal(err)
	}
	defer owner.Close(b.Context()) //nolint:errcheck // all is measured
	for _, c := range []struct {
		name string
		read func() error
	}{
		{"plain", func() error {
			_, err := repo.New(owner).PlotByID(b.Context(), garden, plot)
			return err
		}},
		{"Read", func() error {
			_, err := repo.New(repo.Read(pool, garden)).PlotByID(b.Context(), garden, plot)
			return err
		}},
		{"InTenant", func() error {
			return repo.InTenant(b.Context(), pool, garden, func(tx pgx.Tx) error {
				_, err := repo.New(tx).PlotByID(b.Context(), garden, plot)
				return err
			})
		}},
	} {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				if err := c.read(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkTurnSchedule pulls a week of 60 turns with two members each.
func BenchmarkTurnSchedule(b *testing.B) {
	pool := repotest.Pool(b)
	garden := repotest.Garden(b, pool).GardenID
	plots := []uuid.UUID{repotest.Plot(b, pool, garden).ID, repotest.Plot(b, pool, garden).ID}
	first := repotest.Turn(b, pool, garden, plots[0])
	var turns []repo.Turn
	var members []repo.TurnMember
	for i := range 60 {
		t := first
		t.ID = uuid.Must(uuid.NewV7())
		t.StartsAt, t.EndsAt = first.StartsAt.AddDate(0, 0, i/8), first.EndsAt.AddDate(0, 0, i/8)
		turns = append(turns, t)
		for _, p := range plots {
			members = append(members, repo.TurnMember{GardenID: garden, TurnID: t.ID, PlotID: p, VolumeL: 100})
		}
	}
	err := repo.InTenant(b.Context(), pool, garden, func(tx pgx.Tx) error {
		q := repo.New(tx)
		if err := q.TurnPut(b.Context(), turns); err != nil {
			return err
		}
		return q.TurnMemberInsert(b.Context(), members)
	})
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		got, err := repo.New(repo.Read(pool, garden)).TurnSchedule(b.Context(), garden, repo.TurnFilter{})
		if err != nil || len(got) != 61 {
			b.Fatalf("%d turns, %v", len(got), err)
		}
	}
}

// BenchmarkStart is what a start against a migrated database waits for.
func BenchmarkStart(b *testing.B) {
	owner, app := repotest.OwnerURL(b), repotest.AppURL(b)
	b.Run("Migrate", func(b *testing.B) {
		for b.Loop() {
			if err := repo.Migrate(b.Context(), owner, ""); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("Open", func(b *testing.B) {
		for b.Loop() {
			pool, err := repo.Open(b.Context(), app)
			if err != nil {
				b.Fatal(err)
			}
			pool.Close()
		}
	})
}
