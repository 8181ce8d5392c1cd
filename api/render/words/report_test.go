package words

import (
	"bytes"
	"errors"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/internal/golden"
	"rillturn.example/rillturn/api/render/internal/sample"
	"rillturn.example/rillturn/engine/problem"
)

func mustReport(t interface{ Fatalf(string, ...any) }, view render.Report) []byte {
	var b bytes.Buffer
	if err := Report(&b, view); err != nil {
		t.Fatalf("report: %v", err)
	}
	return b.Bytes()
}

func TestReport_golden(t *testing.T) {
	t.Parallel()
	plan := sample.Plan()
	golden.Check(t, "plan.txt", mustReport(t, plan))
	plan.Schedule.Units = render.US
	golden.Check(t, "plan_us.txt", mustReport(t, plan))
}

// Whatever names a garden has, the report stays within its width.
func TestReport_staysWithinItsColumns(t *testing.T) {
	t.Parallel()
	name := rapid.OneOf(rapid.StringN(0, 60, -1), rapid.StringOfN(rapid.SampledFrom([]rune("Wi m水\n")), 0, 200, -1))
	rapid.Check(t, func(t *rapid.T) {
		plan := sample.Plan()
		plan.Schedule.Units = rapid.SampledFrom([]render.Units{render.Metric, render.US}).Draw(t, "units")
		plan.Schedule.GardenName = name.Draw(t, "garden")
		for i := range plan.Layouts {
			plan.Layouts[i].PlotName, plan.Layouts[i].SourceName = name.Draw(t, "plot"), name.Draw(t, "source")
			plan.Layouts[i].FlowLPerMin = rapid.Float64Range(0, 1000).Draw(t, "flow")
			plan.Layouts[i].HeadM = rapid.Float64Range(0, 100).Draw(t, "head")
			plan.Layouts[i].Unservable = name.Draw(t, "unservable")
		}
		for i := range plan.Groups {
			plan.Groups[i].Name, plan.Groups[i].Members = name.Draw(t, "group"), []string{name.Draw(t, "member")}
		}
		for i := range plan.Schedule.Turns {
			turn := &plan.Schedule.Turns[i]
			turn.ZoneName, turn.SourceName, turn.Note, turn.Opener = name.Draw(t, "zone"), name.Draw(t, "tap"), name.Draw(t, "note"), name.Draw(t, "opener")
		}
		for i := range plan.Schedule.Shares {
			plan.Schedule.Shares[i].PlotName, plan.Schedule.Shares[i].Fraction = name.Draw(t, "share plot"), rapid.Float64Range(0, 1).Draw(t, "share")
		}
		plan.Schedule.Shorts[0].Plots = []string{name.Draw(t, "short"), name.Draw(t, "short")}
		plan.Schedule.Shorts[0].Limits[0].SourceName = name.Draw(t, "full")
		for i, line := range strings.Split(string(mustReport(t, plan)), "\n") {
			if n := columns(line); n > reportWidth {
				t.Fatalf("line %d has %d columns: %q", i+1, n, line)
			}
			if strings.HasSuffix(line, " ") {
				t.Fatalf("line %d ends in space: %q", i+1, line)
			}
		}
	})
}

func TestReport_longGardenNameIsWrapped(t *testing.T) {
	t.Parallel()
	plan := sample.Plan()
	plan.Schedule.GardenName = strings.Repeat("Wide 水 Meadow ", 10)
	lines := strings.Split(string(mustReport(t, plan)), "\n")
	if columns(lines[0]) > reportWidth || !strings.HasPrefix(lines[1], "Meadow") && !strings.HasPrefix(lines[1], "Wide") && !strings.HasPrefix(lines[1], "水") {
		t.Errorf("the title is %q, then %q", lines[0], lines[1])
	}
}

// The sum that explains a shortfall must add up for a reader with a pencil.
func TestReport_shortfallAddsUp(t *testing.T) {
	t.Parallel()
	text := string(mustReport(t, sample.Plan()))
	start := strings.Index(text, "Who is short, and why")
	end := strings.Index(text, "What this takes for granted")
	if start < 0 || end < start {
		t.Fatalf("sections are missing:\n%s", text)
	}
	var minutes []float64
	for _, line := range strings.Split(text[start:end], "\n") {
		fields := strings.Fields(line)
		if len(fields) < 2 || fields[len(fields)-1] != "min" {
			continue
		}
		v, err := strconv.ParseFloat(fields[len(fields)-2], 64)
		if err != nil {
			t.Fatal(err)
		}
		minutes = append(minutes, v)
	}
	const totals = 3 // offered, needed, missing
	if len(minutes) < totals+1 {
		t.Fatalf("only %v", minutes)
	}
	offered, needed, missing := minutes[len(minutes)-3], minutes[len(minutes)-2], minutes[len(minutes)-1]
	sum := 0.0
	for _, v := range minutes[:len(minutes)-totals] {
		sum += v
	}
	if sum != offered || needed-offered != missing {
		t.Errorf("parts sum to %g, offered %g, needed %g, missing %g", sum, offered, needed, missing)
	}
}

