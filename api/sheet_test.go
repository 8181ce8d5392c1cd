package api

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"rillturn.example/rillturn/service"
	"rillturn.example/rillturn/service/file"
)

// A sheet has three forms, by ending and by Accept, and each says the same.
func TestLayoutSheet_forms(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	read := func(path string, header map[string]string) answer {
		t.Helper()
		a := w.do(t, call{method: http.MethodGet, path: path, token: g.tokens[service.Gardener], header: header})
		if a.status != http.StatusOK {
			t.Fatalf("%s: %d %s", path, a.status, a.body)
		}
		return a
	}
	for _, base := range []string{location(g.id, "layouts", acceptedLayout, "sheet"), location(g.id, "sheet")} {
		sheet := read(base, nil).fields(t)
		parts := sheet["parts"].([]any)
		rows, err := csv.NewReader(strings.NewReader(string(read(base+".csv", nil).body))).ReadAll()
		if err != nil || len(rows) != len(parts)+1 {
			t.Fatalf("%s.csv: %d rows for %d parts, %v", base, len(rows), len(parts), err)
		}
		count := slices.Index(rows[0], "count")
		for i, p := range parts {
			if want := strconv.FormatFloat(p.(map[string]any)["count"].(float64), 'f', -1, 64); rows[i+1][count] != want {
				t.Errorf("%s.csv, row %d: count %s, want %s", base, i, rows[i+1][count], want)
			}
		}
		for path, header := range map[string]map[string]string{
			base + ".pdf": nil, base: {"Accept": pdfMedia}, base + ".pdf?paper=Letter&large_print=true&strip=full": nil,
		} {
			if a := read(path, header); a.header.Get("Content-Type") != pdfMedia || !strings.HasPrefix(string(a.body), "%PDF-") {
				t.Errorf("%s: %s %.20q", path, a.header.Get("Content-Type"), a.body)
			}
		}
		layout := sheet["layouts"].([]any)[0].(map[string]any)
		if layout["id"] != acceptedLayout.String() || layout["expected"] == nil || len(layout["plantings"].([]any)) != 1 {
			t.Errorf("%s: layout %v", base, layout)
		}
	}
}

// What the caller has is current until something that the sheet is made from changes.
func TestLayoutSheet_isCurrentUntilItChanges(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	path := location(g.id, "layouts", acceptedLayout, "sheet.pdf")
	read := func(path, tag string) answer {
		return w.do(t, call{method: http.MethodGet, path: path, token: g.tokens[service.Coordinator], header: map[string]string{"If-None-Match": tag}})
	}
	tag := read(path, `"none"`).header.Get("ETag")
	if a := read(path, tag); a.status != http.StatusNotModified || len(a.body) > 0 {
		t.Errorf("current: %d with %d bytes", a.status, len(a.body))
	}
	for _, other := range []string{path + "?paper=Letter", path + "?strip=full", strings.TrimSuffix(path, ".pdf") + ".csv"} {
		if a := read(other, tag); a.status != http.StatusOK || a.header.Get("ETag") == tag {
			t.Errorf("%s with the tag of another form: %d", other, a.status)
		}
	}
	change := w.do(t, call{
		method: http.MethodPut, path: location(g.id, "plantings", plantingID), token: g.tokens[service.Coordinator],
		header: map[string]string{"If-Match": `"1"`}, body: withField(t, exampleOf(t, "PlantingValues"), "plant_spacing_m", 0.25),
	})
	if change.status != http.StatusOK {
		t.Fatalf("%d %s", change.status, change.body)
	}
	if a := read(path, tag); a.status != http.StatusOK {
		t.Errorf("after a planting changed: %d", a.status)
	}
}

