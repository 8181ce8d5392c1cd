package api

import (
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/repo/repotest"
	"rillturn.example/rillturn/service"
)

// usual are the records that the parameters of paths name in requests made from the contract.
var usual = map[string]uuid.UUID{
	"member": spareMember, "token": spareToken, "plot": plotID, "holder": holderID, "line": lineID, "source": sourceID,
	"test": flowTestID, "hours": hoursID, "closure": closureID, "layout": draftLayout, "planting": plantingID,
	"rotation": rotationID, "turn": turnID, "report": reportID, "pipe": pipeID, "webhook": hookID, "dig": digID,
	"crop": ownCropID, "reading": readingID,
}

// special are the operations that need another record, by operation and parameter.
var special = map[string]uuid.UUID{
	"holderCreate plot":             sparePlot,       // the member of the example holds the usual plot already
	"plantingDelete planting":       sparePlanting,   // nobody dug here
	"plotDelete plot":               sparePlot,       // nothing refers to these
	"serviceLineDelete line":        spareLine,       //
	"waterSourceDelete source":      spareSource,     //
	"layoutAccept layout":           submittedLayout, // transitions begin at their own status
	"layoutReturn layout":           submittedLayout, //
	"layoutEffectGet layout":        submittedLayout, //
	"layoutRetire layout":           acceptedLayout,  //
	"layoutSheetGet layout":         acceptedLayout,  // sheets are made from accepted revisions
	"layoutSheetCsvGet layout":      acceptedLayout,  //
	"layoutSheetPdfGet layout":      acceptedLayout,  //
	"layoutReservationStore layout": acceptedLayout,
	"layoutPipesStore layout":       acceptedLayout,
}

// made are the records that operations need in a state of its own, made for each request.
var made = map[string]func(*world, testing.TB, garden) string{
	"rotationPublish rotation":        inStatus("proposed"),
	"rotationSchedulePdfGet rotation": (*world).proposal,
	"rotationScheduleSvgGet rotation": (*world).proposal,
	"rotationFairnessSvgGet rotation": (*world).proposal,
	"rotationComparisonGet rotation":  inStatus("proposed"),
	"rotationCancel rotation":         inStatus("planning"),
	"waterSourceReopen source":        func(w *world, t testing.TB, g garden) string { return w.off(t, g, &sourceID, nil) },
	"serviceLineReopen line":          func(w *world, t testing.TB, g garden) string { return w.off(t, g, nil, &lineID) },
	"turnLock turn":                   toCome(false),
	"turnUnlock turn":                 toCome(true),
}

func inStatus(status string) func(*world, testing.TB, garden) string {
	return func(w *world, t testing.TB, g garden) string { return w.rotation(t, g, status) }
}

func toCome(locked bool) func(*world, testing.TB, garden) string {
	return func(w *world, t testing.TB, g garden) string { return w.turnToCome(t, g, locked) }
}

func makes(op *operation) bool {
	for key := range made {
		if strings.HasPrefix(key, op.id+" ") {
			return true
		}
	}
	return false
}

// good makes a request from the contract that a garden of the tests can carry out: the records of the path exist, the
// body is the contract's example, and If-Match is the revision of new records.
func (w *world) good(t testing.TB, g garden, op *operation) call {
	t.Helper()
	c := call{method: op.route.Method, path: op.route.Path, header: map[string]string{}}
	for _, ref := range op.route.Operation.Parameters {
		p := ref.Value
		switch {
		case p.In == openapi3.ParameterInPath:
			c.path = strings.Replace(c.path, "{"+p.Name+"}", w.recordFor(t, g, op, p.Name), 1)
		case p.Name == "If-Match":
			c.header[p.Name] = `"1"`
		}
	}
	if op.body != nil {
		c.body = exampleOf(t, bodySchema(op))
		if op.form {
			c.header["Content-Type"] = formMedia
			c.body = url.Values{"turn": {turnID.String()}, "outcome": {"part"}, "duration_min": {"25"}}.Encode()
		}
	}
	return c
}

// bodySchema names the schema of the body that an operation takes.
func bodySchema(op *operation) string {
	return strings.TrimPrefix(op.route.Operation.RequestBody.Value.Content[op.takes()].Schema.Ref, "#/components/schemas/")
}

func (w *world) recordFor(t testing.TB, g garden, op *operation, parameter string) string {
	t.Helper()
	switch {
	case parameter == "garden":
		return g.id.String()
	case parameter == "number":
		return "1"
	case made[op.id+" "+parameter] != nil:
		return made[op.id+" "+parameter](w, t, g)
	}
	if other, ok := special[op.id+" "+parameter]; ok {
		return other.String()
	}
	return usual[parameter].String()
}

