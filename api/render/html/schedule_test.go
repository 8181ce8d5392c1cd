package html

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/internal/golden"
	"rillturn.example/rillturn/api/render/internal/sample"
	"rillturn.example/rillturn/api/render/words"
)

// wednesday is the sample week seen on its third morning, with two reports.
func wednesday() Page {
	v := Page{Schedule: sample.Week(), Now: time.Date(2026, time.July, 8, 7, 0, 0, 0, sample.Zone())}
	v.Published = true
	v.ReportSince = v.Now.AddDate(0, 0, -1)
	minutes := 25.0
	v.Reports = map[string]Report{
		v.Turns[0].UID:              {Outcome: "done", By: "on the shed door"},
		v.Turns[len(v.Turns)/3].UID: {Outcome: "part", Minutes: &minutes, By: "on the shed door", Note: "Ana: the hydrant was opened"},
	}
	return v
}

func written(t *testing.T, v Page) string {
	t.Helper()
	var b bytes.Buffer
	if err := Schedule(&b, v); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestSchedule_golden(t *testing.T) {
	t.Parallel()
	golden.Check(t, "week.html", []byte(written(t, wednesday())))
	us := wednesday()
	us.Units, us.ReportSince, us.Reports = render.US, time.Time{}, nil
	golden.Check(t, "week-us-read-only.html", []byte(written(t, us)))
	empty := wednesday()
	empty.Turns, empty.Shares, empty.Shorts = nil, nil, nil
	golden.Check(t, "empty.html", []byte(written(t, empty)))
	var b bytes.Buffer
	p := words.New("en", render.Metric, sample.Zone())
	if err := Recorded(&b, p, Report{Outcome: "missed", By: "on the shed door"}); err != nil {
		t.Fatal(err)
	}
	if err := Refusal(&b, p, true, "1 fault was found.", []Problem{{"/duration_min", "is needed"}, {"#query/x", "is not known"}}); err != nil {
		t.Fatal(err)
	}
	golden.Check(t, "answers.html", b.Bytes())
}

const hostile = `"><script>alert(1)</script><img src=x onerror='y'>&amp;` + "\u202e\x00 {{.}} javascript:z"

// Whatever people call their gardens, plots and themselves, and whatever they report, stays text.
func TestSchedule_namesStayText(t *testing.T) {
	t.Parallel()
	long := hostile + strings.Repeat(" very", 300) + strings.Repeat("long", 300)
	v := wednesday()
	v.GardenName = long
	for i := range v.Turns {
		turn := &v.Turns[i]
		turn.SourceName, turn.ZoneName, turn.Opener, turn.Note = hostile, long, hostile, hostile
		for n := range turn.Members {
			turn.Members[n].PlotName, turn.Members[n].LayoutName = hostile, long
		}
		v.Reports[turn.UID] = Report{Outcome: hostile, By: hostile, Note: long}
	}
	for i := range v.Shares {
		v.Shares[i].PlotName, v.Shares[i].Reason = hostile, hostile
	}
	v.Turns[4].UID = hostile
	text := written(t, v)
	allowed := map[string]bool{
		"html": true, "head": true, "meta": true, "title": true, "style": true, "body": true, "h1": true, "h2": true, "p": true, "ul": true, "li": true,
		"strong": true, "small": true, "details": true, "summary": true, "form": true, "input": true, "fieldset": true, "legend": true, "label": true,
		"button": true, "table": true, "tr": true, "td": true, "tbody": true,
	}
	for name := range elements(t, text) {
		if !allowed[name] {
			t.Errorf("a name made the element %s", name)
		}
	}
	if !strings.Contains(text, "&lt;script&gt;alert(1)") {
		t.Error("the name is not shown")
	}
}

// elements lists the elements of a page with their attributes, and fails on those that load or run something.
func elements(t *testing.T, text string) map[string]int {
	t.Helper()
	seen := map[string]int{}
	d := xml.NewDecoder(strings.NewReader(text))
	d.Strict, d.AutoClose, d.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return seen
		}
		if err != nil {
			t.Fatal(err)
		}
		if e, ok := token.(xml.StartElement); ok {
			seen[e.Name.Local]++
			for _, a := range e.Attr {
				if strings.HasPrefix(a.Name.Local, "on") || a.Name.Local == "src" || a.Name.Local == "action" || a.Name.Local == "href" && a.Value != "" {
					t.Errorf("%s has %s=%q", e.Name.Local, a.Name.Local, a.Value)
				}
			}
		}
	}
}

// Only turns that have begun, and not long ago, have a form; cancelled ones have none.
func TestSchedule_formsOfTurnsThatBegan(t *testing.T) {
	t.Parallel()
	v := wednesday()
	want := 0
	for _, turn := range v.Turns {
		if turn.Status == render.Planned && !turn.Start.After(v.Now) && !turn.Start.Before(v.ReportSince) {
			want++
		}
	}
	if got := strings.Count(written(t, v), "<form "); got != want || want == 0 || want == len(v.Turns) {
		t.Errorf("%d forms, want %d of %d turns", got, want, len(v.Turns))
	}
	v.ReportSince = time.Time{}
	if strings.Contains(written(t, v), "<form ") {
		t.Error("a page that takes no reports has a form")
	}
	v.TimeZone = nil
	if err := Schedule(io.Discard, v); err == nil {
		t.Error("a schedule without a time zone is written")
	}
}
