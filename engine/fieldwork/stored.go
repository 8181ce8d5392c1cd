package fieldwork

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/unit"
)

// StoredPipe is a pipe kept from an earlier year.
type StoredPipe struct {
	ID    string
	Owner string // empty: the garden's, for everybody
	Site  *int   // the one site that it is reserved for; nil: any of its owner's
	Piece hydraulics.Piece
	// Plugged are sets of its pattern with holes that no longer open; Piece is 0.
	Plugged []hydraulics.PluggedHoles
	Notes   string
	Unfit   bool // cracked, bent or otherwise not to be used
}

// Reservation is a stored pipe set aside for a place of a layout.
type Reservation struct {
	Stored     string
	Site, Pipe int  // of the request, and of its assembly
	Reversed   bool // its old far end goes to the tee
	NewHoles   int  // still to be drilled
	PluggedOff int  // old holes to close
	// CutOffTee and CutOff are cut off the end that goes to the tee, and off the other.
	CutOffTee, CutOff unit.Length
	AsItIs            bool // nothing to drill, close or cut
	HolesNeeded       int
	Notes             string // of the stored pipe: wear, and what else to know
}

// How far an old hole may be off its new place, and off its diameter, and still serve; own judgement: 3 mm is within
// the wet mark of a hole, 0.1 mm within what drilled holes vary by.
const (
	holePlaceTolerance = 0.003  // [m]
	holeSizeTolerance  = 0.0001 // [m]
	lengthTolerance    = 0.002  // [m] a pipe that is this much short still serves
	centimeters        = 100
)

// effort is what a match costs, compared part by part: holes to drill, holes to close, centimetres of pipe used up
// beyond the piece (or of new pipe). Being ordered and added part by part, it serves an assignment as a number does.
type effort [3]int64

