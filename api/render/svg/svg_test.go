package svg

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/internal/golden"
	"rillturn.example/rillturn/api/render/internal/sample"
	"rillturn.example/rillturn/api/render/words"
)

// pictures are all pictures of the sample garden by name.
func pictures() map[string]func(io.Writer) error {
	week, us := sample.Week(), sample.Drawing()
	us.Units = render.US
	ledger := sample.Ledger()
	ledger.Units = render.US
	profile := sample.Profile()
	profile.Units = render.US
	return map[string]func(io.Writer) error{
		"week":       func(w io.Writer) error { return Timeline(w, week) },
		"shares":     func(w io.Writer) error { return Fairness(w, week) },
		"ledger":     func(w io.Writer) error { return Ledger(w, sample.Ledger()) },
		"ledger_us":  func(w io.Writer) error { return Ledger(w, ledger) },
		"profile":    func(w io.Writer) error { return Profile(w, sample.Profile()) },
		"profile_us": func(w io.Writer) error { return Profile(w, profile) },
		"drawing":    func(w io.Writer) error { return Drawing(w, sample.Drawing()) },
		"drawing_us": func(w io.Writer) error { return Drawing(w, us) },
	}
}

func TestPictures_golden(t *testing.T) {
	t.Parallel()
	for name, draw := range pictures() {
		var b bytes.Buffer
		if err := draw(&b); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		golden.Check(t, name+".svg", b.Bytes())
	}
}

// element is one element of a picture, read back.
type element struct {
	name  string
	attrs map[string]string
	text  string
	under string // name of the parent
}

// parse reads a picture back and fails when it is not well-formed.
func parse(t testingT, picture []byte) []element {
	decoder := xml.NewDecoder(bytes.NewReader(picture))
	var all []element
	var open []int
	for {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			return all
		}
		if err != nil {
			t.Fatalf("not well-formed: %v\n%s", err, picture)
		}
		switch token := token.(type) {
		case xml.StartElement:
			e := element{name: token.Name.Local, attrs: map[string]string{}}
			if len(open) > 0 {
				e.under = all[open[len(open)-1]].name
			}
			for _, a := range token.Attr {
				e.attrs[a.Name.Local] = a.Value
			}
			open = append(open, len(all))
			all = append(all, e)
		case xml.CharData:
			if len(open) > 0 {
				all[open[len(open)-1]].text += string(token)
			}
		case xml.EndElement:
			open = open[:len(open)-1]
		}
	}
}

type testingT interface{ Fatalf(string, ...any) }

func drawn(t testingT, draw func(io.Writer) error) []element {
	var b bytes.Buffer
	if err := draw(&b); err != nil {
		t.Fatalf("draw: %v", err)
	}
	return parse(t, b.Bytes())
}

func number(t testingT, e element, name string) float64 {
	v, err := strconv.ParseFloat(e.attrs[name], 64)
	if err != nil {
		t.Fatalf("%s of %+v: %v", name, e, err)
	}
	return v
}

// everythingInside checks that no text and no shape leaves the page, by the widths that the texts are measured with.
func everythingInside(t testingT, all []element) {
	width, height := number(t, all[0], "width"), number(t, all[0], "height")
	for _, e := range all {
		if e.under == "pattern" || e.under == "defs" {
			continue
		}
		var left, right, top, bottom float64
		switch e.name {
		case "text":
			w := textWidth(e.text, number(t, e, "font-size"))
			left, bottom = number(t, e, "x"), number(t, e, "y")
			top = bottom - number(t, e, "font-size")
			switch e.attrs["text-anchor"] {
			case "middle":
				left -= w / 2
			case "end":
				left -= w
			}
			right = left + w
		case "rect":
			left, top = number(t, e, "x"), number(t, e, "y")
			right, bottom = left+number(t, e, "width"), top+number(t, e, "height")
		default:
			continue
		}
		if left < -0.01 || right > width+0.01 || top < -0.01 || bottom > height+0.01 {
			t.Fatalf("%s %q leaves the page of %g by %g: x %g to %g, y %g to %g", e.name, e.text, width, height, left, right, top, bottom)
		}
	}
}

