package api

import (
	"math"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/repo/repotest"
	"rillturn.example/rillturn/service"
)

// handPlot is a plot watered by hand in a garden of the tests, with lettuce on it that its gardener planted three weeks ago.
type handPlot struct {
	plot, planting uuid.UUID
	turns          map[int]uuid.UUID // published turns of half an hour and 300 L, by how many days ago
}

// handPlot makes one, with turns on some days ago; 1 is yesterday.
func (w *world) handPlot(t *testing.T, g garden, method string, ago ...int) handPlot {
	t.Helper()
	h := handPlot{turns: map[int]uuid.UUID{}}
	h.plot = repotest.Plot(t, w.pool, g.id, func(v *repo.PlotValues) {
		v.AreaM2, v.Method, v.WaterSourceID, v.SoilTexture = 30, method, &spareSource, new("sandy_loam")
		v.HoseFlowLPerMin, v.CanVolumeL, v.CanMinutesEach = nil, nil, nil
		if method == "hose" {
			v.HoseFlowLPerMin = new(12.0)
		} else {
			v.CanVolumeL, v.CanMinutesEach = new(10.0), new(3.0)
		}
	}).ID
	repotest.PlotHolder(t, w.pool, g.id, func(v *repo.PlotHolderValues) { v.PlotID, v.MemberID = h.plot, gardenerID })
	a := w.send(t, g, service.Gardener, "POST", "", map[string]any{
		"plot_id": h.plot, "crop": "lettuce", "planted_on": today.AddDate(0, 0, -30).Format(time.DateOnly), "area_m2": 30, "wetted_fraction": 1,
		"mulch": "none",
	}, "plantings")
	h.planting = read[gen.Planting](t, a, 201).Id
	rotation := repotest.Rotation(t, w.pool, g.id, func(v *repo.RotationValues) {
		first := today.Truncate(24*time.Hour).AddDate(0, 0, -28)
		v.FirstDay, v.StartsAt, v.EndsAt, v.Days, v.Status = first, first, first.AddDate(0, 0, 28), 28, "superseded"
	}).ID
	for _, n := range ago {
		begins := today.Truncate(24*time.Hour).AddDate(0, 0, -n).Add(14 * time.Hour) // seven in the morning in the garden
		if method == "can" {
			begins = begins.Add(time.Hour)
		}
		h.turns[n] = repotest.Turn(t, w.pool, g.id, h.plot, func(v *repo.Turn) {
			v.RotationID, v.WaterSourceID, v.Status, v.Kind, v.Zone = rotation, spareSource, "planned", method, "hand"
			v.StartsAt, v.EndsAt = begins, begins.Add(30*time.Minute)
		}).ID
	}
	return h
}

func (w *world) report(t *testing.T, g garden, turn uuid.UUID, outcome string, minutes float64) {
	t.Helper()
	body := map[string]any{"outcome": outcome}
	if minutes > 0 {
		body["duration_min"] = minutes
	}
	if a := w.send(t, g, service.Gardener, "POST", "", body, "turns", turn, "reports"); a.status != http.StatusCreated {
		t.Fatalf("report %s: %d %s", outcome, a.status, a.body)
	}
}

// ledgerOf is the one ledger of a planting.
func (w *world) ledgerOf(t *testing.T, g garden, planting uuid.UUID) gen.UnitLedger {
	t.Helper()
	l, _ := get[gen.PlantingLedger](t, w, g, service.Gardener, "plantings", planting, "ledger")
	if len(l.Ledgers) != 1 {
		t.Fatalf("%d ledgers: %+v", len(l.Ledgers), l)
	}
	return l.Ledgers[0]
}

func dayAgo(days []gen.LedgerDay, ago int) gen.LedgerDay {
	want := today.AddDate(0, 0, -ago).Format(time.DateOnly)
	i := slices.IndexFunc(days, func(d gen.LedgerDay) bool { return d.Day.Format(time.DateOnly) == want })
	if i < 0 {
		return gen.LedgerDay{}
	}
	return days[i]
}

