package fieldwork

import (
	"fmt"
	"slices"

	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/unit"
)

// Assembly is a layout as it is put together: pipes, fittings, and the joints between them. Every port of a fitting and
// every end of a pipe has exactly one joint.
type Assembly struct {
	Pipes    []BuiltPipe
	Fittings []Fitting
	Joints   []Joint
}

// PipeUse says what a pipe is for.
type PipeUse string

// The uses of pipe.
const (
	UseManifold PipeUse = "manifold"
	UseLateral  PipeUse = "lateral"
	UseStub     PipeUse = "stub"   // short pipe with a plug on a closed outlet
	UseNipple   PipeUse = "nipple" // short pipe between two fittings
)

// BuiltPipe is one uncut length of pipe in its place.
type BuiltPipe struct {
	Use    PipeUse
	Pipe   hydraulics.Pipe // as it is bought: a measured inside diameter only where no size is named
	Length unit.Length
	// Outlet, Piece and Part count from 0: the outlet of the manifold, the piece of its lateral, the part of a piece
	// that is longer than a stick. They are -1 where they do not apply.
	Outlet, Piece, Part int
	// Start is the distance of its near end from the tee, or from the end of the manifold that positions count from.
	Start unit.Length
	// Order is the place of a lateral's pipe counted from the tee, from 1; 0 elsewhere.
	Order int
	Label string // that the layout gave to the piece
	Holes []Hole
	Sheet int    // its drill sheet in the layout; -1 without holes
	Saved string // id of the stored pipe that it is made from; empty for new pipe
}

// Hole is one drilled position of a pipe, counted from the end nearer the tee.
type Hole struct {
	Set     int // of the piece, from 0
	At      unit.Length
	Pattern *hydraulics.HolePattern
	Plugged int // holes of the set that stay closed
}

// FittingKind names a fitting.
type FittingKind string

// The fittings of a layout.
const (
	FittingTee            FittingKind = "tee"
	FittingCross          FittingKind = "cross"
	FittingElbow          FittingKind = "elbow"
	FittingCoupling       FittingKind = "coupling"
	FittingFlushCap       FittingKind = "flush_cap" // opens for flushing, never cemented
	FittingPlug           FittingKind = "plug"      // closes the stub of a closed outlet
	FittingHoseConnection FittingKind = "hose_connection"
	FittingValve          FittingKind = "valve"
	FittingFilter         FittingKind = "filter"
	FittingUnion          FittingKind = "union" // the seasonal joint
)

// ports is how many pipe ends a fitting takes.
var ports = map[FittingKind]int{
	FittingTee: 3, FittingCross: 4, FittingElbow: 2, FittingCoupling: 2, FittingFlushCap: 1, FittingPlug: 1,
	FittingHoseConnection: 1, FittingValve: 2, FittingFilter: 2, FittingUnion: 2,
}

// Ports returns how many pipe ends the fitting takes.
func (k FittingKind) Ports() int { return ports[k] }

// Fitting is one fitting. Size is the trade size of its run, Branch that of its other ports where they differ.
type Fitting struct {
	Kind         FittingKind
	Size, Branch string
}

// Joint joins one end of a pipe (0 near, 1 far) to a fitting.
type Joint struct {
	Pipe, End, Fitting int
	Cemented           bool
}

// end names one end of a pipe.
type end struct{ pipe, end int }

// defaultStub is the length of stubs and nipples where nobody gave another; common practice, no source.
var defaultStub = map[Ruler]unit.Length{RulerInches: unit.Inches(4), RulerMillimeters: unit.Millimeters(100)}

const (
	// socketDepth is how far a pipe of garden size goes into a fitting, with some to spare; own judgement.
	socketDepth = unit.Length(0.025)
	// wholeStick is how much longer than a stick a piece may be described that is meant to be one: people write 3.05 m for
	// 10 ft; own judgement.
	wholeStick = unit.Length(0.005)
	// samePlace is the distance under which tees of a manifold are one fitting.
	samePlace = unit.Length(0.001)
)

// builder puts an assembly together.
type builder struct {
	Assembly
	layout   *hydraulics.Layout
	longest  func(hydraulics.Pipe) unit.Length
	stub     unit.Length
	takeOut  unit.Length
	warnings []Warning
}

// boughtAs is the pipe as a shop knows it: a measured bore matters only where no size is named.
func boughtAs(p hydraulics.Pipe) hydraulics.Pipe {
	if p.Size != "" {
		p.InsideDiameter = 0
	}
	return p
}

// SizeName is the trade size, or the inside diameter where none is named.
func SizeName(p hydraulics.Pipe) string {
	if p.Size != "" {
		return p.Size
	}
	return fmt.Sprintf("%.1f mm", p.InsideDiameter.Millimeters())
}

func (b *builder) pipe(p BuiltPipe) int {
	p.Sheet = -1
	b.Pipes = append(b.Pipes, p)
	return len(b.Pipes) - 1
}

