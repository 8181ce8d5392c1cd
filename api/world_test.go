package api

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/repo/repotest"
	"rillturn.example/rillturn/service"
)

func TestMain(m *testing.M) {
	for _, media := range []string{calendarMedia, svgMedia, pdfMedia, htmlMedia} { // the validator knows no decoder for these: take them as text
		openapi3filter.RegisterBodyDecoder(media, openapi3filter.FileBodyDecoder)
	}
	repotest.Main(m)
}

// today is the day that the service of the tests believes in: a Monday, after the first day of the records.
var today = time.Date(2026, time.July, 6, 5, 0, 0, 0, time.UTC)

// world is the API on a database of its own, behind a real HTTP server.
type world struct {
	url      string
	svc      *service.Service
	pool     *pgxpool.Pool
	contract *contract
	log      *syncBuffer
	operator string // a token
}

type syncBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *syncBuffer) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *syncBuffer) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

// unlimited lets a test send as fast as it can.
var unlimited = Options{TokenPerSecond: 1e9, TokenBurst: 1e9, FailurePerSecond: 1e9, FailureBurst: 1e9}

func newWorld(t testing.TB, o Options) *world {
	t.Helper()
	return newWorldAt(t, o, func() time.Time { return today })
}

func newWorldAt(t testing.TB, o Options, now func() time.Time) *world {
	t.Helper()
	w := &world{pool: repotest.Pool(t), log: &syncBuffer{}}
	o.Log = slog.New(slog.NewTextHandler(w.log, nil))
	w.svc = service.New(w.pool, now).WithLocalHooks()
	handler, err := New(w.svc, o)
	if err != nil {
		t.Fatal(err)
	}
	if w.contract, err = loaded(); err != nil {
		t.Fatal(err)
	}
	server := httptest.NewServer(handler)
	t.Cleanup(server.Close)
	w.url = server.URL
	w.operator = w.makeOperator(t)
	return w
}

// secret makes a token of a scope and the hash that is stored.
func secret(scope string) (token string, hash []byte) {
	id := uuid.New()
	raw := sha256.Sum256(id[:])
	token = "rt_" + scope + "_" + base64.RawURLEncoding.EncodeToString(raw[:])
	sum := sha256.Sum256([]byte(token))
	return token, sum[:]
}

func (w *world) makeOperator(t testing.TB) string {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), repotest.OwnerURL(t))
	if err != nil {
		t.Fatal(err)
	}
	token, hash := secret("operator")
	_, err = conn.Exec(t.Context(), `INSERT INTO operator_token (id, label, secret_sha256) VALUES ($1, 'test', $2)`, uuid.New(), hash)
	if err != nil {
		t.Fatal(err)
	}
	if err := conn.Close(t.Context()); err != nil {
		t.Fatal(err)
	}
	return token
}

// id is one of the fixed ids that the contract's examples and the records of a test garden share.
func id(n int) uuid.UUID { return uuid.MustParse(fmt.Sprintf("01985c00-0000-7000-8000-%012d", n)) }

// The records of a test garden. Every garden has the same ids: keys start with the garden.
var (
	coordinatorID, gardenerID, spareMember = id(10), id(11), id(12)
	spareToken                             = id(16)
	lineID, spareLine                      = id(21), id(22)
	sourceID, spareSource                  = id(31), id(32)
	flowTestID                             = id(35)
	plotID, sparePlot, foreignPlot         = id(41), id(42), id(43) // the gardener holds the first only
	holderID                               = id(45)
	draftLayout, submittedLayout           = id(51), id(52)
	acceptedLayout                         = id(53)
	plantingID, sparePlanting              = id(61), id(62)
	digID                                  = id(65)
	ownCropID, readingID                   = id(67), id(68)
	hoursID, closureID                     = id(71), id(72)
	rotationID, turnID, reportID           = id(81), id(82), id(83)
	pipeID                                 = id(91) // of the gardener
	hookID                                 = id(95)
)

// garden is one tenant with records of every kind and a token for each role.
type garden struct {
	id     uuid.UUID
	tokens map[service.Role]string
}