// What became of each turn of a hose plot and of a can plot stands in both ledgers: 300 L over 30 m² are 10 mm, of which the
// driest quarter gets its share.
func TestLedger_ofHandWateredPlots(t *testing.T) {
	t.Parallel()
	for _, method := range []string{"hose", "can"} {
		t.Run(method, func(t *testing.T) {
			t.Parallel()
			w := newWorld(t, unlimited)
			g := w.newGarden(t)
			w.warmDays(t, g)
			h := w.handPlot(t, g, method, 9, 8, 7, 6, 5, 4, 3)
			w.report(t, g, h.turns[9], "done", 0)
			w.report(t, g, h.turns[8], "part", 12)
			w.report(t, g, h.turns[7], "missed", 0)
			w.report(t, g, h.turns[6], "skipped_wet", 0)
			w.report(t, g, h.turns[5], "pressure_lost", 3)
			w.report(t, g, h.turns[4], "overran", 45)
			u := w.ledgerOf(t, g, h.planting) // nobody reported the turn three days ago
			net := 10 * u.Efficiency.Value
			for ago, share := range map[int]float64{9: 1, 8: 0.4, 7: 0, 6: 0, 5: 0.1, 4: 1.5, 3: 1} {
				d := dayAgo(u.WithAssumed.Days, ago)
				if math.Abs(d.IrrigationMm-share*net) > 1e-9 || (d.AssumedIrrigationMm > 0) != (ago == 3) {
					t.Errorf("%d days ago: %v mm (%v assumed), want %v", ago, d.IrrigationMm, d.AssumedIrrigationMm, share*net)
				}
			}
			left := dayAgo(u.WithoutAssumed.Days, 3)
			if left.IrrigationMm != 0 || !slices.Contains(left.Flags, "assumed_turn_left_out") || !slices.Contains(dayAgo(u.WithAssumed.Days, 3).Flags, "turn_assumed") {
				t.Errorf("without assumptions: %+v", left)
			}
			if *u.WithAssumed.DepletionMm >= *u.WithoutAssumed.DepletionMm {
				t.Errorf("misses %v with and %v without assumptions", *u.WithAssumed.DepletionMm, *u.WithoutAssumed.DepletionMm)
			}
			for _, l := range []gen.Ledger{u.WithAssumed, u.WithoutAssumed} {
				checkBalance(t, l)
			}
			if u.DigAsked.Asked || u.LayoutId != nil {
				t.Errorf("%+v", u)
			}
			picture := string(w.must(t, 200, call{method: "GET", path: location(g.id, "plantings", h.planting, "ledger.svg"), token: g.tokens[service.Gardener]}).body)
			for _, want := range []string{"stroke-dasharray=\"3 2\"", "assumed", "lettuce"} {
				if !strings.Contains(picture, want) {
					t.Errorf("the picture lacks %s", want)
				}
			}
			w.reportsOfTheHandNeeds(t, g, h, u)
		})
	}
}

// checkBalance: end = start + adjustment - rain - water + percolation + evapotranspiration, day by day.
func checkBalance(t *testing.T, l gen.Ledger) {
	t.Helper()
	for i, d := range l.Days {
		if i > 0 && math.Abs(d.StartMm-l.Days[i-1].DepletionMm) > 1e-9 {
			t.Errorf("%s starts at %v, the day before ended at %v", d.Day, d.StartMm, l.Days[i-1].DepletionMm)
		}
		end := d.StartMm - d.RainCountedMm - d.IrrigationMm + d.PercolationMm + d.EtMm
		if d.AdjustmentMm != nil {
			end += *d.AdjustmentMm
		}
		if math.Abs(end-d.DepletionMm) > 1e-9 || d.DepletionMm < 0 || d.DepletionMm > d.TawMm+1e-9 {
			t.Errorf("%s ends at %v, want %v within 0 and %v", d.Day, d.DepletionMm, end, d.TawMm)
		}
	}
}

// reportsOfTheHandNeeds holds the need of the plot against its ledger: it fills the soil as the ledger left it, and has limits.
func (w *world) reportsOfTheHandNeeds(t *testing.T, g garden, h handPlot, u gen.UnitLedger) {
	t.Helper()
	needs, _ := get[gen.WaterNeeds](t, w, g, service.Gardener, "water-needs")
	i := slices.IndexFunc(needs.Units, func(n gen.UnitNeed) bool { return n.PlotId == h.plot })
	if i < 0 {
		t.Fatalf("the plot has no need: %+v", needs)
	}
	n := needs.Units[i]
	if n.Plantings[0].DepletionMm != *u.WithAssumed.DepletionMm || n.WantedTodayL <= 0 || n.MostPerDayL < n.WantedTodayL-1e-9 || n.IntervalD < 1 {
		t.Errorf("needs %+v after %v mm", n, *u.WithAssumed.DepletionMm)
	}
}