// short adds a stub or nipple of the manifold's pipe.
func (b *builder) short(use PipeUse, outlet int) int {
	return b.pipe(BuiltPipe{
		Use: use, Pipe: boughtAs(b.layout.Manifold.Pipe), Length: b.stub, Outlet: outlet, Piece: -1, Part: -1,
	})
}

// fitting adds a fitting with a joint at each given end.
func (b *builder) fitting(kind FittingKind, size string, ends ...end) int {
	f := Fitting{Kind: kind, Size: size}
	for _, e := range ends {
		if s := SizeName(b.Pipes[e.pipe].Pipe); s != size {
			f.Branch = s
		}
	}
	b.Fittings = append(b.Fittings, f)
	for _, e := range ends {
		b.join(e, len(b.Fittings)-1)
	}
	return len(b.Fittings) - 1
}

func (b *builder) join(e end, fitting int) {
	b.Joints = append(b.Joints, Joint{Pipe: e.pipe, End: e.end, Fitting: fitting, Cemented: b.cemented(e, fitting)})
}

// cemented is common practice, no source: manifold and valve side are glued, laterals pushed together where the layout
// says so, what opens for flushing is never glued, and a stub is only pushed in, so that its outlet can be opened again.
func (b *builder) cemented(e end, fitting int) bool {
	switch {
	case b.Fittings[fitting].Kind == FittingFlushCap:
		return false
	case b.Pipes[e.pipe].Use == UseLateral:
		return !b.layout.PressFit
	case b.Pipes[e.pipe].Use == UseStub && b.Fittings[fitting].Kind != FittingPlug:
		return !b.layout.PressFit
	}
	return true
}

// place is one point of the manifold with everything that meets there.
type place struct {
	at   unit.Length
	ends []end // manifold pipes first
	feed bool
}

// assemble builds the layout. The feed chain is hose connection, valve, filter, union; the union parts what is taken up
// from what stays.
func (b *builder) assemble() {
	places := b.places()
	b.manifold(places)
	for i := range b.layout.Manifold.Outlets {
		p := b.placeOf(places, b.layout.Manifold.Outlets[i].At)
		p.ends = append(p.ends, b.outlet(i))
	}
	union := b.feedChain()
	for i := range places {
		b.meet(&places[i], union)
	}
}

// places lists the points of the manifold in order.
func (b *builder) places() []place {
	m := &b.layout.Manifold
	points := []unit.Length{0, m.Length, m.FeedAt}
	for i := range m.Outlets {
		points = append(points, m.Outlets[i].At)
	}
	slices.Sort(points)
	var out []place
	for _, p := range points {
		if len(out) == 0 || p-out[len(out)-1].at > samePlace {
			out = append(out, place{at: p})
		}
	}
	b.placeOf(out, m.FeedAt).feed = true
	return out
}

func (b *builder) placeOf(places []place, x unit.Length) *place {
	n := slices.IndexFunc(places, func(p place) bool { return x-p.at <= samePlace })
	return &places[n]
}

// manifold lays pipe between the points.
func (b *builder) manifold(places []place) {
	for i := 0; i+1 < len(places); i++ {
		from, to := places[i].at, places[i+1].at
		length := to - from - 2*b.takeOut
		if length < socketDepth {
			b.warnings = append(b.warnings, Warning{
				Code: WarnFittingsClose, Path: "manifold", Value: float64(to - from), Limit: float64(socketDepth + 2*b.takeOut),
			})
			length = max(length, leastPiece)
		}
		run := b.run(BuiltPipe{Use: UseManifold, Pipe: boughtAs(b.layout.Manifold.Pipe), Outlet: -1, Piece: -1, Part: -1, Start: from}, length)
		places[i].ends = append(places[i].ends, run[0])
		places[i+1].ends = append(places[i+1].ends, run[1])
	}
}

// run lays a plain pipe, in several parts where it is longer than a stick, and returns its two ends.
func (b *builder) run(p BuiltPipe, length unit.Length) [2]end {
	var ends [2]end
	near := p.Start
	for n, part := range split(length, nil, b.longest(p.Pipe)) {
		p.Start, p.Length = near+part.from, part.to-part.from
		i := b.pipe(p)
		if n == 0 {
			ends[0] = end{i, 0}
		} else {
			b.fitting(FittingCoupling, SizeName(p.Pipe), ends[1], end{i, 0})
		}
		ends[1] = end{i, 1}
	}
	return ends
}

// stretch is part of a pipe.
type stretch struct{ from, to unit.Length }

// split divides a length into parts no longer than a stick. A cut that would fall into a hole or a socket's reach of it
// is moved back to the middle between two holes. A piece that is a hair longer than a stick is a whole stick.
func split(length unit.Length, holes []Hole, longest unit.Length) []stretch {
	if over := length - longest; over > 0 && over <= wholeStick && (len(holes) == 0 || holes[len(holes)-1].At <= longest) {
		return []stretch{{0, longest}}
	}
	var parts []stretch
	from := unit.Length(0)
	for length-from > longest+1e-9 {
		to := from + longest
		if !clearOfHoles(to, holes) {
			for i := len(holes) - 1; i > 0; i-- {
				if middle := (holes[i-1].At + holes[i].At) / 2; middle <= from+longest && middle > from {
					to = middle
					break
				}
			}
		}
		parts = append(parts, stretch{from, to})
		from = to
	}
	return append(parts, stretch{from, length})
}

