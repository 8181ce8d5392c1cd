package fieldwork

import (
	"fmt"
	"slices"

	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/unit"
)

// Request is everything that fieldwork is planned from: layouts that are built together share sticks, off-cuts and
// stored pipes.
type Request struct {
	Sites   []Site
	Ruler   Ruler
	Stock   []StockPipe // what can be bought; a pipe that is not named comes in sticks of 10 ft
	Kerf    unit.Length
	OffCuts []StoredOffCut
	Stored  []StoredPipe
	Prices  []Price
	Stub    unit.Length // length of stubs and nipples; 0: 4 in or 100 mm
	// TakeOut is how much shorter a manifold pipe is at each fitting than from centre to centre: measure the fittings.
	TakeOut unit.Length
}

// Site is one layout to build.
type Site struct {
	Label     string   // short; written on pipes
	Owners    []string // whose stored pipes may be used beside the garden's
	Layout    hydraulics.Layout
	Plantings []Planting
}

// StockPipe is a pipe in the lengths in which it is sold.
type StockPipe struct {
	Pipe    hydraulics.Pipe
	Lengths []unit.Length
}

// StoredOffCut is a plain end of pipe that is still there.
type StoredOffCut struct {
	ID     string
	Pipe   hydraulics.Pipe
	Length unit.Length
}

// Sheet is the fieldwork of a request.
type Sheet struct {
	Ruler  Ruler
	Sites  []SiteSheet
	Cuts   []PipeCuts
	Parts  []Part // of all layouts, with pipe and spares
	Saved  []Reservation
	Unused []string // stored pipes that no layout takes
}

// SiteSheet is the fieldwork of one layout.
type SiteSheet struct {
	Label     string
	Assembly  Assembly
	Parts     []Part // of this layout alone, with its own spares and without pipe, which is cut for all layouts together
	Drills    []DrillSheet
	Plantings []PlantingMarks
	Tasks     Tasks
	Warnings  []Warning
}

// PipeCuts is the cut list of one kind of pipe.
type PipeCuts struct {
	Pipe   hydraulics.Pipe
	Pieces []CutPlace // in the order of the cut list's pieces
	List   CutList
}

// CutPlace says for which pipe of which layout a piece is cut.
type CutPlace struct {
	Site, Pipe int
}

// defaultStick is the usual length of a stick of plastic pipe; common practice, no source.
var defaultStick = unit.Feet(10)

const (
	mostSites     = 500
	mostPieces    = 5000 // of all laterals together
	mostPlantings = 200
	mostStored    = 500
)

// stockFor returns the lengths in which a pipe is sold.
func (r *Request) stockFor(p hydraulics.Pipe) []unit.Length {
	for i := range r.Stock {
		if boughtAs(r.Stock[i].Pipe) == boughtAs(p) && len(r.Stock[i].Lengths) > 0 {
			return r.Stock[i].Lengths
		}
	}
	return []unit.Length{defaultStick}
}

// Validate returns nil or Faults with everything that is wrong. The layouts must be valid already.
func (r *Request) Validate() error {
	var f Faults
	f.count("sites", len(r.Sites), 1, mostSites)
	pieces := 0
	for i := range r.Sites {
		r.Sites[i].validate(&f, at("sites", i))
		pieces += pieceCount(&r.Sites[i].Layout)
	}
	if pieces > mostPieces {
		f.add(Fault{Path: "sites", Code: FaultTooManyPieces, Got: float64(pieces), Most: mostPieces})
	}
	if r.Ruler != RulerInches && r.Ruler != RulerMillimeters {
		f.add(Fault{Path: "ruler", Code: FaultNoSuch})
	}
	f.within("kerf_m", float64(r.Kerf), 0, mostKerf)
	if r.Stub != 0 {
		f.within("stub_m", float64(r.Stub), 2*float64(socketDepth), 2)
	}
	f.within("take_out_m", float64(r.TakeOut), 0, 0.2)
	for i := range r.Stock {
		f.count(at("stock", i)+".lengths_m", len(r.Stock[i].Lengths), 1, mostStock)
		for k, l := range r.Stock[i].Lengths {
			f.within(at(at("stock", i)+".lengths_m", k), float64(l), 2*leastStockPiece, mostStick)
		}
	}
	r.validateStored(&f)
	for i := range r.Prices {
		f.within(at("prices", i)+".cents", float64(r.Prices[i].Cents), 0, 1e9)
	}
	return f.err()
}

func pieceCount(l *hydraulics.Layout) int {
	n := 0
	for i := range l.Manifold.Outlets {
		if o := &l.Manifold.Outlets[i]; o.Lateral != nil {
			n += len(o.Lateral.Pieces)
		}
	}
	return n
}