func TestPictures_speakToThoseWhoCannotSeeThem(t *testing.T) {
	t.Parallel()
	for name, draw := range pictures() {
		all := drawn(t, draw)
		root := all[0]
		if root.attrs["role"] != "img" {
			t.Errorf("%s: role %q", name, root.attrs["role"])
		}
		said := map[string]string{}
		for _, e := range all {
			if id := e.attrs["id"]; id != "" {
				said[id] = strings.TrimSpace(e.text)
			}
		}
		ids := strings.Fields(root.attrs["aria-labelledby"])
		if len(ids) != 2 || said[ids[0]] == "" || len(said[ids[1]]) < 100 {
			t.Errorf("%s: labelled by %v, which say %q and %d bytes", name, ids, said[ids[0]], len(said[ids[1]]))
		}
		everythingInside(t, all)
	}
}

// A printed rota must be readable without a pointer: the clock times of every turn are visible text.
func TestTimeline_everyTurnShowsItsTimes(t *testing.T) {
	t.Parallel()
	week := sample.Week()
	visible := map[string]int{}
	for _, e := range drawn(t, func(w io.Writer) error { return Timeline(w, week) }) {
		if e.name == "text" {
			visible[e.text]++
		}
	}
	shows := func(is func(string) bool) bool {
		for text := range visible {
			if is(text) {
				return true
			}
		}
		return false
	}
	p := words.New("en", render.Metric, week.TimeZone)
	for _, turn := range week.Turns {
		from, to := p.Clock(turn.Start), p.Clock(turn.End)
		oneLine := shows(func(s string) bool { return strings.HasPrefix(s, from+"–"+to) })
		twoLines := visible[from+"–"] > 0 && visible[to] > 0
		note := shows(func(s string) bool { return strings.Contains(s, p.Date(turn.Start)+" "+from+"–"+to) })
		if !oneLine && !twoLines && !note {
			t.Errorf("%s from %s to %s shows nowhere", turn.UID, from, to)
		}
	}
}

func TestTimeline_whatMustStandOut(t *testing.T) {
	t.Parallel()
	week := sample.Week()
	all := drawn(t, func(w io.Writer) error { return Timeline(w, week) })
	has := func(name, attr, value string) int {
		n := 0
		for _, e := range all {
			if e.name == name && e.attrs[attr] == value {
				n++
			}
		}
		return n
	}
	if got := has("rect", "stroke-dasharray", "4 3"); got != 2 {
		t.Errorf("%d dashed outlines for one cancelled turn and its sign in the legend", got)
	}
	short := 0
	for _, turn := range week.Turns {
		if turn.Status == render.Planned && anyShort(turn) {
			short++
		}
	}
	triangles := 0
	for _, e := range all {
		if e.name == "polygon" {
			triangles++
		}
	}
	if triangles != short+1 {
		t.Errorf("%d signs of shortness for %d turns and the legend", triangles, short)
	}
	if got := has("rect", "fill", "#eef3f7"); got != len(week.WaterHours)+1 {
		t.Errorf("%d shaded hours, want %d and the legend", got, len(week.WaterHours))
	}
}

