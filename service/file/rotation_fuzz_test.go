package file_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"pgregory.net/rapid"

	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/service/file"
	"rillturn.example/rillturn/service/file/filetest"
)

// soon lets a plan be made of what it has after a few questions.
func soon() func() bool {
	asked := 0
	return func() bool { asked++; return asked > 20 }
}

// FuzzReadProblem looks for text that crashes the reader or the planner, or that is answered by a plan which breaks its
// own rules.
func FuzzReadProblem(f *testing.F) {
	for _, name := range []string{"easy-8-regulated-1", "ledgers-8-drilled-2", "hands-8-drilled-2", "tank-8-regulated-1", "two_spigots-8-drilled-2"} {
		body, err := os.ReadFile(filepath.Join(rotationFolder, name+".json"))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(body)
	}
	const planned = 30 // layouts, so that a try takes milliseconds
	f.Fuzz(func(t *testing.T, body []byte) {
		p, err := file.ReadProblem(bytes.NewReader(body))
		if err != nil {
			if err.Error() == "" {
				t.Fatal("an error without text")
			}
			return
		}
		q, err := p.Engine()
		if err != nil || len(q.Layouts) > planned || len(q.Sources) > planned || len(q.Windows) > 4*planned {
			return
		}
		got, err := plan.Propose(q, plan.Options{Stop: soon()})
		var invalid *problem.InvalidError
		if errors.As(err, &invalid) {
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		if _, err := json.Marshal(file.NewSchedule(p.Name, got.Schedule)); err != nil {
			t.Fatal(err)
		}
	})
}

// FuzzReadSchedule looks for a schedule that crashes its reader or the checker.
func FuzzReadSchedule(f *testing.F) {
	body, err := os.ReadFile(filepath.Join(rotationFolder, "ledgers-8-regulated-1.json"))
	if err != nil {
		f.Fatal(err)
	}
	read, err := file.ReadProblem(bytes.NewReader(body))
	if err != nil {
		f.Fatal(err)
	}
	p, err := read.Engine()
	if err != nil {
		f.Fatal(err)
	}
	got, err := plan.Propose(p, plan.Options{})
	if err != nil {
		f.Fatal(err)
	}
	var text bytes.Buffer
	if err := file.WriteSchedule(&text, file.NewSchedule(read.Name, got.Schedule)); err != nil {
		f.Fatal(err)
	}
	f.Add(text.Bytes())
	f.Fuzz(func(_ *testing.T, body []byte) {
		if s, err := file.ReadSchedule(bytes.NewReader(body)); err == nil {
			problem.Check(p, s.Engine())
		}
	})
}

// Whatever a hand may write into a problem file, it is refused with its place, or planned by the rules.
func TestReadProblem_spoiltFilesAreRefusedOrPlanned(t *testing.T) {
	t.Parallel()
	var bodies [][]byte
	for _, name := range []string{"easy-8-regulated-1", "ledgers-8-drilled-2", "hands-8-drilled-2", "tank-8-regulated-1", "two_spigots-8-drilled-2"} {
		body, err := os.ReadFile(filepath.Join(rotationFolder, name+".json"))
		if err != nil {
			t.Fatal(err)
		}
		bodies = append(bodies, body)
	}
	planned, refused := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		var doc any
		if err := json.Unmarshal(rapid.SampledFrom(bodies).Draw(t, "file"), &doc); err != nil {
			t.Fatal(err)
		}
		for range rapid.IntRange(1, 3).Draw(t, "faults") {
			doc = filetest.Spoil(t, doc)
		}
		text, err := json.Marshal(doc)
		if err != nil {
			t.Fatal(err)
		}
		p, err := file.ReadProblem(bytes.NewReader(text))
		if err != nil {
			var faults file.Faults
			if !errors.As(err, &faults) || len(faults) == 0 {
				t.Fatal(err)
			}
			refused++
			return
		}
		q, err := p.Engine()
		if err == nil {
			var got plan.Plan
			if got, err = plan.Propose(q, plan.Options{Stop: soon()}); err == nil {
				_, err = json.Marshal(file.NewSchedule(p.Name, got.Schedule))
				planned++
			}
		}
		var invalid *problem.InvalidError
		if err != nil && !errors.As(err, &invalid) {
			t.Fatal(err)
		}
	})
	if planned == 0 || refused == 0 {
		t.Errorf("%d planned, %d refused: the test proves half of it", planned, refused)
	}
}
