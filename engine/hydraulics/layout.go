package hydraulics

import (
	"math"

	"rillturn.example/rillturn/engine/unit"
)

// Layout is everything behind one valve of a plot: feed, manifold, laterals. Heights are counted from the outlet of the
// source; pipes rise evenly between the points given.
type Layout struct {
	Feed     Feed
	Manifold Manifold
	PressFit bool // joints are pushed together without cement
}

// Feed is what lies between the source's outlet and the manifold. Its loss coefficients refer to the velocity in the
// hose or, without one, in the manifold pipe.
type Feed struct {
	HoseLength   unit.Length
	HoseDiameter unit.Length // inside; 0 takes the manifold's, and then HoseLength must be 0
	FittingsK    float64
	ValveK       float64 // the layout's valve as it stands: 0 wide open
	Filter       *Filter
	Rise         unit.Length // manifold axis at the feed above the source's outlet
}

// Filter loses Loss at Flow, and by the square of the flow elsewhere.
type Filter struct {
	Flow unit.Flow
	Loss unit.Head
}

// Manifold is the pipe with tees. FeedAt and the outlets' At are measured from the same end.
type Manifold struct {
	Pipe       Pipe
	Length     unit.Length
	FeedAt     unit.Length
	Rise       unit.Length // far end above the end that positions are measured from
	RiseKnown  bool        // somebody measured the level
	TeeRunK    float64     // on the velocity that passes a tee
	TeeBranchK float64     // on the velocity at the lateral's inlet
	Outlets    []Outlet
}

// Outlet carries a lateral or is plugged; a plugged outlet may keep its lateral, which then gets nothing. Two outlets at
// one position are the two sides of a cross.
type Outlet struct {
	At      unit.Length
	Rise    unit.Length // lateral inlet above the manifold axis
	Plugged bool
	Lateral *Lateral
}

// Lateral is a pipe with holes, put together from pieces in order from the tee to the closed end.
type Lateral struct {
	Pieces    []Piece
	Rise      unit.Length // closed end above the inlet
	RiseKnown bool        // somebody measured the level
	JointK    float64     // each joint between pieces, on the velocity there
	HoleEdgeK float64     // burrs of each hole set, on the velocity just before it
	Plugged   []PluggedHoles
}

// Piece is a length of pipe with one hole pattern, or none.
type Piece struct {
	Label   string
	Pipe    Pipe
	Length  unit.Length
	Pattern *HolePattern
}

// Facing is where the holes of a pipe look.
type Facing string

// The three facings. A hole on top lies half an inside diameter above the pipe's axis, one below lies as much under it.
const (
	FacingUp   Facing = "up"
	FacingSide Facing = "side"
	FacingDown Facing = "down"
)

// HolePattern places hole sets along a piece: the first at FirstOffset from the end nearer the tee, the others Spacing
// apart as far as the piece goes, or as many as Count says.
type HolePattern struct {
	Spacing              unit.Length
	FirstOffset          unit.Length
	Count                int // hole sets; 0 fills the piece
	HolesPerSet          int // holes at one position, all sides together
	Sides                int // of the pipe that the holes of a set are spread over: 1 or 2; matters to the drill only
	Facing               Facing
	HoleDiameter         unit.Length
	DischargeCoefficient float64
	Rated                *RatedOutlet // bought outlets instead of holes; diameter and coefficient are then 0
}

// RatedOutlet is a bought emitter: Flow at Head, elsewhere Flow·(h/Head)^Exponent. Exponent 0 is a regulated outlet; its
// Head is the least one at which the regulator works, and below it the outlet behaves as an orifice.
type RatedOutlet struct {
	Flow     unit.Flow
	Head     unit.Head
	Exponent float64
}

// PluggedHoles says that some holes of one set are closed. Piece and Set count from 0, sets from the tee's end of
// the piece.
type PluggedHoles struct {
	Piece, Set, Holes int
}

// Customary values for what nobody measured.
const (
	// DefaultDischargeCoefficient is that of a small sharp-edged hole. Source: Encyclopaedia Britannica, 11th ed.,
	// "Hydraulics": sharp plane 0.97 × 0.64 = 0.62.
	DefaultDischargeCoefficient = 0.62
	// DefaultTeeRunK and DefaultTeeBranchK are those of plain tees, line and branch flow. Source: LMNO Engineering,
	// table of minor loss coefficients, flanged.
	DefaultTeeRunK    = 0.2
	DefaultTeeBranchK = 1.0
)

// positionSlack is how far past the end of a piece a hole may be reckoned to lie [m]: 3.048/0.1524 is not 20 in binary
// floating point, and the twentieth hole must not be lost for it.
const positionSlack = 1e-9

// Sets returns the number of hole sets on a piece of length l.
func (p *HolePattern) Sets(l unit.Length) int {
	if p == nil {
		return 0
	}
	if p.Count > 0 {
		return p.Count
	}
	room := float64(l-p.FirstOffset) + positionSlack
	if room < 0 || !(p.Spacing > 0) {
		return 0
	}
	n := int(math.Min(room/float64(p.Spacing), mostSets)) + 1
	// The quotient may be off by one either way; the rule itself decides.
	for float64(n)*float64(p.Spacing) <= room && n < mostSets {
		n++
	}
	for n > 1 && float64(n-1)*float64(p.Spacing) > room {
		n--
	}
	return n
}

// Position returns the distance of hole set i from the tee's end of the piece.
func (p *HolePattern) Position(i int) unit.Length {
	return p.FirstOffset + unit.Length(float64(i)*float64(p.Spacing))
}

// Length returns the length of the lateral, all pieces together.
func (l *Lateral) Length() unit.Length {
	var sum unit.Length
	for i := range l.Pieces {
		sum += l.Pieces[i].Length
	}
	return sum
}

// OpenHoles returns the number of holes that are not plugged.
func (l *Lateral) OpenHoles() int {
	n := 0
	for i := range l.Pieces {
		if p := l.Pieces[i].Pattern; p != nil {
			n += p.Sets(l.Pieces[i].Length) * p.HolesPerSet
		}
	}
	for _, p := range l.Plugged {
		n -= p.Holes
	}
	return n
}
