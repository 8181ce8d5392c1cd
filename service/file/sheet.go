package file

import (
	"errors"
	"io"
	"strings"

	"rillturn.example/rillturn/engine/fieldwork"
	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/unit"
)

// Sheet is the sheet file of `rillturn sheet`: layouts to build together, what grows along them, and what pipe there is
// and can be bought.
type Sheet struct {
	Units       string        `json:"units,omitempty"` // metric or us: the ruler for marks and the set of bits; left out: metric
	Layouts     []SheetLayout `json:"layouts" file:"required"`
	Stock       []SheetStock  `json:"stock,omitempty"`       // pipes that are not named come in sticks of 3.048 m
	KerfMM      *float64      `json:"kerf_mm,omitempty"`     // what a saw cut takes; left out: 3
	StubM       float64       `json:"stub_m,omitempty"`      // length of stubs and nipples; left out: 100 mm, or 4 in
	TakeOutMM   float64       `json:"take_out_mm,omitempty"` // from the middle of a manifold fitting to where its pipe ends
	OffCuts     []SheetOffCut `json:"off_cuts,omitempty"`
	StoredPipes []SheetStored `json:"stored_pipes,omitempty"`
	Prices      []SheetPrice  `json:"prices,omitempty"`
	Source      *FlowSource   `json:"source,omitempty"` // of layouts that name none; for what a test should show, left out: no readings
	Options     FlowOptions   `json:"options,omitzero"`
}

// SheetLayout is one layout to build.
type SheetLayout struct {
	ID        string          `json:"id" file:"required"`
	Label     string          `json:"label,omitempty"`  // written on its pipes; left out: the id
	Owners    []string        `json:"owners,omitempty"` // whose stored pipes may be used beside the garden's
	Layout    Layout          `json:"layout" file:"required"`
	Source    *FlowSource     `json:"source,omitempty"` // where the layout is joined; left out: that of the file
	Plantings []SheetPlanting `json:"plantings,omitempty"`
}

// SheetPlanting is what grows along some laterals.
type SheetPlanting struct {
	Name     string  `json:"name" file:"required"`
	Crop     string  `json:"crop,omitempty"`    // code of the library, for its usual spacing
	Outlets  []int   `json:"outlets,omitempty"` // from 0; left out: all
	FromM    float64 `json:"from_m,omitempty"`
	ToM      float64 `json:"to_m,omitempty"`      // left out: to the far end
	SpacingM float64 `json:"spacing_m,omitempty"` // between plants; left out: the usual one of the crop, or every wet mark
	Sides    int     `json:"sides,omitempty"`     // rows along each pipe, 1 or 2; left out: 1
}

// SheetStock is a pipe in the lengths in which it is sold.
type SheetStock struct {
	Pipe     LayoutPipe `json:"pipe" file:"required"`
	LengthsM []float64  `json:"lengths_m" file:"required"`
}

// SheetOffCut is a plain end of pipe that is still there.
type SheetOffCut struct {
	ID      string     `json:"id" file:"required"`
	Pipe    LayoutPipe `json:"pipe" file:"required"`
	LengthM float64    `json:"length_m" file:"required"`
}

// SheetStored is a pipe kept from an earlier year.
type SheetStored struct {
	ID          string       `json:"id" file:"required"`     // as it is written on the pipe
	Owner       string       `json:"owner,omitempty"`        // left out: the garden's
	ReservedFor string       `json:"reserved_for,omitempty"` // id of the one layout that may take it
	Piece       LayoutPiece  `json:"piece" file:"required"`
	Plugged     []StoredPlug `json:"plugged,omitempty"`
	Notes       string       `json:"notes,omitempty"`
	Unfit       bool         `json:"unfit,omitempty"`
}

// StoredPlug is a hole set of a stored pipe with holes that no longer open; sets count from 0 from the end nearer the tee.
type StoredPlug struct {
	Set   int `json:"set" file:"required"`
	Holes int `json:"holes" file:"required"`
}