// newGarden makes a garden.
func (w *world) newGarden(t testing.TB) garden {
	t.Helper()
	g := garden{id: uuid.Must(uuid.NewV7()), tokens: map[service.Role]string{service.Operator: w.operator}}
	tx, err := w.pool.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := tx.Commit(context.WithoutCancel(t.Context())); err != nil {
			t.Fatal(err)
		}
	}()
	repotest.Garden(t, tx, func(v *repo.GardenValues) { v.GardenID = g.id; v.Name = "Tanager Bend Garden" })
	g.people(t, tx)
	g.water(t, tx)
	g.ground(t, tx)
	g.schedule(t, tx)
	return g
}

func (g *garden) people(t testing.TB, tx pgx.Tx) {
	t.Helper()
	for _, m := range []struct {
		id   uuid.UUID
		role service.Role
	}{{coordinatorID, service.Coordinator}, {gardenerID, service.Gardener}, {spareMember, service.Gardener}} {
		repotest.Member(t, tx, g.id, func(v *repo.MemberValues) { v.ID = m.id; v.Role = string(m.role) })
	}
	members := map[service.Role]*uuid.UUID{service.Coordinator: &coordinatorID, service.Gardener: &gardenerID, service.Integration: nil}
	for role, member := range members {
		token, hash := secret(g.id.String())
		g.tokens[role] = token
		repotest.Token(t, tx, g.id, func(v *repo.TokenValues) { v.Role, v.MemberID, v.SecretSha256 = string(role), member, hash })
	}
	repotest.Token(t, tx, g.id, func(v *repo.TokenValues) { v.ID = spareToken; v.Role = "integration" })
}

func (g *garden) water(t testing.TB, tx pgx.Tx) {
	t.Helper()
	for _, line := range []uuid.UUID{lineID, spareLine} {
		repotest.ServiceLine(t, tx, g.id, func(v *repo.ServiceLineValues) { v.ID = line })
	}
	repotest.WaterSource(t, tx, g.id, func(v *repo.WaterSourceValues) {
		v.ID, v.ServiceLineID, v.StaticHeadM, v.HoseLengthM, v.HoseInsideDiameterMm = sourceID, &lineID, new(31.0), new(15.0), new(15.9)
	})
	repotest.WaterSource(t, tx, g.id, func(v *repo.WaterSourceValues) { v.ID = spareSource; v.StaticHeadM = new(31.0) })
	repotest.FlowTest(t, tx, g.id, func(v *repo.FlowTestValues) { v.WaterSourceID = spareSource })
	repotest.FlowTest(t, tx, g.id, func(v *repo.FlowTestValues) { v.ID, v.WaterSourceID = flowTestID, sourceID })
	repotest.WaterHours(t, tx, g.id, func(v *repo.WaterHoursValues) { v.ID = hoursID })
	repotest.Closure(t, tx, g.id, func(v *repo.ClosureValues) { v.ID = closureID })
}

