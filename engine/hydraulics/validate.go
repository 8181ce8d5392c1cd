package hydraulics

import (
	"fmt"
	"math"
)

// The sizes outside which an entry is refused as a slip of the pen. They are wide: a garden's pipes lie far inside.
const (
	mostPipeLength   = 200   // [m]
	mostHoseLength   = 300   // [m]
	leastBore        = 3     // [mm]
	mostBore         = 150   // [mm]
	leastHole        = 0.3   // [mm]
	mostHole         = 12    // [mm]
	leastSpacing     = 0.005 // [m]
	mostSpacing      = 50    // [m]
	mostRise         = 100   // [m]
	mostK            = 1e7
	mostHolesPerSet  = 24
	mostPieces       = 200
	mostOutlets      = 500
	mostSets         = 20000 // of one layout
	leastCoefficient = 0.3
	mostCoefficient  = 1
	leastExponent    = 0.05 // under it an outlet is regulated: exponent 0
	mostExponent     = 1
)

// checker collects faults.
type checker struct {
	faults Faults
	sets   int
}

func (c *checker) add(path string, code FaultCode) {
	c.faults = append(c.faults, Fault{Path: path, Code: code})
}

func (c *checker) limit(path string, code FaultCode, got, least, most float64) {
	c.faults = append(c.faults, Fault{Path: path, Code: code, Got: got, Least: least, Most: most})
}

// within refuses NaN, infinities and numbers outside the range, and says whether v passed.
func (c *checker) within(path string, v, least, most float64) bool {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		c.add(path, FaultNotFinite)
		return false
	}
	if v < least || v > most {
		c.limit(path, FaultOutOfRange, v, least, most)
		return false
	}
	return true
}

func (c *checker) err() error {
	if len(c.faults) == 0 {
		return nil
	}
	return c.faults
}

// Validate returns nil or Faults with everything that is wrong, each with the path of its field.
func (l Layout) Validate() error {
	var c checker
	c.feed(&l.Feed)
	c.manifold(&l.Manifold)
	return c.err()
}

func (c *checker) feed(f *Feed) {
	hose := c.within("feed.hose_length_m", float64(f.HoseLength), 0, mostHoseLength)
	if f.HoseDiameter != 0 || (hose && f.HoseLength > 0) {
		c.within("feed.hose_diameter_mm", f.HoseDiameter.Millimeters(), leastBore, mostBore)
	}
	c.within("feed.fittings_k", f.FittingsK, 0, mostK)
	c.within("feed.valve_k", f.ValveK, 0, mostK)
	if f.Filter != nil {
		c.within("feed.filter.flow_l_per_min", f.Filter.Flow.LitersPerMinute(), 0.1, 1000)
		c.within("feed.filter.loss_m", float64(f.Filter.Loss), 0, 100)
	}
	c.within("feed.rise_m", float64(f.Rise), -mostRise, mostRise)
}

func (c *checker) manifold(m *Manifold) {
	c.pipe("manifold.pipe", m.Pipe)
	long := c.within("manifold.length_m", float64(m.Length), 0, mostPipeLength)
	if long {
		c.place("manifold.feed_at_m", float64(m.FeedAt), float64(m.Length))
		c.within("manifold.rise_m", float64(m.Rise), -float64(m.Length), float64(m.Length))
	}
	c.within("manifold.tee_run_k", m.TeeRunK, 0, mostK)
	c.within("manifold.tee_branch_k", m.TeeBranchK, 0, mostK)
	if len(m.Outlets) == 0 || len(m.Outlets) > mostOutlets {
		c.limit("manifold.outlets", FaultOutOfRange, float64(len(m.Outlets)), 1, mostOutlets)
	}
	for i := range m.Outlets {
		c.outlet(fmt.Sprintf("manifold.outlets[%d]", i), &m.Outlets[i], m, long)
	}
	if c.sets > mostSets {
		c.limit("manifold.outlets", FaultTooManyHoles, float64(c.sets), 0, mostSets)
	}
}

func (c *checker) outlet(path string, o *Outlet, m *Manifold, long bool) {
	if long {
		c.place(path+".at_m", float64(o.At), float64(m.Length))
	}
	c.within(path+".rise_m", float64(o.Rise), -mostRise, mostRise)
	switch {
	case o.Lateral != nil:
		c.lateral(path+".lateral", o.Lateral)
	case !o.Plugged:
		c.add(path+".lateral", FaultMissing)
	}
}

// place refuses a position that does not lie on a pipe of the given length.
func (c *checker) place(path string, at, length float64) {
	if !c.within(path, at, 0, mostPipeLength) {
		return
	}
	if at > length+positionSlack {
		c.limit(path, FaultBeyondPipe, at, 0, length)
	}
}

func (c *checker) pipe(path string, p Pipe) {
	published, ok := p.Published()
	if p.InsideDiameter == 0 {
		if !ok {
			c.add(path+".size", FaultUnknownPipe)
		}
		return
	}
	d := p.InsideDiameter.Millimeters()
	if !c.within(path+".inside_diameter_mm", d, leastBore, mostBore) || !ok {
		return
	}
	if outside := published.OutsideDiameter.Millimeters(); d >= outside {
		c.limit(path+".inside_diameter_mm", FaultBoreTooLarge, d, leastBore, outside)
	}
}

