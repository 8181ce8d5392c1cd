package fieldwork

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"rillturn.example/rillturn/engine/unit"
)

// Planting is what is to grow along some laterals of a layout.
type Planting struct {
	Name string // as people call it
	Crop string // code of the crop; "" when it is not in the library
	// Outlets are the laterals that it stands along, counted from 0; none means all.
	Outlets []int
	// From and To bound it along the lateral, from the tee; a zero To is the far end.
	From, To unit.Length
	Spacing  unit.Length // between plants in a row; 0 takes the usual one of the crop, or every wet mark where none is known
	Sides    int         // rows along each pipe: 1, or 2 for both sides
}

// PlantingMarks is where to put the plants of a planting: at wet marks, whichever the pipe makes when it first runs.
type PlantingMarks struct {
	Planting Planting
	Spacing  unit.Length // between plants, as asked; 0: one at every wet mark
	Rows     []PlantRow
	Count    int // plants
	Warnings []Warning
}

// PlantRow is the plants along one side of one lateral.
type PlantRow struct {
	Outlet int
	Side   int // 1 or 2
	Marks  []PlantMark
}

// PlantMark is one wet mark with plants.
type PlantMark struct {
	At     unit.Length // of the wet mark, from the tee
	Plants []unit.Length
}

//go:embed spacing.csv
var spacingText string

type cropSpacing struct {
	crop    string
	spacing unit.Length
}

var usualSpacings = readSpacings(spacingText)

func readSpacings(text string) []cropSpacing {
	r := csv.NewReader(strings.NewReader(text))
	r.Comment = '#'
	r.FieldsPerRecord = 2
	rows, err := r.ReadAll()
	if err != nil || len(rows) < 2 {
		panic(fmt.Sprintf("fieldwork: spacing.csv: %v", err))
	}
	var out []cropSpacing
	for _, row := range rows[1:] {
		inches, err := strconv.ParseFloat(row[1], 64)
		if err != nil || !(inches > 0) {
			panic(fmt.Sprintf("fieldwork: spacing.csv: %q", row))
		}
		out = append(out, cropSpacing{row[0], unit.Inches(inches)})
	}
	return out
}

// UsualSpacing returns the usual distance between plants of a crop along a drilled pipe, where one is known.
func UsualSpacing(crop string) (unit.Length, bool) {
	for _, s := range usualSpacings {
		if s.crop == crop {
			return s.spacing, true
		}
	}
	return 0, false
}

// Limits of plantings; own judgement.
const (
	// spacingTolerance is how far the distance of used marks may be off the plants' before it is worth a word.
	spacingTolerance = 0.25
	// usualTolerance is the same for the usual spacing of the crop.
	usualTolerance   = 0.5
	leastPlantGap    = unit.Length(0.01)
	mostPlantGap     = unit.Length(10)
	mostPlantSpacing = 10 // [m]
)

// wet is one wet mark of a lateral.
type wet struct {
	at  unit.Length
	gap unit.Length // to the next mark of the same piece, or from the one before; 0 for a lone mark
}

// wetMarks lists the open hole sets of a lateral from the tee.
func wetMarks(a *Assembly, outlet int) []wet {
	var marks []wet
	for i := range a.Pipes {
		p := &a.Pipes[i]
		if p.Use != UseLateral || p.Outlet != outlet {
			continue
		}
		for _, h := range p.Holes {
			if h.Plugged < h.Pattern.HolesPerSet {
				marks = append(marks, wet{at: p.Start + h.At, gap: h.Pattern.Spacing})
			}
		}
	}
	return marks
}

// plantingMarks places a planting.
func plantingMarks(a *Assembly, outlets int, p Planting, path string) PlantingMarks {
	m := PlantingMarks{Planting: p, Spacing: p.Spacing}
	usual, known := UsualSpacing(p.Crop)
	if m.Spacing == 0 {
		m.Spacing = usual
	}
	if known && math.Abs(float64(m.Spacing/usual)-1) > usualTolerance {
		m.Warnings = append(m.Warnings, Warning{Code: WarnUnusualSpacing, Path: path, Value: float64(m.Spacing), Limit: float64(usual)})
	}
	if m.Spacing == 0 {
		m.Warnings = append(m.Warnings, Warning{Code: WarnSpacingUnknown, Path: path})
	}
	m.Planting.Outlets = p.Outlets
	if len(p.Outlets) == 0 {
		for i := range outlets {
			m.Planting.Outlets = append(m.Planting.Outlets, i)
		}
	}
	for _, o := range m.Planting.Outlets {
		m.along(wetMarks(a, o), o, lengthOf(a, o), path)
	}
	if m.Count == 0 {
		m.Warnings = append(m.Warnings, Warning{Code: WarnNoWetMarks, Path: path})
	}
	return m
}

