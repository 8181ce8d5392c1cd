package api

import (
	"math"
	"testing"

	"github.com/google/uuid"

	"rillturn.example/rillturn/service"
	"rillturn.example/rillturn/service/file"
)

// Every input of a layout is taken over HTTP, tells in the flow, and gives the numbers of the flow file.
func TestLayoutPreview_takesEveryInput(t *testing.T) {
	t.Parallel()
	w := newFlowWorld(t)
	half := file.LayoutPipe{Size: "1/2", Wall: "SDR 13.5"}
	base := func() file.Layout {
		lateral := func() *file.LayoutLateral {
			return &file.LayoutLateral{Pieces: []file.LayoutPiece{
				{Pipe: half, LengthM: 3, Pattern: &file.LayoutPattern{SpacingM: 0.15, HoleDiameterMM: 1.6}},
			}}
		}
		return file.Layout{
			Feed: file.LayoutFeed{HoseLengthM: 10, HoseDiameterMM: 12.7},
			Manifold: file.LayoutManifold{
				Pipe: half, LengthM: 1.2, FeedAtM: 0.3,
				Outlets: []file.LayoutOutlet{{AtM: 0.1, Lateral: lateral()}, {AtM: 1.1, Lateral: lateral()}},
			},
		}
	}
	type change func(*file.Layout, *file.FlowConditions)
	first := func(set func(*file.LayoutLateral)) change {
		return func(l *file.Layout, _ *file.FlowConditions) { set(l.Manifold.Outlets[0].Lateral) }
	}
	cases := map[string]change{
		"as it is":                        func(*file.Layout, *file.FlowConditions) {},
		"measured diameter of a lateral":  first(func(l *file.LayoutLateral) { l.Pieces[0].Pipe.InsideDiameterMM = 14.2 }),
		"measured diameter of a manifold": func(l *file.Layout, _ *file.FlowConditions) { l.Manifold.Pipe.InsideDiameterMM = 19 },
		"temperature of the water":        func(_ *file.Layout, c *file.FlowConditions) { c.Options.WaterTemperatureC = new(5.0) },
		"velocity head":                   func(_ *file.Layout, c *file.FlowConditions) { c.Options.VelocityHeadRegain = new(1.0) },
		"a piece of other pipe and holes": first(func(l *file.LayoutLateral) {
			l.Pieces = append(l.Pieces, file.LayoutPiece{
				Pipe: file.LayoutPipe{InsideDiameterMM: 20}, LengthM: 1, Pattern: &file.LayoutPattern{SpacingM: 0.3, HoleDiameterMM: 2},
			})
		}),
		"sets of two on two sides": first(func(l *file.LayoutLateral) {
			l.Pieces[0].Pattern.HolesPerSet, l.Pieces[0].Pattern.Sides = new(2), new(2)
		}),
		"holes that face up":   first(func(l *file.LayoutLateral) { l.Pieces[0].Pattern.Facing = "up" }),
		"holes that face down": first(func(l *file.LayoutLateral) { l.Pieces[0].Pattern.Facing = "down" }),
		"rated outlets": first(func(l *file.LayoutLateral) {
			l.Pieces[0].Pattern = &file.LayoutPattern{SpacingM: 0.3, Rated: &file.LayoutRated{FlowLPerH: 4, HeadM: 10, Exponent: 0.5}}
		}),
		"another coefficient of holes": first(func(l *file.LayoutLateral) { l.Pieces[0].Pattern.DischargeCoefficient = new(0.8) }),
		"fed at the end":               func(l *file.Layout, _ *file.FlowConditions) { l.Manifold.FeedAtM = 0 },
		"fed between the arms":         func(l *file.Layout, _ *file.FlowConditions) { l.Manifold.FeedAtM = 0.7 },
		"a filter": func(l *file.Layout, _ *file.FlowConditions) {
			l.Feed.Filter = &file.LayoutFilter{FlowLPerMin: 10, LossM: 1}
		},
		"fittings":                     func(l *file.Layout, _ *file.FlowConditions) { l.Feed.FittingsK = 4 },
		"a throttled valve":            func(l *file.Layout, _ *file.FlowConditions) { l.Feed.ValveK = 60 },
		"a longer hose":                func(l *file.Layout, _ *file.FlowConditions) { l.Feed.HoseLengthM = 30 },
		"a bed above the tap":          func(l *file.Layout, _ *file.FlowConditions) { l.Feed.RiseM = 1.5 },
		"a lateral that rises":         first(func(l *file.LayoutLateral) { l.RiseM = new(0.2) }),
		"a manifold that falls":        func(l *file.Layout, _ *file.FlowConditions) { l.Manifold.RiseM = new(-0.3) },
		"a lateral above the manifold": func(l *file.Layout, _ *file.FlowConditions) { l.Manifold.Outlets[1].RiseM = 0.4 },
		"a plugged outlet":             func(l *file.Layout, _ *file.FlowConditions) { l.Manifold.Outlets[1].Plugged = true },
		"plugged holes":                first(func(l *file.LayoutLateral) { l.Plugged = []file.LayoutPlugged{{Piece: 0, Set: 3}, {Piece: 0, Set: 7}} }),
		"joints":                       first(func(l *file.LayoutLateral) { l.JointK, l.HoleEdgeK = 2, 0.1 }),
		"tees": func(l *file.Layout, _ *file.FlowConditions) {
			l.Manifold.TeeRunK, l.Manifold.TeeBranchK = new(0.9), new(3.0)
		},
	}
	flowOf := func(name string, set change) float64 {
		layout, conditions := base(), file.FlowConditions{}
		set(&layout, &conditions)
		got := w.post(t, service.Gardener, 200, map[string]any{"water_source_id": w.source, "spec": layout, "conditions": conditions}, "layout-previews")
		alone := w.flow.Under(conditions)
		alone.Layouts = []file.NamedLayout{{ID: "preview", Layout: layout}}
		same(t, name, got, alone, file.RunFlow)
		return got["sets"].([]any)[0].(map[string]any)["flow_l_per_min"].(float64)
	}
	plain := flowOf("as it is", cases["as it is"])
	for name, set := range cases {
		if moved := math.Abs(flowOf(name, set)-plain) > 1e-7*plain; moved == (name == "as it is") {
			t.Errorf("%s: the flow moved: %v", name, moved)
		}
	}
}

// A raised tank feeds by its level.
func TestLayoutPreview_onARaisedTank(t *testing.T) {
	t.Parallel()
	w := newFlowWorld(t)
	layout := w.flow.Layouts[0].Layout
	flow := 0.0
	for _, level := range []float64{0.4, 0.8, 1.6} {
		tank := w.post(t, service.Coordinator, 201, map[string]any{
			"name": uuid.NewString(), "kind": "tank", "hose_connections": 1, "changeover_min": 0, "min_run_min": 0,
			"tank_volume_l": 1000, "tank_level_m": level, "tank_refill_l_per_day": 500,
		}, "water-sources")
		got := w.post(t, service.Gardener, 200, map[string]any{"water_source_id": tank["id"], "spec": layout}, "layout-previews")
		alone := file.Flow{
			Source:  file.FlowSource{Tank: &file.SourceTank{LevelM: level, OutletDiameterMM: 15.875, OutletAssumed: true}},
			Layouts: []file.NamedLayout{{ID: "preview", Layout: layout}},
		}
		same(t, "tank", got, alone, file.RunFlow)
		more := got["sets"].([]any)[0].(map[string]any)["flow_l_per_min"].(float64)
		if !(more > flow) {
			t.Errorf("level %v m: %v L/min, not more than %v", level, more, flow)
		}
		flow = more
	}
}