// A draft has a sheet only for who names its revision.
func TestLayoutSheet_ofARevision(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	for query, want := range map[string]int{"": 409, "?revision=1": 200, "?revision=2": 404, "?revision=0": 400, "?paper=A3": 400, "?large_print=no": 400} {
		a := w.do(t, call{method: http.MethodGet, path: location(g.id, "layouts", draftLayout, "sheet"+query), token: g.tokens[service.Gardener]})
		if a.status != want {
			t.Errorf("%q: %d, want %d: %s", query, a.status, want, a.body)
		}
	}
}

// The schedule is printed as published and as proposed, with the garden's cautions.
func TestSchedulePdf(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	proposal := w.proposal(t, g)
	for _, c := range []call{
		{path: location(g.id, "schedule.pdf")},
		{path: location(g.id, "schedule.pdf?paper=Letter&large_print=true&plot="+plotID.String())},
		{path: location(g.id, "schedule"), header: map[string]string{"Accept": pdfMedia}},
		{path: location(g.id, "rotations", proposal, "schedule.pdf")},
	} {
		c.method, c.token = http.MethodGet, g.tokens[service.Coordinator]
		a := w.do(t, c)
		if a.status != http.StatusOK || !strings.HasPrefix(string(a.body), "%PDF-") {
			t.Fatalf("%s: %d %.100q", c.path, a.status, a.body)
		}
		c.header = map[string]string{"If-None-Match": a.header.Get("ETag"), "Accept": pdfMedia}
		if again := w.do(t, c); again.status != http.StatusNotModified {
			t.Errorf("%s again: %d", c.path, again.status)
		}
	}
}

// Each list of a sheet has its table, here with the heads of the last columns.
func TestLayoutSheet_listsAsTables(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	for list, last := range map[string]string{
		"parts": "price_cents", "cuts": "stick_left_m", "drilling": "pipes", "planting": "mark_unit", "stored_pipes": "notes", "tasks": "text", "readings": "unit",
	} {
		for _, base := range []string{location(g.id, "layouts", acceptedLayout, "sheet.csv"), location(g.id, "sheet.csv")} {
			a := w.do(t, call{method: http.MethodGet, path: base + "?list=" + list, token: g.tokens[service.Gardener]})
			rows, err := csv.NewReader(strings.NewReader(string(a.body))).ReadAll()
			if a.status != http.StatusOK || err != nil || len(rows) < 2 && list != "stored_pipes" || rows[0][len(rows[0])-1] != last {
				t.Errorf("%s, %s: %d, %v, %.200s", base, list, a.status, err, a.body)
			}
		}
	}
	a := w.do(t, call{method: http.MethodGet, path: location(g.id, "sheet.csv") + "?list=everything", token: g.tokens[service.Gardener]})
	if a.status != http.StatusBadRequest || !strings.Contains(string(a.body), "#query/list") {
		t.Errorf("an unknown list: %d %s", a.status, a.body)
	}
}

// The garden written to a file and read offline gives the sheet that the service gives, to the byte.
func TestSheet_offlineIsTheSame(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	online := w.do(t, call{method: http.MethodGet, path: location(g.id, "sheet"), token: g.tokens[service.Coordinator]})
	svc := service.New(w.pool, func() time.Time { return today })
	s, err := svc.GardenSheet(t.Context(), service.Principal{Garden: g.id, Role: service.Coordinator})
	if err != nil {
		t.Fatal(err)
	}
	s.Garden.Horizon = file.Horizon{FirstDay: file.Day{Time: today.Truncate(24 * time.Hour)}, Days: 7}
	text, err := json.Marshal(s.Garden)
	if err != nil {
		t.Fatal(err)
	}
	read, err := file.ReadGarden(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	work, err := file.WorkSheet(read.Sheet(read.Horizon.FirstDay))
	if err != nil {
		t.Fatal(err)
	}
	offline, err := json.Marshal(work.Result())
	if err != nil || online.status != http.StatusOK || !bytes.Equal(bytes.TrimSpace(online.body), offline) {
		t.Errorf("offline %.300s, %v\nonline %d %.300s", offline, err, online.status, online.body)
	}
}
