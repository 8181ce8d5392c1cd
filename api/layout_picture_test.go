package api

import (
	"net/http"
	"strings"
	"testing"

	"github.com/google/uuid"

	"rillturn.example/rillturn/service"
)

// Both pictures show the layout by name, and the drawing as many hole sets as the check counts.
func TestLayoutPictures_showTheLatestRevision(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	token := g.tokens[service.Gardener]
	read := func(part string) answer {
		a := w.do(t, call{method: http.MethodGet, path: location(g.id, "layouts", draftLayout, part), token: token})
		if a.status != http.StatusOK {
			t.Fatalf("%s: %d %s", part, a.status, a.body)
		}
		return a
	}
	check := read("check").fields(t)
	layout := check["sets"].([]any)[0].(map[string]any)["layouts"].([]any)[0].(map[string]any)
	holes := 0
	for _, l := range layout["laterals"].([]any) {
		holes += len(l.(map[string]any)["hole_sets"].([]any))
	}
	if answers := check["answers"].([]any); len(answers) != 1 || len(answers[0].(map[string]any)["assumptions"].([]any)) != 3 {
		t.Errorf("the check says of what the layout rests on: %v", answers)
	}
	for _, part := range []string{"drawing.svg", "profile.svg"} {
		a := read(part)
		if media := a.header.Get("Content-Type"); media != svgMedia || !strings.HasPrefix(string(a.body), "<svg") {
			t.Errorf("%s: %s %.80s", part, media, a.body)
		}
		if signs := strings.Count(string(a.body), "<circle") + strings.Count(string(a.body), "<rect"); signs < holes {
			t.Errorf("%s shows %d signs for %d hole sets", part, signs, holes)
		}
	}
}

// Layouts that are open together share what the source gives; each gets less than alone.
func TestOpenSet_layoutsShareTheSource(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	open := func(source uuid.UUID, layouts ...uuid.UUID) answer {
		return w.do(t, call{
			method: http.MethodPost, path: location(g.id, "water-sources", source, "open-set"), token: g.tokens[service.Gardener],
			body: map[string]any{"layouts": layouts},
		})
	}
	flows := func(a answer) (flows []float64) {
		t.Helper()
		if a.status != http.StatusOK {
			t.Fatalf("%d %s", a.status, a.body)
		}
		sets := a.fields(t)["sets"].([]any)
		if len(sets) != 1 {
			t.Fatalf("%d sets", len(sets))
		}
		for _, l := range sets[0].(map[string]any)["layouts"].([]any) {
			flows = append(flows, l.(map[string]any)["flow_l_per_min"].(float64))
		}
		return flows
	}
	alone, together := flows(open(sourceID, draftLayout)), flows(open(sourceID, draftLayout, submittedLayout))
	if len(alone) != 1 || len(together) != 2 || !(together[0] < alone[0] && together[0] > 0) {
		t.Errorf("alone %v, together %v", alone, together)
	}
	for name, c := range map[string]struct {
		answer answer
		want   []string
	}{
		"a layout of nobody":         {open(sourceID, draftLayout, uuid.New()), []string{"/layouts/1"}},
		"a layout of another source": {open(spareSource, draftLayout), nil},
		"no layout":                  {open(sourceID), []string{"/layouts"}},
		"a layout twice":             {open(sourceID, draftLayout, draftLayout), []string{"/layouts"}},
	} {
		if c.answer.status < 400 || c.answer.status > 499 {
			t.Errorf("%s: %d %s", name, c.answer.status, c.answer.body)
			continue
		}
		for _, pointer := range c.want {
			if !strings.Contains(string(c.answer.body), `"pointer":"`+pointer+`"`) && !strings.Contains(string(c.answer.body), `"pointer": "`+pointer+`"`) {
				t.Errorf("%s: no fault at %s in %s", name, pointer, c.answer.body)
			}
		}
	}
}
