package file

import (
	"errors"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

type sample struct {
	Name  string         `json:"name"     file:"required"`
	Depth float64        `json:"depth_mm"`
	Count int            `json:"count"`
	Rain  *float64       `json:"rain_mm"`
	Rows  []sampleRow    `json:"rows"`
	Extra map[string]int `json:"extra"`
	Pair  [2]float64     `json:"pair"`
}

type sampleRow struct {
	Wet bool `json:"wet"`
}

func TestDecodeFills(t *testing.T) {
	rain := 2.5
	want := sample{
		Name: "a", Depth: 1.5, Count: 3, Rain: &rain, Rows: []sampleRow{{Wet: true}, {}},
		Extra: map[string]int{"x/y": 1}, Pair: [2]float64{1, 2},
	}
	var got sample
	err := Decode(strings.NewReader(`{"name":"a","depth_mm":1.5,"count":3,"rain_mm":2.5,"rows":[{"wet":true},{}],
		"extra":{"x/y":1},"pair":[1,2]}`), &got)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

func TestDecodeFaults(t *testing.T) {
	cases := []struct {
		name, text string
		want       []string
	}{
		{"unknown and wrong at once", `{"name":1,"rows":[{"wet":1},{"wte":true}]}`, []string{"/name", "/rows/0/wet", "/rows/1/wte"}},
		{"missing", `{}`, []string{"/name"}},
		{"repeated", `{"name":"a","name":"b"}`, []string{"/name"}},
		{"case matters", `{"Name":"a"}`, []string{"/Name", "/name"}},
		{"null for a value", `{"name":null}`, []string{"/name"}},
		{"overflow", `{"name":"a","depth_mm":1e999}`, []string{"/depth_mm"}},
		{"fraction for a count", `{"name":"a","count":1.5}`, []string{"/count"}},
		{"escaped pointer", `{"name":"a","extra":{"a/b~":"x"}}`, []string{"/extra/a~1b~0"}},
		{"NaN is not JSON", `{"name":"a","depth_mm":NaN}`, []string{""}},
		{"trailing text", `{"name":"a"} {}`, []string{""}},
		{"cut short", `{"name":"a"`, []string{""}},
		{"empty", ``, []string{""}},
		{"too deep", strings.Repeat("[", 100), []string{""}},
		{"too large", `{"name":"` + strings.Repeat("a", MaxBytes) + `"}`, []string{""}},
		{"not UTF-8", "{\"name\":\"\xff\"}", []string{""}},
		{"array of another length", `{"name":"a","pair":[1]}`, []string{"/pair"}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			var v sample
			var faults Faults
			if err := Decode(strings.NewReader(c.text), &v); !errors.As(err, &faults) {
				t.Fatalf("want Faults, got %v", err)
			}
			got := make([]string, len(faults))
			for i, f := range faults {
				got[i] = f.Pointer
				if f.Reason == "" {
					t.Errorf("fault at %q gives no reason", f.Pointer)
				}
			}
			if diff := cmp.Diff(c.want, got); diff != "" {
				t.Errorf("%s\n%v", diff, faults)
			}
		})
	}
}
