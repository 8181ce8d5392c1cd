package main

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "write the golden reports again")

// The reports of the demo gardens, to be read when the engine or the words change.
func TestPlan_reportsOfTheDemoGardens(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"tanager-bend", "cinder-lane"} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got := rillturn(t, "", "plan", "--explain", example("garden/"+name+".json"))
			if got.code != 0 {
				t.Fatalf("code %d: %s", got.code, got.err)
			}
			golden := filepath.Join("testdata", name+".report.txt")
			if *update {
				if err := os.WriteFile(golden, []byte(got.err), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(golden)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(strings.Split(string(want), "\n"), strings.Split(got.err, "\n")); diff != "" {
				t.Errorf("the report has changed (go test ./cmd/rillturn -run reports -update writes it anew):\n%s", diff)
			}
		})
	}
}

// A bed of which nobody reported for more than a week is asked for a dig, and both its ledgers are told.
func TestPlan_asksForADig(t *testing.T) {
	t.Parallel()
	waterings := `"waterings": [
		{"plot_id": "plot-bed 1", "layout_id": "layout-bed 1", "day": "2015-06-24", "volume_l": 90, "duration_min": 20, "outcome": "done"},
		{"plot_id": "plot-bed 1", "layout_id": "layout-bed 1", "day": "2015-07-02", "volume_l": 90, "duration_min": 20}],
		"horizon":`
	text := strings.Replace(exampleText(t, "garden/cinder-lane.json"), `"horizon":`, waterings, 1)
	got := rillturn(t, text, "plan", "--explain", "-")
	report := strings.Join(strings.Fields(got.err), " ")
	for _, want := range []string{
		"Bed 1: For 7 days or more nobody reported a watering or looked into the soil. Dig a hand deep and enter what you see.",
		"Bed 1, tomato: the soil misses ", " of water if every turn ran that nobody reported, ", " if none did.",
	} {
		if !strings.Contains(report, want) {
			t.Errorf("code %d: %q is missing from\n%s", got.code, want, got.err)
		}
	}
}