func (g *garden) ground(t testing.TB, tx pgx.Tx) {
	t.Helper()
	for _, plot := range []uuid.UUID{plotID, sparePlot, foreignPlot} {
		repotest.Plot(t, tx, g.id, func(v *repo.PlotValues) { v.ID = plot })
	}
	repotest.PlotHolder(t, tx, g.id, func(v *repo.PlotHolderValues) { v.ID, v.PlotID, v.MemberID = holderID, plotID, gardenerID })
	spec := exampleOf(t, "LayoutSpec")
	for layout, status := range map[uuid.UUID]string{draftLayout: "draft", submittedLayout: "submitted", acceptedLayout: "accepted"} {
		repotest.Layout(t, tx, g.id, spec, func(v *repo.LayoutValues) {
			v.ID, v.PlotID, v.WaterSourceID, v.Status = layout, plotID, sourceID, status
		})
	}
	repotest.Planting(t, tx, g.id, func(v *repo.PlantingValues) {
		v.ID, v.PlotID, v.LayoutID, v.CropConstants = plantingID, plotID, &acceptedLayout, exampleOf(t, "Crop")
	})
	repotest.Planting(t, tx, g.id, func(v *repo.PlantingValues) {
		v.ID, v.PlotID, v.CropConstants = sparePlanting, plotID, exampleOf(t, "Crop")
		v.PlantedOn = v.PlantedOn.AddDate(-1, 0, 0) // ended before the season
		v.RemovedOn = &v.PlantedOn
	})
	repotest.Dig(t, tx, g.id, func(v *repo.DigValues) { v.ID, v.PlotID, v.PlantingID = digID, plotID, &plantingID })
	for i, crop := range []string{"spinach", "radish", "carrot"} {
		repotest.OwnCrop(t, tx, g.id, func(v *repo.OwnCropValues) {
			v.Code, v.Constants = crop, json.RawMessage(`{"code": "`+crop+`", "root_depth_m": 0.4}`)
			if i == 0 {
				v.ID = ownCropID
			}
		})
	}
	repotest.RainReading(t, tx, g.id, func(v *repo.RainReadingValues) { v.ID, v.PlotID = readingID, plotID })
	for range 2 {
		repotest.RainReading(t, tx, g.id, func(v *repo.RainReadingValues) { v.PlotID = foreignPlot })
		repotest.Dig(t, tx, g.id, func(v *repo.DigValues) { v.PlotID = foreignPlot })
	}
	repotest.StoredPipe(t, tx, g.id, func(v *repo.StoredPipeValues) { v.ID, v.OwnerID = pipeID, &gardenerID })
}

func (g *garden) schedule(t testing.TB, tx pgx.Tx) {
	t.Helper()
	first := today.Truncate(24 * time.Hour)
	repotest.Rotation(t, tx, g.id, func(v *repo.RotationValues) {
		v.ID, v.FirstDay, v.StartsAt, v.EndsAt = rotationID, first, first, first.AddDate(0, 0, 7)
		v.Status = "published"
	})
	repotest.Turn(t, tx, g.id, plotID, func(v *repo.Turn) {
		v.ID, v.RotationID, v.WaterSourceID, v.OpenerID, v.Status = turnID, rotationID, sourceID, &gardenerID, "planned"
		v.StartsAt, v.EndsAt = first.Add(2*time.Hour), first.Add(150*time.Minute)
	})
	repotest.TurnReport(t, tx, g.id, func(v *repo.TurnReportValues) { v.ID, v.TurnID = reportID, turnID })
	repotest.Webhook(t, tx, g.id, func(v *repo.WebhookValues) { v.ID = hookID })
}

// loaded is the contract, read once for all tests.
var loaded = sync.OnceValues(loadContract)

