package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"rillturn.example/rillturn/repo/repotest"
	"rillturn.example/rillturn/service/file"
)

func TestMain(m *testing.M) { repotest.Main(m) }

// ran is what one command line left behind.
type ran struct {
	code     int
	out, err string
}

// rillturn runs a command line in this process.
func rillturn(t *testing.T, stdin string, args ...string) ran {
	t.Helper()
	var out, err bytes.Buffer
	code := run(t.Context(), args, streams{strings.NewReader(stdin), &out, &err})
	return ran{code, out.String(), err.String()}
}

// example is a committed file that the commands read.
func example(name string) string {
	return filepath.Join("..", "..", "testdata", filepath.FromSlash(name))
}

func exampleText(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile(example(name))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func TestRun_helpNamesEveryCommand(t *testing.T) {
	t.Parallel()
	for _, args := range [][]string{{"--help"}, {"-h"}} {
		got := rillturn(t, "", args...)
		if got.code != 0 || got.err != "" {
			t.Errorf("%q: code %d, %q", args, got.code, got.err)
		}
		for _, command := range []string{"demo", "serve", "migrate", "token", "flow", "need", "plan", "sheet", "doctor", "version"} {
			if !strings.Contains(got.out, "\n  "+command+" ") {
				t.Errorf("%q doesn't name %s:\n%s", args, command, got.out)
			}
		}
	}
	for _, command := range []string{"demo", "serve", "migrate", "token", "flow", "need", "plan", "sheet", "doctor", "version"} {
		if got := rillturn(t, "", command, "--help"); got.code != 0 || !strings.Contains(got.out, "Usage: rillturn "+command) {
			t.Errorf("%s --help: code %d, %q", command, got.code, got.out)
		}
	}
}

func TestRun_wrongCommandLines(t *testing.T) {
	t.Parallel()
	for _, args := range [][]string{
		{}, {"water"}, {"flow"}, {"flow", "a", "b"}, {"plan", "--effort", "endless", "-"}, {"serve", "--port", "80"}, {"--verbose"},
	} {
		got := rillturn(t, "", args...)
		if got.code != exitRefused || got.out != "" || !strings.Contains(got.err, "rillturn --help") {
			t.Errorf("%q: code %d, out %q, err %q", args, got.code, got.out, got.err)
		}
	}
}

func TestVersion(t *testing.T) {
	t.Parallel()
	got := rillturn(t, "", "version")
	if got.code != 0 || !regexp.MustCompile(`^rillturn \d+\.\d+\.\d+ \(.+\)\n$`).MatchString(got.out) {
		t.Errorf("%+v", got)
	}
}

// The offline commands print the same from a file and from standard input, as JSON and nothing else.
func TestOffline_filesAndStandardInput(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ command, name, has string }{
		{"flow", "examples/flow.json", "sets"},
		{"need", "waterneed/need.json", "units"},
		{"need", "garden/cinder-lane.json", "units"},
		{"plan", "rotation/tight-8-drilled-2.json", "runs"},
		{"plan", "garden/cinder-lane.json", "turns"},
		{"sheet", "fieldwork/sheet.json", "layouts"},
	} {
		t.Run(c.command+" "+c.name, func(t *testing.T) {
			t.Parallel()
			named := rillturn(t, "", c.command, example(c.name))
			piped := rillturn(t, exampleText(t, c.name), c.command, "-")
			if named.code != 0 || named.err != "" {
				t.Fatalf("code %d: %s", named.code, named.err)
			}
			if named != piped {
				t.Errorf("from standard input: code %d, %s", piped.code, piped.err)
			}
			var answer map[string]json.RawMessage
			if err := json.Unmarshal([]byte(named.out), &answer); err != nil {
				t.Fatal(err)
			}
			if len(answer[c.has]) < 3 {
				t.Errorf("the answer has nothing in %q", c.has)
			}
		})
	}
}