// leastStockPiece keeps sticks longer than twice a socket, so that splitting a piece ends.
const leastStockPiece = 0.25

func (r *Request) validateStored(f *Faults) {
	f.count("off_cuts", len(r.OffCuts), 0, mostOffCuts)
	f.count("stored_pipes", len(r.Stored), 0, mostStored)
	seen := map[string]bool{}
	id := func(path, id string) {
		if seen[id] {
			f.add(Fault{Path: path + ".id", Code: FaultTwice})
		}
		if id == "" {
			f.add(Fault{Path: path + ".id", Code: FaultMissing})
		}
		seen[id] = true
	}
	for i := range r.OffCuts {
		id(at("off_cuts", i), r.OffCuts[i].ID)
		f.within(at("off_cuts", i)+".length_m", float64(r.OffCuts[i].Length), leastPiece, mostStick)
	}
	for i := range r.Stored {
		id(at("stored_pipes", i), r.Stored[i].ID)
		f.within(at("stored_pipes", i)+".length_m", float64(r.Stored[i].Piece.Length), leastPiece, mostStick)
		if s := r.Stored[i].Site; s != nil && (*s < 0 || *s >= len(r.Sites)) {
			f.add(Fault{Path: at("stored_pipes", i) + ".reserved_for", Code: FaultNoSuch, Got: float64(*s)})
		}
		for k, g := range r.Stored[i].Plugged {
			if g.Set < 0 || g.Set >= r.Stored[i].Piece.Pattern.Sets(r.Stored[i].Piece.Length) {
				f.add(Fault{Path: at(at("stored_pipes", i)+".plugged", k) + ".set", Code: FaultNoSuch, Got: float64(g.Set)})
			}
		}
	}
}

func (s *Site) validate(f *Faults, path string) {
	f.count(path+".plantings", len(s.Plantings), 0, mostPlantings)
	for i := range s.Plantings {
		p, at := &s.Plantings[i], at(path+".plantings", i)
		if p.Spacing != 0 {
			f.within(at+".spacing_m", float64(p.Spacing), float64(leastPlantGap), float64(mostPlantGap))
		}
		f.count(at+".sides", p.Sides, 0, 2)
		f.within(at+".from_m", float64(p.From), 0, mostStick)
		if p.To != 0 {
			f.within(at+".to_m", float64(p.To), float64(p.From), mostStick)
		}
		for k, o := range p.Outlets {
			if o < 0 || o >= len(s.Layout.Manifold.Outlets) {
				f.add(Fault{Path: fmt.Sprintf("%s.outlets[%d]", at, k), Code: FaultNoSuch, Got: float64(o)})
			}
		}
	}
}

// Plan makes the sheets of a request whose layouts are valid. Its errors are Faults.
func Plan(r Request) (Sheet, error) {
	if err := r.Validate(); err != nil {
		return Sheet{}, err
	}
	sheet := Sheet{Ruler: r.Ruler}
	for i := range r.Sites {
		sheet.Sites = append(sheet.Sites, r.site(&r.Sites[i]))
	}
	sheet.Saved = r.reserve(sheet.Sites)
	sheet.Unused = r.unused(sheet.Saved)
	var err error
	if sheet.Cuts, err = r.cuts(sheet.Sites, r.rests(sheet.Saved)); err != nil {
		return Sheet{}, err
	}
	lists := [][]Part{pipeParts(sheet.Cuts)}
	for i := range sheet.Sites {
		lists = append(lists, sheet.Sites[i].Parts)
	}
	sheet.Parts = spared(merge(lists...), r.Prices)
	for i := range sheet.Sites {
		spared(sheet.Sites[i].Parts, r.Prices)
	}
	return sheet, nil
}

func (r *Request) site(s *Site) SiteSheet {
	b := builder{layout: &s.Layout, stub: r.Stub, takeOut: r.TakeOut, longest: func(p hydraulics.Pipe) unit.Length {
		return slices.Max(r.stockFor(p))
	}}
	if b.stub == 0 {
		b.stub = defaultStub[r.Ruler]
	}
	b.assemble()
	out := SiteSheet{Label: s.Label, Assembly: b.Assembly, Warnings: b.warnings}
	var w []Warning
	out.Drills, w = drillSheets(&out.Assembly, r.Ruler)
	out.Warnings = append(out.Warnings, w...)
	for i, p := range s.Plantings {
		out.Plantings = append(out.Plantings, plantingMarks(&out.Assembly, len(s.Layout.Manifold.Outlets), p, at("plantings", i)))
	}
	out.Parts = partsOf(&out.Assembly)
	out.Tasks = tasksOf(&out.Assembly, out.Plantings)
	return out
}