// Whatever names and times a garden has, the picture is well-formed and stays on its page.
func TestPictures_anyScheduleStaysOnThePage(t *testing.T) {
	t.Parallel()
	zones := []string{"America/New_York", "Europe/Warsaw", "Australia/Lord_Howe", "UTC"}
	name := rapid.OneOf(rapid.String(), rapid.StringOfN(rapid.SampledFrom([]rune("<>&\"']]--Wim 水\n\x00")), 0, 80, -1))
	rapid.Check(t, func(t *rapid.T) {
		s := sample.Week()
		s.TimeZone = sample.MustZone(rapid.SampledFrom(zones).Draw(t, "zone"))
		s.Units = rapid.SampledFrom([]render.Units{render.Metric, render.US}).Draw(t, "units")
		s.HorizonFrom = time.Unix(rapid.Int64Range(1.70e9, 1.85e9).Draw(t, "from"), 0)
		s.HorizonTo = s.HorizonFrom.Add(time.Duration(rapid.IntRange(1, 9*24).Draw(t, "hours")) * time.Hour)
		s.GardenName, s.WaterHours, s.Turns, s.Shares = name.Draw(t, "garden"), nil, nil, nil
		for i := range rapid.IntRange(0, 12).Draw(t, "turns") {
			start := s.HorizonFrom.Add(time.Duration(rapid.IntRange(-60, 9*24*60).Draw(t, "start")) * time.Minute)
			turn := render.Turn{
				UID: strconv.Itoa(i), Start: start, End: start.Add(time.Duration(rapid.IntRange(1, 30*60).Draw(t, "minutes")) * time.Minute),
				SourceName: name.Draw(t, "source"), ZoneName: name.Draw(t, "group"), Opener: name.Draw(t, "opener"),
				Kind:    rapid.SampledFrom([]render.TurnKind{render.ZoneTurn, render.HoseTurn, render.CanTurn}).Draw(t, "kind"),
				Status:  rapid.SampledFrom([]render.TurnStatus{render.Planned, render.Cancelled}).Draw(t, "status"),
				Members: []render.Member{{PlotName: name.Draw(t, "plot"), Share: rapid.Float64Range(0, 1).Draw(t, "share")}},
			}
			s.Turns = append(s.Turns, turn)
			s.WaterHours = append(s.WaterHours, render.Interval{SourceName: turn.SourceName, Start: turn.Start, End: turn.End})
			s.Shares = append(s.Shares, render.Share{PlotName: name.Draw(t, "short plot"), Reason: name.Draw(t, "reason"), Fraction: turn.Members[0].Share, NeedLiters: rapid.Float64Range(0, 1e5).Draw(t, "need")})
		}
		everythingInside(t, drawn(t, func(w io.Writer) error { return Timeline(w, s) }))
		everythingInside(t, drawn(t, func(w io.Writer) error { return Fairness(w, s) }))
	})
}

// Pieces of a span lie on their days, never run backwards, and together last as long as the span, but for the hour
// that a clock change adds to or takes from the wall.
func TestSplitByDay_piecesCoverTheSpan(t *testing.T) {
	t.Parallel()
	zones := []string{"America/New_York", "Europe/Warsaw", "America/Havana", "UTC"}
	rapid.Check(t, func(t *rapid.T) {
		zone := sample.MustZone(rapid.SampledFrom(zones).Draw(t, "zone"))
		start := time.Unix(rapid.Int64Range(1.70e9, 1.85e9).Draw(t, "start")/60*60, 0)
		end := start.Add(time.Duration(rapid.IntRange(1, 4000).Draw(t, "minutes")) * time.Minute)
		sum := 0.0
		pieces := splitByDay(start, end, zone)
		for i, p := range pieces {
			if p.from < 0 || p.to > minutesPerDay || p.to <= p.from {
				t.Fatalf("piece %d from %g to %g", i, p.from, p.to)
			}
			if i > 0 && !p.day.After(pieces[i-1].day) {
				t.Fatalf("piece %d on %s after %s", i, p.day, pieces[i-1].day)
			}
			sum += p.to - p.from
		}
		_, before := start.In(zone).Zone()
		_, after := end.In(zone).Zone()
		shift := math.Abs(float64(after-before)) / 60
		if got := math.Abs(sum - end.Sub(start).Minutes()); got > shift+1e-6 {
			t.Fatalf("pieces last %g min, the span %g min", sum, end.Sub(start).Minutes())
		}
	})
}