// SheetPrice is what one part costs; fields left out match anything.
type SheetPrice struct {
	Kind    string  `json:"kind" file:"required"`
	Size    string  `json:"size,omitempty"`
	Wall    string  `json:"wall,omitempty"`
	Branch  string  `json:"branch,omitempty"`
	LengthM float64 `json:"length_m,omitempty"`
	Cents   int64   `json:"cents" file:"required"`
}

// defaultKerfMM is what a handsaw or a mitre saw takes from plastic pipe; common practice, no source.
const defaultKerfMM = 3

// ReadSheet reads a sheet file and validates it. Its errors are Faults.
func ReadSheet(r io.Reader) (Sheet, error) {
	var s Sheet
	if err := Decode(r, &s); err != nil {
		return s, err
	}
	return s, s.Validate()
}

// Validate returns nil or Faults with everything wrong in the file.
func (s Sheet) Validate() error {
	faults := faultsOf(s.Options.Engine().Validate(), "/options")
	if s.Units != "" && s.Units != "metric" && s.Units != "us" {
		faults.Add("/units", "is %q, must be metric or us", s.Units)
	}
	ids := map[string]bool{}
	for i, l := range s.Layouts {
		at := Point("layouts", i)
		if l.ID == "" || ids[l.ID] {
			faults.Add(at+"/id", "must be a text that no other layout has")
		}
		ids[l.ID] = true
		faults = append(faults, faultsOf(l.Layout.Engine().Validate(), at+"/layout")...)
		if l.Source != nil {
			faults = append(faults, sourceFaults(l.Source, at+"/source")...)
		}
	}
	for i, k := range s.Stock {
		faults = append(faults, pieceFaults(LayoutPiece{Pipe: k.Pipe, LengthM: 1}, Point("stock", i))...)
	}
	for i, o := range s.OffCuts {
		faults = append(faults, pieceFaults(LayoutPiece{Pipe: o.Pipe, LengthM: o.LengthM}, Point("off_cuts", i))...)
	}
	for i, p := range s.StoredPipes {
		at := Point("stored_pipes", i)
		faults = append(faults, pieceFaults(p.Piece, at+"/piece")...)
		if p.ReservedFor != "" && !ids[p.ReservedFor] {
			faults.Add(at+"/reserved_for", "%q is not the id of a layout of this file", p.ReservedFor)
		}
	}
	for i, p := range s.Prices {
		if !fieldwork.PartKind(p.Kind).Known() {
			faults.Add(Point("prices", i, "kind"), "%q is no part: a parts list names what there is, such as pipe, tee or coupling", p.Kind)
		}
	}
	if s.Source != nil {
		faults = append(faults, sourceFaults(s.Source, "/source")...)
	}
	if len(faults) > 0 {
		return faults
	}
	request := s.Engine()
	return sheetFaults(request.Validate())
}

// sourceFaults returns what keeps a source from having a supply curve.
func sourceFaults(s *FlowSource, at string) Faults {
	_, _, err := s.Supply(at)
	var faults Faults
	if err != nil && !errors.As(err, &faults) {
		faults.Add(at, "gives no supply curve: %s", err)
	}
	return faults
}

// pieceFaults returns what is wrong with a piece that belongs to no layout.
func pieceFaults(p LayoutPiece, at string) Faults {
	l := Layout{Manifold: LayoutManifold{
		Pipe: LayoutPipe{Size: "3/4", Wall: "schedule 40"}, Outlets: []LayoutOutlet{{Lateral: &LayoutLateral{Pieces: []LayoutPiece{p}}}},
	}}
	var faults Faults
	for _, f := range faultsOf(l.Engine().Validate(), "") {
		if rest, own := strings.CutPrefix(f.Pointer, "/manifold/outlets/0/lateral/pieces/0"); own {
			faults = append(faults, Fault{Pointer: at + rest, Reason: f.Reason})
		}
	}
	return faults
}

