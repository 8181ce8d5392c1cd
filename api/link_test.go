package api

import (
	"maps"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"rillturn.example/rillturn/service"
)

// madeLink is a link with what is shown of it once.
type madeLink struct{ id, secret, url string }

// link makes a link in a garden.
func (w *world) link(t testing.TB, g garden, of map[string]any) madeLink {
	t.Helper()
	body := map[string]any{"label": "on the shed door", "role": "link"}
	maps.Copy(body, of)
	a := w.do(t, call{method: http.MethodPost, path: location(g.id, "tokens"), token: g.tokens[service.Coordinator], body: body})
	if a.status != http.StatusCreated {
		t.Fatalf("make a link: %d %s", a.status, a.body)
	}
	f := a.fields(t)
	return madeLink{f["token"].(map[string]any)["id"].(string), f["secret"].(string), f["url"].(string)}
}

// pathOf is an address of the service without its origin.
func pathOf(t *testing.T, address string) string {
	t.Helper()
	_, rest, ok := strings.Cut(address, "://")
	if !ok {
		t.Fatalf("%q is no address", address)
	}
	return rest[strings.Index(rest, "/"):]
}

// A link opens its document from a telephone, which sends no token, until it is withdrawn or expires.
func TestLink_opensItsDocumentAlone(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	sheet := w.link(t, g, map[string]any{"document": "layout_sheet", "layout_id": acceptedLayout})
	door := w.link(t, g, map[string]any{"document": "schedule", "expires_at": today.Add(48 * time.Hour).Format(time.RFC3339)})
	telephone := map[string]string{"Accept": "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"}
	open := func(path string) answer { return w.do(t, call{method: http.MethodGet, path: path, header: telephone}) }

	if a := open(pathOf(t, sheet.url)); a.status != http.StatusOK || !strings.HasPrefix(string(a.body), "%PDF-") {
		t.Errorf("sheet: %d %.80s", a.status, a.body)
	}
	a := open(pathOf(t, door.url))
	if a.status != http.StatusOK || !strings.HasPrefix(a.header.Get("Content-Type"), "text/html") || !strings.Contains(string(a.body), "Tanager Bend Garden") {
		t.Errorf("schedule: %d %s %.80s", a.status, a.header.Get("Content-Type"), a.body)
	}
	if strings.Contains(string(a.body), door.secret) {
		t.Error("the page repeats the secret")
	}
	for name, path := range map[string]string{
		"another layout":          location(g.id, "layouts", submittedLayout, "sheet.pdf") + "?token=" + sheet.secret,
		"the sheets of all":       location(g.id, "sheet.pdf") + "?paper=A4",
		"the schedule by a sheet": location(g.id, "schedule.html") + "?token=" + sheet.secret,
		"the calendar":            location(g.id, "schedule.ics") + "?token=" + door.secret,
		"the turns on paper":      location(g.id, "schedule.pdf") + "?token=" + door.secret,
	} {
		want := http.StatusForbidden
		if !strings.Contains(path, "token=") {
			want = http.StatusUnauthorized
		}
		if a := open(path); a.status != want {
			t.Errorf("%s: %d, want %d", name, a.status, want)
		}
	}
	gone := w.do(t, call{
		method: http.MethodDelete, path: location(g.id, "tokens", sheet.id), token: g.tokens[service.Coordinator], header: map[string]string{"If-Match": `"1"`},
	})
	if a := open(pathOf(t, sheet.url)); gone.status != http.StatusNoContent || a.status != http.StatusUnauthorized {
		t.Errorf("withdrawn: %d, then %d", gone.status, a.status)
	}
}

