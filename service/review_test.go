package service

import (
	"bytes"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/file"
)

// planned is the layout document that a plan of the garden would be made from.
func (w *world) planned(t *testing.T, layout uuid.UUID) *file.Layout {
	t.Helper()
	var g file.Garden
	err := repo.InTenant(t.Context(), w.pool, w.garden, func(tx pgx.Tx) error {
		var err error
		g, err = snapshot(t.Context(), tx, w.garden, file.Horizon{FirstDay: file.Day{Time: w.now}, Days: 7}, time.Time{})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range g.Layouts {
		if l.ID == layout.String() {
			return &l.Spec
		}
	}
	return nil
}

// wider is the tidy layout with larger holes.
func wider(t *testing.T) file.Layout {
	t.Helper()
	spec := tidy(t)
	spec.Manifold.Outlets[0].Lateral.Pieces[0].Pattern.HoleDiameterMM = 2
	return spec
}

func TestLayoutReview_lifeCycle(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx := t.Context()
	l := must[repo.LayoutDocument](t)(w.CreateLayout(ctx, w.gardener, w.layoutValues(w.plot), tidy(t)))
	id := l.Layout.ID
	step := func(name, status, revision string, number int32, made repo.LayoutDocument, err error) {
		t.Helper()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		l = made
		stored := must[repo.LayoutDocument](t)(w.Layout(ctx, w.gardener, id))
		if stored.Layout.Status != status || stored.LayoutRevision.Status != revision || stored.LayoutRevision.Number != number {
			t.Fatalf("%s: layout %s, revision %d %s, want %s, %d %s", name, stored.Layout.Status, stored.LayoutRevision.Number,
				stored.LayoutRevision.Status, status, number, revision)
		}
		if stored.Layout.Revision != made.Layout.Revision {
			t.Errorf("%s: answered at revision %d, stored at %d", name, made.Layout.Revision, stored.Layout.Revision)
		}
	}
	plans := func(name string, want *file.Layout) {
		t.Helper()
		switch got := w.planned(t, id); {
		case (got == nil) != (want == nil):
			t.Errorf("%s: plans are made from %v", name, got)
		case got != nil && !sameLayout(*got, *want):
			t.Errorf("%s: plans are made from another document", name)
		}
	}
	first, second := tidy(t), wider(t)

	step("created", "draft", "draft", 1, l, nil)
	plans("created", nil)
	made, err := w.SubmitLayout(ctx, w.gardener, id, l.Layout.Revision)
	step("submitted", "submitted", "submitted", 1, made, err)
	plans("submitted", nil)
	made, err = w.AcceptLayout(ctx, w.coordinator, id, l.Layout.Revision)
	step("accepted", "accepted", "accepted", 1, made, err)
	if made.LayoutRevision.DecidedBy == nil || *made.LayoutRevision.DecidedBy != w.coordinator.Name || made.LayoutRevision.DecidedAt == nil {
		t.Errorf("decided by %v at %v", made.LayoutRevision.DecidedBy, made.LayoutRevision.DecidedAt)
	}
	plans("accepted", &first)

	made, err = w.ReplaceLayout(ctx, w.gardener, id, l.Layout.Revision, w.layoutValues(w.plot), second)
	step("drawn anew", "draft", "draft", 2, made, err)
	plans("drawn anew", &first)
	made, err = w.SubmitLayout(ctx, w.gardener, id, l.Layout.Revision)
	step("submitted again", "submitted", "submitted", 2, made, err)
	made, err = w.ReturnLayout(ctx, w.coordinator, id, l.Layout.Revision, "too many holes for this spigot")
	step("returned", "returned", "returned", 2, made, err)
	if made.LayoutRevision.Comment != "too many holes for this spigot" {
		t.Errorf("comment %q", made.LayoutRevision.Comment)
	}
	plans("returned", &first)
	made, err = w.ReplaceLayout(ctx, w.gardener, id, l.Layout.Revision, w.layoutValues(w.plot), second)
	step("drawn a third time", "draft", "draft", 3, made, err)
	made, err = w.SubmitLayout(ctx, w.gardener, id, l.Layout.Revision)
	step("submitted a third time", "submitted", "submitted", 3, made, err)
	made, err = w.AcceptLayout(ctx, w.coordinator, id, l.Layout.Revision)
	step("accepted anew", "accepted", "accepted", 3, made, err)
	plans("accepted anew", &second)

	revisions, _, err := w.LayoutRevisions(ctx, w.gardener, id, Page{Limit: 10})
	if err != nil || len(revisions) != 3 {
		t.Fatalf("%d revisions, %v", len(revisions), err)
	}
	for i, want := range []string{"superseded", "returned", "accepted"} {
		if revisions[i].Status != want || revisions[i].Number != int32(i+1) {
			t.Errorf("revision %d is %s, want %s", revisions[i].Number, revisions[i].Status, want)
		}
	}
	if !sameLayout(layoutOf(t, string(revisions[0].Spec)), first) {
		t.Error("the document that was accepted first has changed")
	}

	made, err = w.RetireLayout(ctx, w.gardener, id, l.Layout.Revision)
	step("retired", "retired", "accepted", 3, made, err)
	plans("retired", nil)
	_, err = w.ReplaceLayout(ctx, w.gardener, id, l.Layout.Revision, w.layoutValues(w.plot), first)
	wantKind(t, err, Conflict)
	_, err = w.RetireLayout(ctx, w.gardener, id, l.Layout.Revision)
	wantKind(t, err, Conflict)
}

// What each state of the review allows.
func TestLayoutReview_stepsOutOfOrder(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx := t.Context()
	for state, allowed := range map[string]string{ // s(ubmit), a(ccept), r(eturn)
		"draft": "s", "submitted": "ar", "accepted": "", "returned": "", "retired": "",
	} {
		for step, letter := range map[string]string{"submit": "s", "accept": "a", "return": "r"} {
			l := w.layoutIn(t, state)
			var err error
			switch step {
			case "submit":
				_, err = w.SubmitLayout(ctx, w.coordinator, l.ID, l.Revision)
			case "accept":
				_, err = w.AcceptLayout(ctx, w.coordinator, l.ID, l.Revision)
			case "return":
				_, err = w.ReturnLayout(ctx, w.coordinator, l.ID, l.Revision, "no")
			}
			if bytes.Contains([]byte(allowed), []byte(letter)) {
				wantKind(t, err, 0)
			} else {
				wantKind(t, err, Conflict)
			}
		}
	}
	l := w.layoutIn(t, "draft")
	_, err := w.SubmitLayout(ctx, w.coordinator, l.ID, l.Revision+1)
	wantKind(t, err, Stale)
	_, err = w.SubmitLayout(ctx, w.coordinator, w.newID(), 1)
	wantKind(t, err, NotFound)
}

// layoutIn brings a new layout into a state.
func (w *world) layoutIn(t *testing.T, state string) repo.Layout {
	t.Helper()
	ctx, p := t.Context(), w.coordinator
	v := w.layoutValues(w.plot)
	v.Name = w.newID().String()
	l, err := w.CreateLayout(ctx, p, v, tidy(t))
	steps := map[string][]string{
		"submitted": {"submit"}, "accepted": {"submit", "accept"}, "returned": {"submit", "return"}, "retired": {"retire"},
	}
	for _, step := range steps[state] {
		if err != nil {
			break
		}
		switch step {
		case "submit":
			l, err = w.SubmitLayout(ctx, p, l.Layout.ID, l.Layout.Revision)
		case "accept":
			l, err = w.AcceptLayout(ctx, p, l.Layout.ID, l.Layout.Revision)
		case "return":
			l, err = w.ReturnLayout(ctx, p, l.Layout.ID, l.Layout.Revision, "no")
		case "retire":
			l, err = w.RetireLayout(ctx, p, l.Layout.ID, l.Layout.Revision)
		}
	}
	if err != nil || l.Layout.Status != state {
		t.Fatalf("layout is %s, want %s: %v", l.Layout.Status, state, err)
	}
	return l.Layout
}

// A submitted revision that is drawn anew leaves the queue of the coordinators, and its document stays as it was.
func TestReplaceLayout_withdrawsWhatWasSubmitted(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx := t.Context()
	l := w.layoutIn(t, "submitted")
	v := w.layoutValues(w.plot)
	v.Name = l.Name
	made := must[repo.LayoutDocument](t)(w.ReplaceLayout(ctx, w.gardener, l.ID, l.Revision, v, wider(t)))
	if made.Layout.Status != "draft" || made.LayoutRevision.Number != 2 {
		t.Errorf("layout %s, revision %d", made.Layout.Status, made.LayoutRevision.Number)
	}
	old := must[repo.LayoutRevision](t)(w.LayoutRevision(ctx, w.gardener, l.ID, 1))
	if old.Status != "superseded" || !sameLayout(layoutOf(t, string(old.Spec)), tidy(t)) {
		t.Errorf("the first revision is %s", old.Status)
	}
	// A draft is changed in place.
	again := must[repo.LayoutDocument](t)(w.ReplaceLayout(ctx, w.gardener, l.ID, made.Layout.Revision, v, tidy(t)))
	if again.LayoutRevision.Number != 2 || !sameLayout(layoutOf(t, string(again.LayoutRevision.Spec)), tidy(t)) {
		t.Errorf("a changed draft is revision %d", again.LayoutRevision.Number)
	}
}

func TestReplaceLayout_placeAndSource(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx := t.Context()
	l := w.layoutIn(t, "accepted")
	v := w.layoutValues(w.plot)
	v.Name = l.Name
	elsewhere := v
	elsewhere.PlotID = w.foreignPlot
	_, err := w.ReplaceLayout(ctx, w.coordinator, l.ID, l.Revision, elsewhere, tidy(t))
	wantField(t, err, "/plot_id")
	other := must[repo.WaterSource](t)(w.CreateWaterSource(ctx, w.coordinator, repo.WaterSourceValues{Name: "south", Kind: "spigot", HoseConnections: 1}))
	moved := v
	moved.WaterSourceID = other.ID
	_, err = w.ReplaceLayout(ctx, w.gardener, l.ID, l.Revision, moved, tidy(t))
	wantField(t, err, "/water_source_id")
	_, err = w.ReplaceLayout(ctx, w.coordinator, l.ID, l.Revision, moved, tidy(t))
	wantKind(t, err, 0)
}

func TestCreateLayout_refusesWhatCannotBe(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx := t.Context()
	bad := tidy(t)
	bad.Manifold.Outlets[0].Lateral.Pieces[0].LengthM = -1
	_, err := w.CreateLayout(ctx, w.gardener, w.layoutValues(w.plot), bad)
	wantField(t, err, "/spec/manifold/outlets/0/lateral/pieces/0/length_m")
	_, err = w.CreateLayout(ctx, w.coordinator, repo.LayoutValues{Name: "nowhere", PlotID: w.newID(), WaterSourceID: w.newID()}, tidy(t))
	wantField(t, err, "/plot_id")
	wantField(t, err, "/water_source_id")
	cans := must[repo.Plot](t)(w.CreatePlot(ctx, w.coordinator, repo.PlotValues{
		Label: "cans", AreaM2: 5, Method: "can", WaterSourceID: &w.source, CanVolumeL: new(10.0), CanMinutesEach: new(2.0),
	}))
	_, err = w.CreateLayout(ctx, w.coordinator, w.layoutValues(cans.ID), tidy(t))
	wantField(t, err, "/plot_id")
	_, err = w.CreateLayout(ctx, w.gardener, w.layoutValues(w.plot), tidy(t))
	wantKind(t, err, 0)
	_, err = w.CreateLayout(ctx, w.gardener, w.layoutValues(w.plot), tidy(t))
	refused := refusal(t, err, Conflict)
	if len(refused.Fields) != 1 || refused.Fields[0].Pointer != "/name" {
		t.Errorf("a name used twice: %v", refused)
	}
}

func TestCheckLayout_needsASupply(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx := t.Context()
	untested := must[repo.WaterSource](t)(w.CreateWaterSource(ctx, w.coordinator, repo.WaterSourceValues{Name: "new", Kind: "spigot", HoseConnections: 1}))
	_, err := w.PreviewLayout(ctx, w.gardener, untested.ID, tidy(t), FlowAsk{})
	wantKind(t, err, Conflict)
	_, err = w.SupplyCurve(ctx, w.gardener, untested.ID)
	wantKind(t, err, Conflict)
	_, err = w.PreviewLayout(ctx, w.gardener, w.newID(), tidy(t), FlowAsk{})
	wantField(t, err, "/water_source_id")
	preview := must[file.FlowResult](t)(w.PreviewLayout(ctx, w.gardener, w.source, tidy(t), FlowAsk{}))
	l := w.layoutIn(t, "draft")
	checked := must[file.FlowResult](t)(w.CheckLayout(ctx, w.gardener, l.ID, FlowAsk{}))
	if len(checked.Sets) != 1 || len(preview.Sets) != 1 || checked.Sets[0].FlowLPerMin != preview.Sets[0].FlowLPerMin ||
		checked.Sets[0].FlowLPerMin <= 0 {
		t.Errorf("stored %+v, preview %+v", checked.Sets, preview.Sets)
	}
}

// A flow test is refused where no supply curve could go through all of the source's tests.
func TestCreateFlowTest_refusedWithoutACurve(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx := t.Context()
	source := func(hose bool) uuid.UUID {
		v := repo.WaterSourceValues{Name: w.newID().String(), Kind: "spigot", HoseConnections: 1}
		if hose {
			v.HoseLengthM, v.HoseInsideDiameterMm = new(30.0), new(12.7)
		}
		return must[repo.WaterSource](t)(w.CreateWaterSource(ctx, w.coordinator, v)).ID
	}
	test := func(id uuid.UUID, v repo.FlowTestValues) error {
		v.WaterSourceID, v.TestedAt = id, w.now.Add(-time.Hour)
		_, err := w.CreateFlowTest(ctx, w.coordinator, v)
		return err
	}
	static := repo.FlowTestValues{Kind: "static", HeadM: new(20.0)}
	wantKind(t, test(w.newID(), static), NotFound)

	alone := source(false)
	wantKind(t, test(alone, static), 0) // a flow may come later
	wantKind(t, test(alone, repo.FlowTestValues{Kind: "residual", HeadM: new(25.0), FlowLPerMin: new(20.0)}), Invalid)
	wantKind(t, test(alone, repo.FlowTestValues{Kind: "residual", HeadM: new(20.0), FlowLPerMin: new(20.0)}), Invalid)
	tests, _, err := w.FlowTests(ctx, w.coordinator, alone, Page{Limit: 10})
	if err != nil || len(tests) != 1 {
		t.Errorf("%d tests are kept of one that was taken and two that were refused, %v", len(tests), err)
	}
	wantKind(t, test(alone, repo.FlowTestValues{Kind: "residual", HeadM: new(12.0), FlowLPerMin: new(20.0)}), 0)
	supply := must[file.SupplyResult](t)(w.SupplyCurve(ctx, w.coordinator, alone))
	if supply.H0M < 19.9 || supply.H0M > 20.1 {
		t.Errorf("head at no flow %v m, tested 20 m", supply.H0M)
	}

	// 60 L/min through 30 m of half-inch hose would lose far more than the 20 m that the source has.
	hosed := source(true)
	wantKind(t, test(hosed, static), 0)
	wantKind(t, test(hosed, repo.FlowTestValues{Kind: "bucket", VolumeL: new(60.0), DurationS: new(60.0), AfterHose: true}), Invalid)
	wantKind(t, test(hosed, repo.FlowTestValues{Kind: "bucket", VolumeL: new(10.0), DurationS: new(60.0), AfterHose: true}), 0)

	for name, c := range map[string]struct {
		v     repo.FlowTestValues
		field string
	}{
		"static with a flow":      {repo.FlowTestValues{Kind: "static", HeadM: new(20.0), FlowLPerMin: new(3.0)}, "/kind"},
		"residual without a flow": {repo.FlowTestValues{Kind: "residual", HeadM: new(20.0)}, "/kind"},
		"bucket without seconds":  {repo.FlowTestValues{Kind: "bucket", VolumeL: new(10.0)}, "/kind"},
		"unknown kind":            {repo.FlowTestValues{Kind: "guess", HeadM: new(20.0)}, "/kind"},
		"a bucket of nothing":     {repo.FlowTestValues{Kind: "bucket", VolumeL: new(0.0), DurationS: new(25.0)}, "/volume_l"},
	} {
		t.Run(name, func(t *testing.T) { wantField(t, test(source(false), c.v), c.field) })
	}
	wantKind(t, w.DeleteFlowTest(ctx, w.coordinator, hosed, tests[0].ID, 1), NotFound) // one of another source
}

func TestCreatePlanting_checks(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx := t.Context()
	here := w.layoutIn(t, "draft")
	large := w.plantingValues(w.plot)
	large.AreaM2 = 20.1
	unknown := w.plantingValues(w.plot)
	unknown.Crop = "moonflower"
	elsewhere := w.plantingValues(w.foreignPlot)
	elsewhere.LayoutID = &here.ID
	nowhere := w.plantingValues(w.newID())
	noLayout := w.plantingValues(w.plot)
	noLayout.LayoutID = new(w.newID())
	backwards := w.plantingValues(w.plot)
	backwards.RemovedOn = new(backwards.PlantedOn.AddDate(0, 0, -1))
	dry := w.plantingValues(w.plot)
	dry.WettedFraction = 0
	all := large
	all.Crop, all.LayoutID = unknown.Crop, nil
	for name, c := range map[string]struct {
		v      repo.PlantingValues
		fields []string
	}{
		"larger than its plot":        {large, []string{"/area_m2"}},
		"unknown crop":                {unknown, []string{"/crop"}},
		"layout of another plot":      {elsewhere, []string{"/layout_id"}},
		"layout of no plot":           {noLayout, []string{"/layout_id"}},
		"plot of elsewhere":           {nowhere, []string{"/plot_id"}},
		"removed before planted":      {backwards, []string{"/removed_on"}},
		"wets nothing":                {dry, []string{"/wetted_fraction"}},
		"two faults at the same time": {all, []string{"/area_m2", "/crop"}},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := w.CreatePlanting(ctx, w.coordinator, c.v)
			for _, f := range c.fields {
				wantField(t, err, f)
			}
		})
	}
}

