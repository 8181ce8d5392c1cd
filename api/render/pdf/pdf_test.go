package pdf

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/internal/golden"
	"rillturn.example/rillturn/api/render/internal/sample"
	"rillturn.example/rillturn/engine/fieldwork"
	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/unit"
)

var made = time.Date(2026, time.April, 11, 14, 30, 0, 0, time.UTC)

const link = "https://garden.example/layouts/plot-4"

func holes(spacing, first float64, perSet, sides int) *hydraulics.HolePattern {
	return &hydraulics.HolePattern{
		Spacing: unit.Inches(spacing), FirstOffset: unit.Inches(first), HolesPerSet: perSet, Sides: sides,
		Facing: hydraulics.FacingSide, HoleDiameter: unit.Inches(1.0 / 16), DischargeCoefficient: 0.62,
	}
}

func piece(feet float64, p *hydraulics.HolePattern) hydraulics.Piece {
	return hydraulics.Piece{Pipe: hydraulics.Pipe{Size: "1/2", Wall: "schedule 40"}, Length: unit.Feet(feet), Pattern: p}
}

// rows is a layout of laterals that alternate between two kinds, every fourth outlet closed.
func rows(laterals int) hydraulics.Layout {
	l := hydraulics.Layout{
		PressFit: true,
		Feed: hydraulics.Feed{
			HoseLength: 15, HoseDiameter: unit.Millimeters(15.9), FittingsK: 2,
			Filter: &hydraulics.Filter{Flow: unit.LitersPerMinute(20), Loss: 0.5},
		},
		Manifold: hydraulics.Manifold{Pipe: hydraulics.Pipe{Size: "3/4", Wall: "schedule 40"}, Length: unit.Feet(1 + 2*float64(laterals)), TeeRunK: 0.2, TeeBranchK: 1},
	}
	for i := range laterals {
		o := hydraulics.Outlet{At: unit.Feet(1 + 2*float64(i))}
		switch {
		case i%4 == 2:
			o.Plugged = true
		case i%2 == 0:
			o.Lateral = &hydraulics.Lateral{Pieces: []hydraulics.Piece{piece(10, holes(6, 3, 1, 1)), piece(10, holes(6, 3, 1, 1)), piece(10, holes(4, 2, 2, 2))}}
			o.Lateral.Plugged = []hydraulics.PluggedHoles{{Piece: 1, Set: 4, Holes: 1}}
		default:
			o.Lateral = &hydraulics.Lateral{Pieces: []hydraulics.Piece{piece(8, holes(30, 15, 3, 1)), piece(7.5, holes(6, 1, 1, 1))}}
		}
		l.Manifold.Outlets = append(l.Manifold.Outlets, o)
	}
	return l
}

