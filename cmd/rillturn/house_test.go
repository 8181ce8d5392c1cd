package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"sort"
	"strings"
	"testing"
)

const module = "rillturn.example/rillturn"

// goPackage is what `go list -json` says of a package.
type goPackage struct {
	ImportPath string
	Name       string
	Standard   bool
	Imports    []string
	Module     *struct{ Path string }
}

// arrows are the folders that the packages of a folder may import from, beside their own. The longest folder that holds a
// package counts. A folder that is missing here may import nothing of ours.
var arrows = map[string][]string{
	"cmd":                {"api", "service", "repo", "engine", "testdata/garden", "testdata/waterneed"},
	"api":                {"service", "repo", "engine", "openapi"},
	"api/gen":            {"service/file"}, // the layout document is the same in both
	"api/client":         {"service/file"},
	"api/render":         {"engine"},
	"service":            {"repo", "engine"},
	"service/file":       {"engine"},
	"repo":               {"engine", "migrations"},
	"engine":             {},
	"migrations":         {},
	"openapi":            {},
	"testdata/garden":    {},
	"testdata/waterneed": {},
	"testdata/rotation":  {"service", "engine"},
	".ci":                {"api", "service", "repo", "engine", "openapi", "testdata"},
}

// notInEngine are the packages of the standard library that the engine must not import itself.
var notInEngine = []string{"context", "database/sql", "encoding/json", "log", "log/slog", "net", "net/http", "os", "time"}

func TestHouse_importsPointOneWay(t *testing.T) {
	t.Parallel()
	packages := listPackages(t)
	if len(packages) < 50 {
		t.Fatalf("only %d packages listed", len(packages))
	}
	seen := map[string]bool{}
	for _, p := range packages {
		if in, ours := folderOf(p.ImportPath); ours {
			seen[strings.SplitN(in, "/", 2)[0]] = true
		}
	}
	for _, layer := range []string{"cmd", "api", "service", "repo", "engine"} {
		if !seen[layer] {
			t.Errorf("no package under %s was listed", layer)
		}
	}
	for _, fault := range houseFaults(packages) {
		t.Error(fault)
	}
}

// What the rules are there to find, so that a slip in the rules themselves is found, too.
func TestHouseFaults_findsEachKindOfFault(t *testing.T) {
	t.Parallel()
	stranger := &struct{ Path string }{"example.org/stranger"}
	numeric := &struct{ Path string }{"gonum.org/v1/gonum"}
	others := []goPackage{
		{ImportPath: "time", Standard: true},
		{ImportPath: "math", Standard: true},
		{ImportPath: "example.org/stranger/chart", Module: stranger},
		{ImportPath: "example.org/second", Module: &struct{ Path string }{"example.org/second"}},
		{ImportPath: "gonum.org/v1/gonum/mat", Module: numeric},
	}
	for _, c := range []struct {
		name, from string
		imports    []string
		want       int
	}{
		{"engine imports service", "engine/plan", []string{module + "/service"}, 1},
		{"engine imports a clock", "engine/plan", []string{"time"}, 1},
		{"engine imports a library", "engine/plan", []string{"example.org/stranger/chart"}, 1},
		{"engine imports the numerical library", "engine/plan", []string{"gonum.org/v1/gonum/mat", "math"}, 0},
		{"engine imports engine", "engine/plan", []string{module + "/engine/unit"}, 0},
		{"repo imports service", "repo", []string{module + "/service/file"}, 1},
		{"repo imports migrations", "repo", []string{module + "/migrations"}, 0},
		{"service imports api", "service", []string{module + "/api"}, 1},
		{"codec imports repo", "service/file", []string{module + "/repo"}, 1},
		{"renderer imports service", "api/render/svg", []string{module + "/service"}, 1},
		{"renderer imports codec", "api/render/svg", []string{module + "/service/file"}, 1},
		{"renderer imports one library", "api/render/svg", []string{"example.org/stranger/chart"}, 0},
		{"renderer imports two libraries", "api/render/svg", []string{"example.org/stranger/chart", "example.org/second"}, 1},
		{"api imports cmd", "api", []string{module + "/cmd/rillturn"}, 1},
		{"api imports service and records", "api", []string{module + "/service", module + "/repo"}, 0},
		{"a folder without rules", "tools", []string{module + "/engine/unit"}, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			p := goPackage{ImportPath: module + "/" + c.from, Imports: c.imports}
			if got := houseFaults(append([]goPackage{p}, others...)); len(got) != c.want {
				t.Errorf("%d faults, want %d: %q", len(got), c.want, got)
			}
		})
	}
}

