package api

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"rillturn.example/rillturn/service"
	"rillturn.example/rillturn/service/hook"
)

// delivery is what a receiver got.
type delivery struct {
	header http.Header
	body   []byte
}

// receiver answers deliveries with what status says and hands them on.
type receiver struct {
	*httptest.Server
	status atomic.Int64
	got    chan delivery
}

func newReceiver(t *testing.T, status int64) *receiver {
	t.Helper()
	r := &receiver{got: make(chan delivery, 20)}
	r.status.Store(status)
	r.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, q *http.Request) {
		body, err := io.ReadAll(q.Body)
		if err != nil {
			t.Error(err)
		}
		w.WriteHeader(int(r.status.Load()))
		r.got <- delivery{q.Header, body}
	}))
	t.Cleanup(r.Close)
	return r
}

// next waits for a delivery, verifies it the way that the contract describes, and reads its event.
func (r *receiver) next(t *testing.T, secret string) hook.Event {
	t.Helper()
	var e hook.Event
	select {
	case d := <-r.got:
		id, at := d.header.Get("Rillturn-Event"), d.header.Get("Rillturn-Timestamp")
		if want := hook.Sign(secret, id, at, d.body); d.header.Get("Rillturn-Signature") != want {
			t.Errorf("signed %q, want %q", d.header.Get("Rillturn-Signature"), want)
		}
		if err := json.Unmarshal(d.body, &e); err != nil {
			t.Fatalf("%v: %s", err, d.body)
		}
		if e.ID != id || e.SpecVersion != "1.0" || d.header.Get("Content-Type") != "application/cloudevents+json" {
			t.Errorf("%v %s", d.header, d.body)
		}
	case <-time.After(time.Minute):
		t.Fatal("no delivery comes")
	}
	return e
}

func (s *story) hook(t *testing.T, url string, events ...string) (id, secret string) {
	t.Helper()
	made := s.post(t, 201, map[string]any{"url": url, "events": events}, "webhooks")
	return made["webhook"].(map[string]any)["id"].(string), made["secret"].(string)
}

// A program that opens valves hears of the rotation, of the burst pipe and of its repair; it fails once and gets the same event
// again.
func TestStory_aProgramIsTold(t *testing.T) {
	t.Parallel()
	s := newStory(t)
	all, silent := newReceiver(t, 500), newReceiver(t, 204)
	id, secret := s.hook(t, all.URL, "rotation.published", "water.off", "water.on")
	other, otherSecret := s.hook(t, silent.URL, "water.on")
	waits := newReceiver(t, 204)
	_, waitsSecret := s.hook(t, waits.URL, "rotation.proposed")
	proposal := s.propose(t, "fast", 201)
	if e := waits.next(t, waitsSecret); e.Type != "rotation.proposed" || e.Subject != proposal["id"] || e.Data.Links["rotation"] != location(s.garden.id, "rotations", proposal["id"]) {
		t.Errorf("%+v", e)
	}
	rotation := s.publish(t, proposal["id"])
	first := all.next(t, secret)
	all.status.Store(204)
	again := all.next(t, secret)
	if again.ID != first.ID || fmt.Sprint(again.Data.Links, again.Time, *again.Data.Turns) != fmt.Sprint(first.Data.Links, first.Time, *first.Data.Turns) {
		t.Errorf("first %+v, again %+v", first, again)
	}
	garden := location(s.garden.id)
	if first.Type != "rotation.published" || first.Source != garden || first.Subject != rotation["id"] || !first.Time.Equal(today) {
		t.Errorf("%+v", first)
	}
	turns := s.get(t, "turns")["items"].([]any)
	if *first.Data.Turns != len(turns) || first.Data.FirstDay != "2026-07-06" || first.Data.Days != 14 {
		t.Errorf("%+v, and there are %d turns", first.Data, len(turns))
	}
	for name, path := range first.Data.Links {
		s.must(t, 200, call{method: "GET", path: path, token: s.garden.tokens[service.Coordinator]})
		if !strings.HasPrefix(path, garden+"/") {
			t.Errorf("the link %s is %s", name, path)
		}
	}
	s.eventually(t, "the note of the delivery", func() bool { return s.get(t, "webhooks", id)["last_outcome"] == "delivered" })
	if h := s.get(t, "webhooks", id); h["last_status"] != 204.0 || h["last_trouble"] != nil || h["last_tried_at"] != today.Format(time.RFC3339) {
		t.Errorf("%v", h)
	}

	off := s.post(t, 200, map[string]any{"reason": "Burst pipe at the gate"}, "water-sources", s.source, "water-off")
	told := all.next(t, secret)
	if told.Type != "water.off" || told.Subject != s.source || told.Data.WaterSourceID != s.source || told.Data.Reason != "Burst pipe at the gate" ||
		float64(*told.Data.Cancelled) != off["cancelled"] || float64(*told.Data.CutShort) != off["cut_short"] || told.ID == first.ID {
		t.Errorf("%+v, and the answer was %v", told, off)
	}
	s.post(t, 200, nil, "water-sources", s.source, "water-on")
	on, elsewhere := all.next(t, secret), silent.next(t, otherSecret) // which would have got an earlier event before this one
	if on.Type != "water.on" || elsewhere.ID != on.ID {
		t.Errorf("%+v and %+v", on, elsewhere)
	}
	if h := s.get(t, "webhooks", other); h["secret"] != nil || strings.Contains(s.log.String(), secret) {
		t.Error("the secret is shown")
	}
}

