package api

import (
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"rillturn.example/rillturn/service"
)

// story is a garden that its coordinator built over HTTP, on a clock that the test sets and with jobs that run.
type story struct {
	*world
	clock  atomic.Pointer[time.Time]
	garden garden
	source string
	hose   string // a plot watered by hose
	etags  map[string]string
}

func newStory(t *testing.T) *story {
	t.Helper()
	s := &story{etags: map[string]string{}}
	s.setClock(today)
	s.world = newWorldAt(t, unlimited, func() time.Time { return *s.clock.Load() })
	stop, err := s.svc.StartJobs(t.Context(), slog.New(slog.NewTextHandler(io.Discard, nil)))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := stop(); err != nil {
			t.Error(err)
		}
	})
	made := s.must(t, 201, call{method: "POST", path: "/v1/gardens", token: s.operator, body: exampleOf(t, "GardenCreate")}).fields(t)
	s.garden = garden{
		id:     uuid.MustParse(made["garden"].(map[string]any)["id"].(string)),
		tokens: map[service.Role]string{service.Coordinator: made["token"].(map[string]any)["secret"].(string)},
	}
	s.build(t)
	return s
}

func (s *story) setClock(at time.Time) { s.clock.Store(&at) }

// send sends a request of the coordinator, with the ETag that was read of the path before if it asks for one.
func (s *story) send(t *testing.T, status int, method string, path []any, body any) map[string]any {
	t.Helper()
	c := call{method: method, path: location(s.garden.id, path...), token: s.garden.tokens[service.Coordinator], body: body, header: map[string]string{}}
	if tag := s.etags[c.path]; tag != "" {
		c.header["If-Match"] = tag
	}
	a := s.must(t, status, c)
	at := strings.TrimSuffix(c.path, "/publish")
	if loc := a.header.Get("Location"); loc != "" {
		at = loc
	}
	for _, of := range []string{at, at + "/publish", at + "/cancel", at + "/submit", at + "/accept", at + "/lock"} {
		s.etags[of] = a.header.Get("ETag")
	}
	if len(a.body) == 0 || a.body[0] != '{' {
		return nil
	}
	return a.fields(t)
}

func (s *story) post(t *testing.T, status int, body any, path ...any) map[string]any {
	t.Helper()
	return s.send(t, status, "POST", path, body)
}

func (s *story) get(t *testing.T, path ...any) map[string]any {
	t.Helper()
	delete(s.etags, location(s.garden.id, path...))
	return s.send(t, 200, "GET", path, nil)
}

// build makes a spigot with a bucket test, hours on three mornings a week, a plot with an accepted layout and one watered
// by hose, both with lettuce.
func (s *story) build(t *testing.T) {
	t.Helper()
	made := s.post(t, 201, map[string]any{
		"name": "north spigot", "kind": "spigot", "hose_connections": 2, "static_head_m": 31, "changeover_min": 5, "min_run_min": 2,
	}, "water-sources")
	s.source = made["id"].(string)
	s.post(t, 201, map[string]any{
		"tested_at": "2026-05-09T10:30:00Z", "kind": "bucket", "volume_l": 18.9, "duration_s": 41, "after_hose": false,
		"other_flow_l_per_min": 0, "note": "",
	}, "water-sources", s.source, "flow-tests")
	s.post(t, 201, map[string]any{"weekdays": []int{1, 3, 5}, "start_local": "06:00", "end_local": "08:00", "note": ""}, "water-hours")
	bed := s.post(t, 201, map[string]any{"label": "A1", "area_m2": 18, "method": "layout", "communal": false}, "plots")["id"]
	s.hose = s.post(t, 201, map[string]any{
		"label": "A2", "area_m2": 12, "method": "hose", "communal": false, "water_source_id": s.source, "hose_flow_l_per_min": 10,
	}, "plots")["id"].(string)
	layout := withField(t, withField(t, exampleOf(t, "LayoutValues"), "plot_id", bed), "water_source_id", s.source)
	drawn := s.post(t, 201, layout, "layouts")["id"]
	s.post(t, 200, nil, "layouts", drawn, "submit")
	s.etags[location(s.garden.id, "layouts", drawn, "accept")] = `"2"`
	s.post(t, 200, nil, "layouts", drawn, "accept")
	for _, plot := range []any{bed, s.hose} {
		s.post(t, 201, map[string]any{
			"plot_id": plot, "crop": "lettuce", "planted_on": "2026-06-10", "area_m2": 8, "wetted_fraction": 0.8, "mulch": "none",
			"mulch_cover": 0, "note": "",
		}, "plantings")
	}
}

