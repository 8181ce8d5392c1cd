package file

import (
	"errors"
	"fmt"
	"io"

	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/unit"
)

// Layout is the layout document: everything behind one valve of a plot. Files, the HTTP interface and the database hold
// it in this shape, as entered. Left out, a field takes the value that its comment names.
type Layout struct {
	Label    string         `json:"label,omitempty"`
	PressFit bool           `json:"press_fit,omitempty"` // joints are pushed together without cement
	Feed     LayoutFeed     `json:"feed,omitzero"`       // left out: the manifold sits on the source
	Manifold LayoutManifold `json:"manifold" file:"required"`
}

// LayoutFeed is what lies between the source's outlet and the manifold. Its loss coefficients refer to the velocity in
// the hose or, without one, in the manifold pipe.
type LayoutFeed struct {
	HoseLengthM    float64       `json:"hose_length_m,omitempty"`
	HoseDiameterMM float64       `json:"hose_diameter_mm,omitempty"` // inside
	FittingsK      float64       `json:"fittings_k,omitempty"`
	ValveK         float64       `json:"valve_k,omitempty"` // 0: wide open
	Filter         *LayoutFilter `json:"filter,omitempty"`
	RiseM          float64       `json:"rise_m,omitempty"` // manifold above the source's outlet
}

// LayoutFilter loses loss_m at flow_l_per_min, and by the square of the flow elsewhere.
type LayoutFilter struct {
	FlowLPerMin float64 `json:"flow_l_per_min" file:"required"`
	LossM       float64 `json:"loss_m" file:"required"`
}

// LayoutPipe names a pipe by trade size and wall. A measured inside diameter overrides the published one.
type LayoutPipe struct {
	Size             string  `json:"size,omitempty"` // such as "3/4"
	Wall             string  `json:"wall,omitempty"` // such as "schedule 40" or "SDR 21"
	InsideDiameterMM float64 `json:"inside_diameter_mm,omitempty"`
}

// LayoutManifold is the pipe with tees. Positions count from one of its ends.
type LayoutManifold struct {
	Pipe       LayoutPipe     `json:"pipe" file:"required"`
	LengthM    float64        `json:"length_m"` // 0: all outlets on the feed
	FeedAtM    float64        `json:"feed_at_m,omitempty"`
	RiseM      *float64       `json:"rise_m,omitempty"`       // far end above the end that positions count from; left out: level, not measured
	TeeRunK    *float64       `json:"tee_run_k,omitempty"`    // left out: 0.2
	TeeBranchK *float64       `json:"tee_branch_k,omitempty"` // left out: 1.0
	Outlets    []LayoutOutlet `json:"outlets" file:"required"`
}

// LayoutOutlet carries a lateral or is plugged, or both: a plugged outlet keeps its lateral's description.
type LayoutOutlet struct {
	AtM     float64        `json:"at_m"`
	RiseM   float64        `json:"rise_m,omitempty"` // lateral inlet above the manifold
	Plugged bool           `json:"plugged,omitempty"`
	Lateral *LayoutLateral `json:"lateral,omitempty"`
}

// LayoutLateral is a pipe with holes; its pieces come in order from the tee to the closed end.
type LayoutLateral struct {
	Pieces    []LayoutPiece   `json:"pieces" file:"required"`
	RiseM     *float64        `json:"rise_m,omitempty"` // closed end above the inlet; left out: level, not measured
	JointK    float64         `json:"joint_k,omitempty"`
	HoleEdgeK float64         `json:"hole_edge_k,omitempty"`
	Plugged   []LayoutPlugged `json:"plugged,omitempty"`
}

// LayoutPiece is a length of pipe with one hole pattern, or none.
type LayoutPiece struct {
	Label   string         `json:"label,omitempty"`
	Pipe    LayoutPipe     `json:"pipe" file:"required"`
	LengthM float64        `json:"length_m" file:"required"`
	Pattern *LayoutPattern `json:"pattern,omitempty"`
}

