package file

import (
	"cmp"
	"slices"
	"strings"
)

// Sheet is the sheet file of layouts of the garden that are built together, in the order of the garden file. None named
// means all. What grows along them, and who holds their plots, is as on a day. A source whose tests give no supply curve
// is left out: its layouts have no readings to compare with.
func (g Garden) Sheet(day Day, layouts ...string) Sheet {
	shop := g.Workshop
	s := Sheet{
		Units: g.Garden.Units, Stock: shop.Stock, KerfMM: shop.KerfMM, StubM: shop.StubM, TakeOutMM: shop.TakeOutMM, Prices: shop.Prices,
	}
	onPlot := map[string]int{}
	for _, l := range g.Layouts {
		onPlot[l.PlotID]++
	}
	for _, l := range g.Layouts {
		if len(layouts) > 0 && !slices.Contains(layouts, l.ID) {
			continue
		}
		plot := g.plot(l.PlotID)
		out := SheetLayout{ID: l.ID, Label: plot.Label, Layout: l.Spec, Owners: holdersOn(plot, day), Source: g.sheetSource(l.WaterSourceID)}
		if onPlot[plot.ID] > 1 { // pipes of one plot must not be taken for each other
			out.Label += " " + l.Name
		}
		for _, p := range g.Plantings {
			if along, ok := p.sheet(l, g.Crops); ok && p.growsAlong(l, day) {
				out.Plantings = append(out.Plantings, along)
			}
		}
		s.Layouts = append(s.Layouts, out)
	}
	s.addStored(g.StoredPipes)
	return s
}

func (g Garden) plot(id string) Plot {
	if i := slices.IndexFunc(g.Plots, func(p Plot) bool { return p.ID == id }); i >= 0 {
		return g.Plots[i]
	}
	return Plot{}
}

// holdersOn lists the members who hold a plot on a day.
func holdersOn(p Plot, day Day) []string {
	var out []string
	for _, h := range p.Holders {
		if !h.HeldFrom.After(day.Time) && (h.HeldTo == nil || !h.HeldTo.Before(day.Time)) {
			out = append(out, h.MemberID)
		}
	}
	return out
}

func (g Garden) sheetSource(id string) *FlowSource {
	i := slices.IndexFunc(g.WaterSources, func(w WaterSource) bool { return w.ID == id })
	if i < 0 {
		return nil
	}
	source := g.FlowSource(g.WaterSources[i])
	if _, _, err := source.Supply(""); err != nil {
		return nil
	}
	return &source
}

// growsAlong says that a planting is watered by a layout and is not over on a day.
func (p Planting) growsAlong(l LayoutOnPlot, day Day) bool {
	if p.RemovedOn != nil && p.RemovedOn.Before(day.Time) {
		return false
	}
	if p.LayoutID != nil {
		return *p.LayoutID == l.ID
	}
	return p.PlotID == l.PlotID
}

// sheet is a planting along the laterals of a layout. Outlets that a later revision no longer has are left out; ok is false
// when none of them is left.
func (p Planting) sheet(l LayoutOnPlot, own []Crop) (out SheetPlanting, ok bool) {
	out = SheetPlanting{
		Name: strings.ReplaceAll(p.Crop, "_", " "), Crop: p.Crop, SpacingM: or(p.spacing(own), 0), FromM: or(p.FromM, 0), ToM: or(p.ToM, 0), Sides: 1,
	}
	if p.BothSides {
		out.Sides = 2
	}
	for _, o := range p.Outlets {
		if o < len(l.Spec.Manifold.Outlets) {
			out.Outlets = append(out.Outlets, o)
		}
	}
	return out, len(p.Outlets) == 0 || len(out.Outlets) > 0
}

// spacing is the distance between plants in a row: the planting's own, else that of its crop.
func (p Planting) spacing(own []Crop) *float64 {
	if p.PlantSpacingM != nil || p.CropConstants != nil {
		return cmp.Or(p.PlantSpacingM, or(p.CropConstants, Crop{}).PlantSpacingM)
	}
	if i := ownCrop(p.Crop, own); i >= 0 {
		return own[i].PlantSpacingM
	}
	return nil
}