// along places the plants of one lateral: at every k-th mark where marks are closer than plants, several to a mark
// where they are farther apart.
func (m *PlantingMarks) along(marks []wet, outlet int, length unit.Length, path string) {
	p := &m.Planting
	marks = slices.DeleteFunc(marks, func(w wet) bool { return w.at < p.From-1e-9 || (p.To > 0 && w.at > p.To+1e-9) })
	var row PlantRow
	skip := 0
	for i, w := range marks {
		every, plants := cadence(w.gap, m.Spacing)
		if i > 0 && marks[i-1].gap != w.gap {
			skip = 0
		}
		if skip > 0 {
			skip--
			continue
		}
		skip = every - 1
		if at := m.inside(spread(w.at, w.gap, plants), length); len(at) > 0 {
			row.Marks = append(row.Marks, PlantMark{At: w.at, Plants: at})
		}
		m.judge(w.gap, every, plants, path)
	}
	if len(row.Marks) == 0 {
		return
	}
	for side := range max(1, p.Sides) {
		row.Outlet, row.Side = outlet, side+1
		m.Rows = append(m.Rows, row)
		for _, mark := range row.Marks {
			m.Count += len(mark.Plants)
		}
	}
}

// inside leaves out the plants of a mark that would stand beyond the ends of the pipe, or of the planting's stretch of it.
func (m *PlantingMarks) inside(plants []unit.Length, length unit.Length) []unit.Length {
	to := length
	if m.Planting.To > 0 {
		to = min(to, m.Planting.To)
	}
	const slack = 1e-9
	return slices.DeleteFunc(plants, func(x unit.Length) bool { return x < m.Planting.From-slack || x > to+slack })
}

// lengthOf returns the length of a lateral.
func lengthOf(a *Assembly, outlet int) unit.Length {
	far := unit.Length(0)
	for i := range a.Pipes {
		if p := &a.Pipes[i]; p.Use == UseLateral && p.Outlet == outlet {
			far = max(far, p.Start+p.Length)
		}
	}
	return far
}

// cadence returns at every how many marks plants stand, and how many.
func cadence(gap, spacing unit.Length) (every, plants int) {
	if gap <= 0 || spacing <= 0 {
		return 1, 1
	}
	if gap >= spacing {
		return 1, int(math.Round(float64(gap / spacing)))
	}
	return int(math.Round(float64(spacing / gap))), 1
}

// spread puts several plants evenly about a mark.
func spread(at, gap unit.Length, plants int) []unit.Length {
	out := make([]unit.Length, plants)
	for i := range out {
		offset := (float64(i) - float64(plants-1)/2) / float64(plants)
		out[i] = at + unit.Length(offset*float64(gap))
	}
	return out
}

// judge warns once of marks that do not suit the plants.
func (m *PlantingMarks) judge(gap unit.Length, every, plants int, path string) {
	if gap <= 0 || m.Spacing <= 0 {
		return
	}
	once := func(w Warning) {
		if !slices.ContainsFunc(m.Warnings, func(x Warning) bool { return x.Code == w.Code }) {
			m.Warnings = append(m.Warnings, w)
		}
	}
	real := float64(gap) * float64(every) / float64(plants)
	if math.Abs(real/float64(m.Spacing)-1) > spacingTolerance {
		once(Warning{Code: WarnSpacingDisagrees, Path: path, Value: real, Limit: float64(m.Spacing)})
	}
	if plants > 1 {
		away := float64(gap) * float64(plants-1) / 2 / float64(plants)
		once(Warning{Code: WarnPlantsBetween, Path: path, Value: away, Count: plants})
	}
}