// houseFaults holds every package of ours against the arrows, the engine's purity and the renderers' one library.
func houseFaults(packages []goPackage) []string {
	byPath := map[string]goPackage{}
	for _, p := range packages {
		byPath[p.ImportPath] = p
	}
	var faults []string
	for _, p := range packages {
		from, ours := folderOf(p.ImportPath)
		if !ours {
			continue
		}
		room := roomOf(from)
		libraries := map[string]bool{}
		for _, i := range p.Imports {
			if to, ours := folderOf(i); ours {
				if !allows(room, roomOf(to)) {
					faults = append(faults, fmt.Sprintf("%s must not import %s", from, to))
				}
				continue
			}
			if of := byPath[i].Module; of != nil {
				libraries[of.Path] = true
			}
			if strings.HasPrefix(from, "engine/") && slices.Contains(notInEngine, i) {
				faults = append(faults, fmt.Sprintf("%s must not import %s: the engine is pure", from, i))
			}
		}
		names := sorted(libraries)
		if room == "engine" && len(names) > 0 && !slices.Equal(names, []string{"gonum.org/v1/gonum"}) {
			faults = append(faults, fmt.Sprintf("%s must not import from %v", from, names))
		}
		if room == "api/render" && len(names) > 1 {
			faults = append(faults, fmt.Sprintf("%s imports from %v; a renderer takes one library at most", from, names))
		}
	}
	return faults
}

func sorted(set map[string]bool) []string {
	names := []string{}
	for n := range set {
		names = append(names, n)
	}
	sort.Strings(names)
	return names
}

func folderOf(importPath string) (string, bool) {
	return strings.CutPrefix(importPath, module+"/")
}

// roomOf is the longest folder with rules that holds a folder, or the folder itself.
func roomOf(folder string) string {
	for room := folder; room != "."; room = filepath.Dir(room) {
		if _, known := arrows[room]; known {
			return room
		}
	}
	return folder
}

func allows(from, to string) bool {
	if from == to {
		_, known := arrows[from]
		return known
	}
	for _, folder := range arrows[from] {
		if to == folder || strings.HasPrefix(to, folder+"/") {
			return true
		}
	}
	return strings.HasPrefix(to, from+"/") // a room inside its own
}

// listPackages lists the packages of the checkout with everything that they import, tests left out.
func listPackages(t *testing.T) []goPackage {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), "go", "list", "-deps", "-json=ImportPath,Name,Standard,Imports,Module", "./...")
	cmd.Dir = checkout(t)
	var complaints strings.Builder
	cmd.Stderr = &complaints
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v\n%s", err, &complaints)
	}
	var packages []goPackage
	for d := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p goPackage
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			return packages
		} else if err != nil {
			t.Fatal(err)
		}
		packages = append(packages, p)
	}
}

// checkout is the top folder of the module.
func checkout(t testing.TB) string {
	t.Helper()
	top, err := filepath.Abs(filepath.Join("..", ".."))
	if err != nil {
		t.Fatal(err)
	}
	return top
}

func TestHouse_topLevelHoldsOnlyWhatThePictureShows(t *testing.T) {
	t.Parallel()
	known := []string{
		"DEVELOPERS.md", "LICENSE", "README.md", "api", "cmd", "deploy", "docker-compose.yml", "engine", "go.mod", "go.sum",
		"migrations", "openapi", "repo", "service", "testdata",
	}
	ignored, err := os.ReadFile(filepath.Join(checkout(t), ".gitignore"))
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(ignored)) { // what building and running leave behind
		known = append(known, strings.Trim(strings.TrimSpace(line), "/"))
	}
	entries, err := os.ReadDir(checkout(t))
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		fits := slices.ContainsFunc(known, func(k string) bool {
			match, err := filepath.Match(k, e.Name())
			return match && err == nil
		})
		if !fits && !strings.HasPrefix(e.Name(), ".") {
			t.Errorf("%s lies at the top of the checkout and in no picture of the house", e.Name())
		}
	}
}