func TestSplitByDay_daysWithAClockChange(t *testing.T) {
	t.Parallel()
	zone := sample.MustZone("Europe/Warsaw")
	at := func(s string) time.Time {
		v, err := time.Parse(time.RFC3339, s)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	cases := []struct {
		name, from, to string
		want           []piece
	}{
		{"across the missing hour", "2026-03-29T01:45:00+01:00", "2026-03-29T03:15:00+02:00", []piece{{from: 105, to: 195}}},
		{"inside the second of the repeated hours", "2026-10-25T02:10:00+01:00", "2026-10-25T02:40:00+01:00", []piece{{from: 130, to: 160}}},
		{"from the first into the second", "2026-10-25T02:50:00+02:00", "2026-10-25T02:10:00+01:00", []piece{{from: 170, to: 190}}},
		{"over midnight", "2026-07-06T23:30:00+02:00", "2026-07-07T00:45:00+02:00", []piece{{from: 1410, to: 1440}, {from: 0, to: 45}}},
		{"to midnight", "2026-07-06T23:30:00+02:00", "2026-07-07T00:00:00+02:00", []piece{{from: 1410, to: 1440}}},
	}
	for _, c := range cases {
		got := splitByDay(at(c.from), at(c.to), zone)
		if len(got) != len(c.want) {
			t.Errorf("%s: %d pieces", c.name, len(got))
			continue
		}
		for i := range got {
			if got[i].from != c.want[i].from || got[i].to != c.want[i].to {
				t.Errorf("%s: piece %d from %g to %g, want %g to %g", c.name, i, got[i].from, got[i].to, c.want[i].from, c.want[i].to)
			}
		}
	}
}

func TestClockAxis_keepsOrderAndLeavesOutIdleHours(t *testing.T) {
	t.Parallel()
	a := newClockAxis([]piece{{from: 360, to: 570}, {from: 1110, to: 1230}}, 100, 900)
	if len(a.stretches) != 2 {
		t.Fatalf("%d stretches", len(a.stretches))
	}
	last := 0.0
	for minute := range minutesPerDay {
		x := a.x(float64(minute))
		if x < last || x < 100 || x > 1000 {
			t.Fatalf("minute %d at %g after %g", minute, x, last)
		}
		last = x
	}
	if got, want := a.x(600)-a.x(570), 0.0; got != want {
		t.Errorf("an idle half hour takes %g pixels", got)
	}
	if got, want := a.x(390)-a.x(360), 30*a.perMinute; math.Abs(got-want) > 1e-9 {
		t.Errorf("half an hour takes %g pixels, want %g", got, want)
	}
}

func TestMarks_groupsDiffer(t *testing.T) {
	t.Parallel()
	seen := map[string]int{}
	for i := range len(tones) * len(hatches) {
		if j, ok := seen[markOf(i).id]; ok {
			t.Errorf("groups %d and %d look alike", j, i)
		}
		seen[markOf(i).id] = i
	}
	for i := range len(hatches) - 1 {
		if markOf(i).hatch == markOf(i+1).hatch {
			t.Errorf("groups %d and %d look alike without colour", i, i+1)
		}
	}
}

func TestFit_neverWiderThanItsRoom(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s, width := rapid.String().Draw(t, "text"), rapid.Float64Range(15, 300).Draw(t, "width")
		short := fit(s, 10, width)
		if got := textWidth(short, 10); got > width {
			t.Fatalf("%q takes %g of %g", short, got, width)
		}
		if textWidth(s, 10) <= width && short != s {
			t.Fatalf("%q was cut to %q without need", s, short)
		}
	})
}

func TestNiceStep_isRoundAndFewEnough(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		span, most := rapid.Float64Range(1e-4, 1e6).Draw(t, "span"), rapid.IntRange(1, 20).Draw(t, "parts")
		step := niceStep(span, most)
		if parts := span / step; parts > float64(most)*(1+1e-9) || parts*5.01 < float64(most)/2 {
			t.Fatalf("step %g divides %g into %g parts of at most %d", step, span, parts, most)
		}
		if mantissa := step / math.Pow(10, math.Floor(math.Log10(step)+1e-9)); math.Abs(mantissa-1) > 1e-9 && math.Abs(mantissa-2) > 1e-9 && math.Abs(mantissa-5) > 1e-9 {
			t.Fatalf("step %g begins with %g", step, mantissa)
		}
	})
}