// A failed delivery shows; a webhook that rests, or is gone, hears nothing.
func TestStory_aProgramThatFailsOrRests(t *testing.T) {
	t.Parallel()
	s := newStory(t)
	broken, resting, gone, ok := newReceiver(t, 503), newReceiver(t, 204), newReceiver(t, 204), newReceiver(t, 204)
	id, secret := s.hook(t, broken.URL, "water.off")
	rests, _ := s.hook(t, resting.URL, "water.off")
	leaves, _ := s.hook(t, gone.URL, "water.off")
	_, okSecret := s.hook(t, ok.URL, "water.off")
	s.get(t, "webhooks", rests)
	s.send(t, 200, "PUT", []any{"webhooks", rests}, map[string]any{"url": resting.URL, "events": []string{"water.off"}, "active": false})
	s.get(t, "webhooks", leaves)
	s.send(t, 204, "DELETE", []any{"webhooks", leaves}, nil)
	s.post(t, 200, map[string]any{"reason": "Burst pipe"}, "water-sources", s.source, "water-off")
	ok.next(t, okSecret)
	broken.next(t, secret)
	s.eventually(t, "the note of the failure", func() bool { return s.get(t, "webhooks", id)["last_outcome"] == "retrying" })
	if h := s.get(t, "webhooks", id); h["last_status"] != 503.0 || !strings.Contains(fmt.Sprint(h["last_trouble"]), "503") {
		t.Errorf("%v", h)
	}
	if len(resting.got)+len(gone.got) != 0 {
		t.Error("a webhook that rests or is gone was told")
	}
}

func TestWebhooks_refuseAddressesAndMore(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	post := func(url string, events ...string) answer {
		return w.do(t, call{
			method: "POST", path: location(g.id, "webhooks"), token: g.tokens[service.Coordinator],
			body: map[string]any{"url": url, "events": events, "active": true},
		})
	}
	for _, c := range []struct {
		url     string
		events  []string
		pointer string
	}{
		{"http://valves.example.org/", []string{"water.off"}, "/url"},
		{"https://10.0.0.1/", []string{"water.off"}, "/url"},
		{"https://169.254.169.254/latest", []string{"water.off"}, "/url"},
		{"https://[fd00::1]/", []string{"water.off"}, "/url"},
		{"https://", []string{"water.off"}, "/url"},
		{"https://valves.example.org/", []string{"water.fall"}, "/events/0"},
		{"https://valves.example.org/", []string{"water.off", "water.off"}, "/events"},
		{"https://valves.example.org/", []string{}, "/events"},
	} {
		a := post(c.url, c.events...)
		faults := a.problem(t).Errors
		if a.status != 422 && a.status != 400 || len(faults) == 0 || faults[0].Pointer != c.pointer {
			t.Errorf("%s %v: %d %s", c.url, c.events, a.status, a.body)
		}
	}
	var statuses []int
	for range 20 { // one is there
		statuses = append(statuses, post("https://valves.example.org/", "water.off").status)
	}
	if want := append(slices.Repeat([]int{201}, 19), 409); !slices.Equal(statuses, want) {
		t.Errorf("%v", statuses)
	}
}
