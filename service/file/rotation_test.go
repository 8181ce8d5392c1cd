package file_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/problem/problemtest"
	"rillturn.example/rillturn/service/file"
)

var updateRotation = flag.Bool("update-rotation", false, "write the problem files in testdata/rotation again")

const rotationFolder = "../../testdata/rotation"

// committed are the gardens kept as files, small enough to read.
func committed() []problemtest.Spec {
	var out []problemtest.Spec
	for _, kind := range problemtest.Kinds {
		layouts := 8
		if kind == problemtest.TenSpigots {
			layouts = 10
		}
		out = append(out,
			problemtest.Spec{Kind: kind, Layouts: layouts, Seed: 1},
			problemtest.Spec{Kind: kind, Layouts: layouts, Drilled: true, Seed: 2},
		)
	}
	return append(out, problemtest.Spec{Kind: problemtest.OverSubscribed, Layouts: 40, Seed: 3})
}

func TestProblem_committedFilesAreWhatTheGeneratorMakes(t *testing.T) {
	t.Parallel()
	for _, spec := range committed() {
		want, err := file.NewProblem(spec.Name(), problemtest.Garden(spec))
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(rotationFolder, spec.Name()+".json")
		if *updateRotation {
			body, err := json.MarshalIndent(want, "", " ")
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(path, append(body, '\n'), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		body, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		got, err := file.ReadProblem(bytes.NewReader(body))
		if err != nil {
			t.Fatalf("%s: %v", path, err)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s (-generator +file):\n%s", path, diff)
		}
	}
}

type checkReport struct {
	Violations []struct{ Rule, Text string }
	Unservable []string
	Fractions  map[string]float64
	OverL      float64 `json:"over_l"`
}

// runChecker gives a problem file and a schedule to the checker in Python.
func runChecker(t *testing.T, problemPath string, s file.Schedule) checkReport {
	t.Helper()
	path := filepath.Join(t.TempDir(), "schedule.json")
	var body bytes.Buffer
	if err := file.WriteSchedule(&body, s); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, body.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.CommandContext(t.Context(), "python3", filepath.Join(rotationFolder, "check.py"), problemPath, path).Output()
	var report checkReport
	if jsonErr := json.Unmarshal(out, &report); jsonErr != nil {
		t.Fatalf("checker: %v, %v: %s", err, jsonErr, out)
	}
	return report
}

func readProblem(t *testing.T, path string) (file.Problem, problem.Problem) {
	t.Helper()
	body, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	f, err := file.ReadProblem(bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	p, err := f.Engine()
	if err != nil {
		t.Fatal(err)
	}
	return f, p
}

func TestSchedule_passesTheIndependentChecker(t *testing.T) {
	t.Parallel()
	for _, spec := range committed() {
		t.Run(spec.Name(), func(t *testing.T) {
			t.Parallel()
			path := filepath.Join(rotationFolder, spec.Name()+".json")
			f, p := readProblem(t, path)
			got, err := plan.Propose(p, plan.Options{})
			if err != nil {
				t.Fatal(err)
			}
			report := runChecker(t, path, file.NewSchedule(f.Name, got.Schedule))
			for _, v := range report.Violations {
				t.Errorf("%s: %s", v.Rule, v.Text)
			}
			for _, s := range got.Shares {
				if s.Zone == "" {
					continue
				}
				// Ours is rounded down by at most a millilitre a minute of flow and a millilitre of need.
				if d := report.Fractions[s.Layout] - s.Fraction; math.Abs(d) > 1e-3 {
					t.Errorf("%s: the checker sees a share of %g, the plan %g", s.Layout, report.Fractions[s.Layout], s.Fraction)
				}
			}
		})
	}
}

// TestChecker_seesEveryFault breaks a good schedule in one way after another: a checker that accepts everything proves
// nothing.
func TestChecker_seesEveryFault(t *testing.T) {
	t.Parallel()
	path := filepath.Join(rotationFolder, "easy-8-regulated-1.json")
	f, p := readProblem(t, path)
	good, err := plan.Propose(p, plan.Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		rule  string
		spoil func(*problem.Schedule)
	}{
		{"P0", func(s *problem.Schedule) { s.Zones = append(s.Zones, problem.Zone{ID: "none", Source: "S01"}) }},
		{"P1", func(s *problem.Schedule) { s.Zones[0].Layouts = s.Zones[0].Layouts[1:] }},
		{"P3", func(s *problem.Schedule) {
			s.Zones[0].Layouts = append(s.Zones[0].Layouts, s.Zones[1].Layouts...)
			s.Zones[1].Layouts = s.Zones[1].Layouts[:0]
		}},
		{"R0", func(s *problem.Schedule) { s.Turns[0].Zone = "nobody" }},
		{"R1", func(s *problem.Schedule) { s.Turns[0].Start -= 600 * problem.Minute }},
		{"R3", func(s *problem.Schedule) { s.Turns = append(s.Turns, s.Turns[0]) }},
		{"R4", func(s *problem.Schedule) { s.Turns[0].End = s.Turns[0].Start + problem.Minute }},
		{"R5", func(s *problem.Schedule) { s.Turns[0].End += 120 * problem.Minute }},
		{"R6", func(s *problem.Schedule) { s.Turns[0].End += 600 * problem.Minute }},
		{"I1", func(s *problem.Schedule) { s.Turns = s.Turns[:3] }},
	} {
		t.Run(tc.rule, func(t *testing.T) {
			t.Parallel()
			bad := problem.Schedule{}
			for _, z := range good.Schedule.Zones {
				z.Layouts = append([]string{}, z.Layouts...)
				bad.Zones = append(bad.Zones, z)
			}
			bad.Turns = append(bad.Turns, good.Schedule.Turns...)
			tc.spoil(&bad)
			inEngine, inPython := false, false
			for _, v := range problem.Check(p, bad) {
				inEngine = inEngine || strings.HasPrefix(string(v.Rule), tc.rule)
			}
			for _, v := range runChecker(t, path, file.NewSchedule(f.Name, bad)).Violations {
				inPython = inPython || v.Rule == tc.rule
			}
			if !inEngine || !inPython {
				t.Errorf("seen by the engine's checker: %t, by the independent one: %t", inEngine, inPython)
			}
		})
	}
}

// writeProblem writes a problem beside the test.
func writeProblem(t *testing.T, name string, p problem.Problem) string {
	t.Helper()
	f, err := file.NewProblem(name, p)
	if err != nil {
		t.Fatal(err)
	}
	body, err := json.Marshal(f)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), name+".json")
	if err := os.WriteFile(path, body, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// lavish is a garden that needs little, with a valve for every layout and somebody who shuts it: what would be given
// beyond need is not.
func lavish(seed uint64) problem.Problem {
	p := problemtest.Garden(problemtest.Spec{Kind: problemtest.Ledgers, Layouts: 9, Drilled: true, Seed: seed})
	for i := range p.Layouts {
		p.Layouts[i].OwnValve = true
		if i%2 == 1 {
			p.Layouts[i].Need /= 3
			p.Layouts[i].Reservoirs = nil
		}
	}
	return p
}

// With members shut early the flows of the others are found anew. The checkers, which don't share a line, must see the
// same litres.
func TestSchedule_closingsPassTheIndependentChecker(t *testing.T) {
	t.Parallel()
	closings := 0
	for seed := range uint64(6) {
		p := lavish(seed)
		got, err := plan.Propose(p, plan.Options{})
		if err != nil {
			t.Fatal(err)
		}
		for _, turn := range got.Schedule.Turns {
			closings += len(turn.Closings)
		}
		report := runChecker(t, writeProblem(t, "lavish", p), file.NewSchedule("lavish", got.Schedule))
		for _, v := range report.Violations {
			if v.Rule != "I2" || len(got.Dry) == 0 {
				t.Errorf("seed %d: %s: %s", seed, v.Rule, v.Text)
			}
		}
		for _, s := range got.Shares {
			if d := report.Fractions[s.Layout] - s.Fraction; s.Zone != "" && math.Abs(d) > 1e-3 {
				t.Errorf("seed %d: %s: the checker sees a share of %g, the plan %g", seed, s.Layout, report.Fractions[s.Layout], s.Fraction)
			}
		}
		if ours := got.Over.Liters(); math.Abs(report.OverL-ours) > 0.01*(1+ours) {
			t.Errorf("seed %d: the checker sees %g L beyond need, the plan %g", seed, report.OverL, ours)
		}
	}
	if closings == 0 {
		t.Error("nobody was shut early: the test proves nothing")
	}
}

// Runs that are over count in both checkers, and for good: what they took beyond a limit is no fault of a plan.
func TestSchedule_pastRunsPassTheIndependentChecker(t *testing.T) {
	t.Parallel()
	for _, kind := range []problemtest.Kind{problemtest.Ledgers, problemtest.Soak, problemtest.DailyCap, problemtest.TankFed, problemtest.TwoSpigots} {
		spec := problemtest.Spec{Kind: kind, Layouts: 8, Seed: 6}
		p := problemtest.Garden(spec)
		first, err := plan.Propose(p, plan.Options{})
		if err != nil {
			t.Fatal(err)
		}
		m, err := problem.NewModel(p)
		if err != nil {
			t.Fatal(err)
		}
		turns := first.Schedule.Turns
		now := turns[len(turns)/3].Start + problem.Minute
		for _, turn := range turns {
			if turn.Start < now {
				z := slices.IndexFunc(first.Schedule.Zones, func(z problem.Zone) bool { return z.ID == turn.Zone })
				p.Past = append(p.Past, m.Ran(first.Schedule.Zones[z], turn))
			}
		}
		p.Past[0].Given[0].Volume += p.Layouts[0].MaxDay + 1 // somebody forgot to shut a valve
		got, err := plan.Propose(p, plan.Options{Previous: &first.Schedule, Now: now})
		if err != nil {
			t.Fatalf("%s: %v", spec.Name(), err)
		}
		report := runChecker(t, writeProblem(t, spec.Name(), p), file.NewSchedule(spec.Name(), got.Schedule))
		late := map[string]int{"I1": len(got.Late), "I2": len(got.Dry)}
		for _, v := range report.Violations {
			if late[v.Rule]--; late[v.Rule] < 0 {
				t.Errorf("%s: %s: %s", spec.Name(), v.Rule, v.Text)
			}
		}
		for _, s := range got.Shares {
			if d := report.Fractions[s.Layout] - s.Fraction; s.Zone != "" && math.Abs(d) > 1e-3 {
				t.Errorf("%s: %s: the checker sees a share of %g, the plan %g", spec.Name(), s.Layout, report.Fractions[s.Layout], s.Fraction)
			}
		}
	}
}

// TestChecker_seesFaultsOfTheExtensions does the same for what goes beyond the first form of the files.
func TestChecker_seesFaultsOfTheExtensions(t *testing.T) {
	t.Parallel()
	p := lavish(3)
	good, err := plan.Propose(p, plan.Options{})
	if err != nil {
		t.Fatal(err)
	}
	joint := slices.IndexFunc(good.Schedule.Turns, func(turn problem.Turn) bool {
		z := slices.IndexFunc(good.Schedule.Zones, func(z problem.Zone) bool { return z.ID == turn.Zone })
		return len(good.Schedule.Zones[z].Layouts) > 1 && len(turn.Closings) == 0
	})
	if joint < 0 {
		t.Fatal("no turn of several without a closing")
	}
	first := good.Schedule.Turns[joint]
	zone := good.Schedule.Zones[slices.IndexFunc(good.Schedule.Zones, func(z problem.Zone) bool { return z.ID == first.Zone })]
	shut := func(layout string, at problem.Instant) problem.Closing {
		return problem.Closing{Layout: layout, At: at}
	}
	for _, tc := range []struct {
		name, rule string
		spoil      func(*problem.Problem, *problem.Schedule)
	}{
		{"nobody there", "C1", func(p *problem.Problem, s *problem.Schedule) {
			for w := range p.Windows {
				p.Windows[w].Attended = false
			}
			s.Turns[joint].Closings = []problem.Closing{shut(zone.Layouts[0], first.End-1000)}
		}},
		{"no valve", "C1", func(p *problem.Problem, s *problem.Schedule) {
			for i := range p.Layouts {
				p.Layouts[i].OwnValve = p.Layouts[i].ID != zone.Layouts[0]
			}
			s.Turns[joint].Closings = []problem.Closing{shut(zone.Layouts[0], first.End-1000)}
		}},
		{"stranger", "C1", func(_ *problem.Problem, s *problem.Schedule) {
			s.Turns[joint].Closings = []problem.Closing{shut("nobody", first.End-1000)}
		}},
		{"everybody shut", "C1", func(_ *problem.Problem, s *problem.Schedule) {
			s.Turns[joint].Closings = nil
			for k, id := range zone.Layouts {
				s.Turns[joint].Closings = append(s.Turns[joint].Closings, shut(id, first.End-problem.Instant(1000*(len(zone.Layouts)-k))))
			}
		}},
		{"after the end", "C1", func(_ *problem.Problem, s *problem.Schedule) {
			s.Turns[joint].Closings = []problem.Closing{shut(zone.Layouts[0], first.End+1000)}
		}},
		{"dry", "I2", func(p *problem.Problem, _ *problem.Schedule) {
			for i := range p.Layouts {
				for r := range p.Layouts[i].Reservoirs {
					p.Layouts[i].Reservoirs[r].Missing *= 9
				}
			}
		}},
		{"past at the same time", "R3", func(p *problem.Problem, _ *problem.Schedule) {
			p.Past = []problem.Past{{Source: zone.Source, Window: first.Window, Day: 0, Start: first.Start - 1000, End: first.Start + 1000, Flow: 1000}}
		}},
		{"past still soaking", "R5", func(p *problem.Problem, _ *problem.Schedule) {
			for i := range p.Layouts {
				p.Layouts[i].Soak = 60 * problem.Minute
			}
			p.Past = []problem.Past{{Source: zone.Source, Day: 0, Start: first.Start - 9000, End: first.Start - 8000, Flow: 1000, Given: []problem.Given{
				{Layout: zone.Layouts[0], Volume: 1, Time: 1000},
			}}}
		}},
		{"past filled the soil", "R6", func(p *problem.Problem, _ *problem.Schedule) {
			day := p.Windows[slices.IndexFunc(p.Windows, func(w problem.Window) bool { return w.ID == first.Window })].Day
			i := slices.IndexFunc(p.Layouts, func(l problem.Layout) bool { return l.ID == zone.Layouts[0] })
			p.Past = []problem.Past{{Source: zone.Source, Day: day, Start: 0, End: 1, Given: []problem.Given{
				{Layout: zone.Layouts[0], Volume: p.Layouts[i].MaxDay, Time: 1},
			}}}
		}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			q := lavish(3)
			bad := problem.Schedule{Zones: good.Schedule.Zones, Turns: slices.Clone(good.Schedule.Turns)}
			tc.spoil(&q, &bad)
			inEngine, inPython := false, false
			for _, v := range problem.Check(q, bad) {
				inEngine = inEngine || strings.HasPrefix(string(v.Rule), tc.rule)
			}
			for _, v := range runChecker(t, writeProblem(t, "spoilt", q), file.NewSchedule("spoilt", bad)).Violations {
				inPython = inPython || v.Rule == tc.rule
			}
			if !inEngine || !inPython {
				t.Errorf("seen by the engine's checker: %t, by the independent one: %t", inEngine, inPython)
			}
		})
	}
}

func TestSchedule_survivesItsFile(t *testing.T) {
	t.Parallel()
	f, p := readProblem(t, filepath.Join(rotationFolder, "soak-8-regulated-1.json"))
	got, err := plan.Propose(p, plan.Options{})
	if err != nil {
		t.Fatal(err)
	}
	var body bytes.Buffer
	if err := file.WriteSchedule(&body, file.NewSchedule(f.Name, got.Schedule)); err != nil {
		t.Fatal(err)
	}
	back, err := file.ReadSchedule(&body)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(got.Schedule, back.Engine()); diff != "" {
		t.Errorf("schedule changed on the way (-before +after):\n%s", diff)
	}
}

func TestReadProblem_pointsAtFaults(t *testing.T) {
	t.Parallel()
	body, err := os.ReadFile(filepath.Join(rotationFolder, "easy-8-regulated-1.json"))
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		name, pointer string
		spoil         func(map[string]any)
	}{
		{"not a number", "/layouts/0/demand_l", func(m map[string]any) { at(m, "layouts", 0)["demand_l"] = "NaN" }},
		{"overflow", "/layouts/1/demand_l", func(m map[string]any) { at(m, "layouts", 1)["demand_l"] = 1e300 }},
		{"negative", "/sources/0/flow_max_lpm", func(m map[string]any) { at(m, "sources", 0)["flow_max_lpm"] = -3 }},
		{"unknown source", "/layouts/2/source", func(m map[string]any) { at(m, "layouts", 2)["source"] = "S99" }},
		{"unknown parent", "/sources/0/parent", func(m map[string]any) { at(m, "sources", 0)["parent"] = "nobody" }},
		{"double id", "/layouts/3/id", func(m map[string]any) { at(m, "layouts", 3)["id"] = "L001" }},
		{"outside the day", "/windows/0/end_min", func(m map[string]any) { at(m, "windows", 0)["end_min"] = 1441 }},
		{"backwards", "/windows/0/end_min", func(m map[string]any) { at(m, "windows", 0)["end_min"] = 10 }},
		{"day beyond the horizon", "/windows/0/day", func(m map[string]any) { at(m, "windows", 0)["day"] = 7 }},
		{"unknown field", "/layouts/0/colour", func(m map[string]any) { at(m, "layouts", 0)["colour"] = "green" }},
		{"missing field", "/layouts/0/soak_min", func(m map[string]any) { delete(at(m, "layouts", 0), "soak_min") }},
		{"horizon too long", "/horizon_days", func(m map[string]any) { m["horizon_days"] = 29 }},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			var m map[string]any
			if err := json.Unmarshal(body, &m); err != nil {
				t.Fatal(err)
			}
			tc.spoil(m)
			spoilt, err := json.Marshal(m)
			if err != nil {
				t.Fatal(err)
			}
			_, err = file.ReadProblem(bytes.NewReader(spoilt))
			var faults file.Faults
			if !errors.As(err, &faults) {
				t.Fatalf("no faults: %v", err)
			}
			for _, f := range faults {
				if f.Pointer == tc.pointer {
					return
				}
			}
			t.Errorf("no fault at %s: %v", tc.pointer, faults)
		})
	}
}

func at(m map[string]any, list string, k int) map[string]any {
	return m[list].([]any)[k].(map[string]any)
}