// document is a layout with everything that a document may hold.
func document(t *testing.T, units render.Units, laterals int) LayoutDocument {
	t.Helper()
	l := rows(laterals)
	compiled, err := hydraulics.Compile(l, hydraulics.DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	result := compiled.Solve(7)
	ruler := fieldwork.RulerMillimeters
	if units == render.US {
		ruler = fieldwork.RulerInches
	}
	sheet, err := fieldwork.Plan(fieldwork.Request{
		Sites: []fieldwork.Site{{Label: "Plot 4", Owners: []string{"Ilse"}, Layout: l, Plantings: []fieldwork.Planting{
			{Name: "sweet corn", Crop: "sweet_corn", Outlets: []int{0}, To: unit.Feet(20)},
			{Name: "onions", Crop: "onion_dry", Outlets: []int{0}, From: unit.Feet(20), Sides: 2},
			{Name: "zucchini", Crop: "zucchini", Outlets: []int{1}, To: unit.Feet(8)},
			{Name: "carrots", Outlets: []int{1}, From: unit.Feet(8), Spacing: unit.Inches(1.5)},
		}}},
		Ruler: ruler, Kerf: unit.Millimeters(3),
		OffCuts: []fieldwork.StoredOffCut{{ID: "end of last year", Pipe: hydraulics.Pipe{Size: "3/4", Wall: "schedule 40"}, Length: 1.4}},
		Stored: []fieldwork.StoredPipe{
			{ID: "S-1", Piece: piece(10, holes(6, 3, 1, 1))}, {ID: "S-2", Owner: "Ilse", Piece: piece(9, holes(30, 15, 3, 1))},
		},
		Prices: []fieldwork.Price{{Kind: fieldwork.PartPipe, Size: "1/2", Cents: 420}, {Kind: fieldwork.PartKind(fieldwork.FittingTee), Cents: 95}},
	})
	if err != nil {
		t.Fatal(err)
	}
	expected := fieldwork.Expect(hydraulics.Supply{Static: 31, Coefficient: 31 / math.Pow(float64(unit.LitersPerMinute(30)), 2), Exponent: 2, MaxFlow: math.Inf(1)}, &result, 7)
	d := LayoutDocument{
		Link: link, Drawing: DrawingOf(l, &result), TimeZone: sample.Zone(), Sheet: sheet, Expected: &expected, Warnings: result.Warnings,
		Cautions: render.Circumstances{DrinkingWaterTap: true, ValveAfterTap: true, Hose: true, PlasticPipe: true, CementedJoints: true, Drilling: true}.Cautions(),
	}
	d.Drawing.GardenName, d.Drawing.PlotName, d.Drawing.LayoutName = "Tanager Bend Garden", "Plot 4", "rows of corn and zucchini"
	d.Drawing.Revision, d.Drawing.Units, d.Drawing.Language = 2, units, "en"
	return d
}

// oddDocuments are layouts that are seldom so: laterals to both sides of a manifold that is fed where two leave, bought
// outlets on pipe without a trade size, no manifold at all, holes in the sockets, names that are too long.
func oddDocuments(t *testing.T) []LayoutDocument {
	t.Helper()
	lateral := func(p ...hydraulics.Piece) *hydraulics.Lateral { return &hydraulics.Lateral{Pieces: p} }
	rated := &hydraulics.HolePattern{
		Spacing: 0.3, FirstOffset: 0.15, HolesPerSet: 1, Sides: 1, Facing: hydraulics.FacingUp,
		Rated: &hydraulics.RatedOutlet{Flow: unit.LitersPerHour(2), Head: 10, Exponent: 0.5},
	}
	plain := hydraulics.Pipe{InsideDiameter: unit.Millimeters(13.6)}
	tq := hydraulics.Pipe{Size: "3/4", Wall: "schedule 40"}
	labelled := piece(7.5, holes(4, 0.5, 2, 2))
	labelled.Label = "onions, carrots and everything else that is small"
	layouts := []hydraulics.Layout{
		{Manifold: hydraulics.Manifold{Pipe: tq, Length: 4, FeedAt: 2, Outlets: []hydraulics.Outlet{
			{At: 0, Lateral: lateral(piece(10, holes(6, 3, 1, 1)), labelled)},
			{At: 0, Lateral: lateral(piece(8, holes(30, 15, 3, 1)))},
			{At: 2, Lateral: lateral(piece(10, holes(6, 3, 1, 1)))},
			{At: 2, Lateral: lateral(piece(8, holes(30, 15, 3, 1)))},
			{At: 2.02, Plugged: true},
			{At: 4, Plugged: true},
		}}},
		{Manifold: hydraulics.Manifold{Pipe: tq, Outlets: []hydraulics.Outlet{{Lateral: lateral(piece(33, holes(6, 1, 1, 1)))}}}},
		{Manifold: hydraulics.Manifold{Pipe: hydraulics.Pipe{InsideDiameter: unit.Millimeters(20.5)}, Length: 1, Outlets: []hydraulics.Outlet{
			{Lateral: lateral(hydraulics.Piece{Pipe: plain, Length: 6, Pattern: rated})}, {At: 1, Lateral: lateral(hydraulics.Piece{Pipe: plain, Length: 6, Pattern: rated})},
		}}},
	}
	request := fieldwork.Request{Ruler: fieldwork.RulerInches, Kerf: unit.Millimeters(3)}
	for i, label := range []string{"Plot 7", "Long row", strings.Repeat("a label that somebody typed into a telephone in the rain ", 2)} {
		request.Sites = append(request.Sites, fieldwork.Site{Label: label, Layout: layouts[i], Plantings: []fieldwork.Planting{
			{Name: "carrots", Spacing: unit.Inches(1.5), Sides: 2}, {Name: "whatever came up by itself"},
		}})
	}
	sheet, err := fieldwork.Plan(request)
	if err != nil {
		t.Fatal(err)
	}
	docs := make([]LayoutDocument, len(layouts))
	for i := range docs {
		docs[i] = LayoutDocument{Drawing: DrawingOf(layouts[i], nil), TimeZone: sample.Zone(), Sheet: sheet, Site: i, Link: link}
		d := &docs[i].Drawing
		d.GardenName, d.PlotName, d.Units, d.Revision = "Tanager Bend Garden", request.Sites[i].Label, render.US, i
	}
	return docs
}

// documents are all that is compared and looked at.
func documents(t *testing.T) map[string]*sheet {
	t.Helper()
	us := sample.Plan()
	us.Schedule.Units = render.US
	quiet := sample.Plan()
	quiet.Schedule.Shares, quiet.Schedule.Shorts, quiet.Schedule.ShareBound = nil, nil, nil
	quiet.Schedule.Turns, quiet.Cautions, quiet.Assumptions = nil, nil, nil
	out := map[string]*sheet{}
	keep := func(name string, s *sheet, err error) {
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		out[name] = s
	}
	layout := func(name string, units render.Units, laterals int, o Options) {
		s, err := layoutSheets([]LayoutDocument{document(t, units, laterals)}, o)
		keep(name, s, err)
	}
	layout("layout", render.Metric, 4, Options{Made: made})
	layout("layout-us", render.US, 4, Options{Made: made, Paper: Letter})
	layout("layout-large", render.US, 4, Options{Made: made, Paper: Letter, LargePrint: true})
	layout("layout-many", render.Metric, 40, Options{Made: made})
	odd := oddDocuments(t)
	s, err := layoutSheets(odd, Options{Made: made, Paper: Letter, FullSize: true})
	keep("layouts-odd", s, err)
	s, err = layoutSheets(odd, Options{Made: made, LargePrint: true})
	keep("layouts-odd-large", s, err)
	schedule := func(name string, r render.Report, o Options) {
		s, err := scheduleSheet(r, o)
		keep(name, s, err)
	}
	schedule("schedule", sample.Plan(), Options{Made: made, Link: "https://garden.example/turns"})
	schedule("schedule-us", us, Options{Made: made, Link: "https://garden.example/turns", Paper: Letter})
	schedule("schedule-large", sample.Plan(), Options{Made: made, LargePrint: true, Link: "https://garden.example/turns"})
	schedule("schedule-quiet", quiet, Options{})
	return out
}

func TestDocuments_golden(t *testing.T) {
	for name, s := range documents(t) {
		if name == "layout" || name == "layout-us" || name == "schedule" || name == "schedule-us" || name == "layouts-odd" {
			golden.Check(t, name+".txt", []byte(s.record.String()))
		}
	}
}

// drawn is one command of a record.
type drawn struct {
	command                  string
	left, right, top, bottom float64
	face                     weight
	text                     string
}

// pagesOf reads a record back, page by page.
func pagesOf(t *testing.T, s *sheet) [][]drawn {
	t.Helper()
	var pages [][]drawn
	lines := strings.Split(s.record.String(), "\n")
	for i, l := range lines {
		var a, b, c, d float64
		add := func(x drawn) { pages[len(pages)-1] = append(pages[len(pages)-1], x) }
		switch name, _, _ := strings.Cut(l, " "); {
		case l == "page":
			pages = append(pages, nil)
		case scan(l, "text %f %f %f", &a, &b, &c):
			face, text, _ := strings.Cut(strings.TrimPrefix(lines[i+1], "  "), "|")
			s.pdf.SetFont("text", face, c)
			const ascent, descent = 0.68, 0.15
			add(drawn{"text", a, a + s.pdf.GetStringWidth(text), b - ascent*c, b + descent*c, weight(face), text})
		case name == "line" && scan(l, "line %f %f %f %f", &a, &b, &c, &d):
			add(drawn{command: name, left: min(a, c), right: max(a, c), top: min(b, d), bottom: max(b, d)})
		case name == "frame" && scan(l, "frame %f %f %f %f", &a, &b, &c, &d):
			add(drawn{command: name, left: a, right: a + c, top: b, bottom: b + d})
		case name == "circle" && (scan(l, "circle F %f %f %f", &a, &b, &c) || scan(l, "circle D %f %f %f", &a, &b, &c)):
			add(drawn{command: name, left: a - c, right: a + c, top: b - c, bottom: b + c})
		}
	}
	return pages
}

func scan(line, format string, into ...any) bool {
	n, err := fmt.Sscanf(line, format, into...)
	return err == nil && n == len(into)
}

// matrix are documents in all units, papers, sizes of print and of strips, with layouts and names of every kind.
func matrix(t *testing.T, visit func(name string, s *sheet)) {
	t.Helper()
	for _, units := range []render.Units{render.Metric, render.US} {
		for _, paper := range []Paper{A4, Letter} {
			for _, o := range []Options{{}, {LargePrint: true}, {FullSize: true}, {LargePrint: true, FullSize: true}} {
				o.Paper, o.Made, o.Link = paper, made, link
				name := fmt.Sprintf("%s, %s, large %v, full size %v", units, paper, o.LargePrint, o.FullSize)
				odd := append(oddDocuments(t), strangeDocuments(t, units)...)
				for i := range odd {
					odd[i].Drawing.Units = units
					s, err := layoutSheets(odd[i:i+1], o)
					if err != nil {
						t.Fatalf("%s, odd layout %d: %v", name, i, err)
					}
					visit(fmt.Sprintf("%s, odd layout %d", name, i), s)
				}
				if o.FullSize {
					continue
				}
				s, err := scheduleSheet(crowdedPlan(units), o)
				if err != nil {
					t.Fatalf("%s, schedule: %v", name, err)
				}
				visit(name+", schedule", s)
			}
		}
	}
	for name, s := range documents(t) {
		visit(name, s)
	}
}

// strangeDocuments are a lateral of sixty holes, one piece with one hole, holes an inch apart, a manifold of sixty outlets of which
// every fourth is closed, and names in scripts that the fonts lack.
func strangeDocuments(t *testing.T, units render.Units) []LayoutDocument {
	t.Helper()
	ruler := fieldwork.RulerMillimeters
	if units == render.US {
		ruler = fieldwork.RulerInches
	}
	single := func(p ...hydraulics.Piece) hydraulics.Layout {
		return hydraulics.Layout{Manifold: hydraulics.Manifold{
			Pipe: hydraulics.Pipe{Size: "3/4", Wall: "schedule 40"}, Length: 0.5, Outlets: []hydraulics.Outlet{{At: 0.25, Lateral: &hydraulics.Lateral{Pieces: p}}},
		}}
	}
	layouts := []hydraulics.Layout{
		single(piece(10, holes(6, 3, 1, 1)), piece(10, holes(6, 3, 1, 1)), piece(10, holes(6, 3, 1, 1))),
		single(piece(2, holes(30, 12, 1, 1))),
		single(piece(10, holes(1, 0.5, 2, 2)), piece(0.5, nil)),
		rows(60),
	}
	for i := range layouts[3].Manifold.Outlets {
		if l := layouts[3].Manifold.Outlets[i].Lateral; l != nil {
			l.Pieces = l.Pieces[:1+i%len(l.Pieces)]
			l.Plugged = nil
		}
	}
	labels := []string{"sixty holes", "one hole", "番茄 حوض 🌱 Łódź é", strings.Repeat("many outlets ", 4)}
	request := fieldwork.Request{Ruler: ruler, Kerf: unit.Millimeters(3)}
	for i, l := range layouts {
		request.Sites = append(request.Sites, fieldwork.Site{Label: labels[i], Owners: []string{labels[i]}, Layout: l})
	}
	sheet, err := fieldwork.Plan(request)
	if err != nil {
		t.Fatal(err)
	}
	docs := make([]LayoutDocument, len(layouts))
	for i := range docs {
		docs[i] = LayoutDocument{Drawing: DrawingOf(layouts[i], nil), TimeZone: sample.Zone(), Sheet: sheet, Site: i}
		d := &docs[i].Drawing
		d.GardenName, d.PlotName, d.LayoutName, d.Units, d.Revision = "Сад · 夜莺园 🌱 · "+strings.Repeat("a long name ", 9), labels[i], labels[i], units, 3
	}
	return docs
}

// crowdedPlan is a week of 26 plots in many hands, most of them short.
func crowdedPlan(units render.Units) render.Report {
	r := sample.Plan()
	v := &r.Schedule
	v.Units, v.GardenName = units, strings.Repeat("Garden of the very long name ", 4)
	v.Shares = nil
	for i := range 26 {
		v.Shares = append(v.Shares, render.Share{
			PlotName: fmt.Sprintf("Plot %d", i+1), LayoutName: strings.Repeat("rows of beans ", 1+i%4), NeedLiters: 900, DeliveredLiters: 30 * float64(i), Fraction: float64(i) / 26,
			Reason: strings.Repeat("The morning hours of the tap are full. ", 1+i%3),
		})
	}
	for i := range v.Turns {
		turn := &v.Turns[i]
		for k := len(turn.Members); k < 1+i%9; k++ {
			turn.Members = append(turn.Members, render.Member{PlotName: fmt.Sprintf("Plot %d", k), LayoutName: "番茄 夜莺园", Liters: 123.4, Share: 0.5})
		}
		if i%5 == 0 {
			turn.ZoneName = strings.Repeat("Group of the upper meadow ", 3)
		}
		if i%7 == 0 {
			turn.SourceName = "The tap behind the greenhouse with the broken pane"
		}
	}
	return r
}

// Documents of every kind are whole: see the checks.
func TestDocuments_everyPageIsWhole(t *testing.T) {
	matrix(t, func(name string, s *sheet) {
		pages := pagesOf(t, s)
		for n, page := range pages {
			at := fmt.Sprintf("%s, page %d of %d", name, n+1, len(pages))
			checkInside(t, at, s, page)
			checkOverlaps(t, at, page)
			checkFooter(t, at, s, page, fmt.Sprintf("Page %d of %d", n+1, len(pages)))
			if last := lowest(s, page); last.face == bold && n+1 < len(pages) {
				t.Errorf("%s: ends with the heading %q", at, last.text)
			}
		}
	})
}

// checkInside keeps everything that is drawn inside the margins.
func checkInside(t *testing.T, at string, s *sheet, page []drawn) {
	t.Helper()
	for _, x := range page {
		if x.left < 20 || x.right > s.width-20 || x.top < 10 || x.bottom > s.height-20 {
			t.Errorf("%s: %s %q from %.0f, %.0f to %.0f, %.0f on a page of %.0f by %.0f", at, x.command, x.text, x.left, x.top, x.right, x.bottom, s.width, s.height)
		}
	}
}

// checkOverlaps keeps texts off one another, off boxes and holes, and off lines.
func checkOverlaps(t *testing.T, at string, page []drawn) {
	t.Helper()
	const touch = 0.3
	over := func(a, b drawn) bool {
		flat := touch // a line has no height that it could share
		if b.command == "line" {
			flat = -touch
		}
		return a.left < b.right-flat && b.left < a.right-touch && a.top < b.bottom-flat && b.top < a.bottom-touch
	}
	for i, a := range page {
		for k, b := range page {
			if a.command == "text" && (b.command != "text" || k < i) && over(a, b) {
				t.Errorf("%s: %q lies over the %s %q at %.0f, %.0f", at, a.text, b.command, b.text, b.left, b.top)
			}
		}
	}
}

// checkFooter wants the garden and the number of the page on every page.
func checkFooter(t *testing.T, at string, s *sheet, page []drawn, number string) {
	t.Helper()
	garden := s.printable(s.footer.garden)
	numbered, named := false, false
	for _, x := range page {
		if x.command == "text" && x.top > s.bottom() {
			numbered, named = numbered || x.text == number, named || strings.HasPrefix(x.text, garden[:min(len(garden), 10)])
		}
	}
	if !numbered || !named {
		t.Errorf("%s: number %v, garden %v in the footer", at, numbered, named)
	}
}

// lowest is the last text above the footer.
func lowest(s *sheet, page []drawn) drawn {
	var last drawn
	for _, x := range page {
		if x.command == "text" && x.top <= s.bottom() && x.bottom > last.bottom {
			last = x
		}
	}
	return last
}

func TestSchedule_longNotesStayOnThePage(t *testing.T) {
	r := sample.Plan()
	for i := range r.Schedule.Turns {
		r.Schedule.Turns[i].Status, r.Schedule.Turns[i].Note = render.Cancelled, strings.Repeat("rain and more rain ", 400)
	}
	s, err := scheduleSheet(r, Options{Made: made, LargePrint: true})
	if err != nil {
		t.Fatal(err)
	}
	for _, page := range pagesOf(t, s) {
		for _, x := range page {
			if x.bottom > s.height-20 || x.right > s.width {
				t.Fatalf("%+v on a page of %v by %v", x, s.width, s.height)
			}
		}
	}
}

// A warning about many outlets is printed once.
func TestLayouts_saysOnceWhatHoldsForSeveralOutlets(t *testing.T) {
	d := document(t, render.Metric, 4)
	d.Warnings = nil
	for i := range 3 {
		path := fmt.Sprintf("manifold.outlets[%d].lateral", i)
		d.Warnings = append(d.Warnings, hydraulics.Warning{Code: hydraulics.WarnLowHead, Path: path, Value: 0.01, Limit: 0.03, Count: 9})
	}
	s, err := layoutSheets([]LayoutDocument{d}, Options{Made: made})
	if err != nil {
		t.Fatal(err)
	}
	var said []string
	for l := range strings.SplitSeq(s.record.String(), "\n") {
		if _, text, written := strings.Cut(l, "|"); written {
			said = append(said, text)
		}
	}
	all := strings.Join(said, " ")
	if n := strings.Count(all, "drips or stops"); n != 1 || !strings.Contains(all, "Much the same at outlet 2 and 3.") {
		t.Errorf("said %d times, or not at which outlets:\n%s", n, all)
	}
}

func TestDocuments_areRepeatable(t *testing.T) {
	var runs [2]bytes.Buffer
	for i := range runs {
		if err := Layouts(&runs[i], []LayoutDocument{document(t, render.US, 4)}, Options{Made: made}); err != nil {
			t.Fatal(err)
		}
		if err := Schedule(&runs[i], sample.Plan(), Options{Made: made, LargePrint: true}); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(runs[0].Bytes(), runs[1].Bytes()) || !bytes.HasPrefix(runs[0].Bytes(), []byte("%PDF-")) {
		t.Error("the same view gives different bytes")
	}
}

func TestSchedule_refusesABrokenSchedule(t *testing.T) {
	r := sample.Plan()
	r.Schedule.TimeZone = nil
	if err := Schedule(&bytes.Buffer{}, r, Options{}); err == nil || !strings.Contains(err.Error(), "time zone") {
		t.Errorf("got %v", err)
	}
}

func TestDocuments_awkwardTexts(t *testing.T) {
	d := document(t, render.Metric, 2)
	d.Drawing.GardenName = strings.Repeat("Garden of the very long name ", 12)
	d.Drawing.PlotName = strings.Repeat("unbrokenplotname", 20)
	d.Drawing.LayoutName = "a\nb\x00c\u202e"
	d.Sheet.Sites[0].Label = "Łódź ½ m³"
	s, err := layoutSheets([]LayoutDocument{d}, Options{Made: made})
	if err != nil {
		t.Fatal(err)
	}
	for _, page := range pagesOf(t, s) {
		for _, x := range page {
			if x.left < 0 || x.right > s.width {
				t.Errorf("%+v", x)
			}
		}
	}
	if strings.ContainsAny(s.record.String(), "\x00\u202e") {
		t.Error("control characters are printed")
	}
}

// Letters that the fonts lack are boxes and the document says so; accents that stand apart are composed.
func TestDocuments_namesInEveryScript(t *testing.T) {
	docs := strangeDocuments(t, render.US)
	r := sample.Plan()
	r.Schedule.GardenName, r.Schedule.Turns[0].ZoneName = "夜莺园 🌱 \U0010FFFF \uFFFD", "e\u0301 \u200d\ufe0f Ж"
	var b bytes.Buffer
	if err := Layouts(&b, docs, Options{Made: made}); err != nil {
		t.Fatal(err)
	}
	if err := Schedule(&b, r, Options{Made: made}); err != nil {
		t.Fatal(err)
	}
	s, err := scheduleSheet(r, Options{Made: made})
	if err != nil {
		t.Fatal(err)
	}
	said := s.record.String()
	if !strings.Contains(said, "□□□ □ □") || !strings.Contains(said, "é Ж") || !strings.Contains(said, "□ stands for letters") || strings.ContainsAny(said, "夜🌱\u0301\u200d\ufe0f") {
		t.Error(said)
	}
	if s, err = scheduleSheet(sample.Plan(), Options{Made: made}); err != nil || strings.Contains(s.record.String(), "□") {
		t.Errorf("a document with letters of the fonts has boxes: %v", err)
	}
}

// brokenWriter is a full disk.
type brokenWriter struct{}

func (brokenWriter) Write([]byte) (int, error) { return 0, os.ErrClosed }

func TestDocuments_reportAFullDisk(t *testing.T) {
	if err := Layouts(brokenWriter{}, []LayoutDocument{document(t, render.Metric, 2)}, Options{Made: made}); err == nil {
		t.Error("a layout on a full disk is no error")
	}
	if err := Schedule(brokenWriter{}, sample.Plan(), Options{}); err == nil {
		t.Error("a schedule on a full disk is no error")
	}
}