func TestDrawing_isToScale(t *testing.T) {
	t.Parallel()
	d := sample.Drawing()
	c := drawing{p: words.New("en", render.Metric, nil), d: d}
	c.fit()
	holes := map[string]int{}
	for _, e := range drawn(t, func(w io.Writer) error { return Drawing(w, d) }) {
		if e.name == "circle" {
			holes[e.attrs["cx"]+","+e.attrs["cy"]]++
		}
	}
	for _, o := range d.Outlets {
		if o.Lateral == nil {
			continue
		}
		side := 1.0
		if o.ToLeft {
			side = -1
		}
		for _, h := range o.Lateral.HoleSets {
			at := coordinate(c.manifoldX+side*h.AtM*c.scale) + "," + coordinate(c.y(o.AtM))
			if want := 1; h.Plugged == (holes[at] == want) {
				t.Errorf("%d circles at %s for a hole set at %g m, plugged %t", holes[at], at, h.AtM, h.Plugged)
			}
		}
	}
}

// A layout whose holes differ by a few per cent must look even.
func TestDrawing_smallDifferencesLookSmall(t *testing.T) {
	t.Parallel()
	d := sample.Drawing()
	l := &render.DrawnLateral{Name: "A", LengthM: 3}
	for i := range 20 {
		l.HoleSets = append(l.HoleSets, render.DrawnHoles{AtM: 0.15 * float64(i), FlowLPerH: 4 + 0.01*float64(i)})
	}
	c := drawing{d: d}
	c.d.Outlets = []render.DrawnOutlet{{Lateral: l}}
	c.fit()
	for _, h := range l.HoleSets {
		if c.flowClass(h.FlowLPerH) != flowClasses-1 {
			t.Errorf("%g L/h of at most %g L/h is in class %d", h.FlowLPerH, c.most, c.flowClass(h.FlowLPerH))
		}
	}
}

type brokenWriter struct{}

var errBroken = errors.New("pipe closed")

func (brokenWriter) Write([]byte) (int, error) { return 0, errBroken }

func TestPictures_reportWhatFails(t *testing.T) {
	t.Parallel()
	for name, draw := range pictures() {
		if err := draw(brokenWriter{}); !errors.Is(err, errBroken) {
			t.Errorf("%s into a broken pipe: %v", name, err)
		}
	}
	empty := sample.Profile()
	empty.Laterals[0].Points = nil
	noZone := sample.Week()
	noZone.TimeZone = nil
	for name, draw := range map[string]func(io.Writer) error{
		"ledger without days":       func(w io.Writer) error { return Ledger(w, render.LedgerChart{}) },
		"profile without laterals":  func(w io.Writer) error { return Profile(w, render.HeadProfile{}) },
		"profile without points":    func(w io.Writer) error { return Profile(w, empty) },
		"timeline without a zone":   func(w io.Writer) error { return Timeline(w, noZone) },
		"shares without a zone":     func(w io.Writer) error { return Fairness(w, noZone) },
		"drawing into a full drive": func(io.Writer) error { return Drawing(brokenWriter{}, render.LayoutDrawing{}) },
	} {
		if err := draw(io.Discard); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// Days on which nothing fell and nothing was watered have no scale: the strip says so in words.
func TestLedger_withoutWater(t *testing.T) {
	t.Parallel()
	chart := sample.Ledger()
	for i := range chart.Days {
		chart.Days[i].RainMm, chart.Days[i].WaterMm = 0, 0
	}
	var b bytes.Buffer
	if err := Ledger(&b, chart); err != nil {
		t.Fatal(err)
	}
	words, units := 0, 0
	for _, e := range parse(t, b.Bytes()) {
		if e.name == "text" && strings.Contains(e.text, "neither rain nor watering") {
			words++
		}
		if e.name == "text" && e.text == "mm" {
			units++
		}
		for name, value := range e.attrs {
			if strings.Contains(value, "NaN") || strings.Contains(value, "Inf") {
				t.Errorf("%s of a %s is %s", name, e.name, value)
			}
		}
	}
	if words != 1 || units != 1 {
		t.Errorf("the strip says so %d times, %d axes have a unit; want one and one", words, units)
	}
}
