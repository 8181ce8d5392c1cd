package api

import (
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/gin-gonic/gin"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/repo/repotest"
	"rillturn.example/rillturn/service"
)

// walk follows a list to its end.
func (w *world) walk(t testing.TB, c call, limit int) []string {
	t.Helper()
	var items []string
	base, cursor := c.path, ""
	for range 100 {
		c.path = fmt.Sprintf("%s?limit=%d%s", base, limit, cursor)
		a := w.do(t, c)
		if a.status != http.StatusOK {
			t.Fatalf("%s: %d %s", c.path, a.status, a.body)
		}
		page := a.fields(t)
		list := page["items"].([]any)
		if len(list) > limit {
			t.Errorf("%s: %d items", c.path, len(list))
		}
		for _, item := range list {
			items = append(items, fmt.Sprint(item))
		}
		next, more := page["next_cursor"].(string)
		if !more {
			return items
		}
		cursor = "&cursor=" + next
	}
	t.Fatalf("%s has no end", base)
	return nil
}

// Every list gives the same items in the same order, whatever the length of its pages.
func TestLists_pagesJoinWithoutGaps(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	w.fill(t, g)
	lists := 0
	for _, op := range w.private() {
		if !slices.Contains(op.queries, "cursor") {
			continue
		}
		lists++
		c := w.good(t, g, op)
		c.token = g.tokens[service.Coordinator]
		whole := w.walk(t, c, 200)
		if len(whole) < 3 {
			t.Errorf("%s: %d items are too few to walk", op.id, len(whole))
		}
		for _, limit := range []int{1, 2, 3} {
			if pages := w.walk(t, c, limit); !slices.Equal(pages, whole) {
				t.Errorf("%s by %d:\n%v\nwhole:\n%v", op.id, limit, pages, whole)
			}
		}
		seen := map[string]bool{}
		for _, item := range whole {
			if seen[item] {
				t.Errorf("%s: twice in the list: %s", op.id, item)
			}
			seen[item] = true
		}
	}
	if lists < 15 {
		t.Errorf("walked %d lists", lists)
	}
}

// fill adds records until every list has a few.
func (w *world) fill(t testing.TB, g garden) {
	t.Helper()
	for i := range 3 {
		repotest.FlowTest(t, w.pool, g.id, func(v *repo.FlowTestValues) { v.WaterSourceID = sourceID })
		repotest.WaterSource(t, w.pool, g.id)
		line := repotest.ServiceLine(t, w.pool, g.id)
		w.off(t, g, nil, &line.ID)
		repotest.WaterHours(t, w.pool, g.id)
		repotest.Closure(t, w.pool, g.id)
		repotest.Planting(t, w.pool, g.id, func(v *repo.PlantingValues) { v.CropConstants = exampleOf(t, "Crop") })
		repotest.StoredPipe(t, w.pool, g.id)
		repotest.Webhook(t, w.pool, g.id)
		repotest.PlotHolder(t, w.pool, g.id, func(v *repo.PlotHolderValues) { v.PlotID = plotID })
		repotest.TurnReport(t, w.pool, g.id, func(v *repo.TurnReportValues) { v.TurnID = turnID })
		repotest.Rotation(t, w.pool, g.id)
		repotest.Turn(t, w.pool, g.id, plotID, func(v *repo.Turn) {
			v.RotationID, v.WaterSourceID, v.Status = rotationID, sourceID, "planned"
			v.StartsAt = today.Add(time.Duration(i) * time.Hour)
			v.EndsAt = v.StartsAt.Add(30 * time.Minute)
		})
		days := []map[string]any{{"station": "shed roof", "day": fmt.Sprintf("2026-07-%02d", i+1), "kind": "measured", "rain_mm": i}}
		w.must(t, 200, call{method: "PUT", path: location(g.id, "weather-days"), token: g.tokens[service.Coordinator], body: map[string]any{"days": days}})
		w.must(t, 201, call{method: "POST", path: location(g.id, "plots"), token: g.tokens[service.Coordinator], body: withField(t, exampleOf(t, "PlotValues"), "label", fmt.Sprint("B-", i))})
	}
	// revisions of one layout: returned, then drafted anew
	for i := range 3 {
		put := call{method: "PUT", path: location(g.id, "layouts", draftLayout), body: exampleOf(t, "LayoutValues")}
		w.change(t, g, put)
		w.change(t, g, call{method: "POST", path: location(g.id, "layouts", draftLayout, "submit")})
		w.change(t, g, call{method: "POST", path: location(g.id, "layouts", draftLayout, "return"), body: map[string]any{"comment": fmt.Sprint("again ", i)}})
	}
}