func (s *story) propose(t *testing.T, effort string, status int) map[string]any {
	t.Helper()
	return s.post(t, status, map[string]any{"first_day": "2026-07-06", "days": 14, "effort": effort, "seed": 1}, "rotations")
}

func (s *story) publish(t *testing.T, rotation any) map[string]any {
	t.Helper()
	return s.post(t, 200, nil, "rotations", rotation, "publish")
}

// event is one turn as a calendar program sees it.
type event struct {
	sequence      int
	start, status string
}

var icsField = regexp.MustCompile(`(?m)^(UID|SEQUENCE|DTSTART|STATUS)[^:\r\n]*:([^\r\n]*)`)

func (s *story) calendar(t *testing.T) map[string]event {
	t.Helper()
	a := s.must(t, 200, call{method: "GET", path: location(s.garden.id, "schedule.ics"), token: s.garden.tokens[service.Coordinator]})
	out := map[string]event{}
	for _, block := range strings.Split(string(a.body), "BEGIN:VEVENT")[1:] {
		block, _, _ = strings.Cut(block, "BEGIN:VALARM")
		var uid string
		var e event
		for _, m := range icsField.FindAllStringSubmatch(block, -1) {
			switch m[1] {
			case "UID":
				uid = m[2]
			case "SEQUENCE":
				e.sequence, _ = strconv.Atoi(m[2])
			case "DTSTART":
				e.start = m[2]
			case "STATUS":
				e.status = m[2]
			}
		}
		out[uid] = e
	}
	return out
}

// heldAgainst holds a calendar against an earlier one: no event vanishes, and a sequence rises exactly where something changed.
func heldAgainst(t *testing.T, before, after map[string]event) (changed int) {
	t.Helper()
	for uid, was := range before {
		now, there := after[uid]
		if !there {
			t.Errorf("%s of %s has vanished from the calendar", uid, was.start)
		}
		if differs := now.start != was.start || now.status != was.status; differs && now.sequence <= was.sequence {
			t.Errorf("%s became %+v from %+v", uid, now, was)
		}
		if now.sequence < was.sequence {
			t.Errorf("the sequence of %s fell", uid)
		}
		if now.sequence > was.sequence {
			changed++
		}
	}
	return changed
}

// A turn is missed and the hose gives more than was measured; the next proposal moves few turns, and in the calendars of
// subscribers the same events change.
func TestStory_aMissedTurn(t *testing.T) {
	t.Parallel()
	s := newStory(t)
	s.publish(t, s.propose(t, "fast", 201)["id"])
	before := s.calendar(t)
	turns := s.get(t, "turns")["items"].([]any)
	first := turns[0].(map[string]any)
	ends, err := time.Parse(time.RFC3339, first["ends_at"].(string))
	if err != nil {
		t.Fatal(err)
	}
	s.setClock(ends.Add(20 * time.Minute))
	s.post(t, 201, map[string]any{"outcome": "missed", "note": "nobody came"}, "turns", first["id"], "reports")
	plot := s.get(t, "plots", s.hose)
	s.send(t, 200, "PUT", []any{"plots", s.hose}, map[string]any{
		"label": plot["label"], "area_m2": plot["area_m2"], "method": "hose", "communal": false, "water_source_id": s.source, "hose_flow_l_per_min": 13,
	})
	next := s.propose(t, "fast", 201)
	compared := s.get(t, "rotations", next["id"], "comparison")
	if part := compared["part"].(float64); part > 0.25 && len(compared["forced"].([]any)) == 0 {
		t.Errorf("%.2f of the turns change, and no limit asks for it", part)
	}
	if n := len(compared["turns"].([]any)); n == 0 {
		t.Error("nothing changes: the test needs a change")
	}
	if text := fmt.Sprint(compared["text"]); !strings.Contains(text, "Of the published turns that are still to come") {
		t.Errorf("%s", text)
	}
	s.publish(t, next["id"])
	after := s.calendar(t)
	if heldAgainst(t, before, after) == 0 {
		t.Error("no event of the calendar changed")
	}
	for uid := range after {
		if strings.Contains(uid, first["id"].(string)) && after[uid] != before[uid] {
			t.Errorf("the missed turn became %+v", after[uid])
		}
	}
	s.get(t, "rotations", "current")
	why := s.get(t, "plots", s.hose, "shortfall")
	if text := why["text"].([]any); len(text) == 0 || !strings.Contains(fmt.Sprint(text), "A2") {
		t.Errorf("%v", why)
	}
}