// A file that is refused is reported fault by fault with the path of the field, and nothing is printed as a result.
func TestOffline_faultsNameTheirFields(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, command, input string
		paths                []string
	}{
		{"not JSON", "flow", "flow", []string{"/"}},
		{"empty", "need", "", []string{"/"}},
		{"empty plan", "plan", "", []string{"/"}},
		{"flow without layouts and source", "flow", `{}`, []string{"/source", "/layouts"}},
		{"unknown field", "flow", `{"source": {"curve": {"h0_m": 20, "k": 0.01, "n": 2}}, "layouts": [], "spigots": 2}`, []string{"/spigots"}},
		{
			"two faults of a layout", "flow", `{"source": {"curve": {"h0_m": 20, "k": 0.01, "n": 2}}, "layouts": [{"id": "a", "layout":
			{"manifold": {"pipe": {"inside_diameter_mm": -1}, "outlets": [{"at_m": 0, "lateral": {"pieces": [
				{"pipe": {"inside_diameter_mm": 15}, "length_m": 0}]}}]}}}]}`,
			[]string{"/layouts/0/layout/manifold/pipe/inside_diameter_mm", "/layouts/0/layout/manifold/outlets/0/lateral/pieces/0/length_m"},
		},
		{
			"problem with an unknown source", "plan", strings.ReplaceAll(exampleText(t, "rotation/tight-8-drilled-2.json"), `"source": "S01"`, `"source": "S09"`),
			[]string{"/layouts/0/source"},
		},
		{"garden without anything", "plan", `{"garden": {}}`, []string{"/garden/time_zone", "/water_sources", "/horizon"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got := rillturn(t, c.input, c.command, "-")
			if got.code != exitRefused || got.out != "" {
				t.Errorf("code %d, out %.200q, err %.400q", got.code, got.out, got.err)
			}
			for _, path := range c.paths {
				if !strings.Contains("\n"+got.err, "\n"+path+": ") {
					t.Errorf("%s is not named:\n%.2000s", path, got.err)
				}
			}
			for line := range strings.Lines(got.err) {
				if !strings.HasPrefix(line, "/") || !strings.Contains(line, ": ") {
					t.Errorf("%q is no path with a reason", line)
				}
			}
		})
	}
}

func TestOffline_missingFileIsNotTheInputsFault(t *testing.T) {
	t.Parallel()
	got := rillturn(t, "", "flow", filepath.Join(t.TempDir(), "missing.json"))
	if got.code != exitFault || !strings.HasPrefix(got.err, "rillturn: ") || !strings.Contains(got.err, "missing.json") {
		t.Errorf("%+v", got)
	}
}

type brokenReader struct{}

func (brokenReader) Read([]byte) (int, error) { return 0, errors.New("the disk is gone") }

type brokenWriter struct{}

func (brokenWriter) Write([]byte) (int, error) { return 0, errors.New("the pipe is closed") }

func TestOffline_brokenStreams(t *testing.T) {
	t.Parallel()
	var complaint bytes.Buffer
	for name, std := range map[string]streams{
		"the disk is gone":   {brokenReader{}, io.Discard, &complaint},
		"the pipe is closed": {strings.NewReader(exampleText(t, "examples/flow.json")), brokenWriter{}, &complaint},
	} {
		complaint.Reset()
		code := run(t.Context(), []string{"flow", "-"}, std)
		if code == 0 || !strings.Contains(complaint.String(), name) {
			t.Errorf("code %d, %q, want %q", code, complaint.String(), name)
		}
	}
}

func TestPlan_effortAndExplain(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"rotation/over_subscribed-8-drilled-2.json", "garden/cinder-lane.json"} {
		plain := rillturn(t, "", "plan", "--effort", "fast", example(name))
		explained := rillturn(t, "", "plan", "--effort", "fast", "--explain", example(name))
		if plain.code != 0 || plain.err != "" || explained.code != 0 || explained.out != plain.out {
			t.Errorf("%s: codes %d, %d, %s", name, plain.code, explained.code, explained.err)
		}
		if !strings.Contains(explained.err, "share") && !strings.Contains(explained.err, "Share") {
			t.Errorf("%s is explained as %q", name, explained.err)
		}
	}
}

