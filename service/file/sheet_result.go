package file

import (
	"fmt"

	"rillturn.example/rillturn/engine/fieldwork"
	"rillturn.example/rillturn/engine/hydraulics"
)

// SheetResult is the answer to a sheet file.
type SheetResult struct {
	MarkStep string              `json:"mark_step"` // what a mark counts: "1/16 in" or "1 mm"
	Layouts  []SheetLayoutResult `json:"layouts"`
	Cuts     []SheetCutResult    `json:"cuts"`
	Parts    []SheetPart         `json:"parts"` // of all layouts, with pipe and spares
	Cents    int64               `json:"cents"` // of the parts that have a price
	Unpriced int                 `json:"unpriced"`
	Reserved []SheetReservation  `json:"reserved,omitempty"`
	Unused   []string            `json:"unused_stored_pipes,omitempty"`
}

// SheetPart is one line of a parts list.
type SheetPart struct {
	Kind       string  `json:"kind"`
	Size       string  `json:"size,omitempty"`
	Wall       string  `json:"wall,omitempty"`
	Branch     string  `json:"branch,omitempty"`
	LengthM    float64 `json:"length_m,omitempty"`
	Count      int     `json:"count"`
	Spare      int     `json:"spare,omitempty"`
	Cemented   int     `json:"cemented_joints,omitempty"`
	Pressed    int     `json:"pressed_joints,omitempty"`
	PriceCents *int64  `json:"price_cents,omitempty"`
}

// SheetLayoutResult is the fieldwork of one layout.
type SheetLayoutResult struct {
	ID        string            `json:"id"`
	Pipes     []SheetPipe       `json:"pipes"`
	Parts     []SheetPart       `json:"parts"` // without pipe
	Drills    []SheetDrill      `json:"drill_sheets"`
	Plantings []SheetPlantMarks `json:"plantings,omitempty"`
	SetUp     []SheetTask       `json:"set_up"`
	Spring    []SheetTask       `json:"spring"`
	TakeDown  []SheetTask       `json:"take_down"`
	Storage   []SheetBundle     `json:"storage"`
	Expected  *SheetExpected    `json:"expected,omitempty"`
	Warnings  []FlowWarning     `json:"warnings,omitempty"`
}

// SheetPipe is one uncut length of pipe in its place.
type SheetPipe struct {
	Use     string     `json:"use"`
	Written string     `json:"written,omitempty"` // on a lateral's pipe, near the end that goes to the tee
	Pipe    LayoutPipe `json:"pipe"`
	LengthM float64    `json:"length_m"`
	Stored  string     `json:"stored_pipe,omitempty"`
}

// SheetDrill says how to drill all pipes of one kind of piece.
type SheetDrill struct {
	Name       string       `json:"name"`
	Pipe       LayoutPipe   `json:"pipe"`
	LengthM    float64      `json:"length_m"`
	Written    []string     `json:"written"` // on the pipes that are drilled so
	Sides      int          `json:"sides"`
	Facing     string       `json:"facing"`
	Lines      int          `json:"lines"` // drawn along the pipe
	HoleMM     float64      `json:"hole_mm,omitempty"`
	BitMM      float64      `json:"bit_mm,omitempty"`
	AreaChange float64      `json:"area_change,omitempty"`
	Rated      *LayoutRated `json:"rated,omitempty"`
	Marks      []SheetMark  `json:"marks"`
}

// SheetMark is one position from the end nearer the tee.
type SheetMark struct {
	AtM   float64 `json:"at_m"`
	Mark  int     `json:"mark"` // in steps of the ruler
	Holes int     `json:"holes"`
}

// SheetPlantMarks is where to put the plants of a planting.
type SheetPlantMarks struct {
	Name     string          `json:"name"`
	Count    int             `json:"count"`
	SpacingM float64         `json:"spacing_m"`
	Rows     []SheetPlantRow `json:"rows"`
	Warnings []FlowWarning   `json:"warnings,omitempty"`
}