// LayoutPattern places hole sets along a piece: the first at first_offset_m from the end nearer the tee, the others
// spacing_m apart, as far as the piece goes or count of them.
type LayoutPattern struct {
	SpacingM             float64      `json:"spacing_m,omitempty"`      // may be left out with count 1
	FirstOffsetM         *float64     `json:"first_offset_m,omitempty"` // left out: half a spacing
	Count                int          `json:"count,omitempty"`          // left out: fills the piece
	HolesPerSet          *int         `json:"holes_per_set,omitempty"`  // at one position, all sides together; left out: 1
	Sides                *int         `json:"sides,omitempty"`          // of the pipe that they are spread over, 1 or 2; left out: 1
	Facing               string       `json:"facing,omitempty"`         // up, side, down; left out: side
	HoleDiameterMM       float64      `json:"hole_diameter_mm,omitempty"`
	DischargeCoefficient *float64     `json:"discharge_coefficient,omitempty"` // left out: 0.62
	Rated                *LayoutRated `json:"rated,omitempty"`                 // bought outlets instead of holes
}

// LayoutRated is a bought outlet; exponent 0 is a regulated one.
type LayoutRated struct {
	FlowLPerH float64 `json:"flow_l_per_h" file:"required"`
	HeadM     float64 `json:"head_m" file:"required"`
	Exponent  float64 `json:"exponent" file:"required"`
}

// LayoutPlugged closes some holes of one set. Piece and set count from 0, from the tee's end.
type LayoutPlugged struct {
	Piece int  `json:"piece" file:"required"`
	Set   int  `json:"set" file:"required"`
	Holes *int `json:"holes,omitempty"` // left out: all of the set
}

// ReadLayout reads a layout document and validates it. Its errors are Faults.
func ReadLayout(r io.Reader) (Layout, error) {
	var l Layout
	if err := Decode(r, &l); err != nil {
		return l, err
	}
	return l, l.Validate("")
}

// Validate returns nil or Faults with everything wrong in the layout; at is the pointer of the layout in its document.
func (l Layout) Validate(at string) error {
	return faultsOf(l.Engine().Validate(), at).Err()
}

// Engine returns the layout in the engine's shape, with what was left out filled in.
func (l Layout) Engine() hydraulics.Layout {
	e := hydraulics.Layout{
		PressFit: l.PressFit,
		Feed:     l.Feed.Engine(),
		Manifold: hydraulics.Manifold{
			Pipe: l.Manifold.Pipe.engine(), Length: unit.Length(l.Manifold.LengthM), FeedAt: unit.Length(l.Manifold.FeedAtM),
			Rise: unit.Length(or(l.Manifold.RiseM, 0)), RiseKnown: l.Manifold.RiseM != nil,
			TeeRunK:    or(l.Manifold.TeeRunK, hydraulics.DefaultTeeRunK),
			TeeBranchK: or(l.Manifold.TeeBranchK, hydraulics.DefaultTeeBranchK),
		},
	}
	for _, o := range l.Manifold.Outlets {
		out := hydraulics.Outlet{At: unit.Length(o.AtM), Rise: unit.Length(o.RiseM), Plugged: o.Plugged}
		if o.Lateral != nil {
			out.Lateral = o.Lateral.engine()
		}
		e.Manifold.Outlets = append(e.Manifold.Outlets, out)
	}
	return e
}

// Engine returns the feed in the engine's shape.
func (f LayoutFeed) Engine() hydraulics.Feed {
	e := hydraulics.Feed{
		HoseLength: unit.Length(f.HoseLengthM), HoseDiameter: unit.Millimeters(f.HoseDiameterMM),
		FittingsK: f.FittingsK, ValveK: f.ValveK, Rise: unit.Length(f.RiseM),
	}
	if f.Filter != nil {
		e.Filter = &hydraulics.Filter{
			Flow: unit.LitersPerMinute(f.Filter.FlowLPerMin), Loss: unit.Head(f.Filter.LossM),
		}
	}
	return e
}

func (p LayoutPipe) engine() hydraulics.Pipe {
	return hydraulics.Pipe{Size: p.Size, Wall: p.Wall, InsideDiameter: unit.Millimeters(p.InsideDiameterMM)}
}

