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

// commands reads a record back.
func commands(t *testing.T, s *sheet) [][]float64 {
	t.Helper()
	var out [][]float64
	for _, l := range strings.Split(s.record.String(), "\n") {
		var x, y, size float64
		if strings.HasPrefix(l, "page") {
			out = append(out, nil)
		}
		if n, err := fmt.Sscanf(l, "text %f %f %f", &x, &y, &size); n == 3 && err == nil {
			out = append(out, []float64{x, y, size})
		}
	}
	return out
}

func TestDocuments_stayOnTheirPages(t *testing.T) {
	for name, s := range documents(t) {
		lines := strings.Split(s.record.String(), "\n")
		texts := 0
		for i, l := range lines {
			var x, y, size float64
			if n, err := fmt.Sscanf(l, "text %f %f %f", &x, &y, &size); n != 3 || err != nil {
				continue
			}
			texts++
			face, text, _ := strings.Cut(strings.TrimPrefix(lines[i+1], "  "), "|")
			s.pdf.SetFont("text", face, size)
			if end := x + s.pdf.GetStringWidth(text); x < 20 || end > s.width-20 || y < 20 || y > s.height-20 {
				t.Errorf("%s: %q runs from %.0f to %.0f at %.0f of a page of %.0f by %.0f", name, text, x, end, y, s.width, s.height)
			}
		}
		if texts < 10 {
			t.Errorf("%s: only %d texts", name, texts)
		}
	}
}

// extent is where a text stands.
type extent struct {
	left, right, top, bottom float64
	text                     string
}

func TestDocuments_textsDoNotOverlap(t *testing.T) {
	for name, s := range documents(t) {
		lines := strings.Split(s.record.String(), "\n")
		var page []extent
		for i, l := range lines {
			if l == "page" {
				page = nil
			}
			var x, y, size float64
			if n, err := fmt.Sscanf(l, "text %f %f %f", &x, &y, &size); n != 3 || err != nil {
				continue
			}
			face, text, _ := strings.Cut(strings.TrimPrefix(lines[i+1], "  "), "|")
			s.pdf.SetFont("text", face, size)
			const ascent, descent = 0.68, 0.15
			e := extent{x, x + s.pdf.GetStringWidth(text), y - ascent*size, y + descent*size, text}
			for _, o := range page {
				if e.left < o.right-0.2 && o.left < e.right-0.2 && e.top < o.bottom && o.top < e.bottom {
					t.Errorf("%s: %q lies over %q", name, e.text, o.text)
				}
			}
			page = append(page, e)
		}
	}
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
	for _, c := range commands(t, s) {
		if c != nil && (c[1] > s.height-20 || c[0] > s.width) {
			t.Fatalf("text at %v of a page of %v by %v", c, s.width, s.height)
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
	for _, c := range commands(t, s) {
		if c != nil && (c[0] < 0 || c[0] > s.width) {
			t.Errorf("text at %v", c)
		}
	}
	if strings.ContainsAny(s.record.String(), "\x00\u202e") {
		t.Error("control characters are printed")
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
