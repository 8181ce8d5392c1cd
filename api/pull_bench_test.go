package api

import (
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"slices"
	"testing"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/repo/repotest"
	"rillturn.example/rillturn/service"
)

// BenchmarkPull measures pulls of a schedule of 60 turns side by side with handlers written by hand on gin and pgx, which
// read the same rows without tenancy, authentication or validation. In alternating rounds; the ratio is that of the
// medians, and 1 means as fast as by hand.
//
//	go test ./api -run xxx -bench Pull
func BenchmarkPull(b *testing.B) {
	w := newWorld(b, unlimited)
	g := w.newGarden(b)
	for i := range 59 {
		repotest.Turn(b, w.pool, g.id, plotID, func(v *repo.Turn) {
			v.RotationID, v.WaterSourceID, v.Status = rotationID, sourceID, "planned"
			v.StartsAt = today.Add(time.Duration(i) * time.Hour)
			v.EndsAt = v.StartsAt.Add(30 * time.Minute)
		})
	}
	options := unlimited
	options.Log = slog.New(slog.NewJSONHandler(io.Discard, nil)) // lines are made, but not written
	ours, err := New(service.New(w.pool, func() time.Time { return today }), options)
	if err != nil {
		b.Fatal(err)
	}
	owner, err := pgxpool.New(b.Context(), repotest.OwnerURL(b)) // bypasses row security
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(owner.Close)
	hand := byHand(owner)

	pull := httptest.NewRequestWithContext(b.Context(), http.MethodGet, location(g.id, "schedule"), nil)
	pull.Header.Set("Authorization", "Bearer "+g.tokens[service.Integration])
	unchanged := pull.Clone(b.Context())
	first := httptest.NewRecorder()
	ours.ServeHTTP(first, pull)
	unchanged.Header.Set("If-None-Match", first.Header().Get("ETag"))
	b.Run("schedule", func(b *testing.B) { compare(b, ours, hand, pull, http.StatusOK) })
	b.Run("unchanged", func(b *testing.B) { compare(b, ours, hand, unchanged, http.StatusNotModified) })
}

// compare reports how fast ours answers, by the speed of the other.
func compare(b *testing.B, ours, hand http.Handler, r *http.Request, status int) {
	const rounds, requests = 9, 100
	round := func(h http.Handler) float64 {
		start := time.Now()
		for range requests {
			rec := httptest.NewRecorder()
			h.ServeHTTP(rec, r)
			if rec.Code != status {
				b.Fatalf("%d %s", rec.Code, rec.Body)
			}
		}
		return time.Since(start).Seconds()
	}
	for b.Loop() {
		var a, h []float64
		round(ours)
		for range rounds {
			a, h = append(a, round(ours)), append(h, round(hand))
		}
		slices.Sort(a)
		slices.Sort(h)
		b.ReportMetric(h[rounds/2]/a[rounds/2], "ratio")
		b.ReportMetric(a[rounds/2]/requests*1e6, "µs/ours")
		b.ReportMetric(h[rounds/2]/requests*1e6, "µs/hand")
	}
}

// byHand answers a pull as one would write it for one garden: a 304 costs one row.
func byHand(db *pgxpool.Pool) http.Handler {
	e := gin.New()
	e.GET("/v1/gardens/:garden/schedule", func(c *gin.Context) {
		garden := uuid.MustParse(c.Param("garden"))
		if c.GetHeader("If-None-Match") != "" {
			var version int64
			if err := db.QueryRow(c, `SELECT schedule_version FROM garden WHERE garden_id = $1`, garden).Scan(&version); err != nil {
				c.Status(http.StatusInternalServerError)
				return
			}
			c.Status(http.StatusNotModified)
			return
		}
		turns, err := rowsByHand(c, db, garden)
		if err != nil {
			c.Status(http.StatusInternalServerError)
			return
		}
		c.JSON(http.StatusOK, gen.Schedule{GardenId: garden, Turns: turns})
	})
	return e
}

func rowsByHand(c *gin.Context, db *pgxpool.Pool, garden uuid.UUID) ([]gen.ScheduleTurn, error) {
	rows, err := db.Query(c, `
		SELECT t.id, t.sequence, t.status, t.kind, t.starts_at, t.ends_at, t.water_source_id, s.name, t.zone, t.flow_l_per_min,
			t.opener_id, o.name, m.plot_id, p.label, m.layout_id, m.volume_l
		FROM turn t
		JOIN water_source s ON s.garden_id = t.garden_id AND s.id = t.water_source_id
		LEFT JOIN member o ON o.garden_id = t.garden_id AND o.id = t.opener_id
		JOIN turn_member m ON m.garden_id = t.garden_id AND m.turn_id = t.id
		JOIN plot p ON p.garden_id = t.garden_id AND p.id = m.plot_id
		WHERE t.garden_id = $1 AND t.status IN ('planned', 'cancelled') AND t.ends_at > $2
		ORDER BY t.starts_at, t.id, p.label`, garden, today)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (gen.ScheduleTurn, error) {
		var t gen.ScheduleTurn
		var m gen.ScheduleMember
		err := row.Scan(&t.Id, &t.Sequence, &t.Status, &t.Kind, &t.StartsAt, &t.EndsAt, &t.WaterSourceId, &t.SourceName, &t.Zone,
			&t.FlowLPerMin, &t.OpenerId, &t.OpenerName, &m.PlotId, &m.PlotLabel, &m.LayoutId, &m.VolumeL)
		t.Members = []gen.ScheduleMember{m}
		return t, err
	})
}