// sheetFaults turns the engine's faults into faults of the file.
func sheetFaults(err error) error {
	var engine fieldwork.Faults
	if !errors.As(err, &engine) {
		return err
	}
	names := strings.NewReplacer("/sites", "/layouts", "/kerf_m", "/kerf_mm", "/take_out_m", "/take_out_mm")
	var faults Faults
	for _, f := range engine {
		pointer := names.Replace(f.JSONPointer())
		switch f.Code {
		case fieldwork.FaultNotFinite:
			faults.Add(pointer, "must be a finite number")
		case fieldwork.FaultOutOfRange:
			faults.Add(pointer, "is %.6g, must lie between %.6g and %.6g (lengths in m)", f.Got, f.Least, f.Most)
		case fieldwork.FaultTooLong:
			faults.Add(pointer, "is %.6g m, but the longest pipe there is has %.6g m", f.Got, f.Most)
		case fieldwork.FaultTooManyPieces:
			faults.Add(pointer, "have %.0f pieces of laterals, at most %.0f are allowed in one file", f.Got, f.Most)
		case fieldwork.FaultNoSuch:
			faults.Add(pointer, "names something that is not in this file")
		case fieldwork.FaultTwice:
			faults.Add(pointer, "stands here twice")
		case fieldwork.FaultMissing:
			faults.Add(pointer, "is required")
		}
	}
	return faults
}

// Engine returns the request in the engine's shape, with what was left out filled in.
func (s Sheet) Engine() fieldwork.Request {
	r := fieldwork.Request{
		Ruler: fieldwork.RulerMillimeters, Kerf: unit.Millimeters(or(s.KerfMM, defaultKerfMM)), Stub: unit.Length(s.StubM),
		TakeOut: unit.Millimeters(s.TakeOutMM),
	}
	if s.Units == "us" {
		r.Ruler = fieldwork.RulerInches
	}
	for _, l := range s.Layouts {
		r.Sites = append(r.Sites, l.engine())
	}
	for _, k := range s.Stock {
		stock := fieldwork.StockPipe{Pipe: k.Pipe.engine()}
		for _, l := range k.LengthsM {
			stock.Lengths = append(stock.Lengths, unit.Length(l))
		}
		r.Stock = append(r.Stock, stock)
	}
	for _, o := range s.OffCuts {
		r.OffCuts = append(r.OffCuts, fieldwork.StoredOffCut{ID: o.ID, Pipe: o.Pipe.engine(), Length: unit.Length(o.LengthM)})
	}
	for _, p := range s.StoredPipes {
		r.Stored = append(r.Stored, p.engine(s.Layouts))
	}
	for _, p := range s.Prices {
		r.Prices = append(r.Prices, fieldwork.Price{
			Kind: fieldwork.PartKind(p.Kind), Size: p.Size, Wall: p.Wall, Branch: p.Branch, Length: unit.Length(p.LengthM), Cents: p.Cents,
		})
	}
	return r
}

func (p SheetStored) engine(layouts []SheetLayout) fieldwork.StoredPipe {
	lateral := LayoutLateral{Pieces: []LayoutPiece{p.Piece}}
	e := fieldwork.StoredPipe{ID: p.ID, Owner: p.Owner, Piece: lateral.engine().Pieces[0], Notes: p.Notes, Unfit: p.Unfit}
	for i := range layouts {
		if p.ReservedFor != "" && layouts[i].ID == p.ReservedFor {
			e.Site = &i
		}
	}
	for _, g := range p.Plugged {
		e.Plugged = append(e.Plugged, hydraulics.PluggedHoles{Set: g.Set, Holes: g.Holes})
	}
	return e
}

func (l SheetLayout) engine() fieldwork.Site {
	site := fieldwork.Site{Label: l.Label, Owners: l.Owners, Layout: l.Layout.Engine()}
	if site.Label == "" {
		site.Label = l.ID
	}
	for _, p := range l.Plantings {
		site.Plantings = append(site.Plantings, fieldwork.Planting{
			Name: p.Name, Crop: p.Crop, Outlets: p.Outlets, From: unit.Length(p.FromM), To: unit.Length(p.ToM),
			Spacing: unit.Length(p.SpacingM), Sides: p.Sides,
		})
	}
	return site
}