// must sends a request that has to get a status.
func (w *world) must(t testing.TB, status int, c call) answer {
	t.Helper()
	a := w.do(t, c)
	if a.status != status {
		t.Fatalf("%s %s: %d, want %d\n%s", c.method, c.path, a.status, status, a.body)
	}
	return a
}

// change sends a change of the layout in its path with the current ETag.
func (w *world) change(t testing.TB, g garden, c call) {
	t.Helper()
	read := call{method: "GET", path: location(g.id, "layouts", draftLayout), token: g.tokens[service.Coordinator]}
	c.token = read.token
	c.header = map[string]string{"If-Match": w.must(t, 200, read).header.Get("ETag")}
	w.must(t, 200, c)
}

// Every operation that takes If-Match refuses to go without it and to overwrite what somebody else wrote.
func TestChanges_needTheCurrentRevision(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	for _, op := range w.private() {
		if op.route.Operation.Parameters.GetByInAndName("header", "If-Match") == nil {
			continue
		}
		c := w.good(t, g, op)
		c.token = g.tokens[service.Coordinator]
		for header, want := range map[string]int{"": 428, `"77"`: 412, `"no-revision"`: 412, `W/"1"`: 400, `*`: 400} {
			c.header = map[string]string{}
			if header != "" {
				c.header["If-Match"] = header
			}
			if a := w.do(t, c); a.status != want {
				t.Errorf("%s with If-Match %s: %d, want %d\n%s", op.id, header, a.status, want, a.body)
			}
		}
	}
}

func TestChanges_oneOfTwoWritersIsTold(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	var wg sync.WaitGroup
	statuses := make([]int, 8)
	for i := range statuses {
		wg.Go(func() {
			statuses[i] = w.do(t, call{
				method: "PUT", path: location(g.id, "plots", plotID), token: g.tokens[service.Coordinator],
				body: withField(t, exampleOf(t, "PlotValues"), "area_m2", i+1), header: map[string]string{"If-Match": `"1"`},
			}).status
		})
	}
	wg.Wait()
	slices.Sort(statuses)
	if statuses[0] != 200 || statuses[1] != 412 || statuses[7] != 412 {
		t.Errorf("statuses %v, want one 200 and seven 412", statuses)
	}
}

func TestChanges_againstTheStateConflict(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	match := map[string]string{"If-Match": `"1"`}
	for name, c := range map[string]call{
		"submit what is submitted":    {method: "POST", path: location(g.id, "layouts", submittedLayout, "submit")},
		"accept a draft":              {method: "POST", path: location(g.id, "layouts", draftLayout, "accept")},
		"publish what is published":   {method: "POST", path: location(g.id, "rotations", rotationID, "publish"), body: `{"allow_stale":true}`},
		"delete a source with plots":  {method: "DELETE", path: location(g.id, "water-sources", sourceID)},
		"delete a line with sources":  {method: "DELETE", path: location(g.id, "service-lines", lineID)},
		"delete a plot with layouts":  {method: "DELETE", path: location(g.id, "plots", plotID)},
		"delete a member with a plot": {method: "DELETE", path: location(g.id, "members", gardenerID)},
	} {
		c.token, c.header = g.tokens[service.Coordinator], match
		if a := w.do(t, c); a.status != 409 {
			t.Errorf("%s: %d, want 409\n%s", name, a.status, a.body)
		}
	}
	a := w.do(t, call{
		method: "POST", path: location(g.id, "members"), token: g.tokens[service.Coordinator],
		body: map[string]any{"name": "Odalys", "role": "gardener"},
	})
	again := w.do(t, call{
		method: "POST", path: location(g.id, "members"), token: g.tokens[service.Coordinator],
		body: map[string]any{"name": "Odalys", "role": "gardener"},
	})
	if a.status != 201 || again.status != 409 && again.status != 422 || len(again.problem(t).Errors) != 1 || again.problem(t).Errors[0].Pointer != "/name" {
		t.Errorf("the same name twice: %d %s, then %d %s", a.status, a.body, again.status, again.body)
	}
}

