package fieldwork

import (
	"fmt"
	"math"
	"strings"

	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/unit"
)

// Ruler says in which steps somebody marks off lengths.
type Ruler string

// The two rulers.
const (
	RulerInches      Ruler = "inches"      // sixteenths of an inch
	RulerMillimeters Ruler = "millimeters" // millimetres
)

// Step returns the finest step of the ruler.
func (r Ruler) Step() unit.Length {
	if r == RulerInches {
		return unit.Inches(1.0 / 16)
	}
	return unit.Millimeters(1)
}

// Mark returns the running mark nearest to a position, in steps. Each mark is rounded by itself from the end of the
// pipe: it is off by half a step at most, however many marks lie before it.
func (r Ruler) Mark(l unit.Length) int { return int(math.Round(float64(l) / float64(r.Step()))) }

// DrillSheet says how to drill all pipes of one kind of piece.
type DrillSheet struct {
	Name    string // A, B, C ...
	Pipe    hydraulics.Pipe
	Length  unit.Length
	Pattern hydraulics.HolePattern // the holes that it shares; spacing and count are the piece's
	Bit     Bit                    // zero for bought outlets
	Marks   []DrillMark
	// Lines is how many lines are drawn along the pipe: a second one for pipes with holes on two sides.
	Lines int
	// Pipes are the pipes of the assembly that are drilled so.
	Pipes []int
}

// DrillMark is one position, from the end nearer the tee.
type DrillMark struct {
	At    unit.Length // as computed
	Steps int         // as marked, in steps of the ruler
	Holes int
}

// Bit is a drill bit that can be bought.
type Bit struct {
	Size  unit.Length
	Steps int // sixty-fourths of an inch or tenths of a millimetre
	// AreaChange is how much larger the hole gets than it should be, as a share of its area; flow changes alike.
	AreaChange float64
}

// Usual bits: common practice, no source. Inch sets go by sixty-fourths from 1/32 in; metric ones by tenths of a
// millimetre to 3 mm and then by halves.
const (
	mostInchBit      = 32 // sixty-fourths
	leastInchBit     = 2
	leastMetricBit   = 5 // tenths of a millimetre
	fineMetricBit    = 30
	mostMetricBit    = 130
	coarseMetricStep = 5
	// bitTolerance is the change of a hole's area that is worth a word: drilled holes vary by as much; own judgement.
	bitTolerance = 0.05
)

// NearestBit returns the usual bit whose hole comes closest in area.
func NearestBit(hole unit.Length, r Ruler) Bit {
	var best Bit
	try := func(steps int, size unit.Length) {
		change := float64(size/hole)*float64(size/hole) - 1
		if best.Steps == 0 || math.Abs(change) < math.Abs(best.AreaChange) {
			best = Bit{Size: size, Steps: steps, AreaChange: change}
		}
	}
	if r == RulerInches {
		for n := leastInchBit; n <= mostInchBit; n++ {
			try(n, unit.Inches(float64(n)/64))
		}
	} else {
		for n := leastMetricBit; n <= mostMetricBit; n++ {
			if n <= fineMetricBit || n%coarseMetricStep == 0 {
				try(n, unit.Millimeters(float64(n)/10))
			}
		}
	}
	const noise = 1e-9
	if math.Abs(best.AreaChange) < noise {
		best.AreaChange = 0
	}
	return best
}

// drillSheets makes a sheet for each distinct piece and notes it in the pipes.
func drillSheets(a *Assembly, r Ruler) ([]DrillSheet, []Warning) {
	var sheets []DrillSheet
	var warnings []Warning
	byContent := map[string]int{}
	for i := range a.Pipes {
		p := &a.Pipes[i]
		if len(p.Holes) == 0 {
			continue
		}
		key := drillKey(p)
		n, seen := byContent[key]
		if !seen {
			n = len(sheets)
			byContent[key] = n
			sheet, w := drillSheet(p, r)
			sheet.Name = letters(n)
			sheets, warnings = append(sheets, sheet), append(warnings, w...)
		}
		p.Sheet = n
		sheets[n].Pipes = append(sheets[n].Pipes, i)
	}
	return sheets, warnings
}

