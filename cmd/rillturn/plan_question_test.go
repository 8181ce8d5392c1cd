package main

import (
	"encoding/json"
	"strings"
	"testing"

	"rillturn.example/rillturn/service/file"
)

// One garden file answers why a plot is short, and what a change would make of the plan.
func TestPlan_whyAndWhatIf(t *testing.T) {
	t.Parallel()
	bed := example("garden/cinder-lane.json")
	var why file.Why
	got := rillturn(t, "", "plan", "--why", "layout-bed 2", bed)
	if err := json.Unmarshal([]byte(got.out), &why); err != nil || why.Shortage == nil || why.Share >= 1 {
		t.Errorf("%v: %+v, %s", err, why, got.err)
	}
	var d file.Difference
	got = rillturn(t, "", "plan", "--what-if", `{"more_hours": {"weekday": 2, "minutes": 60}}`, bed)
	if err := json.Unmarshal([]byte(got.out), &d); err != nil || d.After.SmallestShare <= d.Before.SmallestShare {
		t.Errorf("%v: %+v, %s", err, d, got.err)
	}
	for _, args := range [][]string{
		{"--why", "nobody", bed},
		{"--what-if", `{"more_hours": {"weekday": 9, "minutes": 60}}`, bed},
		{"--what-if", `{`, bed},
		{"--why", "L001", example("rotation/easy-8-regulated-1.json")},
	} {
		if got := rillturn(t, "", append([]string{"plan"}, args...)...); got.code == 0 || got.out != "" || strings.TrimSpace(got.err) == "" {
			t.Errorf("%q: code %d, out %q, err %q", args, got.code, got.out, got.err)
		}
	}
}