// Every creating operation carries out a key once, and gives repeats the same answer.
func TestIdempotency_aKeyIsCarriedOutOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	for _, op := range w.private() {
		if !op.creates {
			continue
		}
		g := w.newGarden(t)
		c := w.good(t, g, op)
		c.token = g.tokens[rolesOf(t, op.route.Operation)[0]]
		c.header["Idempotency-Key"] = "key-1"
		first := w.must(t, 201, c)
		once := w.counts(t, g)
		again := w.must(t, 201, c)
		if op.id == "tokenCreate" || op.id == "webhookCreate" || op.id == "gardenCreate" {
			if strings.Contains(string(again.body), "secret") || !strings.Contains(string(first.body), "secret") {
				t.Errorf("%s: a secret is shown once: first %s, again %s", op.id, first.body, again.body)
			}
		} else if string(first.body) != string(again.body) {
			t.Errorf("%s: first %s, again %s", op.id, first.body, again.body)
		}
		if first.header.Get("Location") != again.header.Get("Location") || first.header.Get("ETag") != again.header.Get("ETag") {
			t.Errorf("%s: headers differ: %v, %v", op.id, first.header, again.header)
		}
		if now := w.counts(t, g); fmt.Sprint(once) != fmt.Sprint(now) {
			t.Errorf("%s: the repeat left rows: %v, before %v", op.id, now, once)
		}
		text := string(exampleOf(t, strings.TrimPrefix(op.route.Operation.RequestBody.Value.Content[jsonMedia].Schema.Ref, "#/components/schemas/")))
		c.body = text + " " // another body, if only by a space
		if a := w.do(t, c); a.status != 422 || !strings.Contains(a.problem(t).Type, "idempotency") {
			t.Errorf("%s: the key with another body: %d %s", op.id, a.status, a.body)
		}
	}
}

func TestIdempotency_duplicatesAtTheSameTimeGetOneAnswer(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	before := w.counts(t, g)["closure"]
	bodies := make([]string, 12)
	var wg sync.WaitGroup
	for i := range bodies {
		wg.Go(func() {
			a := w.do(t, call{
				method: "POST", path: location(g.id, "closures"), token: g.tokens[service.Coordinator],
				body: exampleOf(t, "ClosureValues"), header: map[string]string{"Idempotency-Key": "at-once"},
			})
			bodies[i] = fmt.Sprint(a.status, string(a.body))
		})
	}
	wg.Wait()
	for _, b := range bodies {
		if b != bodies[0] || !strings.HasPrefix(b, "201") {
			t.Errorf("%s\nand\n%s", bodies[0], b)
		}
	}
	if got := w.counts(t, g)["closure"]; got != before+1 {
		t.Errorf("%d new closures, want 1", got-before)
	}
}