// SheetPlantRow is the plants along one side of one lateral, from the tee.
type SheetPlantRow struct {
	Outlet  int       `json:"outlet"`
	Side    int       `json:"side"`
	MarksM  []float64 `json:"marks_m"`
	PlantsM []float64 `json:"plants_m"`
}

// SheetTask is one thing to do.
type SheetTask struct {
	Task  string `json:"task"`
	Count int    `json:"count"`
}

// SheetBundle is the pipes of one lateral, tied together for storage.
type SheetBundle struct {
	Outlet  int      `json:"outlet"`
	Written []string `json:"written"`
	Crops   []string `json:"crops,omitempty"`
}

// SheetExpected is what a layout shows that runs alone.
type SheetExpected struct {
	StaticHeadM     float64                `json:"static_head_m"`                 // at the source with everything closed
	OpenFlowLPerMin float64                `json:"open_flow_l_per_min,omitempty"` // of the source with nothing on it
	FlowLPerMin     float64                `json:"flow_l_per_min"`
	SourceHeadM     float64                `json:"source_head_m"`
	ManifoldHeadM   float64                `json:"manifold_head_m"`
	DU              float64                `json:"du"`
	Laterals        []SheetExpectedLateral `json:"laterals"`
}

// SheetExpectedLateral is what cups under one lateral show.
type SheetExpectedLateral struct {
	Outlet         int     `json:"outlet"`
	HeadM          float64 `json:"head_m"`
	FirstHoleLPerH float64 `json:"first_hole_l_per_h"`
	LastHoleLPerH  float64 `json:"last_hole_l_per_h"`
}

// SheetCutResult is the cut list of one kind of pipe, for all layouts together.
type SheetCutResult struct {
	Pipe LayoutPipe `json:"pipe"`
	// Objective is what is made least: the cost where every length that is sold has a price, else the length bought.
	Objective   string       `json:"objective"`
	BoughtM     float64      `json:"bought_m"`
	BoundM      *float64     `json:"bound_m,omitempty"`      // no cut list buys less
	BoughtCents *int64       `json:"bought_cents,omitempty"` // of the sticks to buy
	BoundCents  *int64       `json:"bound_cents,omitempty"`  // no cut list costs less
	Proven      bool         `json:"proven"`                 // the bound is reached
	Sticks      []SheetStick `json:"sticks"`
}

// SheetStick is one stick or off-cut with what is cut from it.
type SheetStick struct {
	OffCut  string     `json:"off_cut,omitempty"`
	Rest    bool       `json:"rest,omitempty"` // it is cut off the stored pipe of that id, which becomes a lateral
	LengthM float64    `json:"length_m"`
	Cuts    []SheetCut `json:"cuts"`
	KerfM   float64    `json:"kerf_m"`
	LeftM   float64    `json:"left_m"`
}

// SheetCut is one piece; pipe counts in the layout's pipes.
type SheetCut struct {
	Layout  string  `json:"layout"`
	Pipe    int     `json:"pipe"`
	LengthM float64 `json:"length_m"`
}

// SheetReservation is a stored pipe set aside; pipe counts in the layout's pipes.
type SheetReservation struct {
	Stored   string  `json:"stored_pipe"`
	Layout   string  `json:"layout"`
	Pipe     int     `json:"pipe"`
	Reversed bool    `json:"reversed,omitempty"`
	NewHoles int     `json:"new_holes"`
	Close    int     `json:"holes_to_close"`
	CutTeeM  float64 `json:"cut_off_tee_m,omitempty"` // off the end that goes to the tee
	CutOffM  float64 `json:"cut_off_m,omitempty"`     // off the closed end
	AsItIs   bool    `json:"as_it_is,omitempty"`
	Notes    string  `json:"notes,omitempty"` // of the stored pipe
}

// RunSheet answers a sheet file. Its errors are Faults.
func RunSheet(s Sheet) (SheetResult, error) {
	w, err := WorkSheet(s)
	if err != nil {
		return SheetResult{}, err
	}
	return w.Result(), nil
}