func TestReport_saysWhatMatters(t *testing.T) {
	t.Parallel()
	plan := sample.Plan()
	text := string(mustReport(t, plan))
	p := New("en", render.Metric, plan.Schedule.TimeZone)
	for _, turn := range plan.Schedule.Turns {
		if !strings.Contains(text, p.Span(turn.Start, turn.End)) || !strings.Contains(text, p.Date(turn.Start)) {
			t.Errorf("no word of the turn at %s", p.Moment(turn.Start))
		}
	}
	for _, want := range []string{"Cancelled", "Mara must be there", "Close the valve of Plot 20", "water reaches only 11.43 m", "Backflow", "No turn can water"} {
		if !strings.Contains(text, want) {
			t.Errorf("no word of %q", want)
		}
	}
	plan.Schedule.Shorts, plan.Schedule.Turns = nil, nil
	text = string(mustReport(t, plan))
	for _, want := range []string{"Nobody: every plot", "No turns in these days"} {
		if !strings.Contains(text, want) {
			t.Errorf("no word of %q", want)
		}
	}
}

func TestShareBar_fullOnlyWhenFullyServed(t *testing.T) {
	t.Parallel()
	for fraction, want := range map[float64]string{
		0: strings.Repeat(".", 20), 0.5: strings.Repeat("#", 10) + strings.Repeat(".", 10), 0.999: strings.Repeat("#", 19) + ".",
		1: strings.Repeat("#", 20), 1.3: strings.Repeat("#", 20), -1: strings.Repeat(".", 20),
	} {
		if got := shareBar(fraction); got != want {
			t.Errorf("%g: %q", fraction, got)
		}
	}
}

func TestCautions_onlyThoseThatApply(t *testing.T) {
	t.Parallel()
	always := []render.CautionCode{render.CautionEstimate, render.CautionLocalCode}
	cases := map[string]struct {
		circumstances render.Circumstances
		want          []render.CautionCode
	}{
		"always": {render.Circumstances{}, nil},
		"tap":    {render.Circumstances{DrinkingWaterTap: true}, []render.CautionCode{render.CautionBackflow, render.CautionDrinking}},
		"tap with a manifold": {
			render.Circumstances{DrinkingWaterTap: true, ValveAfterTap: true, PlasticPipe: true},
			[]render.CautionCode{render.CautionBackflow, render.CautionVacuum, render.CautionDrinking, render.CautionPipePressure, render.CautionPipeAir, render.CautionScald},
		},
		"rain barrel": {
			render.Circumstances{StoredWater: true, RoofWater: true},
			[]render.CautionCode{render.CautionCrossJoin, render.CautionRoofWater},
		},
		"tank refilled from the tap": {
			render.Circumstances{StoredWater: true, RefilledFromTap: true},
			[]render.CautionCode{render.CautionCrossJoin, render.CautionAirGap},
		},
		"workshop": {
			render.Circumstances{Drilling: true, CementedJoints: true},
			[]render.CautionCode{render.CautionCement, render.CautionDrilling},
		},
		"a person with a hose": {
			render.Circumstances{Hose: true, PeopleAtWork: true},
			[]render.CautionCode{render.CautionDrinking, render.CautionScald, render.CautionTrip, render.CautionHeat},
		},
	}
	for name, c := range cases {
		if diff := cmp.Diff(append(c.want, always...), c.circumstances.Cautions()); diff != "" {
			t.Errorf("%s (-want +got):\n%s", name, diff)
		}
	}
	p := New("en", render.Metric, nil)
	if len(render.CautionCodes()) != len(englishCautions) {
		t.Errorf("%d cautions, %d sentences", len(render.CautionCodes()), len(englishCautions))
	}
	for _, code := range render.CautionCodes() {
		if strings.HasPrefix(p.Caution(code), "Note: ") {
			t.Errorf("no sentence for %s", code)
		}
	}
}

type brokenWriter struct{}

var errBroken = errors.New("pipe closed")

func (brokenWriter) Write([]byte) (int, error) { return 0, errBroken }

func TestReport_reportsWhatFails(t *testing.T) {
	t.Parallel()
	if err := Report(brokenWriter{}, sample.Plan()); !errors.Is(err, errBroken) {
		t.Errorf("broken pipe: %v", err)
	}
	plan := sample.Plan()
	plan.Schedule.TimeZone = nil
	if err := Report(&bytes.Buffer{}, plan); err == nil {
		t.Error("no time zone: no error")
	}
}

// What is shared evenly is said in its own measure, and so is what ten more minutes would bring.
func TestShortfall_saysTheMeasureOfTheGarden(t *testing.T) {
	t.Parallel()
	p := New("en", render.Metric, time.UTC)
	for by, want := range map[problem.Measure][]string{
		problem.ByNeed:    {"Bed 1 gets 40 % of the 100 L needed; 60 L is missing.", "raise their share by at most 2.0 points"},
		problem.ByArea:    {"Bed 1 gets 12 mm of water over each bed, 40 % of the 100 L needed", "at most 0.020 mm more"},
		problem.ByMinutes: {"Bed 1 gets 12 min for each watering group, 40 % of the 100 L needed", "at most"},
	} {
		s := render.Shortfall{Plots: []string{"Bed 1"}, Fraction: 0.4, NeedLiters: 100, MissingLiters: 60, By: by, Level: 12, GainPerMinute: 0.002}
		if got := strings.Join(p.Shortfall(s), " "); !strings.Contains(got, want[0]) || !strings.Contains(got, want[1]) {
			t.Errorf("by %s: %q", by, got)
		}
	}
}