// Every operation that takes If-None-Match answers 304 without a body while nothing has changed.
func TestReads_areNotRepeatedWhenUnchanged(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	reads := 0
	for _, op := range w.contract.operations {
		if op.route.Operation.Parameters.GetByInAndName("header", "If-None-Match") == nil {
			continue
		}
		reads++
		c := w.good(t, g, op)
		c.token = g.tokens[service.Coordinator]
		if op.id == "tokenGet" || op.public { // a gardener may not see tokens
			c.token = g.tokens[service.Coordinator]
		}
		tag := w.must(t, 200, c).header.Get("ETag")
		c.header["If-None-Match"] = `"other", ` + tag
		if a := w.must(t, 304, c); len(a.body) != 0 || a.header.Get("ETag") != tag {
			t.Errorf("%s: 304 with body %q and ETag %q, want %q", op.id, a.body, a.header.Get("ETag"), tag)
		}
		c.header["If-None-Match"] = `"other"`
		w.must(t, 200, c)
	}
	if reads < 15 {
		t.Errorf("tried %d reads", reads)
	}
}

// A pull's ETag changes with what it shows: with a change of a name, with the scope and with the form.
func TestSchedule_etagFollowsTheSchedule(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	pull := func(path, accept string) string {
		t.Helper()
		c := call{method: "GET", path: path, token: g.tokens[service.Integration], header: map[string]string{"Accept": accept}}
		return w.must(t, 200, c).header.Get("ETag")
	}
	all := location(g.id, "schedule")
	tags := map[string]string{
		pull(all, "application/json"): "JSON", pull(all, "text/csv"): "CSV", pull(all, "text/calendar"): "calendar",
		pull(all, "image/svg+xml"): "picture", pull(all+"?plot="+plotID.String(), "application/json"): "one plot",
	}
	if len(tags) != 5 {
		t.Errorf("forms and scopes share ETags: %v", tags)
	}
	before := pull(all, "application/json")
	w.must(t, 200, call{
		method: "PUT", path: location(g.id, "plots", plotID), token: g.tokens[service.Coordinator],
		body: withField(t, withField(t, exampleOf(t, "PlotValues"), "label", "A-99"), "method", "layout"), header: map[string]string{"If-Match": `"1"`},
	})
	if pull(all, "application/json") == before {
		t.Error("the ETag is the same after a plot got another label")
	}
}

func TestSchedule_formsHoldTheTurns(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	for accept, want := range map[string]string{
		"application/json": turnID.String(), "text/calendar": "UID:" + turnID.String(), "text/csv": "," + turnID.String() + ",", "image/svg+xml": "<svg",
	} {
		a := w.must(t, 200, call{method: "GET", path: location(g.id, "schedule"), token: g.tokens[service.Gardener], header: map[string]string{"Accept": accept}})
		if !strings.HasPrefix(a.header.Get("Content-Type"), accept) || !strings.Contains(string(a.body), want) {
			t.Errorf("%s: %s without %s:\n%.400s", accept, a.header.Get("Content-Type"), want, a.body)
		}
	}
	a := w.must(t, 200, call{method: "GET", path: location(g.id, "schedule") + "?plot=" + sparePlot.String(), token: g.tokens[service.Gardener]})
	if turns := a.fields(t)["turns"].([]any); len(turns) != 0 {
		t.Errorf("turns of a plot that has none: %v", turns)
	}
}

// Only feeds take the token from the address, and the log never holds one.
func TestFeeds_takeTheTokenFromTheAddress(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g, other := w.newGarden(t), w.newGarden(t)
	token := g.tokens[service.Integration]
	for _, feed := range []string{"schedule.ics", "schedule.csv", "schedule.svg"} {
		w.must(t, 200, call{method: "GET", path: location(g.id, feed) + "?token=" + token})
		w.must(t, 401, call{method: "GET", path: location(g.id, feed) + "?token=" + token + "x"})
		w.must(t, 404, call{method: "GET", path: location(other.id, feed) + "?token=" + token})
	}
	w.must(t, 401, call{method: "GET", path: location(g.id, "schedule") + "?token=" + token})
	w.must(t, 401, call{method: "GET", path: location(g.id, "plots") + "?token=" + token})
	w.must(t, 400, call{method: "GET", path: location(g.id, "plots") + "?token=" + token, token: token})
	log := w.log.String()
	if !strings.Contains(log, "route=/v1/gardens/:garden/schedule.ics") {
		t.Errorf("requests are not logged:\n%s", log)
	}
	if _, hidden, _ := strings.Cut(strings.TrimPrefix(token, "rt_"), "_"); strings.Contains(log, hidden) {
		t.Errorf("the log holds a secret:\n%s", log)
	}
}