// Result is the answer of a sheet that is worked out.
func (w SheetWork) Result() SheetResult {
	s, sheet := w.Asked, &w.Sheet
	result := SheetResult{MarkStep: "1 mm", Parts: partsResult(sheet.Parts), Cuts: []SheetCutResult{}, Unused: sheet.Unused}
	if sheet.Ruler == fieldwork.RulerInches {
		result.MarkStep = "1/16 in"
	}
	for i := range sheet.Sites {
		result.Layouts = append(result.Layouts, s.layoutResult(i, &sheet.Sites[i], w.Tests[i].Expected))
	}
	for i := range sheet.Cuts {
		result.Cuts = append(result.Cuts, s.cutResult(sheet, &sheet.Cuts[i]))
	}
	for _, r := range sheet.Saved {
		result.Reserved = append(result.Reserved, SheetReservation{
			Stored: r.Stored, Layout: s.Layouts[r.Site].ID, Pipe: r.Pipe, Reversed: r.Reversed, NewHoles: r.NewHoles,
			Close: r.PluggedOff, CutTeeM: float64(r.CutOffTee), CutOffM: float64(r.CutOff), AsItIs: r.AsItIs, Notes: r.Notes,
		})
	}
	cost := fieldwork.Cost(sheet.Parts)
	result.Cents, result.Unpriced = cost.Cents, cost.Unpriced
	return result
}

func partsResult(parts []fieldwork.Part) []SheetPart {
	out := make([]SheetPart, len(parts))
	for i, p := range parts {
		out[i] = SheetPart{
			Kind: string(p.Kind), Size: p.Size, Wall: p.Wall, Branch: p.Branch, LengthM: float64(p.Length), Count: p.Count,
			Spare: p.Spare, Cemented: p.Cemented, Pressed: p.Pressed, PriceCents: p.PriceCents,
		}
	}
	return out
}

func (s Sheet) layoutResult(i int, sheet *fieldwork.SiteSheet, expected *fieldwork.Expected) SheetLayoutResult {
	written := make([]string, len(sheet.Assembly.Pipes))
	r := SheetLayoutResult{
		ID: s.Layouts[i].ID, Expected: expectedResult(expected), Parts: partsResult(sheet.Parts), Drills: []SheetDrill{}, SetUp: tasksResult(sheet.Tasks.SetUp),
		Spring: tasksResult(sheet.Tasks.Spring), TakeDown: tasksResult(sheet.Tasks.TakeDown),
		Warnings: warningsResult(sheet.Warnings, fmt.Sprintf("/layouts/%d/layout", i)), Storage: []SheetBundle{},
	}
	for k := range sheet.Assembly.Pipes {
		p := &sheet.Assembly.Pipes[k]
		if p.Use == fieldwork.UseLateral {
			written[k] = fieldwork.WrittenOn(sheet.Label, p, sheet.Drills)
		}
		r.Pipes = append(r.Pipes, SheetPipe{
			Use: string(p.Use), Written: written[k], Pipe: pipeOf(p.Pipe), LengthM: float64(p.Length), Stored: p.Saved,
		})
	}
	pick := func(pipes []int) []string {
		var texts []string
		for _, k := range pipes {
			texts = append(texts, written[k])
		}
		return texts
	}
	for k := range sheet.Drills {
		d := drillResult(&sheet.Drills[k])
		d.Written = pick(sheet.Drills[k].Pipes)
		r.Drills = append(r.Drills, d)
	}
	for k := range sheet.Plantings {
		r.Plantings = append(r.Plantings, plantingResult(&sheet.Plantings[k], fmt.Sprintf("/layouts/%d", i)))
	}
	for _, b := range sheet.Tasks.Storage {
		r.Storage = append(r.Storage, SheetBundle{Outlet: b.Outlet, Written: pick(b.Pipes), Crops: b.Crops})
	}
	return r
}