func clearOfHoles(x unit.Length, holes []Hole) bool {
	return !slices.ContainsFunc(holes, func(h Hole) bool { return h.At > x-socketDepth && h.At < x+socketDepth })
}

// outlet builds what hangs on an outlet and returns the end that goes into the tee.
func (b *builder) outlet(i int) end {
	o := &b.layout.Manifold.Outlets[i]
	if o.Plugged || o.Lateral == nil {
		if o.Lateral != nil {
			b.warnings = append(b.warnings, Warning{Code: WarnClosedOutlet, Path: outletPath(i), Count: len(o.Lateral.Pieces)})
		}
		stub := b.short(UseStub, i)
		b.fitting(FittingPlug, SizeName(b.Pipes[stub].Pipe), end{stub, 1})
		return end{stub, 0}
	}
	return b.lateral(i, o.Lateral)
}

func outletPath(i int) string { return fmt.Sprintf("manifold.outlets[%d].lateral", i) }

func (b *builder) lateral(outlet int, l *hydraulics.Lateral) end {
	var first, last end
	start, order := unit.Length(0), 0
	for i := range l.Pieces {
		p := &l.Pieces[i]
		holes := holesOf(l, i)
		pipe := boughtAs(p.Pipe)
		parts := split(p.Length, holes, b.longest(pipe))
		if len(parts) > 1 {
			b.warnings = append(b.warnings, Warning{
				Code: WarnPieceSplit, Path: fmt.Sprintf("%s.pieces[%d]", outletPath(outlet), i), Value: float64(p.Length),
				Limit: float64(b.longest(pipe)), Count: len(parts),
			})
		}
		for n, part := range parts {
			order++
			built := BuiltPipe{
				Use: UseLateral, Pipe: pipe, Length: part.to - part.from, Outlet: outlet, Piece: i, Part: n, Start: start + part.from,
				Order: order, Label: p.Label, Holes: within(holes, part, n == len(parts)-1),
			}
			k := b.pipe(built)
			if order == 1 {
				first = end{k, 0}
			} else {
				b.fitting(FittingCoupling, SizeName(b.Pipes[last.pipe].Pipe), last, end{k, 0})
			}
			last = end{k, 1}
		}
		start += p.Length
	}
	b.fitting(FittingFlushCap, SizeName(b.Pipes[last.pipe].Pipe), last)
	return first
}

// holesOf lists the hole sets of a piece.
func holesOf(l *hydraulics.Lateral, piece int) []Hole {
	p := &l.Pieces[piece]
	var holes []Hole
	for s := range p.Pattern.Sets(p.Length) {
		h := Hole{Set: s, At: min(p.Pattern.Position(s), p.Length), Pattern: p.Pattern}
		for _, g := range l.Plugged {
			if g.Piece == piece && g.Set == s {
				h.Plugged = g.Holes
			}
		}
		holes = append(holes, h)
	}
	return holes
}

// within returns the holes of a part, counted from its near end.
func within(holes []Hole, part stretch, last bool) []Hole {
	var out []Hole
	for _, h := range holes {
		if h.At >= part.from && (h.At < part.to || last) {
			h.At -= part.from
			out = append(out, h)
		}
	}
	return out
}

// feedChain builds hose connection, valve, filter and union, with nipples between them, and returns the union, one of
// whose ports is still free.
func (b *builder) feedChain() int {
	size := SizeName(boughtAs(b.layout.Manifold.Pipe))
	chain := []FittingKind{FittingHoseConnection, FittingValve}
	if b.layout.Feed.Filter != nil {
		chain = append(chain, FittingFilter)
	} else {
		b.warnings = append(b.warnings, Warning{Code: WarnNoFilter, Path: "feed.filter"})
	}
	chain = append(chain, FittingUnion)
	f := b.fitting(chain[0], size)
	for _, kind := range chain[1:] {
		n := b.short(UseNipple, -1)
		b.join(end{n, 0}, f)
		f = b.fitting(kind, size, end{n, 1})
	}
	return f
}

// meet joins everything at one point of the manifold.
func (b *builder) meet(p *place, union int) {
	size := SizeName(boughtAs(b.layout.Manifold.Pipe))
	if p.feed {
		if len(p.ends) == 1 {
			b.join(p.ends[0], union)
			return
		}
		n := b.short(UseNipple, -1)
		b.join(end{n, 0}, union)
		p.ends = append(p.ends, end{n, 1})
	}
	const mostPorts = 4
	for len(p.ends) > mostPorts {
		n := b.short(UseNipple, -1)
		b.fitting(FittingCross, size, append(slices.Clone(p.ends[:mostPorts-1]), end{n, 0})...)
		p.ends = append([]end{{n, 1}}, p.ends[mostPorts-1:]...)
	}
	b.fitting([]FittingKind{FittingFlushCap, FittingElbow, FittingTee, FittingCross}[len(p.ends)-1], size, p.ends...)
}
