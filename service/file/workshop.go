package file

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"rillturn.example/rillturn/engine/fieldwork"
)

// Workshop is what a garden's workshop works with.
type Workshop struct {
	Stock     []SheetStock `json:"stock,omitempty"`       // pipes that are not named come in sticks of 3.048 m
	KerfMM    *float64     `json:"kerf_mm,omitempty"`     // what a saw cut takes; left out: 3
	StubM     float64      `json:"stub_m,omitempty"`      // length of stubs and nipples; left out: 100 mm, or 4 in
	TakeOutMM float64      `json:"take_out_mm,omitempty"` // from the middle of a manifold fitting to where its pipe ends
	Prices    []SheetPrice `json:"prices,omitempty"`
}

// StoredPipe is a piece of pipe that is kept for the next season. Without a pattern it is plain, and pieces are cut from it.
type StoredPipe struct {
	ID               string       `json:"id" file:"required"`
	Label            string       `json:"label" file:"required"` // as it is written on the pipe
	OwnerID          *string      `json:"owner_id,omitempty"`    // left out: the garden's
	Piece            LayoutPiece  `json:"piece" file:"required"`
	Plugged          []StoredPlug `json:"plugged,omitempty"`
	Condition        string       `json:"condition" file:"required"` // good, worn or unfit
	Note             string       `json:"note,omitempty"`
	ReservedLayoutID *string      `json:"reserved_layout_id,omitempty"` // the one layout that may take it
	FromLayoutID     *string      `json:"from_layout_id,omitempty"`     // where it lay last
}

// Validate returns nil or Faults with everything wrong in the workshop.
func (w Workshop) Validate() error {
	s := anySheet()
	s.Stock, s.KerfMM, s.StubM, s.TakeOutMM, s.Prices = w.Stock, w.KerfMM, w.StubM, w.TakeOutMM, w.Prices
	return s.Validate()
}

// Validate returns nil or Faults with everything wrong in the piece and its plugs.
func (p StoredPipe) Validate() error {
	faults := pieceFaults(p.Piece, "/piece")
	if len(faults) > 0 {
		return faults
	}
	sets := 0
	if p.Piece.Pattern != nil {
		pattern := p.Piece.Pattern.Engine()
		sets = pattern.Sets(p.sheet().engine(nil).Piece.Length)
	}
	for i, g := range p.Plugged {
		if g.Set < 0 || g.Set >= sets {
			faults.Add(Point("plugged", i, "set"), "is %d, but the piece has %d hole sets, counted from 0", g.Set, sets)
		}
	}
	return faults.Err()
}

// anySheet is the smallest sheet that is valid, to check a part of a sheet with.
func anySheet() Sheet {
	return Sheet{Layouts: []SheetLayout{{ID: "any", Layout: Layout{Manifold: LayoutManifold{
		Pipe: LayoutPipe{Size: "3/4", Wall: "schedule 40"}, Outlets: []LayoutOutlet{{Plugged: true}},
	}}}}}
}

func (p StoredPipe) sheet() SheetStored {
	s := SheetStored{
		ID: p.Label, Owner: or(p.OwnerID, ""), ReservedFor: or(p.ReservedLayoutID, ""), Piece: p.Piece, Plugged: p.Plugged, Notes: p.Note,
	}
	if p.Condition == "worn" {
		s.Notes = strings.TrimSuffix("worn: "+p.Note, ": ")
	}
	return s
}

// addStored offers the stored pipes of the garden, and of those who hold the plots, to the layouts of a sheet. Drilled ones
// become pieces of laterals; from plain ones pieces are cut, so that those of one person serve only a sheet that is about
// that person's layouts alone. What is unfit, or set aside for a layout that is not in the sheet, stays where it is.
func (s *Sheet) addStored(pipes []StoredPipe) {
	for _, p := range pipes {
		reserved := or(p.ReservedLayoutID, "")
		in := reserved == "" || slices.ContainsFunc(s.Layouts, func(l SheetLayout) bool { return l.ID == reserved })
		if !in || p.Condition == "unfit" {
			continue
		}
		all, some := s.ownedBy(or(p.OwnerID, ""))
		switch {
		case p.Piece.Pattern == nil && all && (reserved == "" || len(s.Layouts) == 1):
			s.OffCuts = append(s.OffCuts, SheetOffCut{ID: p.Label, Pipe: p.Piece.Pipe, LengthM: p.Piece.LengthM})
		case p.Piece.Pattern != nil && some:
			s.StoredPipes = append(s.StoredPipes, p.sheet())
		}
	}
}

// ownedBy says whether all layouts, and whether some, may use what belongs to an owner; the garden's serves everybody.
func (s *Sheet) ownedBy(owner string) (all, some bool) {
	if owner == "" {
		return true, true
	}
	all = true
	for _, l := range s.Layouts {
		own := slices.Contains(l.Owners, owner)
		all, some = all && own, some || own
	}
	return all, some
}

// Taken lists the labels of the stored pipes that a sheet takes: those that become laterals, and plain ones that are cut.
func (w SheetWork) Taken() []string {
	var labels []string
	for _, r := range w.Sheet.Saved {
		labels = append(labels, r.Stored)
	}
	for i := range w.Sheet.Cuts {
		for _, s := range w.Sheet.Cuts[i].List.Sticks {
			if s.OffCut != "" && !s.Rest { // the rest of a pipe goes with it
				labels = append(labels, s.OffCut)
			}
		}
	}
	slices.SortFunc(labels, cmp.Compare)
	return labels
}

// TakenUp is a pipe of a lateral on its way into the store. Was is the label of the stored pipe that it was made from, empty
// for new pipe.
type TakenUp struct {
	Pipe StoredPipe
	Was  string
}

// Laterals lists the pipes of the laterals of one layout as they go into the store, each labelled with what is written on it
// and, where another pipe of the store already has that label, a number.
func (w SheetWork) Laterals(layout int, used func(label string) bool) []TakenUp {
	site := &w.Sheet.Sites[layout]
	seen := map[string]bool{}
	var out []TakenUp
	for i := range site.Assembly.Pipes {
		p := &site.Assembly.Pipes[i]
		if p.Use != fieldwork.UseLateral {
			continue
		}
		written := fieldwork.WrittenOn(site.Label, p, site.Drills)
		label := written
		for n := 2; seen[label] || used(label); n++ {
			label = written + " (" + strconv.Itoa(n) + ")"
		}
		seen[label] = true
		out = append(out, TakenUp{storedOf(p, label), p.Saved})
	}
	return out
}

// storedOf is a built pipe as a stored one. A part of a longer piece keeps its own holes only.
func storedOf(p *fieldwork.BuiltPipe, label string) StoredPipe {
	s := StoredPipe{Label: label, Piece: LayoutPiece{Label: p.Label, Pipe: pipeOf(p.Pipe), LengthM: float64(p.Length)}}
	if len(p.Holes) == 0 {
		return s
	}
	pattern := *p.Holes[0].Pattern
	pattern.FirstOffset, pattern.Count = p.Holes[0].At, len(p.Holes)
	s.Piece.Pattern = patternOf(&pattern)
	for i, h := range p.Holes {
		if h.Plugged > 0 {
			s.Plugged = append(s.Plugged, StoredPlug{Set: i, Holes: h.Plugged})
		}
	}
	return s
}