func (c *checker) lateral(path string, l *Lateral) {
	if len(l.Pieces) == 0 || len(l.Pieces) > mostPieces {
		c.limit(path+".pieces", FaultOutOfRange, float64(len(l.Pieces)), 1, mostPieces)
	}
	good := len(c.faults)
	for i := range l.Pieces {
		c.piece(fmt.Sprintf("%s.pieces[%d]", path, i), &l.Pieces[i])
	}
	sound := len(c.faults) == good
	if length := float64(l.Length()); sound {
		c.within(path+".rise_m", float64(l.Rise), -length, length)
	} else {
		c.within(path+".rise_m", float64(l.Rise), -mostRise, mostRise)
	}
	c.within(path+".joint_k", l.JointK, 0, mostK)
	c.within(path+".hole_edge_k", l.HoleEdgeK, 0, mostK)
	if sound {
		c.plugged(path, l)
	}
}

func (c *checker) piece(path string, p *Piece) {
	c.pipe(path+".pipe", p.Pipe)
	long := c.within(path+".length_m", float64(p.Length), 0.01, mostPipeLength)
	if p.Pattern != nil {
		c.pattern(path+".pattern", p, long)
	}
}

func (c *checker) pattern(path string, piece *Piece, long bool) {
	p := piece.Pattern
	spaced := true
	if p.Count != 1 || p.Spacing != 0 {
		spaced = c.within(path+".spacing_m", float64(p.Spacing), leastSpacing, mostSpacing)
	}
	first := c.within(path+".first_offset_m", float64(p.FirstOffset), 0, mostPipeLength)
	counted := c.within(path+".count", float64(p.Count), 0, mostSets)
	c.within(path+".holes_per_set", float64(p.HolesPerSet), 1, mostHolesPerSet)
	c.within(path+".sides", float64(p.Sides), 1, math.Max(1, math.Min(2, float64(p.HolesPerSet))))
	if p.Facing != FacingUp && p.Facing != FacingSide && p.Facing != FacingDown {
		c.add(path+".facing", FaultUnknownWord)
	}
	if long && spaced && first && counted {
		c.holesOnPiece(path, piece)
	}
	if p.Rated != nil {
		c.rated(path, p)
		return
	}
	c.within(path+".discharge_coefficient", p.DischargeCoefficient, leastCoefficient, mostCoefficient)
	d := p.HoleDiameter.Millimeters()
	if !c.within(path+".hole_diameter_mm", d, leastHole, mostHole) {
		return
	}
	if bore := piece.Pipe.Bore().Millimeters(); bore >= leastBore && d > bore/2 {
		c.limit(path+".hole_diameter_mm", FaultOutOfRange, d, leastHole, bore/2)
	}
	if spaced && p.Count != 1 && float64(p.Spacing)*1000 <= d {
		c.limit(path+".spacing_m", FaultHolesOverlap, float64(p.Spacing), d/1000, mostSpacing)
	}
}

// holesOnPiece refuses holes past the end of their piece.
func (c *checker) holesOnPiece(path string, piece *Piece) {
	p := piece.Pattern
	n := p.Sets(piece.Length)
	c.sets += n
	if float64(p.FirstOffset) > float64(piece.Length)+positionSlack {
		c.limit(path+".first_offset_m", FaultBeyondPipe, float64(p.FirstOffset), 0, float64(piece.Length))
		return
	}
	if float64(p.Position(n-1)) > float64(piece.Length)+positionSlack {
		room := *p
		room.Count = 0
		c.limit(path+".count", FaultBeyondPipe, float64(p.Count), 1, float64(room.Sets(piece.Length)))
	}
}

func (c *checker) rated(path string, p *HolePattern) {
	c.within(path+".rated.flow_l_per_h", p.Rated.Flow.LitersPerHour(), 0.05, 5000)
	c.within(path+".rated.head_m", float64(p.Rated.Head), 0.05, 100)
	if p.Rated.Exponent != 0 {
		c.within(path+".rated.exponent", p.Rated.Exponent, leastExponent, mostExponent)
	}
	if p.HoleDiameter != 0 {
		c.add(path+".hole_diameter_mm", FaultNotAllowed)
	}
	if p.DischargeCoefficient != 0 {
		c.add(path+".discharge_coefficient", FaultNotAllowed)
	}
}

func (c *checker) plugged(path string, l *Lateral) {
	type place struct{ piece, set int }
	seen := make(map[place]bool, len(l.Plugged))
	for i, g := range l.Plugged {
		at := fmt.Sprintf("%s.plugged[%d]", path, i)
		if g.Piece < 0 || g.Piece >= len(l.Pieces) {
			c.limit(at+".piece", FaultNoSuchHole, float64(g.Piece), 0, float64(len(l.Pieces)-1))
			continue
		}
		p := l.Pieces[g.Piece].Pattern
		n := p.Sets(l.Pieces[g.Piece].Length)
		if g.Set < 0 || g.Set >= n {
			c.limit(at+".set", FaultNoSuchHole, float64(g.Set), 0, float64(n-1))
			continue
		}
		if g.Holes < 1 || g.Holes > p.HolesPerSet {
			c.limit(at+".holes", FaultNoSuchHole, float64(g.Holes), 1, float64(p.HolesPerSet))
		}
		if seen[place{g.Piece, g.Set}] {
			c.add(at, FaultTwice)
		}
		seen[place{g.Piece, g.Set}] = true
	}
}