// reserve sets stored pipes aside, layouts in their order, and notes them in the assemblies.
func (r *Request) reserve(sites []SiteSheet) []Reservation {
	var wanted []wantedPipe
	for i := range sites {
		for k := range sites[i].Assembly.Pipes {
			if p := &sites[i].Assembly.Pipes[k]; p.Use == UseLateral {
				wanted = append(wanted, wantedPipe{site: i, pipe: k, owners: r.Sites[i].Owners, built: p})
			}
		}
	}
	saved := reserve(r.Stored, wanted)
	for _, s := range saved {
		sites[s.Site].Assembly.Pipes[s.Pipe].Saved = s.Stored
	}
	return saved
}

func (r *Request) unused(saved []Reservation) []string {
	var out []string
	for i := range r.Stored {
		if !slices.ContainsFunc(saved, func(s Reservation) bool { return s.Stored == r.Stored[i].ID }) {
			out = append(out, r.Stored[i].ID)
		}
	}
	return out
}

// rests lists what is cut off stored pipes and still plain, where all layouts may use it: they share the cut list.
func (r *Request) rests(saved []Reservation) []StoredOffCut {
	var out []StoredOffCut
	for k := range saved {
		s := &r.Stored[slices.IndexFunc(r.Stored, func(x StoredPipe) bool { return x.ID == saved[k].Stored })]
		forAll := !slices.ContainsFunc(r.Sites, func(x Site) bool { return s.Owner != "" && !slices.Contains(x.Owners, s.Owner) })
		if l, ok := s.rest(&saved[k], r.Kerf); ok && forAll {
			out = append(out, StoredOffCut{ID: s.ID, Pipe: s.Piece.Pipe, Length: l})
		}
	}
	return out
}

// cuts makes the cut list of each kind of pipe.
func (r *Request) cuts(sites []SiteSheet, rests []StoredOffCut) ([]PipeCuts, error) {
	var cuts []PipeCuts
	index := map[hydraulics.Pipe]int{}
	requests := map[hydraulics.Pipe]*Cutting{}
	for i := range sites {
		for k := range sites[i].Assembly.Pipes {
			p := &sites[i].Assembly.Pipes[k]
			if p.Saved != "" {
				continue
			}
			if _, seen := index[p.Pipe]; !seen {
				index[p.Pipe] = len(cuts)
				cuts = append(cuts, PipeCuts{Pipe: p.Pipe})
				requests[p.Pipe] = r.cutting(p.Pipe, rests)
			}
			n := index[p.Pipe]
			cuts[n].Pieces = append(cuts[n].Pieces, CutPlace{Site: i, Pipe: k})
			requests[p.Pipe].Pieces = append(requests[p.Pipe].Pieces, WantedPiece{Length: p.Length})
		}
	}
	for i := range cuts {
		var err error
		if cuts[i].List, err = Cut(*requests[cuts[i].Pipe]); err != nil {
			return nil, fmt.Errorf("cut list of %s %s: %w", cuts[i].Pipe.Size, cuts[i].Pipe.Wall, err)
		}
	}
	slices.SortStableFunc(cuts, func(a, b PipeCuts) int { return pipeOrder(a.Pipe, b.Pipe) })
	return cuts, nil
}

// cutting asks for the cut list of one kind of pipe, without pieces. The cheapest is looked for where all its sticks have a price.
func (r *Request) cutting(p hydraulics.Pipe, rests []StoredOffCut) *Cutting {
	c := &Cutting{Stock: r.stockFor(p), Kerf: r.Kerf}
	for n, list := range [][]StoredOffCut{r.OffCuts, rests} {
		for i := range list {
			if boughtAs(list[i].Pipe) == p {
				c.OffCuts = append(c.OffCuts, OffCut{ID: list[i].ID, Length: list[i].Length, Rest: n == 1})
			}
		}
	}
	for _, l := range c.Stock {
		stick := []Part{stickOf(p, l)}
		if spared(stick, r.Prices); stick[0].PriceCents == nil || *stick[0].PriceCents == 0 {
			c.Cents = nil
			break
		}
		c.Cents = append(c.Cents, *stick[0].PriceCents)
	}
	return c
}

// stickOf is the line of a parts list for a stick.
func stickOf(p hydraulics.Pipe, l unit.Length) Part {
	return Part{Kind: PartPipe, Size: SizeName(p), Wall: p.Wall, Length: l, Count: 1}
}

// pipeParts lists the sticks to buy.
func pipeParts(cuts []PipeCuts) []Part {
	var parts []Part
	for i := range cuts {
		for _, s := range cuts[i].List.Sticks {
			if s.OffCut != "" {
				continue
			}
			parts = merge(parts, []Part{stickOf(cuts[i].Pipe, s.Length)})
		}
	}
	return parts
}
