package api

import (
	"io"
	"slices"
	"time"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/csv"
	"rillturn.example/rillturn/api/render/pdf"
	sentence "rillturn.example/rillturn/api/render/words"
	"rillturn.example/rillturn/service/file"
)

// SheetNames are what a sheet file does not say: whose layouts they are.
type SheetNames struct {
	Garden   string
	Language string
	TimeZone *time.Location
	Layouts  []SheetLayoutNames // in the order of the sheet
}

// SheetLayoutNames names one layout for its reader. Revision 0 is not printed.
type SheetLayoutNames struct {
	Plot, Layout string
	Revision     int
	Link         string // where the square code leads; without one there is no code
}

// NamesOfSheet names the layouts of a sheet by the garden file that it was made from.
func NamesOfSheet(g file.Garden, s file.Sheet) (SheetNames, error) {
	zone, err := time.LoadLocation(g.Garden.TimeZone)
	names := SheetNames{Garden: g.Garden.Name, Language: g.Garden.Language, TimeZone: zone}
	for _, of := range s.Layouts {
		var n SheetLayoutNames
		if i := slices.IndexFunc(g.Layouts, func(l file.LayoutOnPlot) bool { return l.ID == of.ID }); i >= 0 {
			n.Layout = g.Layouts[i].Name
			if k := slices.IndexFunc(g.Plots, func(p file.Plot) bool { return p.ID == g.Layouts[i].PlotID }); k >= 0 {
				n.Plot = g.Plots[k].Label
			}
		}
		names.Layouts = append(names.Layouts, n)
	}
	return names, err
}

// SheetDocuments are the documents of a sheet that is worked out, one for each layout.
func SheetDocuments(w file.SheetWork, names SheetNames) []pdf.LayoutDocument {
	units := render.Metric
	if w.Asked.Units == string(render.US) {
		units = render.US
	}
	docs := make([]pdf.LayoutDocument, len(w.Request.Sites))
	for i := range docs {
		n, test := names.Layouts[i], w.Tests[i]
		docs[i] = pdf.LayoutDocument{
			Drawing: pdf.DrawingOf(w.Request.Sites[i].Layout, test.Result), TimeZone: names.TimeZone, Sheet: w.Sheet, Site: i,
			Expected: test.Expected, Link: n.Link, Cautions: sheetCircumstances(w, i).Cautions(),
		}
		if test.Result != nil {
			docs[i].Warnings = test.Result.Warnings
		}
		d := &docs[i].Drawing
		d.GardenName, d.PlotName, d.LayoutName, d.Revision = names.Garden, n.Plot, n.Layout, n.Revision
		d.Units, d.Language = units, names.Language
	}
	return docs
}

// sheetCircumstances are what the cautions of a layout's document follow from. A source that is not known counts as a tap
// with drinking water: then too much is said, not too little.
func sheetCircumstances(w file.SheetWork, layout int) render.Circumstances {
	site, of := &w.Request.Sites[layout], &w.Sheet.Sites[layout]
	c := render.Circumstances{
		DrinkingWaterTap: true, ValveAfterTap: true, Hose: site.Layout.Feed.HoseLength > 0, PlasticPipe: true, Drilling: len(of.Drills) > 0,
	}
	if s := w.Asked.SourceOf(layout); s != nil {
		c.Hose = c.Hose || s.Hose != nil
		if s.Tank != nil {
			c.DrinkingWaterTap, c.StoredWater, c.RefilledFromTap, c.RoofWater = false, true, true, true // where its water is from is not known
		}
	}
	for _, j := range of.Assembly.Joints {
		c.CementedJoints = c.CementedJoints || j.Cemented
	}
	return c
}

// WriteSheetList writes a list of a sheet that is worked out as a table.
func WriteSheetList(out io.Writer, w file.SheetWork, names SheetNames, list csv.SheetList) error {
	t := csv.SheetTables{Sheet: &w.Sheet}
	for i, n := range names.Layouts {
		t.Layouts = append(t.Layouts, sentence.PlotLabel(n.Plot, n.Layout))
		t.Expected = append(t.Expected, w.Tests[i].Expected)
	}
	return csv.WriteSheet(out, sentence.New(names.Language, render.Units(w.Asked.Units), names.TimeZone), list, t)
}