// The code of a printed document leads to the link that the printer names; without one there is none.
func TestLink_isWhereTheCodeLeads(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g, other := w.newGarden(t), w.newGarden(t)
	sheet := w.link(t, g, map[string]any{"document": "layout_sheet", "layout_id": acceptedLayout})
	door := w.link(t, g, map[string]any{"document": "schedule"})
	reports := w.link(t, g, map[string]any{"document": "turn_report"})
	foreign := w.link(t, other, map[string]any{"document": "schedule"})
	for _, tc := range []struct {
		name, path, link string
		want             int
	}{
		{"a sheet", location(g.id, "layouts", acceptedLayout, "sheet.pdf"), sheet.secret, 200},
		{"a schedule", location(g.id, "schedule.pdf"), door.secret, 200},
		{"a schedule with the link that takes reports", location(g.id, "schedule.pdf"), reports.secret, 200},
		{"a sheet with the link of the door", location(g.id, "layouts", acceptedLayout, "sheet.pdf"), door.secret, 422},
		{"a schedule with the link of another garden", location(g.id, "schedule.pdf"), foreign.secret, 422},
		{"a schedule with one's own token", location(g.id, "schedule.pdf"), g.tokens[service.Coordinator], 422},
		{"a schedule with something else", location(g.id, "schedule.pdf"), "rt_nothing", 422},
	} {
		plain := w.do(t, call{method: http.MethodGet, path: tc.path, token: g.tokens[service.Coordinator]})
		a := w.do(t, call{method: http.MethodGet, path: tc.path + "?link=" + tc.link, token: g.tokens[service.Coordinator]})
		if plain.status != 200 || a.status != tc.want {
			t.Errorf("%s: %d without a code, %d with one, want %d", tc.name, plain.status, a.status, tc.want)
		}
		if a.status == 200 && (len(a.body) <= len(plain.body) || a.header.Get("ETag") == plain.header.Get("ETag")) {
			t.Errorf("%s: the code makes no difference", tc.name)
		}
		if strings.Contains(a.header.Get("ETag"), tc.link) {
			t.Errorf("%s: the ETag holds the secret", tc.name)
		}
	}
}

func TestLink_refusals(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	for _, tc := range []struct {
		name    string
		body    map[string]any
		status  int
		pointer string
	}{
		{"a link to nothing", map[string]any{"label": "x", "role": "link"}, 422, "/document"},
		{"a document of an integration", map[string]any{"label": "x", "role": "integration", "document": "schedule"}, 422, "/document"},
		{"a sheet without layout", map[string]any{"label": "x", "role": "link", "document": "layout_sheet"}, 422, "/layout_id"},
		{"a schedule of a layout", map[string]any{"label": "x", "role": "link", "document": "schedule", "layout_id": acceptedLayout}, 422, "/layout_id"},
		{"a layout that is not there", map[string]any{"label": "x", "role": "link", "document": "layout_sheet", "layout_id": plotID}, 422, "/layout_id"},
		{"a link of a member", map[string]any{"label": "x", "role": "link", "document": "schedule", "member_id": gardenerID}, 422, "/member_id"},
		{"an unknown document", map[string]any{"label": "x", "role": "link", "document": "audit"}, 400, "/document"},
	} {
		a := w.do(t, call{method: http.MethodPost, path: location(g.id, "tokens"), token: g.tokens[service.Coordinator], body: tc.body})
		if a.status != tc.status || !strings.Contains(string(a.body), `"`+tc.pointer+`"`) {
			t.Errorf("%s: %d %s", tc.name, a.status, a.body)
		}
	}
}

// tap sends what a telephone sends: a form, to the address of the page.
func (w *world) tap(t *testing.T, address string, fields url.Values) answer {
	t.Helper()
	return w.do(t, call{
		method: http.MethodPost, path: pathOf(t, address), body: fields.Encode(),
		header: map[string]string{"Content-Type": formMedia, "Accept": browser},
	})
}

const browser = "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"