// The constants of a crop are copied when it is planted, and again only when the crop changes.
func TestReplacePlanting_keepsTheConstantsOfTheSameCrop(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx := t.Context()
	v := w.plantingValues(w.plot)
	v.CropConstants = []byte(`{"code": "lettuce", "kc_mid": 0.9625}`)
	made := must[repo.Planting](t)(w.CreatePlanting(ctx, w.coordinator, v))
	v.CropConstants = nil
	v.AreaM2 = 8
	kept := must[repo.Planting](t)(w.ReplacePlanting(ctx, w.coordinator, made.ID, 1, v))
	if !bytes.Contains(kept.CropConstants, []byte("0.9625")) {
		t.Errorf("the same crop's constants became %s", kept.CropConstants)
	}
	v.Crop = "tomato"
	changed := must[repo.Planting](t)(w.ReplacePlanting(ctx, w.coordinator, made.ID, 2, v))
	if !bytes.Contains(changed.CropConstants, []byte(`"tomato"`)) {
		t.Errorf("a tomato's constants are %s", changed.CropConstants)
	}
}

func TestStoreWeather_touchesPlansOnlyOnChange(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx := t.Context()
	day := func(tmax float64) repo.WeatherDay {
		return repo.WeatherDay{Station: "roof", Day: day(t, "2026-07-05").Time, Kind: "measured", TmaxC: &tmax, TminC: new(14.0), RainMm: new(0.0)}
	}
	for _, c := range []struct {
		name  string
		days  []repo.WeatherDay
		rises bool
	}{
		{"a new day", []repo.WeatherDay{day(27)}, true},
		{"the same day again", []repo.WeatherDay{day(27)}, false},
		{"corrected", []repo.WeatherDay{day(28)}, true},
		{"nothing", nil, false},
	} {
		before, _ := w.versions(t)
		if err := w.StoreWeather(ctx, w.integration, c.days); err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		if after, _ := w.versions(t); (after > before) != c.rises {
			t.Errorf("%s: plan revision from %d to %d", c.name, before, after)
		}
	}
	rows, _, err := w.WeatherDays(ctx, w.gardener, repo.WeatherFilter{}, Page{Limit: 10})
	if err != nil || len(rows) != 1 || *rows[0].TmaxC != 28 {
		t.Errorf("%+v, %v", rows, err)
	}
	// All days or none.
	cold := day(10)
	cold.Day = cold.Day.AddDate(0, 0, 1)
	err = w.StoreWeather(ctx, w.integration, []repo.WeatherDay{day(30), cold})
	wantField(t, err, "/days/1/tmax_c")
	rows, _, err = w.WeatherDays(ctx, w.gardener, repo.WeatherFilter{}, Page{Limit: 10})
	if err != nil || len(rows) != 1 || *rows[0].TmaxC != 28 {
		t.Errorf("after a refusal: %+v, %v", rows, err)
	}
	wantKind(t, w.StoreWeather(ctx, w.gardener, []repo.WeatherDay{day(30)}), Forbidden)
}

// What only the database refuses is named by its day, and no day of the push is kept.
func TestStoreWeather_namesTheDayThatIsRefused(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	days := []repo.WeatherDay{
		{Station: "roof", Day: day(t, "2026-07-04").Time, Kind: "measured", RainMm: new(1.0)},
		{Station: strings.Repeat("x", 61), Day: day(t, "2026-07-05").Time, Kind: "measured", RainMm: new(0.0)},
	}
	var refused *Error
	if err := w.StoreWeather(t.Context(), w.integration, days); !errors.As(err, &refused) || len(refused.Fields) != 1 || refused.Fields[0].Pointer != "/days/1/station" {
		t.Errorf("refused as %v, want a fault at /days/1/station", err)
	}
	rows, _, err := w.WeatherDays(t.Context(), w.gardener, repo.WeatherFilter{}, Page{Limit: 10})
	if err != nil || len(rows) != 0 {
		t.Errorf("%d days are stored, %v", len(rows), err)
	}
}