func (a effort) plus(b effort) effort  { return effort{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }
func (a effort) minus(b effort) effort { return effort{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }

func (a effort) less(b effort) bool {
	for i := range a {
		if a[i] != b[i] {
			return a[i] < b[i]
		}
	}
	return false
}

// wantedPipe is a lateral's pipe for which a stored one may serve.
type wantedPipe struct {
	site, pipe int
	owners     []string
	built      *BuiltPipe
}

// fit is how a stored pipe would serve; possible is false where it can't.
type fit struct {
	effort   effort
	reversed bool
	from     unit.Length // cut off the end that goes to the tee
	possible bool
}

func holesOn(p *BuiltPipe) int {
	n := 0
	for _, h := range p.Holes {
		n += h.Pattern.HolesPerSet - h.Plugged
	}
	return n
}

// newPipe is the effort without a stored pipe.
func newPipe(p *BuiltPipe) effort {
	return effort{int64(holesOn(p)), 0, int64(math.Ceil(float64(p.Length) * centimeters))}
}

// mayServe says whether a place may have a stored pipe.
func (s *StoredPipe) mayServe(w *wantedPipe) bool {
	return !s.Unfit && (s.Owner == "" || slices.Contains(w.owners, s.Owner)) && (s.Site == nil || *s.Site == w.site)
}

// fitOf tries a stored pipe both ways round; what is too long is cut off one end, or off both where more holes then fall into
// place. A match that closes more old holes than it saves new ones is no help.
func fitOf(s *StoredPipe, p *BuiltPipe) fit {
	if boughtAs(s.Piece.Pipe) != p.Pipe || float64(s.Piece.Length) < float64(p.Length)-lengthTolerance || !sameOutlets(s.Piece.Pattern, p) {
		return fit{}
	}
	used := max(0, int64(math.Round(float64(s.Piece.Length-p.Length)*centimeters)))
	var best fit
	for _, reversed := range []bool{false, true} {
		old := oldHoles(s, reversed)
		for _, from := range shifts(old, p, max(0, s.Piece.Length-p.Length)) {
			drill, plug := compareHoles(old, p, from)
			if saved := int64(holesOn(p)) - drill; plug > saved {
				continue
			}
			if e := (effort{drill, plug, used}); !best.possible || e.less(best.effort) {
				best = fit{e, reversed, from, true}
			}
		}
	}
	return best
}

// mostShifts is how many ways to lay a place along a longer pipe are tried; own judgement: with even spacings the best is among the
// first.
const mostShifts = 30

// shifts lists how much may be cut off the tee end: nothing, all that is too long, and what brings most holes into place.
func shifts(old []oldHole, p *BuiltPipe, spare unit.Length) []unit.Length {
	out := []unit.Length{0}
	if spare <= lengthTolerance {
		return out
	}
	out = append(out, spare)
	type shift struct {
		by    unit.Length
		holes int
	}
	var tried []shift
	index := map[int64]int{}
	const grain = 500_000 // nm
	for i := range old {
		for k := range p.Holes {
			by := old[i].at - p.Holes[k].At
			if by <= lengthTolerance || by >= spare-lengthTolerance {
				continue
			}
			key := nanometers(by) / grain
			n, seen := index[key]
			if !seen {
				n = len(tried)
				index[key] = n
				tried = append(tried, shift{by: by})
			}
			tried[n].holes++
		}
	}
	slices.SortFunc(tried, func(a, b shift) int { return cmp.Or(cmp.Compare(b.holes, a.holes), cmp.Compare(a.by, b.by)) })
	for _, t := range tried[:min(len(tried), mostShifts)] {
		out = append(out, t.by)
	}
	return out
}

// sameOutlets says that old and new holes are of one kind.
func sameOutlets(old *hydraulics.HolePattern, p *BuiltPipe) bool {
	if old == nil || len(p.Holes) == 0 {
		return old == nil || old.Rated == nil
	}
	pattern := p.Holes[0].Pattern
	if (old.Rated == nil) != (pattern.Rated == nil) {
		return false
	}
	if old.Rated != nil {
		return *old.Rated == *pattern.Rated && old.Facing == pattern.Facing && old.Sides == pattern.Sides
	}
	return math.Abs(float64(old.HoleDiameter-pattern.HoleDiameter)) <= holeSizeTolerance &&
		old.Facing == pattern.Facing && old.Sides == pattern.Sides
}

// compareHoles counts the holes to drill and to close when a length is cut off the tee end, walking along both pipes.
func compareHoles(old []oldHole, p *BuiltPipe, from unit.Length) (drill, plug int64) {
	i := 0
	for i < len(old) && float64(old[i].at-from) < -holePlaceTolerance {
		i++ // cut off
	}
	for _, h := range p.Holes {
		need := int64(h.Pattern.HolesPerSet - h.Plugged)
		for i < len(old) && float64(old[i].at-from) < float64(h.At)-holePlaceTolerance {
			plug += old[i].open
			i++
		}
		have := int64(0)
		if i < len(old) && float64(old[i].at-from) <= float64(h.At)+holePlaceTolerance {
			have = old[i].open
			i++
		}
		drill += max(0, need-have)
		plug += max(0, have-need)
	}
	for ; i < len(old) && old[i].at-from < p.Length; i++ {
		plug += old[i].open
	}
	return drill, plug
}

// oldHole is a hole set of a stored pipe with its open holes.
type oldHole struct {
	at   unit.Length
	open int64
}

// oldHoles lists the hole sets of a stored pipe from the end that goes to the tee.
func oldHoles(s *StoredPipe, reversed bool) []oldHole {
	n := s.Piece.Pattern.Sets(s.Piece.Length)
	holes := make([]oldHole, n)
	for i := range holes {
		holes[i] = oldHole{s.Piece.Pattern.Position(i), int64(s.Piece.Pattern.HolesPerSet)}
	}
	for _, g := range s.Plugged {
		holes[g.Set].open = max(0, holes[g.Set].open-int64(g.Holes))
	}
	if reversed {
		for i := range holes {
			holes[i].at = s.Piece.Length - holes[i].at
		}
		slices.Reverse(holes)
	}
	return holes
}

// reserve matches stored pipes with wanted ones: least new drilling, then fewest holes to close, then least pipe used
// up. The match is exact over all pieces together. Each stored pipe takes the place where it spares most, or none: the sum
// of what is spared differs from that of what is left to do by a constant.
func reserve(stored []StoredPipe, wanted []wantedPipe) []Reservation {
	fits := make([][]fit, len(stored))
	var places []int // wanted pipes that some stored one fits
	alike := map[string]int{}
	kinds := make([]int, len(wanted)) // the first wanted pipe that is like a wanted one
	for w := range wanted {
		key := wantedKey(wanted[w].built)
		if _, seen := alike[key]; !seen {
			alike[key] = w
		}
		kinds[w] = alike[key]
	}
	known := make([]map[int]fit, len(stored))
	for w := range wanted {
		some := false
		for i := range stored {
			if known[i] == nil {
				known[i] = map[int]fit{}
			}
			var f fit
			if stored[i].mayServe(&wanted[w]) {
				var seen bool
				if f, seen = known[i][kinds[w]]; !seen {
					f = fitOf(&stored[i], wanted[w].built)
					known[i][kinds[w]] = f
				}
			}
			fits[i] = append(fits[i], f)
			some = some || f.possible
		}
		if some {
			places = append(places, w)
		}
	}
	if len(places) == 0 {
		return nil
	}
	costs := make([][]effort, len(stored))
	for i := range stored {
		costs[i] = make([]effort, len(places)+len(stored)) // the last ones: not used, which spares nothing
		for k, w := range places {
			if f := fits[i][w]; f.possible {
				costs[i][k] = f.effort.minus(newPipe(wanted[w].built))
			}
		}
	}
	taken := make(map[int]int, len(stored)) // stored pipe of a place
	for i, k := range assign(costs) {
		if k < len(places) && costs[i][k].less(effort{}) {
			taken[places[k]] = i
		}
	}
	var out []Reservation
	for _, w := range places {
		if i, ok := taken[w]; ok {
			out = append(out, reservation(&stored[i], &wanted[w], fits[i][w]))
		}
	}
	return out
}

// wantedKey is equal for pipes that a stored one fits alike.
func wantedKey(p *BuiltPipe) string {
	var key strings.Builder
	fmt.Fprint(&key, p.Pipe, nanometers(p.Length))
	if len(p.Holes) > 0 {
		key.WriteString(drillKey(p))
	}
	for _, h := range p.Holes {
		fmt.Fprint(&key, " ", h.Plugged)
	}
	return key.String()
}

func reservation(s *StoredPipe, w *wantedPipe, f fit) Reservation {
	r := Reservation{
		Stored: s.ID, Site: w.site, Pipe: w.pipe, Reversed: f.reversed, NewHoles: int(f.effort[0]), PluggedOff: int(f.effort[1]),
		HolesNeeded: holesOn(w.built), Notes: s.Notes,
	}
	if cut := s.Piece.Length - w.built.Length; float64(cut) > lengthTolerance {
		r.CutOffTee, r.CutOff = f.from, max(0, cut-f.from)
		if r.CutOff <= lengthTolerance {
			r.CutOff = 0
		}
	}
	r.AsItIs = r.NewHoles == 0 && r.PluggedOff == 0 && r.CutOffTee == 0 && r.CutOff == 0
	return r
}

// leastRest is the shortest end that is worth keeping; own judgement.
const leastRest = unit.Length(0.15)

// rest returns the longest plain stretch of what is cut off a stored pipe, with a saw cut beside it and a hole's reach of old holes.
func (s *StoredPipe) rest(r *Reservation, kerf unit.Length) (unit.Length, bool) {
	old := oldHoles(s, r.Reversed)
	longest := unit.Length(0)
	for _, end := range []stretch{{0, r.CutOffTee - kerf}, {s.Piece.Length - r.CutOff + kerf, s.Piece.Length}} {
		from := end.from
		for _, h := range old {
			if h.at > end.from-socketDepth && h.at < end.to+socketDepth {
				longest, from = max(longest, min(h.at-socketDepth, end.to)-from), max(from, h.at+socketDepth)
			}
		}
		longest = max(longest, end.to-from)
	}
	return longest, longest >= leastRest
}

// assign returns for each row the column that makes the sum least, each column taken once at most. There are at least
// as many columns as rows. Source: H. W. Kuhn, Nav. Res. Logist. Q. 2 (1955) 83–97, with shortest augmenting paths.
func assign(costs [][]effort) []int {
	rows, columns := len(costs), len(costs[0])
	u, v := make([]effort, rows+1), make([]effort, columns+1)
	rowOf, way := make([]int, columns+1), make([]int, columns+1)
	for i := 1; i <= rows; i++ {
		rowOf[0] = i
		least, known, used := make([]effort, columns+1), make([]bool, columns+1), make([]bool, columns+1)
		j := 0
		for rowOf[j] != 0 {
			used[j] = true
			next, delta := -1, effort{}
			for k := 1; k <= columns; k++ {
				if used[k] {
					continue
				}
				reduced := costs[rowOf[j]-1][k-1].minus(u[rowOf[j]]).minus(v[k])
				if !known[k] || reduced.less(least[k]) {
					least[k], known[k], way[k] = reduced, true, j
				}
				if next < 0 || least[k].less(delta) {
					next, delta = k, least[k]
				}
			}
			for k := range used {
				if used[k] {
					u[rowOf[k]] = u[rowOf[k]].plus(delta)
					v[k] = v[k].minus(delta)
				} else {
					least[k] = least[k].minus(delta)
				}
			}
			j = next
		}
		for ; j != 0; j = way[j] {
			rowOf[j] = rowOf[way[j]]
		}
	}
	column := make([]int, rows)
	for k := 1; k <= columns; k++ {
		if rowOf[k] > 0 {
			column[rowOf[k]-1] = k - 1
		}
	}
	return column
}