// Whoever stands at the door of the shed says what became of a turn, without script and without a token of one's own.
func TestLink_takesReports(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	door := w.link(t, g, map[string]any{"document": "turn_report"})
	open := func() answer {
		return w.do(t, call{method: http.MethodGet, path: pathOf(t, door.url), header: map[string]string{"Accept": browser}})
	}
	turn := w.turnBegun(t, g)
	before := open()
	if text := string(before.body); before.status != 200 || !strings.Contains(text, `value="`+turn+`"`) || strings.Contains(text, door.secret) {
		t.Fatalf("the page: %d %s", before.status, text)
	}
	a := w.tap(t, door.url, url.Values{"turn": {turn}, "outcome": {"part"}, "duration_min": {"12.5"}, "note": {"Ana: <b>the hydrant</b> was opened"}})
	if a.status != 201 || !strings.HasPrefix(a.header.Get("Content-Type"), htmlMedia) || !strings.Contains(string(a.body), "done in part") {
		t.Fatalf("report: %d %s", a.status, a.body)
	}
	row := w.do(t, call{method: http.MethodGet, path: a.header.Get("Location"), token: g.tokens[service.Coordinator]}).fields(t)
	if row["outcome"] != "part" || row["duration_min"] != 12.5 || row["reporter"] != "on the shed door" || row["turn_id"] != turn {
		t.Errorf("recorded: %v", row)
	}
	after := open()
	if !strings.Contains(string(after.body), "Ana: &lt;b&gt;the hydrant&lt;/b&gt; was opened") || after.header.Get("ETag") == before.header.Get("ETag") {
		t.Errorf("the page after it: %s", after.body)
	}
	again := w.do(t, call{method: http.MethodGet, path: pathOf(t, door.url), header: map[string]string{"Accept": browser, "If-None-Match": after.header.Get("ETag")}})
	if again.status != http.StatusNotModified {
		t.Errorf("the same page again: %d", again.status)
	}
	if a := w.tap(t, door.url, url.Values{"turn": {turn}, "outcome": {"done"}, "duration_min": {""}, "note": {""}}); a.status != 201 {
		t.Errorf("a form with fields left empty: %d %s", a.status, a.body)
	}
}