func TestLimits_tellWhenToComeBack(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{TokenPerSecond: 0.01, TokenBurst: 2, FailurePerSecond: 0.01, FailureBurst: 2})
	g := w.newGarden(t)
	read := call{method: "GET", path: location(g.id), token: g.tokens[service.Gardener]}
	w.must(t, 200, read)
	w.must(t, 200, read)
	if a := w.must(t, 429, read); a.header.Get("Retry-After") != "100" {
		t.Errorf("Retry-After %q", a.header.Get("Retry-After"))
	}
	read.token = g.tokens[service.Coordinator]
	w.must(t, 200, read) // another token is not concerned
	read.token = "rt_wrong"
	w.must(t, 401, read)
	w.must(t, 401, read)
	if a := w.must(t, 429, read); a.header.Get("Retry-After") != "100" {
		t.Errorf("Retry-After %q", a.header.Get("Retry-After"))
	}
	w.must(t, 200, call{method: "GET", path: "/healthz"})
}

func TestAnswers_carryTheirHeaders(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	for _, c := range []call{
		{method: "GET", path: "/healthz"},
		{method: "GET", path: location(g.id), token: g.tokens[service.Gardener]},
		{method: "GET", path: location(g.id)},
		{method: "GET", path: "/nowhere"},
	} {
		a := w.do(t, c)
		for name, want := range map[string]string{
			"X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer", "Cache-Control": "private, no-cache",
		} {
			if got := a.header.Get(name); got != want {
				t.Errorf("%s: %s is %q", c.path, name, got)
			}
		}
		if a.header.Get("X-Request-Id") == "" || !strings.Contains(a.header.Get("Content-Security-Policy"), "default-src 'none'") {
			t.Errorf("%s: headers %v", c.path, a.header)
		}
	}
	if a := w.must(t, 401, call{method: "GET", path: location(g.id)}); !strings.HasPrefix(a.header.Get("WWW-Authenticate"), "Bearer") {
		t.Errorf("401 without WWW-Authenticate: %v", a.header)
	}
	if a := w.must(t, 405, call{method: "PATCH", path: location(g.id)}); a.header.Get("Allow") != "GET, PUT" && a.header.Get("Allow") != "PUT, GET" {
		t.Errorf("405 allows %q", a.header.Get("Allow"))
	}
	w.must(t, 404, call{method: "GET", path: "/v2/gardens"})
	w.must(t, 404, call{method: "GET", path: "/v1/gardens/" + g.id.String() + "/plots/"})
}

func TestFaults_ofOursAreToldApartOnlyInTheLog(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	a := &API{contract: w.contract, options: Options{Log: slog.New(slog.DiscardHandler)}.withDefaults()}
	router, err := a.router()
	if err != nil {
		t.Fatal(err)
	}
	router.GET("/panic", func(*gin.Context) { panic("the valve is stuck") })
	rec := httptest.NewRecorder()
	router.ServeHTTP(rec, httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/panic", nil))
	if rec.Code != 500 || rec.Header().Get("Content-Type") != "application/problem+json" || strings.Contains(rec.Body.String(), "valve") {
		t.Errorf("%d %v %s", rec.Code, rec.Header(), rec.Body)
	}
}

func TestTimeout_isToldAsUnavailable(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	handler, err := New(service.New(w.pool, time.Now), Options{Timeout: time.Nanosecond, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	r := httptest.NewRequestWithContext(t.Context(), http.MethodGet, location(g.id), nil)
	r.Header.Set("Authorization", "Bearer "+g.tokens[service.Gardener])
	rec := httptest.NewRecorder()
	handler.ServeHTTP(rec, r)
	if rec.Code != 503 || rec.Header().Get("Retry-After") == "" {
		t.Errorf("%d %v %s", rec.Code, rec.Header(), rec.Body)
	}
}
