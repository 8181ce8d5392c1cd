package file

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var updateSheet = flag.Bool("update-sheet", false, "rewrite the golden answer of the sheet file")

const sheetFolder = "../../testdata/fieldwork"

func readSheetFile(t *testing.T) Sheet {
	t.Helper()
	body, err := os.ReadFile(filepath.Join(sheetFolder, "sheet.json"))
	if err != nil {
		t.Fatal(err)
	}
	s, err := ReadSheet(bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestRunSheet_golden(t *testing.T) {
	r, err := RunSheet(readSheetFile(t))
	if err != nil {
		t.Fatal(err)
	}
	got, err := json.MarshalIndent(roundNumbers(t, r), "", " ")
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(sheetFolder, "sheet.golden.json")
	if *updateSheet {
		if err := os.WriteFile(path, append(got, '\n'), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), string(got)+"\n"); diff != "" {
		t.Errorf("sheet (-want +got):\n%s", diff)
	}
}

func TestRunSheet_countedByHand(t *testing.T) {
	r, err := RunSheet(readSheetFile(t))
	if err != nil {
		t.Fatal(err)
	}
	// Laterals: five sticks of 10 ft and two of 7 ft 8 in. S-1 (corn) and S-2 (onions) are taken, S-3 is unfit, S-4 is
	// another's: three whole sticks and two that are cut are bought.
	if len(r.Reserved) != 2 || !r.Reserved[0].AsItIs || !r.Reserved[1].AsItIs || len(r.Unused) != 2 {
		t.Errorf("reserved %+v, unused %v", r.Reserved, r.Unused)
	}
	sticks, plants := 0, 0
	for _, p := range r.Parts {
		if p.Kind == "pipe" && p.Size == "1/2" {
			sticks += p.Count
		}
	}
	for _, l := range r.Layouts {
		for _, p := range l.Plantings {
			plants += p.Count
		}
		if l.Expected == nil || l.Expected.FlowLPerMin <= 0 || l.Expected.DU <= 0 {
			t.Errorf("layout %s: expected %+v", l.ID, l.Expected)
		}
	}
	// Corn 3 × 20; onions 30 on each side; zucchini 4; lettuce at every second of 23 marks on two sides of two pipes.
	if want := 60 + 60 + 4 + 4*12; sticks != 5 || plants != want {
		t.Errorf("%d sticks, want 5; %d plants, want %d", sticks, plants, want)
	}
}

func TestReadSheet_reportsAllFaults(t *testing.T) {
	const body = `{"units":"imperial","layouts":[{"id":"a","layout":{"manifold":{"pipe":{"size":"9"},"outlets":[{"at_m":0,"plugged":true}]}}}],
		"off_cuts":[{"id":"x","pipe":{"size":"1/2"},"length_m":-1}],
		"stored_pipes":[{"id":"y","piece":{"pipe":{"size":"1/2","wall":"schedule 40"},"length_m":3,"pattern":{"spacing_m":0.1,"hole_diameter_mm":90}}}],
		"source":{"curve":{"h0_m":30,"k":-1,"n":2}}}`
	_, err := ReadSheet(strings.NewReader(body))
	var faults Faults
	if !errors.As(err, &faults) {
		t.Fatalf("got %v", err)
	}
	var got []string
	for _, f := range faults {
		got = append(got, f.Pointer)
	}
	want := []string{
		"/units", "/layouts/0/layout/manifold/pipe/size", "/off_cuts/0/pipe/size", "/off_cuts/0/length_m",
		"/stored_pipes/0/piece/pattern/hole_diameter_mm", "/source/curve/k",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("faults (-want +got):\n%s", diff)
	}
}

func TestReadSheet_faultsOfTheSheetItself(t *testing.T) {
	const body = `{"kerf_mm":99,"layouts":[{"id":"a","plantings":[{"name":"x","outlets":[4]}],
		"layout":{"manifold":{"pipe":{"size":"3/4","wall":"schedule 40"},"outlets":[{"at_m":0,"plugged":true}]}}}]}`
	_, err := ReadSheet(strings.NewReader(body))
	var faults Faults
	if !errors.As(err, &faults) {
		t.Fatalf("got %v", err)
	}
	var got []string
	for _, f := range faults {
		got = append(got, f.Pointer)
	}
	want := []string{"/layouts/0/plantings/0/outlets/0", "/kerf_mm"}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("faults (-want +got):\n%s", diff)
	}
}

func FuzzReadSheet(f *testing.F) {
	f.Add([]byte(`{"units":"us","kerf_mm":3,"layouts":[{"id":"a","owners":["Ilse"],"plantings":[{"name":"corn","crop":"sweet_corn","sides":2,"to_m":2}],
		"layout":{"press_fit":true,"manifold":{"pipe":{"size":"3/4","wall":"schedule 40"},"length_m":2,"feed_at_m":1,"outlets":[{"at_m":0,"plugged":true},
		{"at_m":2,"lateral":{"pieces":[{"pipe":{"size":"1/2","wall":"schedule 40"},"length_m":4,"pattern":{"spacing_m":0.3,"hole_diameter_mm":1.6}}]}}]}}}],
		"stock":[{"pipe":{"size":"1/2","wall":"schedule 40"},"lengths_m":[3]}],"prices":[{"kind":"tee","cents":95}],
		"off_cuts":[{"id":"x","pipe":{"size":"1/2","wall":"schedule 40"},"length_m":1}],
		"stored_pipes":[{"id":"y","piece":{"pipe":{"size":"1/2","wall":"schedule 40"},"length_m":3,"pattern":{"spacing_m":0.3,"hole_diameter_mm":1.6}}}]}`))
	f.Fuzz(func(t *testing.T, body []byte) {
		s, err := ReadSheet(bytes.NewReader(body))
		if err != nil {
			return
		}
		s.Source = nil // hydraulics has its own tests
		pieces := 0
		for _, l := range s.Layouts {
			for _, o := range l.Layout.Manifold.Outlets {
				if o.Lateral != nil {
					pieces += len(o.Lateral.Pieces)
				}
			}
		}
		if pieces > 60 {
			return // large requests belong to the engine's tests
		}
		var faults Faults
		if _, err := RunSheet(s); err != nil && !errors.As(err, &faults) {
			t.Errorf("a file that was read is answered by %v", err)
		}
	})
}