// letters counts A to Z, AA, AB ...
func letters(n int) string {
	const alphabet = 26
	s := string(rune('A' + n%alphabet))
	if n < alphabet {
		return s
	}
	return letters(n/alphabet-1) + s
}

// drillKey is equal for pipes that are drilled alike. Plugged holes are drilled too: with the same bit, then closed.
func drillKey(p *BuiltPipe) string {
	h := p.Holes[0].Pattern
	var key strings.Builder
	fmt.Fprint(&key, p.Pipe, nanometers(p.Length), h.HolesPerSet, h.Sides, h.Facing, nanometers(h.HoleDiameter))
	if h.Rated != nil {
		fmt.Fprint(&key, *h.Rated)
	}
	for _, x := range p.Holes {
		const grain = 1000 // nm: what rounding of sums may differ by
		fmt.Fprint(&key, " ", nanometers(x.At)/grain)
	}
	return key.String()
}

func drillSheet(p *BuiltPipe, r Ruler) (DrillSheet, []Warning) {
	pattern := p.Holes[0].Pattern
	s := DrillSheet{Pipe: p.Pipe, Length: p.Length, Pattern: *pattern, Lines: max(1, pattern.Sides)}
	var warnings []Warning
	path := fmt.Sprintf("%s.pieces[%d]", outletPath(p.Outlet), p.Piece)
	if pattern.Rated == nil {
		s.Bit = NearestBit(pattern.HoleDiameter, r)
		if math.Abs(s.Bit.AreaChange) > bitTolerance {
			warnings = append(warnings, Warning{Code: WarnBitDiffers, Path: path, Value: s.Bit.AreaChange, Limit: bitTolerance})
		}
	}
	last := int(math.Floor(float64(p.Length)/float64(r.Step()) + 1e-6)) // the last step that still lies on the pipe
	covered := Warning{Code: WarnHoleInSocket, Path: path, Value: math.Inf(1), Limit: float64(socketDepth)}
	for _, h := range p.Holes {
		s.Marks = append(s.Marks, DrillMark{At: h.At, Steps: min(r.Mark(h.At), last), Holes: h.Pattern.HolesPerSet})
		if d := min(h.At, p.Length-h.At); d < socketDepth-1e-9 {
			covered.Value, covered.Count = math.Min(covered.Value, float64(d)), covered.Count+1
		}
	}
	if covered.Count > 0 {
		warnings = append(warnings, covered)
	}
	return s, warnings
}

// Spacing returns the distance between neighbouring marks where it is the same all along, else false.
func (s *DrillSheet) Spacing() (unit.Length, bool) {
	if len(s.Marks) < 2 {
		return 0, false
	}
	gap := s.Marks[1].At - s.Marks[0].At
	even := true
	for i := 2; i < len(s.Marks); i++ {
		even = even && math.Abs(float64(s.Marks[i].At-s.Marks[i-1].At-gap)) < 1e-6
	}
	return gap, even
}

// Holes returns the number of holes of one piece.
func (s *DrillSheet) Holes() int {
	n := 0
	for _, m := range s.Marks {
		n += m.Holes
	}
	return n
}

// WrittenOn returns what is written on a pipe near the end that goes to the tee: the layout, the lateral and the place
// in it, counted from 1, and the drill sheet.
func WrittenOn(layout string, p *BuiltPipe, sheets []DrillSheet) string {
	text := fmt.Sprintf("%s %d-%d", layout, p.Outlet+1, p.Order)
	if p.Sheet >= 0 {
		text += " " + sheets[p.Sheet].Name
	}
	if p.Label != "" {
		text += " " + p.Label
	}
	return text
}