// exampleOf is the first example of a schema of the contract.
func exampleOf(t testing.TB, schema string) json.RawMessage {
	t.Helper()
	c, err := loaded()
	if err != nil {
		t.Fatal(err)
	}
	text, err := json.Marshal(c.doc.Components.Schemas[schema].Value.Examples[0])
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// call is one request. Body is sent as JSON unless it is a string, which is sent as it is.
type call struct {
	method, path string
	token        string
	body         any
	header       map[string]string
}

type answer struct {
	status int
	header http.Header
	body   []byte
}

// problem reads the body of a refusal.
func (a answer) problem(t testing.TB) (p struct {
	Type, Detail string
	Status       int
	Errors       []struct{ Pointer, Reason string }
},
) {
	t.Helper()
	if err := json.Unmarshal(a.body, &p); err != nil {
		t.Fatalf("not a problem: %s", a.body)
	}
	return p
}

// fields reads the body of an answer.
func (a answer) fields(t testing.TB) map[string]any {
	t.Helper()
	var m map[string]any
	if err := json.Unmarshal(a.body, &m); err != nil {
		t.Fatalf("not an object: %s", a.body)
	}
	return m
}

// do sends a request and holds the answer against the contract: a status, header or body that the contract doesn't
// describe fails the test.
func (w *world) do(t testing.TB, c call) answer {
	t.Helper()
	var body io.Reader
	if text, ok := c.body.(string); ok {
		body = strings.NewReader(text)
	} else if c.body != nil {
		text, err := json.Marshal(c.body)
		if err != nil {
			t.Fatal(err)
		}
		body = bytes.NewReader(text)
	}
	r, err := http.NewRequestWithContext(t.Context(), c.method, w.url+c.path, body)
	if err != nil {
		t.Fatal(err)
	}
	if body != nil {
		r.Header.Set("Content-Type", "application/json")
	}
	if c.token != "" {
		r.Header.Set("Authorization", "Bearer "+c.token)
	}
	for name, value := range c.header {
		r.Header.Set(name, value)
	}
	res, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	if err := res.Body.Close(); err != nil {
		t.Fatal(err)
	}
	a := answer{res.StatusCode, res.Header, text}
	w.hold(t, r, a)
	return a
}

// hold compares an answer with the contract. Paths outside it only ever get problems.
func (w *world) hold(t testing.TB, r *http.Request, a answer) {
	t.Helper()
	if a.status >= 500 {
		t.Errorf("%s %s: %d, logged as %s", r.Method, r.URL, a.status, w.logged(a.header.Get("X-Request-Id")))
	}
	op := w.operationAt(r.Method, r.URL.Path)
	if op == nil {
		if !strings.HasPrefix(a.header.Get("Content-Type"), problemMedia) && !strings.Contains(r.Header.Get("Accept"), htmlMedia) {
			t.Errorf("%s %s: %d is not a problem", r.Method, r.URL, a.status)
		}
		return
	}
	in := &openapi3filter.ResponseValidationInput{
		RequestValidationInput: &openapi3filter.RequestValidationInput{Request: r, Route: op.route},
		Status:                 a.status, Header: a.header, Body: io.NopCloser(bytes.NewReader(a.body)),
		Options: &openapi3filter.Options{MultiError: true, IncludeResponseStatus: true, SchemaValidationOptions: visitOptions},
	}
	if err := openapi3filter.ValidateResponse(t.Context(), in); err != nil {
		t.Errorf("%s %s: the answer %d is outside the contract: %v\n%.500s", r.Method, r.URL, a.status, schemaFaults("", err), a.body)
	}
}

// logged is the line that the log has about a request.
func (w *world) logged(requestID string) string {
	for line := range strings.SplitSeq(w.log.String(), "\n") {
		if strings.Contains(line, requestID) {
			return line
		}
	}
	return "nothing"
}

// operationAt finds the operation of a path. Fixed parts of a path win over parameters.
func (w *world) operationAt(method, path string) *operation {
	var found *operation
	fixed := -1
	for key, op := range w.contract.operations {
		m, pattern, _ := strings.Cut(key, " ")
		if n, ok := fits(pattern, path); ok && m == method && n > fixed {
			found, fixed = op, n
		}
	}
	return found
}

func fits(pattern, path string) (fixed int, ok bool) {
	want, got := strings.Split(pattern, "/"), strings.Split(path, "/")
	if len(want) != len(got) {
		return 0, false
	}
	for i := range want {
		switch {
		case strings.HasPrefix(want[i], ":"):
		case want[i] == got[i]:
			fixed++
		default:
			return 0, false
		}
	}
	return fixed, true
}

// counts are the rows of every table of a garden.
func (w *world) counts(t testing.TB, g garden) map[string]int {
	t.Helper()
	tables := []string{
		"member", "token", "service_line", "water_source", "flow_test", "water_hours", "closure", "plot", "plot_holder", "layout",
		"layout_revision", "planting", "dig", "stored_pipe", "weather_day", "rotation", "turn", "turn_member", "turn_report", "idempotency_key", "audit_entry",
		"planning_rules", "climate_document", "own_crop", "rain_reading", "water_off", "webhook", "webhook_secret",
	}
	counts := map[string]int{}
	err := repo.InTenant(t.Context(), w.pool, g.id, func(tx pgx.Tx) error {
		for _, table := range tables {
			var n int
			if err := tx.QueryRow(t.Context(), "SELECT count(*) FROM "+table).Scan(&n); err != nil {
				return err
			}
			counts[table] = n
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return counts
}
