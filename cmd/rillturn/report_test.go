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