// rotation is one of the days of the published rotation, planned from the garden as it stands.
func (w *world) rotation(t testing.TB, g garden, status string) string {
	t.Helper()
	first := today.Truncate(24 * time.Hour)
	return repotest.Rotation(t, w.pool, g.id, func(v *repo.RotationValues) {
		v.Status, v.FirstDay, v.StartsAt, v.EndsAt = status, first, first, first.AddDate(0, 0, 7)
		row, err := repo.New(repo.Read(w.pool, g.id)).GardenByID(t.Context(), g.id)
		if err != nil {
			t.Fatal(err)
		}
		v.PlanRevision = row.PlanRevision
	}).ID.String()
}

// off turns the water off at a source or service line.
func (w *world) off(t testing.TB, g garden, source, line *uuid.UUID) string {
	t.Helper()
	place := source
	if place == nil {
		place = line
	}
	err := repo.InTenant(t.Context(), w.pool, g.id, func(tx pgx.Tx) error {
		_, err := repo.New(tx).WaterOffInsert(t.Context(), repo.WaterOffValues{
			WaterSourceID: source, ServiceLineID: line, OffAt: today, Reason: "Burst pipe", GardenID: g.id, ID: uuid.Must(uuid.NewV7()), Revision: 1,
		})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return place.String()
}

// turnToCome is a published turn that has not begun.
func (w *world) turnToCome(t testing.TB, g garden, locked bool) string {
	t.Helper()
	turn := repotest.Turn(t, w.pool, g.id, plotID, func(v *repo.Turn) {
		v.ID, v.RotationID, v.WaterSourceID, v.Status, v.Locked = uuid.Must(uuid.NewV7()), rotationID, sourceID, "planned", locked
		v.StartsAt = today.Add(12 * time.Hour)
		if locked {
			v.StartsAt = today.Add(14 * time.Hour)
		}
		v.EndsAt = v.StartsAt.Add(time.Hour)
	})
	return turn.ID.String()
}

// turnBegun is a published turn that began an hour ago.
func (w *world) turnBegun(t testing.TB, g garden) string {
	t.Helper()
	return w.turnAt(t, g, today.Add(-time.Hour))
}

func (w *world) turnAt(t testing.TB, g garden, start time.Time) string {
	t.Helper()
	return repotest.Turn(t, w.pool, g.id, plotID, func(v *repo.Turn) {
		v.ID, v.RotationID, v.WaterSourceID, v.Status = uuid.Must(uuid.NewV7()), rotationID, sourceID, "planned"
		v.StartsAt, v.EndsAt = start, start.Add(30*time.Minute)
	}).ID.String()
}

// proposal plans a rotation for the week after the published one.
func (w *world) proposal(t testing.TB, g garden) string {
	t.Helper()
	a := w.do(t, call{
		method: http.MethodPost, path: location(g.id, "rotations"), token: g.tokens[service.Coordinator],
		body: map[string]any{"first_day": today.AddDate(0, 0, 7).Format("2006-01-02"), "days": 7, "effort": "fast", "seed": 1},
	})
	if a.status != http.StatusCreated {
		t.Fatalf("plan a rotation: %d %s", a.status, a.body)
	}
	return a.fields(t)["id"].(string)
}

// private are the operations that need a token, in a fixed order.
func (w *world) private() []*operation {
	var ops []*operation
	for _, key := range slices.Sorted(maps.Keys(w.contract.operations)) {
		if op := w.contract.operations[key]; !op.public {
			ops = append(ops, op)
		}
	}
	return ops
}

var everyRole = []service.Role{service.Coordinator, service.Gardener, service.Integration, service.Operator}

// Whoever may not use an operation gets the status that tells so, and changes nothing.
func TestRoles_whoMayNotIsRefused(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g, other := w.newGarden(t), w.newGarden(t)
	requests := map[*operation]call{}
	for _, op := range w.private() {
		requests[op] = w.good(t, g, op)
	}
	unknown, _ := secret(g.id.String())
	links := map[service.Document]string{
		service.LayoutSheetDocument: w.link(t, g, map[string]any{"document": "layout_sheet", "layout_id": acceptedLayout}).secret,
		service.ScheduleDocument:    w.link(t, g, map[string]any{"document": "schedule"}).secret,
		service.TurnReportDocument:  w.link(t, g, map[string]any{"document": "turn_report"}).secret,
	}
	before, beforeOther := w.counts(t, g), w.counts(t, other)
	tried := 0
	for _, op := range w.private() {
		callers := map[string]struct {
			token string
			want  int
		}{
			"nobody":                   {"", 401},
			"a malformed token":        {"rt_" + g.id.String() + "_short", 401},
			"an unknown secret":        {unknown, 401},
			"an unknown garden":        {strings.Replace(unknown, g.id.String(), uuid.NewString(), 1), 401},
			"a secret moved to here":   {strings.Replace(other.tokens[service.Coordinator], other.id.String(), g.id.String(), 1), 401},
			"an operator without name": {strings.Replace(w.operator, "operator", "", 1), 401},
		}
		if strings.Contains(op.route.Path, "{garden}") {
			for _, role := range []service.Role{service.Coordinator, service.Gardener, service.Integration} {
				callers["another garden's "+string(role)] = struct {
					token string
					want  int
				}{other.tokens[role], 404}
			}
		}
		for document, token := range links {
			if !slices.Contains(op.links, document) {
				callers["a link to "+string(document)] = struct {
					token string
					want  int
				}{token, 403}
			}
		}
		for _, role := range everyRole {
			if !slices.Contains(rolesOf(t, op.route.Operation), role) {
				callers["the "+string(role)] = struct {
					token string
					want  int
				}{g.tokens[role], 403}
			}
		}
		for _, who := range slices.Sorted(maps.Keys(callers)) {
			c := requests[op]
			c.token = callers[who].token
			tried++
			if a := w.do(t, c); a.status != callers[who].want {
				t.Errorf("%s as %s: %d, want %d\n%s", op.id, who, a.status, callers[who].want, a.body)
			}
		}
	}
	if diff := cmp.Diff(before, w.counts(t, g)); diff != "" {
		t.Errorf("refused requests changed the garden:\n%s", diff)
	}
	if diff := cmp.Diff(beforeOther, w.counts(t, other)); diff != "" {
		t.Errorf("refused requests changed the other garden:\n%s", diff)
	}
	t.Logf("%d refusals", tried)
}

// The answer for a garden of others and for one that does not exist are the same but for the request id.
func TestRoles_aForeignGardenLooksLikeNone(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g, other := w.newGarden(t), w.newGarden(t)
	nowhere := garden{id: uuid.Must(uuid.NewV7())}
	for _, op := range w.private() {
		if !strings.Contains(op.route.Path, "{garden}") || makes(op) {
			continue // needs a record in a state of its own, which the garden that does not exist can't have
		}
		var seen []string
		for _, target := range []garden{other, nowhere} {
			c := w.good(t, target, op)
			c.token = g.tokens[service.Coordinator]
			a := w.do(t, c)
			p := a.problem(t)
			seen = append(seen, strings.ReplaceAll(fmt.Sprint(a.status, p, a.header.Values("ETag")), target.id.String(), "GARDEN"))
		}
		if seen[0] != seen[1] {
			t.Errorf("%s: %s for another garden, %s for none", op.id, seen[0], seen[1])
		}
	}
}

// Whoever may use an operation can: each role carries out each of its changes in a garden of its own.
func TestRoles_whoMayIsServed(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	read := w.newGarden(t)
	for _, op := range w.private() {
		for _, role := range rolesOf(t, op.route.Operation) {
			g := read
			if op.route.Method != http.MethodGet {
				g = w.newGarden(t)
			}
			c := w.good(t, g, op)
			c.token = g.tokens[role]
			if a := w.do(t, c); a.status < 200 || a.status > 299 {
				t.Errorf("%s as %s: %d %s", op.id, role, a.status, a.body)
			}
		}
	}
}

// A gardener may change layouts and plantings only of plots held today, and reports only turns that concern the gardener.
func TestRoles_aGardenerKeepsToPlotsHeld(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	layout := withField(t, exampleOf(t, "LayoutValues"), "plot_id", foreignPlot)
	dig := withField(t, exampleOf(t, "DigValues"), "plot_id", foreignPlot)
	planting := withField(t, exampleOf(t, "PlantingValues"), "plot_id", foreignPlot)
	reading := withField(t, exampleOf(t, "RainReadingValues"), "plot_id", foreignPlot)
	cases := []struct {
		name string
		call call
		want int
	}{
		{"a layout on another plot", call{method: "POST", path: location(g.id, "layouts"), body: layout}, 403},
		{"a layout moved to another plot", call{method: "PUT", path: location(g.id, "layouts", draftLayout), body: layout, header: map[string]string{"If-Match": `"1"`}}, 422},
		{"a dig on another plot", call{method: "POST", path: location(g.id, "digs"), body: dig}, 403},
		{"a rain gauge on another plot", call{method: "POST", path: location(g.id, "rain-readings"), body: reading}, 403},
		{"a planting on another plot", call{method: "POST", path: location(g.id, "plantings"), body: planting}, 403},
		{"a planting moved to another plot", call{method: "PUT", path: location(g.id, "plantings", plantingID), body: planting, header: map[string]string{"If-Match": `"1"`}}, 403},
	}
	before := w.counts(t, g)
	for _, c := range cases {
		c.call.token = g.tokens[service.Gardener]
		if a := w.do(t, c.call); a.status != c.want {
			t.Errorf("%s: %d, want %d\n%s", c.name, a.status, c.want, a.body)
		}
	}
	if diff := cmp.Diff(before, w.counts(t, g)); diff != "" {
		t.Error(diff)
	}
}