func (l *LayoutLateral) engine() *hydraulics.Lateral {
	e := &hydraulics.Lateral{
		Rise: unit.Length(or(l.RiseM, 0)), RiseKnown: l.RiseM != nil, JointK: l.JointK, HoleEdgeK: l.HoleEdgeK,
	}
	for _, p := range l.Pieces {
		piece := hydraulics.Piece{Label: p.Label, Pipe: p.Pipe.engine(), Length: unit.Length(p.LengthM)}
		if p.Pattern != nil {
			pattern := p.Pattern.Engine()
			piece.Pattern = &pattern
		}
		e.Pieces = append(e.Pieces, piece)
	}
	for _, g := range l.Plugged {
		all := 1
		if g.Piece >= 0 && g.Piece < len(e.Pieces) && e.Pieces[g.Piece].Pattern != nil {
			all = e.Pieces[g.Piece].Pattern.HolesPerSet
		}
		e.Plugged = append(e.Plugged, hydraulics.PluggedHoles{Piece: g.Piece, Set: g.Set, Holes: or(g.Holes, all)})
	}
	return e
}

// Engine returns the pattern in the engine's shape, with what was left out filled in.
func (p *LayoutPattern) Engine() hydraulics.HolePattern {
	e := hydraulics.HolePattern{
		Spacing: unit.Length(p.SpacingM), FirstOffset: unit.Length(or(p.FirstOffsetM, p.SpacingM/2)), Count: p.Count,
		HolesPerSet: or(p.HolesPerSet, 1), Sides: or(p.Sides, 1), Facing: hydraulics.Facing(p.Facing),
		HoleDiameter: unit.Millimeters(p.HoleDiameterMM),
	}
	if e.Facing == "" {
		e.Facing = hydraulics.FacingSide
	}
	if p.Rated == nil {
		e.DischargeCoefficient = or(p.DischargeCoefficient, hydraulics.DefaultDischargeCoefficient)
		return e
	}
	e.DischargeCoefficient = or(p.DischargeCoefficient, 0)
	e.Rated = &hydraulics.RatedOutlet{
		Flow: unit.LitersPerHour(p.Rated.FlowLPerH), Head: unit.Head(p.Rated.HeadM), Exponent: p.Rated.Exponent,
	}
	return e
}

// or returns what p points to, or the fallback.
func or[T any](p *T, fallback T) T {
	if p == nil {
		return fallback
	}
	return *p
}

// LayoutOf returns the document of an engine layout, every value written out. Numbers that people enter in other units
// than SI may differ from the entry in the last digit.
func LayoutOf(e hydraulics.Layout) Layout {
	l := Layout{
		PressFit: e.PressFit,
		Feed: LayoutFeed{
			HoseLengthM: float64(e.Feed.HoseLength), HoseDiameterMM: e.Feed.HoseDiameter.Millimeters(),
			FittingsK: e.Feed.FittingsK, ValveK: e.Feed.ValveK, RiseM: float64(e.Feed.Rise),
		},
		Manifold: LayoutManifold{
			Pipe: pipeOf(e.Manifold.Pipe), LengthM: float64(e.Manifold.Length), FeedAtM: float64(e.Manifold.FeedAt),
			RiseM:   known(float64(e.Manifold.Rise), e.Manifold.RiseKnown),
			TeeRunK: &e.Manifold.TeeRunK, TeeBranchK: &e.Manifold.TeeBranchK,
		},
	}
	if f := e.Feed.Filter; f != nil {
		l.Feed.Filter = &LayoutFilter{FlowLPerMin: f.Flow.LitersPerMinute(), LossM: float64(f.Loss)}
	}
	for i := range e.Manifold.Outlets {
		o := &e.Manifold.Outlets[i]
		out := LayoutOutlet{AtM: float64(o.At), RiseM: float64(o.Rise), Plugged: o.Plugged}
		if o.Lateral != nil {
			out.Lateral = lateralOf(o.Lateral)
		}
		l.Manifold.Outlets = append(l.Manifold.Outlets, out)
	}
	return l
}

func known(v float64, measured bool) *float64 {
	if !measured {
		return nil
	}
	return &v
}

func pipeOf(p hydraulics.Pipe) LayoutPipe {
	return LayoutPipe{Size: p.Size, Wall: p.Wall, InsideDiameterMM: p.InsideDiameter.Millimeters()}
}

