package service

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"rillturn.example/rillturn/service/file"
	"rillturn.example/rillturn/testdata/garden"
)

func committedGarden(t *testing.T, text []byte) file.Garden {
	t.Helper()
	g, err := file.ReadGarden(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	return g
}

// following returns the garden with a plan of it published, looked at some hours after its horizon began.
func following(g file.Garden, p file.GardenPlan, hours float64) file.Garden {
	g.Replan = p.Follow(p.StartsAt.Add(time.Duration(hours*60)*time.Minute), func(i int) string { return fmt.Sprint("turn ", i) })
	return g
}

type clock struct{ From, To time.Time }

func clocks(turns []file.TurnPlan, from time.Time) map[string]clock {
	out := map[string]clock{}
	for i, turn := range turns {
		if !turn.StartsAt.Before(from) {
			id := turn.ID
			if id == "" {
				id = fmt.Sprint("turn ", i)
			}
			out[id] = clock{turn.StartsAt, turn.EndsAt}
		}
	}
	return out
}

// When nothing has happened but what was published, the plan is the published one: in the same words, at the same times,
// and with the same bytes a second time.
func TestPlanGarden_nothingChangedKeepsEveryTurn(t *testing.T) {
	t.Parallel()
	for name, text := range map[string][]byte{"Tanager Bend": garden.TanagerBend, "Cinder Lane": garden.CinderLane} {
		g := committedGarden(t, text)
		published := planOf(t, g)
		for _, hours := range []float64{-10, 0, 8, 30} {
			next := following(g, published, hours)
			p := planOf(t, next)
			if diff := cmp.Diff(clocks(published.Turns, next.Replan.Now), clocks(p.Turns, next.Replan.Now)); diff != "" {
				t.Errorf("%s after %v h (-published +planned):\n%s", name, hours, diff)
			}
			if c := p.Changes; c.Kept != c.ToCome || c.Part != 0 || len(c.Cancelled) > 0 {
				t.Errorf("%s after %v h: %+v", name, hours, c)
			}
			for _, z := range p.Zones {
				if was := published.Zones[slices.IndexFunc(published.Zones, func(o file.ZonePlan) bool { return o.ID == z.ID })]; was.Name != z.Name {
					t.Errorf("%s: %s is now called %s", name, was.Name, z.Name)
				}
			}
			if first, second := bytesOf(t, p), bytesOf(t, planOf(t, next)); !bytes.Equal(first, second) {
				t.Errorf("%s: the same file gives other bytes", name)
			}
		}
	}
}

func bytesOf(t *testing.T, v any) []byte {
	t.Helper()
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// A rotation is planned anew as the days go by: the horizon moves on, the ledgers know what ran, and the published turns
// of the days ahead stay where they are while new days are planned after them.
func TestPlanGarden_longerHorizonMovesNobody(t *testing.T) {
	t.Parallel()
	g := committedGarden(t, garden.TanagerBend)
	published := planOf(t, g)
	next := following(g, published, 24+1)
	next.Horizon.FirstDay = file.Day{Time: g.Horizon.FirstDay.AddDate(0, 0, 1)}
	start := published.StartsAt.Add(24 * time.Hour)
	for _, turn := range next.Replan.Turns {
		if turn.EndsAt.After(start) {
			continue
		}
		for _, m := range turn.Members {
			u := published.Units[slices.IndexFunc(published.Units, func(u file.UnitPlan) bool { return u.ID == m.Unit })]
			next.Waterings = append(next.Waterings, file.Watering{PlotID: u.PlotID, LayoutID: u.LayoutID, Day: g.Horizon.FirstDay, VolumeL: m.VolumeL, Outcome: "done"})
		}
	}
	next.Replan.Turns = slices.DeleteFunc(next.Replan.Turns, func(turn file.ReplanTurn) bool { return !turn.EndsAt.After(start) })
	p := planOf(t, next)
	if p.Changes.Part > 0.25 {
		t.Errorf("%+v", p.Changes)
	}
	if !slices.ContainsFunc(p.Turns, func(turn file.TurnPlan) bool { return !turn.StartsAt.Before(published.EndsAt) }) {
		t.Error("the new day has no turn")
	}
	for _, turn := range p.Turns {
		if turn.ID == "" && turn.StartsAt.Before(published.EndsAt) != (turn.Change == "added") {
			t.Errorf("turn at %s: change %q", turn.StartsAt, turn.Change)
		}
	}
}

// After one missed turn the others keep their ids, and few of them move.
func TestPlanGarden_missedTurnChangesLittle(t *testing.T) {
	t.Parallel()
	for name, text := range map[string][]byte{"Tanager Bend": garden.TanagerBend, "Cinder Lane": garden.CinderLane} {
		g := committedGarden(t, text)
		published := planOf(t, g)
		next := following(g, published, published.Turns[len(published.Turns)/4].StartsAt.Sub(published.StartsAt).Hours())
		missed := -1
		for i, turn := range next.Replan.Turns {
			if turn.StartsAt.Before(next.Replan.Now) {
				missed = i
			}
		}
		if missed < 0 {
			t.Fatalf("%s: no turn has begun", name)
		}
		next.Replan.Turns[missed].RanMin = new(0.0)
		p := planOf(t, next)
		if p.Changes.Part > 0.25 && len(p.Changes.Forced) == 0 {
			t.Errorf("%s: %+v", name, p.Changes)
		}
		if p.Changes.Kept+p.Changes.Resized+p.Changes.Moved+len(p.Changes.Cancelled) != p.Changes.ToCome {
			t.Errorf("%s: turns to come don't add up: %+v", name, p.Changes)
		}
		ids := map[string]bool{}
		for _, turn := range p.Turns {
			if turn.ID != "" && ids[turn.ID] {
				t.Errorf("%s: two turns go on from %s", name, turn.ID)
			}
			ids[turn.ID] = true
			if turn.StartsAt.Before(next.Replan.Now) {
				t.Errorf("%s: a turn is planned in the past, at %s", name, turn.StartsAt)
			}
		}
	}
}

// The coordinator's choices hold in every plan: units pinned alone share a zone with nobody else, pairs apart never run together,
// excluded plots are left out and said so.
func TestPlanGarden_coordinatorsChoices(t *testing.T) {
	t.Parallel()
	g := committedGarden(t, garden.TanagerBend)
	var pair []string
	for _, z := range planOf(t, g).Zones {
		if z.Kind == "zone" && len(z.Units) > 1 {
			pair = z.Units[:2]
		}
	}
	if pair == nil {
		t.Fatal("no zone of several")
	}
	out := g.Plots[0].ID
	g.Planning = &file.Planning{Apart: []file.Apart{{Units: pair}}, Pins: []file.Pin{{Units: pair[:1], Alone: true}}, Excluded: []string{out}}
	p := planOf(t, g)
	for _, z := range p.Zones {
		if slices.Contains(z.Units, pair[0]) && len(z.Units) > 1 {
			t.Errorf("pinned alone, but with %v", z.Units)
		}
	}
	if slices.ContainsFunc(p.Units, func(u file.UnitPlan) bool { return u.PlotID == out }) {
		t.Error("an excluded plot is planned")
	}
	if !slices.ContainsFunc(p.Unplanned, func(u file.UnplannedPlan) bool { return u.Reason == excluded }) {
		t.Error("nobody says that the plot is excluded")
	}
}

// A unit pinned to a published zone goes there; a zone that is not published yet gets the name that a pin gives it.
func TestPlanGarden_pinsByTheNameOfAZone(t *testing.T) {
	t.Parallel()
	g := committedGarden(t, garden.TanagerBend)
	published := planOf(t, g)
	var home file.ZonePlan
	moving := ""
	for _, z := range published.Zones {
		if z.Kind == "zone" && z.SourceID == home.SourceID {
			moving = z.Units[0]
			break
		}
		if z.Kind == "zone" {
			home = z
		}
	}
	if moving == "" {
		t.Fatal("no two zones of one source")
	}
	named := func(p file.GardenPlan, id string) string {
		for _, z := range p.Zones {
			if slices.Contains(z.Units, id) {
				return z.Name
			}
		}
		return ""
	}
	next := following(g, published, 30)
	next.Planning = &file.Planning{Pins: []file.Pin{{Units: []string{moving}, Zone: home.Name}}}
	if got := named(planOf(t, next), moving); got != home.Name {
		t.Errorf("pinned to %s, in %s", home.Name, got)
	}
	fresh := g
	fresh.Planning = &file.Planning{Pins: []file.Pin{{Units: []string{moving}, Zone: "By the lane"}}}
	if got := named(planOf(t, fresh), moving); got != "By the lane" {
		t.Errorf("the zone is called %s", got)
	}
}

// Every fault of the choices and of the published rotation names its place.
func TestPlanGarden_faultsOfChoicesAndReplan(t *testing.T) {
	t.Parallel()
	g := oneBed(t, 20, 1)
	published := planOf(t, g)
	g = following(g, published, 30)
	g.Planning = &file.Planning{
		Pins: []file.Pin{{Units: []string{"nobody"}}}, Apart: []file.Apart{{Units: []string{"rows"}}}, Excluded: []string{"nowhere"},
		ServeFirst: []string{"friends"}, AttendedHours: []string{"never"}, SmallChanges: &file.SmallChange{ShiftMin: -1},
	}
	g.Replan.Turns[0].Zone = "Z9"
	g.Replan.Turns[1].EndsAt = g.Replan.Turns[1].StartsAt
	g.Replan.Turns[2].RanMin = new(-3.0)
	g.Replan.Turns[3].ID = g.Replan.Turns[2].ID
	g.Replan.Now = published.EndsAt
	_, err := PlanGarden(g, nil)
	wantPointers(t, err, "/planning/pins/0/units/0", "/planning/apart/0/units", "/planning/excluded/0", "/planning/serve_first/0",
		"/planning/attended_hours/0", "/planning/small_changes", "/replan/turns/0/zone", "/replan/turns/1/ends_at", "/replan/turns/2/ran_min",
		"/replan/turns/3/id", "/replan/now")
	two := committedGarden(t, garden.TanagerBend)
	var apart []string
	for _, l := range two.Layouts {
		if len(apart) == 0 || l.WaterSourceID != two.Layouts[0].WaterSourceID && len(apart) == 1 {
			apart = append(apart, l.ID)
		}
	}
	two.Planning = &file.Planning{Pins: []file.Pin{{Units: apart}}}
	_, err = PlanGarden(two, nil)
	wantPointers(t, err, "/planning/pins/0")
}
