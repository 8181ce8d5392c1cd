package main

import (
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A sheet file and a whole garden have the same three forms.
func TestSheet_writesDocuments(t *testing.T) {
	t.Parallel()
	for name, layouts := range map[string]int{"fieldwork/sheet.json": 2, "garden/tanager-bend.json": 19} {
		dir := t.TempDir()
		got := rillturn(t, "", "sheet", example(name), "--pdf", filepath.Join(dir, "s.pdf"), "--csv", filepath.Join(dir, "s.csv"), "--paper", "Letter")
		if got.code != 0 || got.err != "" {
			t.Fatalf("%s: code %d: %s", name, got.code, got.err)
		}
		var answer struct {
			Layouts []json.RawMessage
			Parts   []json.RawMessage
		}
		if err := json.Unmarshal([]byte(got.out), &answer); err != nil || len(answer.Layouts) != layouts {
			t.Errorf("%s: %d layouts, want %d, %v", name, len(answer.Layouts), layouts, err)
		}
		table, err := os.ReadFile(filepath.Join(dir, "s.csv"))
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(strings.NewReader(string(table))).ReadAll()
		if err != nil || len(rows) != len(answer.Parts)+1 {
			t.Errorf("%s: %d rows for %d parts, %v", name, len(rows), len(answer.Parts), err)
		}
		printed, err := os.ReadFile(filepath.Join(dir, "s.pdf"))
		if err != nil || !strings.HasPrefix(string(printed), "%PDF-") {
			t.Errorf("%s: %.20q, %v", name, printed, err)
		}
	}
}

func TestSheet_namesThePlaceInTheGardenFile(t *testing.T) {
	t.Parallel()
	broken := strings.Replace(exampleText(t, "garden/cinder-lane.json"), `"size": "3/4"`, `"size": "9"`, 1)
	got := rillturn(t, broken, "sheet", "-")
	if got.code != exitRefused || got.out != "" || !strings.Contains(got.err, "/layouts/0/spec/") {
		t.Errorf("code %d, %.80q, %q", got.code, got.out, got.err)
	}
}

func TestSheet_reportsWhatItCannotWrite(t *testing.T) {
	t.Parallel()
	got := rillturn(t, "", "sheet", example("fieldwork/sheet.json"), "--pdf", filepath.Join(t.TempDir(), "none", "s.pdf"))
	if got.code != exitFault || got.out != "" || !strings.Contains(got.err, "no such file") {
		t.Errorf("code %d, %.80q, %q", got.code, got.out, got.err)
	}
}