// Late reports, readings and digs, entered in another order than they happened, give the ledger that they give in time.
func TestLedger_lateEntriesAreReplayed(t *testing.T) {
	t.Parallel()
	ledger := func(order []int) gen.UnitLedger {
		w := newWorld(t, unlimited)
		g := w.newGarden(t)
		w.warmDays(t, g)
		h := w.handPlot(t, g, "hose", 9, 6, 3)
		entries := []func(){
			func() { w.report(t, g, h.turns[9], "done", 0) },
			func() { w.report(t, g, h.turns[6], "part", 10) },
			func() {
				a := w.send(t, g, service.Gardener, "POST", "", map[string]any{"plot_id": h.plot, "day": today.AddDate(0, 0, -5).Format(time.DateOnly), "rain_mm": 7}, "rain-readings")
				_ = read[gen.RainReading](t, a, 201)
			},
			func() {
				a := w.send(t, g, service.Gardener, "POST", "", map[string]any{"plot_id": h.plot, "day": today.AddDate(0, 0, -4).Format(time.DateOnly), "finding": "moist"}, "digs")
				_ = read[gen.Dig](t, a, 201)
			},
			func() {
				a := w.send(t, g, service.Integration, "PUT", "", map[string]any{"days": []map[string]any{
					{"station": "roof", "day": today.AddDate(0, 0, -2).Format(time.DateOnly), "kind": "measured", "tmax_c": 33, "tmin_c": 17, "rain_mm": 0},
				}}, "weather-days")
				_ = read[gen.WeatherDayStored](t, a, 200)
			},
		}
		for _, i := range order {
			entries[i]()
			_ = w.ledgerOf(t, g, h.planting) // whoever looks in between changes nothing
		}
		return w.ledgerOf(t, g, h.planting)
	}
	inTime, late := ledger([]int{0, 1, 2, 3, 4}), ledger([]int{4, 3, 1, 2, 0})
	if diff := cmp.Diff(inTime, late); diff != "" {
		t.Errorf("entered late, the ledger differs:\n%s", diff)
	}
	if d := dayAgo(inTime.WithAssumed.Days, 4); d.AdjustmentMm == nil || !slices.Contains(d.Flags, "reset_by_dig") {
		t.Errorf("the dig resets nothing: %+v", d)
	}
	if d := dayAgo(inTime.WithAssumed.Days, 5); d.RainCountedMm != 7 {
		t.Errorf("the rain that was read: %+v", d)
	}
	if d := dayAgo(inTime.WithAssumed.Days, 2); d.Et0Mm <= dayAgo(inTime.WithAssumed.Days, 1).Et0Mm {
		t.Errorf("the corrected day: %+v", d)
	}
}

// After seven days without a report or a dig the garden is asked for a dig, and asked no more once somebody dug.
func TestLedger_asksForADig(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	w.warmDays(t, g)
	h := w.handPlot(t, g, "can", 12, 9, 3)
	w.report(t, g, h.turns[12], "done", 0)
	u := w.ledgerOf(t, g, h.planting)
	if !u.DigAsked.Asked || u.DigAsked.Reason == nil || u.DigAsked.LastEvidence.Format(time.DateOnly) != today.AddDate(0, 0, -12).Format(time.DateOnly) {
		t.Errorf("asked: %+v", u.DigAsked)
	}
	dig := func(day int, finding string) {
		_ = read[gen.Dig](t, w.send(t, g, service.Gardener, "POST", "", map[string]any{
			"plot_id": h.plot, "day": today.AddDate(0, 0, -day).Format(time.DateOnly), "finding": finding,
		}, "digs"), 201)
	}
	dig(5, "wet")
	dig(5, "dry") // looked again: the later dig of a day holds
	u = w.ledgerOf(t, g, h.planting)
	d := dayAgo(u.WithAssumed.Days, 5)
	if u.DigAsked.Asked || d.AdjustmentMm == nil || math.Abs(d.StartMm+*d.AdjustmentMm-d.RawMm) > 1e-9 {
		t.Errorf("after a dig that found dry soil: asked %v, %+v", u.DigAsked.Asked, d)
	}
	if d := dayAgo(u.WithoutAssumed.Days, 5); math.Abs(d.StartMm+*d.AdjustmentMm-d.RawMm) > 1e-9 {
		t.Errorf("without assumptions: %+v", d)
	}
}