// What can't be recorded is said in words that name the field, and nothing is recorded.
func TestLink_refusesReportsInWords(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g, other := w.newGarden(t), w.newGarden(t)
	door, notice := w.link(t, g, map[string]any{"document": "turn_report"}), w.link(t, g, map[string]any{"document": "schedule"})
	turn := w.turnBegun(t, g)
	form := func(pairs ...string) url.Values {
		v := url.Values{"turn": {turn}, "outcome": {"done"}}
		for i := 0; i < len(pairs); i += 2 {
			v.Set(pairs[i], pairs[i+1])
		}
		return v
	}
	old := w.turnAt(t, g, today.AddDate(0, 0, -8))
	counts := w.counts(t, g)
	for _, tc := range []struct {
		name, address string
		form          url.Values
		status        int
		says          string
	}{
		{"nothing chosen", door.url, form("outcome", ""), 400, "<strong>What became of it</strong> is required"},
		{"an unknown outcome", door.url, form("outcome", "rained"), 400, "<strong>What became of it</strong>"},
		{"part without minutes", door.url, form("outcome", "part"), 422, "<strong>Minutes that it ran</strong> is needed"},
		{"minutes in words", door.url, form("outcome", "part", "duration_min", "ten"), 400, "<strong>Minutes that it ran</strong> must be a number"},
		{"minutes without end", door.url, form("duration_min", "1e999"), 400, "<strong>Minutes that it ran</strong> must be a number"},
		{"more minutes than a day", door.url, form("duration_min", "1441"), 400, "<strong>Minutes that it ran</strong>"},
		{"a note without end", door.url, form("note", strings.Repeat("n", 1001)), 400, "<strong>Note</strong>"},
		{"no turn", door.url, form("turn", plotID.String()), 404, "no such"},
		{"a turn to come", door.url, form("turn", w.turnToCome(t, g, false)), 409, "it can be reported from then on"},
		{"a turn of last month", door.url, form("turn", old), 409, "more than 7 days ago"},
		{"a field that the form lacks", door.url, form("reporter", "Ada"), 400, "is not a field"},
		{"a link that only shows", notice.url, form(), 403, "opens one document"},
		{"another garden", strings.Replace(door.url, g.id.String(), other.id.String(), 1), form(), 404, "no garden"},
		{"no secret", strings.Split(door.url, "?")[0], form(), 401, "A valid token is needed."},
	} {
		a := w.tap(t, tc.address, tc.form)
		if a.status != tc.status || !strings.HasPrefix(a.header.Get("Content-Type"), htmlMedia) || !strings.Contains(string(a.body), tc.says) {
			t.Errorf("%s: %d %s, want %d and %q in\n%s", tc.name, a.status, a.header.Get("Content-Type"), tc.status, tc.says, a.body)
		}
		if strings.Contains(string(a.body), door.secret) {
			t.Errorf("%s: the page repeats the secret", tc.name)
		}
	}
	program := w.do(t, call{method: http.MethodPost, path: pathOf(t, door.url), body: form("outcome", "part").Encode(), header: map[string]string{"Content-Type": formMedia}})
	if program.status != 422 || program.problem(t).Errors[0].Pointer != "/duration_min" {
		t.Errorf("a program gets %d %s", program.status, program.body)
	}
	if a := w.do(t, call{method: http.MethodPost, path: pathOf(t, door.url), body: map[string]any{"turn": turn, "outcome": "done"}}); a.status != 415 {
		t.Errorf("JSON for a form: %d", a.status)
	}
	if now := w.counts(t, g); now["turn_report"] != counts["turn_report"] || now["audit_entry"] != counts["audit_entry"] {
		t.Errorf("refused reports left rows: %v, before %v", now, counts)
	}
}

// A link is in many hands, so it reports no more often than a garden's people do.
func TestLink_reportsAreLimited(t *testing.T) {
	t.Parallel()
	few := unlimited
	few.ReportPerSecond, few.ReportBurst = 1e-6, 2
	w := newWorld(t, few)
	g := w.newGarden(t)
	door := w.link(t, g, map[string]any{"document": "turn_report"})
	form := url.Values{"turn": {w.turnBegun(t, g)}, "outcome": {"missed"}}
	for i, want := range []int{201, 201, 429} {
		if a := w.tap(t, door.url, form); a.status != want || (want == 429) != (a.header.Get("Retry-After") != "") {
			t.Errorf("report %d: %d, want %d", i, a.status, want)
		}
	}
	if a := w.do(t, call{method: http.MethodGet, path: pathOf(t, door.url)}); a.status != 200 {
		t.Errorf("the page after it: %d", a.status)
	}
}

// The page has forms only for who may report by its address: nobody else's form would be taken.
func TestSchedulePage_formsGoWithTheAddress(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	w.turnBegun(t, g)
	page := location(g.id, "schedule.html")
	for name, tc := range map[string]struct {
		call call
		form bool
	}{
		"a link that shows":             {call{path: pathOf(t, w.link(t, g, map[string]any{"document": "schedule"}).url)}, false},
		"a link that takes reports":     {call{path: pathOf(t, w.link(t, g, map[string]any{"document": "turn_report"}).url)}, true},
		"a coordinator by address":      {call{path: page + "?token=" + g.tokens[service.Coordinator]}, true},
		"a coordinator by header alone": {call{path: page, token: g.tokens[service.Coordinator]}, false},
	} {
		tc.call.method = http.MethodGet
		a := w.do(t, tc.call)
		if a.status != 200 || strings.Contains(string(a.body), "<form ") != tc.form || !strings.Contains(string(a.body), "Who is short") {
			t.Errorf("%s: %d\n%s", name, a.status, a.body)
		}
	}
}