func lateralOf(e *hydraulics.Lateral) *LayoutLateral {
	l := &LayoutLateral{RiseM: known(float64(e.Rise), e.RiseKnown), JointK: e.JointK, HoleEdgeK: e.HoleEdgeK}
	for i := range e.Pieces {
		p := LayoutPiece{Label: e.Pieces[i].Label, Pipe: pipeOf(e.Pieces[i].Pipe), LengthM: float64(e.Pieces[i].Length)}
		if e.Pieces[i].Pattern != nil {
			p.Pattern = patternOf(e.Pieces[i].Pattern)
		}
		l.Pieces = append(l.Pieces, p)
	}
	for _, g := range e.Plugged {
		l.Plugged = append(l.Plugged, LayoutPlugged{Piece: g.Piece, Set: g.Set, Holes: &g.Holes})
	}
	return l
}

func patternOf(e *hydraulics.HolePattern) *LayoutPattern {
	first := float64(e.FirstOffset)
	p := &LayoutPattern{
		SpacingM: float64(e.Spacing), FirstOffsetM: &first, Count: e.Count, HolesPerSet: &e.HolesPerSet, Sides: &e.Sides,
		Facing: string(e.Facing), HoleDiameterMM: e.HoleDiameter.Millimeters(),
	}
	if e.Rated == nil {
		p.DischargeCoefficient = &e.DischargeCoefficient
		return p
	}
	p.Rated = &LayoutRated{
		FlowLPerH: e.Rated.Flow.LitersPerHour(), HeadM: float64(e.Rated.Head), Exponent: e.Rated.Exponent,
	}
	return p
}

// faultsOf turns the engine's faults into faults of a document in which the engine's part lies at pointer at.
func faultsOf(err error, at string) Faults {
	var engine hydraulics.Faults
	if !errors.As(err, &engine) {
		return nil
	}
	faults := make(Faults, len(engine))
	for i, f := range engine {
		faults[i] = Fault{Pointer: at + f.JSONPointer(), Reason: reasonOf(f)}
	}
	return faults
}

// reasonOf says what is wrong with a value and what would be right.
func reasonOf(f hydraulics.Fault) string {
	switch f.Code {
	case hydraulics.FaultNotFinite:
		return "must be a finite number"
	case hydraulics.FaultOutOfRange:
		return fmt.Sprintf("is %.6g, must lie between %.6g and %.6g", f.Got, f.Least, f.Most)
	case hydraulics.FaultUnknownPipe:
		return "no such size and wall in the table of pipes: correct them or give inside_diameter_mm"
	case hydraulics.FaultBoreTooLarge:
		return fmt.Sprintf("is %.6g, but the pipe's outside diameter is %.6g", f.Got, f.Most)
	case hydraulics.FaultMissing:
		return "is required"
	case hydraulics.FaultNotAllowed:
		return "must be left out beside rated"
	case hydraulics.FaultUnknownWord:
		return "is not one of the words allowed"
	case hydraulics.FaultBeyondPipe:
		return fmt.Sprintf("is %.6g, but the pipe only takes up to %.6g", f.Got, f.Most)
	case hydraulics.FaultTooManyHoles:
		return fmt.Sprintf("%.0f hole sets, at most %.0f are allowed", f.Got, f.Most)
	case hydraulics.FaultHolesOverlap:
		return fmt.Sprintf("is %.6g, less than the diameter of the holes (%.6g m)", f.Got, f.Least)
	case hydraulics.FaultNoSuchHole:
		return fmt.Sprintf("is %.0f, must lie between %.0f and %.0f", f.Got, f.Least, f.Most)
	case hydraulics.FaultTwice:
		return "names a hole set that was named before"
	case hydraulics.FaultNotUnderStatic:
		return fmt.Sprintf("is %.6g, must be less than the static head of %.6g", f.Got, f.Most)
	case hydraulics.FaultNoUsableTest:
		return "a test with a flow is needed: a bucket test or a residual pressure at a flow"
	case hydraulics.FaultHoseTakesAll:
		return fmt.Sprintf("this hose would need %.6g m of head for that flow, but the source only has %.6g", f.Got, f.Most)
	}
	return string(f.Code)
}