func expectedResult(e *fieldwork.Expected) *SheetExpected {
	if e == nil {
		return nil
	}
	r := SheetExpected{
		StaticHeadM: float64(e.StaticHead), OpenFlowLPerMin: e.OpenFlow.LitersPerMinute(), FlowLPerMin: e.Flow.LitersPerMinute(), SourceHeadM: float64(e.SourceHead), ManifoldHeadM: float64(e.ManifoldHead), DU: e.Evenness,
		Laterals: []SheetExpectedLateral{},
	}
	for _, l := range e.Laterals {
		r.Laterals = append(r.Laterals, SheetExpectedLateral{
			Outlet: l.Outlet, HeadM: float64(l.Head), FirstHoleLPerH: l.First.LitersPerHour(), LastHoleLPerH: l.Last.LitersPerHour(),
		})
	}
	return &r
}

func drillResult(d *fieldwork.DrillSheet) SheetDrill {
	r := SheetDrill{
		Name: d.Name, Pipe: pipeOf(d.Pipe), LengthM: float64(d.Length), Sides: d.Pattern.Sides, Facing: string(d.Pattern.Facing), Lines: d.Lines,
		HoleMM: d.Pattern.HoleDiameter.Millimeters(), BitMM: d.Bit.Size.Millimeters(), AreaChange: d.Bit.AreaChange,
		Rated: patternOf(&d.Pattern).Rated,
	}
	for _, m := range d.Marks {
		r.Marks = append(r.Marks, SheetMark{AtM: float64(m.At), Mark: m.Steps, Holes: m.Holes})
	}
	return r
}

func plantingResult(m *fieldwork.PlantingMarks, at string) SheetPlantMarks {
	r := SheetPlantMarks{
		Name: m.Planting.Name, Count: m.Count, SpacingM: float64(m.Spacing), Rows: []SheetPlantRow{}, Warnings: warningsResult(m.Warnings, at),
	}
	for _, row := range m.Rows {
		out := SheetPlantRow{Outlet: row.Outlet, Side: row.Side}
		for _, k := range row.Marks {
			out.MarksM = append(out.MarksM, float64(k.At))
			for _, p := range k.Plants {
				out.PlantsM = append(out.PlantsM, float64(p))
			}
		}
		r.Rows = append(r.Rows, out)
	}
	return r
}

func tasksResult(tasks []fieldwork.Task) []SheetTask {
	out := make([]SheetTask, len(tasks))
	for i, t := range tasks {
		out[i] = SheetTask{Task: string(t.Code), Count: t.Count}
	}
	return out
}

func warningsResult(warnings []fieldwork.Warning, at string) []FlowWarning {
	var out []FlowWarning
	for _, w := range warnings {
		pointer := at + (hydraulics.Fault{Path: w.Path}).JSONPointer()
		out = append(out, FlowWarning{Code: string(w.Code), Pointer: pointer, Value: w.Value, Limit: w.Limit, Count: w.Count})
	}
	return out
}

func (s Sheet) cutResult(sheet *fieldwork.Sheet, c *fieldwork.PipeCuts) SheetCutResult {
	r := SheetCutResult{Pipe: pipeOf(c.Pipe), Objective: "length", BoughtM: float64(c.List.Bought), Proven: c.List.Proven()}
	if c.List.Priced {
		r.Objective, r.BoughtCents, r.BoundCents = "cost", &c.List.Cents, &c.List.CentsBound
	} else {
		bound := float64(c.List.Bound)
		r.BoundM = &bound
	}
	for _, k := range c.List.Sticks {
		stick := SheetStick{OffCut: k.OffCut, Rest: k.Rest, LengthM: float64(k.Length), KerfM: float64(k.Kerf), LeftM: float64(k.Left)}
		for _, p := range k.Pieces {
			place := c.Pieces[p]
			stick.Cuts = append(stick.Cuts, SheetCut{
				Layout: s.Layouts[place.Site].ID, Pipe: place.Pipe,
				LengthM: float64(sheet.Sites[place.Site].Assembly.Pipes[place.Pipe].Length),
			})
		}
		r.Sticks = append(r.Sticks, stick)
	}
	return r
}