// A bare problem has no time zone: its schedule counts minutes, and the reader of the file format takes it back.
func TestPlan_scheduleIsReadBack(t *testing.T) {
	t.Parallel()
	got := rillturn(t, "", "plan", example("rotation/two_spigots-8-drilled-2.json"))
	schedule, err := file.ReadSchedule(strings.NewReader(got.out))
	if err != nil || len(schedule.Runs) == 0 {
		t.Errorf("%d runs, %v", len(schedule.Runs), err)
	}
}

// running is a command that goes on until it is stopped.
type running struct {
	lines *bufio.Scanner
	stop  context.CancelFunc
	code  chan int
	err   *bytes.Buffer // to be read after the end
}

// begin starts a command line that serves.
func begin(t *testing.T, args ...string) *running {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	reader, writer := io.Pipe()
	r := &running{lines: bufio.NewScanner(reader), stop: cancel, code: make(chan int, 1), err: &bytes.Buffer{}}
	go func() {
		code := run(ctx, args, streams{strings.NewReader(""), writer, r.err})
		_ = writer.Close() // always nil
		r.code <- code
	}()
	t.Cleanup(cancel)
	return r
}

// until returns what is printed up to the line that begins with a text.
func (r *running) until(t *testing.T, text string) string {
	t.Helper()
	var printed strings.Builder
	for r.lines.Scan() {
		printed.WriteString(r.lines.Text() + "\n")
		if strings.HasPrefix(r.lines.Text(), text) {
			return printed.String()
		}
	}
	t.Fatalf("ended with code %d before it printed %q:\n%s%s", <-r.code, text, printed.String(), r.err)
	return ""
}

// end stops the command and waits for it.
func (r *running) end(t *testing.T) {
	t.Helper()
	r.stop()
	for r.lines.Scan() {
		t.Logf("printed late: %s", r.lines.Text())
	}
	if code := <-r.code; code != 0 {
		t.Errorf("ended with code %d: %s", code, r.err)
	}
}

// ask sends a request and returns its answer.
func ask(t *testing.T, method, url, body string, header http.Header) (int, string) {
	t.Helper()
	q, err := http.NewRequestWithContext(t.Context(), method, url, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	for name, values := range header {
		q.Header[name] = values
	}
	a, err := http.DefaultClient.Do(q)
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(a.Body)
	if err = errors.Join(err, a.Body.Close()); err != nil {
		t.Fatal(err)
	}
	return a.StatusCode, string(text)
}

// A garden file is answered whole, or for one plot by its label.
func TestNeed_gardenFileByPlot(t *testing.T) {
	t.Parallel()
	all := rillturn(t, "", "need", example("garden/tanager-bend.json"))
	one := rillturn(t, "", "need", "--plot", "A2", example("garden/tanager-bend.json"))
	for name, c := range map[string]struct {
		got   ran
		units int
	}{"all": {all, 25}, "A2": {one, 1}} {
		var n file.GardenNeed
		if err := json.Unmarshal([]byte(c.got.out), &n); c.got.code != 0 || err != nil || len(n.Units) != c.units || len(n.Weather) < 7 {
			t.Errorf("%s: code %d, %v, %d units, %d days of weather, %s", name, c.got.code, err, len(n.Units), len(n.Weather), c.got.err)
		}
	}
	if got := rillturn(t, "", "need", "--plot", "Z9", example("garden/tanager-bend.json")); got.code != exitRefused || !strings.Contains(got.err, "Z9") {
		t.Errorf("an unknown plot: %+v", got)
	}
	if got := rillturn(t, `{"garden": {}}`, "need", "-"); got.code != exitRefused || !strings.Contains(got.err, "/garden/time_zone: is required") {
		t.Errorf("half a garden: %+v", got)
	}
}
