package api

import (
	"maps"
	"net/http"
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
	foreign := w.link(t, other, map[string]any{"document": "schedule"})
	for _, tc := range []struct {
		name, path, link string
		want             int
	}{
		{"a sheet", location(g.id, "layouts", acceptedLayout, "sheet.pdf"), sheet.secret, 200},
		{"a schedule", location(g.id, "schedule.pdf"), door.secret, 200},
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
