package service

import (
	"math"
	"slices"
	"testing"

	"rillturn.example/rillturn/service/file"
	"rillturn.example/rillturn/testdata/garden"
)

// thirstyBeds is a garden of hose plots at one tap with a quarter of an hour of water on most days: areas differ, so the
// measures of a fair share differ.
func thirstyBeds(t *testing.T, areas ...float64) file.Garden {
	t.Helper()
	g := oneBed(t, 1, 1)
	g.WaterSources = []file.WaterSource{{
		ID: "tap", Name: "Tap", Kind: "spigot", HoseConnections: 1, StaticHeadM: new(30.0), ChangeoverMin: 0, MinRunMin: 1,
		FlowTests: []file.FlowTest{{Kind: "bucket", VolumeL: new(10.0), DurationS: new(30.0)}},
	}}
	g.Garden.StartGridMin = 0
	g.WaterHours = []file.WaterHours{{ID: "h", Weekdays: []int{1, 2, 3, 4, 5, 6, 7}, StartLocal: "06:00", EndLocal: "06:15"}}
	g.Plots, g.Layouts, g.Plantings = nil, nil, nil
	for i, area := range areas {
		id := string(rune('A' + i))
		g.Plots = append(g.Plots, file.Plot{ID: id, Label: id, AreaM2: area, Method: "hose", WaterSourceID: new("tap"), HoseFlowLPerMin: new(6.0)})
		g.Plantings = append(g.Plantings, file.Planting{
			ID: "in " + id, PlotID: id, Crop: "tomato", PlantedOn: file.Day{Time: g.Horizon.FirstDay.AddDate(0, 0, -60)}, AreaM2: area / float64(i+1),
			WettedFraction: 1, Mulch: "none",
		})
	}
	return g
}

// Three beds of 12, 24 and 36 m² get 15 minutes of 6 L/min a day among them. Shared by need everybody gets the same part
// of the need, by area the same depth of water, by minutes the same minutes, each up to the need.
func TestPlanGarden_measuresOfAFairShareByHand(t *testing.T) {
	t.Parallel()
	const days, litersADay = 7, 15 * 6.0
	for measure, same := range map[string]func(file.Plot, file.UnitPlan) float64{
		"need":    func(_ file.Plot, u file.UnitPlan) float64 { return u.DeliveredL / u.NeedL },
		"area":    func(p file.Plot, u file.UnitPlan) float64 { return u.DeliveredL / p.AreaM2 },
		"minutes": func(_ file.Plot, u file.UnitPlan) float64 { return u.DeliveredL / u.HandFlow },
	} {
		g := thirstyBeds(t, 12, 24, 36)
		g.Garden.Fairness = measure
		p := planOf(t, g)
		var least, total float64
		for _, u := range p.Units {
			plot := plotByID(g, u.PlotID)
			total += u.DeliveredL
			if u.Share >= 1 {
				continue
			}
			if got := same(plot, u); least == 0 {
				least = got
			} else if math.Abs(got-least) > 0.01*least {
				t.Errorf("by %s: %s has %v, others %v", measure, u.ID, got, least)
			}
		}
		if least == 0 || math.Abs(total-days*litersADay) > 0.01*days*litersADay {
			t.Errorf("by %s: %v L given, the hours give %v; nobody short: %v", measure, total, days*litersADay, least == 0)
		}
		if len(p.Shortages) == 0 || p.Shortages[0].By != measure {
			t.Errorf("by %s: told as %+v", measure, p.Shortages)
		}
	}
}

func plotByID(g file.Garden, id string) file.Plot {
	return g.Plots[slices.IndexFunc(g.Plots, func(p file.Plot) bool { return p.ID == id })]
}

// Seedlings first, then communal plots: a kind has all it can get before anybody after it gets more than the least.
func TestPlanGarden_servesKindsInOrder(t *testing.T) {
	t.Parallel()
	share := func(first ...string) map[string]float64 {
		g := thirstyBeds(t, 30, 30, 30)
		g.Plots[1].Communal = true
		g.Plantings[2].PlantedOn = g.Horizon.FirstDay // transplants are seedlings for two weeks
		for i := range g.Plantings {
			g.Plantings[i].AreaM2 = 20
		}
		if len(first) > 0 {
			g.Planning = &file.Planning{ServeFirst: first}
		}
		out := map[string]float64{}
		for _, u := range planOf(t, g).Units {
			out[u.ID] = u.Share
		}
		return out
	}
	even := share()
	if math.Abs(even["A"]-even["B"]) > 0.02 {
		t.Errorf("all are equal, and get %v", even)
	}
	commons := share(communal)
	if commons["B"] <= even["B"] || commons["A"] >= even["A"] || commons["C"] > even["C"] {
		t.Errorf("communal plots first: %v, all equal: %v", commons, even)
	}
	both := share(seedlings, communal)
	if both["C"] < even["C"] || both["B"] < both["A"] {
		t.Errorf("seedlings, then communal plots: %v, all equal: %v", both, even)
	}
}

// For every plot the plan says why it gets what it gets: sums that hold, or a reason why no turn waters it.
func TestGardenPlan_why(t *testing.T) {
	t.Parallel()
	for name, text := range map[string][]byte{"Tanager Bend": garden.TanagerBend, "Cinder Lane": garden.CinderLane} {
		p := planOf(t, committedGarden(t, text))
		short := 0
		for _, u := range p.Units {
			w, known := p.Why(u.ID)
			if !known || w.Share != u.Share {
				t.Errorf("%s: %s: %+v", name, u.ID, w)
			}
			if u.Zone == "" || u.DeliveredL >= u.NeedL {
				continue
			}
			short++
			if w.Shortage == nil || len(w.Binds) == 0 {
				t.Errorf("%s: nobody says why %s is short", name, u.ID)
				continue
			}
			sum := 0.0
			for _, l := range w.Shortage.Limits {
				sum += l.Minutes
			}
			if math.Round(1000*sum) != math.Round(1000*w.Shortage.OfferedMin) {
				t.Errorf("%s: %s: limits add up to %v min, offered are %v", name, u.ID, sum, w.Shortage.OfferedMin)
			}
		}
		if short == 0 {
			t.Errorf("%s: nobody is short", name)
		}
		for _, u := range p.Unplanned {
			if w, known := p.Why(u.ID); !known || w.Unplanned == nil {
				t.Errorf("%s: %s is left out, and why is not said", name, u.ID)
			}
		}
		if _, known := p.Why("nobody"); known {
			t.Errorf("%s: knows nobody", name)
		}
	}
}