// The pipe bursts; the calendar says so at once, and when the water is on again a proposal waits.
func TestStory_waterOffAndOn(t *testing.T) {
	t.Parallel()
	s := newStory(t)
	s.publish(t, s.propose(t, "fast", 201)["id"])
	turns := s.get(t, "turns")["items"].([]any)
	starts, err := time.Parse(time.RFC3339, turns[len(turns)/4].(map[string]any)["starts_at"].(string))
	if err != nil {
		t.Fatal(err)
	}
	s.setClock(starts.Add(2 * time.Minute)) // in the middle of a turn
	before := s.calendar(t)
	off := s.post(t, 200, map[string]any{"reason": "Burst pipe at the gate"}, "water-sources", s.source, "water-off")
	after := s.calendar(t)
	if n := int(off["cancelled"].(float64)); n == 0 || off["cut_short"].(float64) != 1 || heldAgainst(t, before, after) != n+1 {
		t.Errorf("%v, and the calendar is %v", off, after)
	}
	s.post(t, 409, map[string]any{"reason": "Once more"}, "water-sources", s.source, "water-off")
	s.setClock(starts.Add(40 * time.Minute))
	on := s.post(t, 200, nil, "water-sources", s.source, "water-on")
	back := s.calendar(t)
	if n := int(on["restored"].(float64)); n == 0 || heldAgainst(t, after, back) != n {
		t.Errorf("%v, and the calendar is %v", on, back)
	}
	offs := s.get(t, "water-offs")["items"].([]any)
	if len(offs) != 1 || offs[0].(map[string]any)["on_at"] == nil {
		t.Errorf("%v", offs)
	}
	s.eventually(t, "a proposal", func() bool {
		return s.get(t, "rotations")["items"].([]any)[0].(map[string]any)["status"] == "proposed"
	})
	s.publish(t, s.latest(t))
	heldAgainst(t, back, s.calendar(t))
}

func (s *story) latest(t *testing.T) string {
	t.Helper()
	newest := s.get(t, "rotations")["items"].([]any)[0].(map[string]any)["id"].(string)
	s.get(t, "rotations", newest)
	return newest
}

// eventually waits for what a job does.
func (s *story) eventually(t *testing.T, what string, there func() bool) {
	t.Helper()
	for end := time.Now().Add(time.Minute); !there(); time.Sleep(50 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("%s does not come", what)
		}
	}
}

// A plan of full effort is made by a job, is read while it is made, and can be stopped; then its pictures can be seen.
func TestStory_aPlanInTheBackground(t *testing.T) {
	t.Parallel()
	s := newStory(t)
	asked := s.propose(t, "full", 202)
	if asked["status"] != "planning" || asked["progress"] == nil {
		t.Errorf("%v", asked)
	}
	s.eventually(t, "the plan", func() bool { return s.get(t, "rotations", asked["id"])["status"] == "proposed" })
	for _, picture := range []string{"schedule.svg", "fairness.svg"} {
		a := s.must(t, http.StatusOK, call{method: "GET", path: location(s.garden.id, "rotations", asked["id"], picture), token: s.garden.tokens[service.Coordinator]})
		if !strings.Contains(string(a.body), "A1") {
			t.Errorf("%s shows no plot A1", picture)
		}
	}
	s.publish(t, asked["id"])
	what := s.post(t, 200, map[string]any{"changes": []any{
		map[string]any{"weather": "hot_week"}, map[string]any{"add_plot": map[string]any{"like_plot_id": s.hose, "label": "A3"}},
	}}, "what-ifs")
	if needed := func(side string) float64 { return what[side].(map[string]any)["need_l"].(float64) }; needed("after") <= needed("before") {
		t.Errorf("a hot week and another plot ask for no more: %v", what)
	}
}

// A coordinator who says nothing gets the plan of the next week, made at once.
func TestStory_aPlanWithoutWishes(t *testing.T) {
	t.Parallel()
	s := newStory(t)
	made := s.post(t, 201, nil, "rotations")
	if made["days"] != 7.0 || made["effort"] != "fast" || made["seed"] != 1.0 || made["status"] != "proposed" {
		t.Errorf("%v", made)
	}
}
