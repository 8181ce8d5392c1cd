package api

import (
	"encoding/json"
	"flag"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"rillturn.example/rillturn/service"
)

var (
	randomRequests = flag.Int("random-requests", 1000, "how many requests TestRandom_neverFails sends")
	randomSeed     = flag.Uint64("random-seed", 1, "seed of TestRandom_neverFails")
)

// Whatever is asked, the service answers within its contract and never with a fault of its own. More requests:
//
//	go test ./api -run TestRandom -random-requests 100000 -timeout 2h
func TestRandom_neverFails(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	ops := w.private()
	r := &chance{rand.New(rand.NewPCG(*randomSeed, 0))} //nolint:gosec // repeatable on purpose
	statuses := map[int]int{}
	for i := range *randomRequests {
		if i%500 == 499 { // deletes wear a garden out
			g = w.newGarden(t)
		}
		op := ops[r.IntN(len(ops))]
		if op.id == "rotationCreate" && r.IntN(10) > 0 {
			continue // planning takes longest
		}
		statuses[w.do(t, r.request(t, g, op)).status]++
		if t.Failed() {
			t.Fatalf("request %d of seed %d", i, *randomSeed)
		}
	}
	var told []string
	for _, status := range slices.Sorted(maps.Keys(statuses)) {
		told = append(told, fmt.Sprintf("%d: %d", status, statuses[status]))
	}
	t.Logf("%d requests: %s", *randomRequests, strings.Join(told, ", "))
	if statuses[200] == 0 || statuses[400] == 0 {
		t.Error("the requests are not varied: no 200 or no 400 among them")
	}
}

type chance struct{ *rand.Rand }

func pick[T any](r *chance, from ...T) T { return from[r.IntN(len(from))] }

// request makes a request of an operation that is right in most places.
func (r *chance) request(t testing.TB, g garden, op *operation) call {
	c := call{method: op.route.Method, path: op.route.Path, header: map[string]string{}}
	c.token = g.tokens[pick(r, service.Coordinator, service.Coordinator, service.Coordinator, service.Gardener, service.Integration, service.Operator)]
	var query []string
	for _, p := range op.parameter {
		switch {
		case p.In == openapi3.ParameterInPath:
			c.path = strings.Replace(c.path, "{"+p.Name+"}", r.pathPart(g, p.Name), 1)
		case p.In == openapi3.ParameterInQuery && r.IntN(3) == 0:
			query = append(query, p.Name+"="+pick(r, "1", "200", "-1", plotID.String(), sourceID.String(), "2026-07-06", "0001-01-01", "9999-12-31",
				"2026-07-06T05:00:00Z", "9999-12-31T23:59:59%2B14:00", "draft", "%00", "%ff", "", "x", "AAAA"))
		case p.In == openapi3.ParameterInHeader && r.IntN(4) > 0:
			c.header[p.Name] = pick(r, `"1"`, `"1"`, `"1"`, `"2"`, `"3"`, `W/"1"`, "*", "x", `"9223372036854775807"`)
		}
	}
	if len(query) > 0 {
		c.path += "?" + strings.Join(query, "&")
	}
	if r.IntN(20) == 0 {
		c.header["Accept"] = pick(r, "text/html", "*/*", "text/csv", "application/json;q=0")
	}
	if op.form {
		c.header["Content-Type"] = formMedia
		c.body = r.form()
	} else if op.body != nil {
		c.body = r.body(t, op)
	}
	return c
}

func (r *chance) pathPart(g garden, name string) string {
	switch {
	case r.IntN(25) == 0:
		return pick(r, id(999).String(), "x", "%00", "%2F", "..", "0", strings.Repeat("9", 40))
	case name == "garden":
		return g.id.String()
	case name == "number":
		return pick(r, "1", "1", "2", "1000000")
	}
	return usual[name].String()
}

// form is what a browser sends, or somebody who plays with it.
func (r *chance) form() string {
	fields := []string{
		"turn=" + pick(r, turnID.String(), turnID.String(), id(999).String(), "", "x"), "outcome=" + pick(r, "done", "part", "missed", "rained", "", "%00"),
		"duration_min=" + pick(r, "", "25", "25", "1e999", "-3", "0x10", "NaN", "1_0", "%F0%9F%8C%B1"), "note=" + pick(r, "", "leak", "%ff", "<script>", "a%0D%0Ab", strings.Repeat("n", 1001)),
	}
	if r.IntN(4) == 0 {
		fields = append(fields, pick(r, "x=1", "turn=2", "%zz", "&&", "=", ";"))
	}
	return strings.Join(fields, "&")
}

// body is the contract's example with up to three changes, or text that is broken.
func (r *chance) body(t testing.TB, op *operation) string {
	var root any
	if err := json.Unmarshal(exampleOf(t, bodySchema(op)), &root); err != nil {
		t.Fatal(err)
	}
	for range r.IntN(4) {
		root = r.mutate(root)
	}
	text, err := json.Marshal(root)
	if err != nil {
		t.Fatal(err)
	}
	if r.IntN(20) == 0 {
		at := r.IntN(len(text) + 1)
		return string(text[:at]) + pick(r, "", "\x00", "\xff", "{", "}", `"`, ",", "1e999", `{"a":`) + string(text[at:])
	}
	return string(text)
}

// mutate changes one place of a value: a field gets another value, goes, or comes.
func (r *chance) mutate(v any) any {
	switch v := v.(type) {
	case map[string]any:
		if len(v) > 0 && r.IntN(6) > 0 {
			key := pick(r, slices.Sorted(maps.Keys(v))...)
			if r.IntN(6) == 0 {
				delete(v, key)
			} else {
				v[key] = r.mutate(v[key])
			}
			return v
		}
		if r.IntN(2) == 0 {
			v[pick(r, "x", "id", "garden_id", "revision", "__proto__", "")] = 1
			return v
		}
	case []any:
		if len(v) > 0 && r.IntN(4) > 0 {
			i := r.IntN(len(v))
			v[i] = r.mutate(v[i])
			return v
		}
		if len(v) > 0 && r.IntN(2) == 0 {
			return append(v, v[0])
		}
	}
	return pick[any](r, nil, true, 0, -1, 1, 0.5, 1e-300, 1e300, -1e300, 1<<53, "", "x", "\u0000", "'; DROP TABLE plot; --", strings.Repeat("ä", 300),
		[]any{}, map[string]any{}, []any{nil}, "2026-02-30", "0001-01-01", "9999-12-31", "24:00", "00:00", "2026-07-06T05:00:00Z", "0000-01-01T00:00:00Z",
		json.RawMessage("1e999"), json.RawMessage(`{"a":1,"a":2}`), id(998).String(), plotID.String(), sourceID.String(), draftLayout.String(), gardenerID.String())
}
