package hydraulics

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"

	"rillturn.example/rillturn/engine/unit"
)

// Pipe names a pipe the way it is bought. Walls of the same class vary, so a measured inside diameter overrides the
// published one: 3 % of diameter is 15 % of friction loss.
type Pipe struct {
	Size           string      // nominal trade size, such as "3/4"
	Wall           string      // wall class, such as "schedule 40" or "SDR 21"
	InsideDiameter unit.Length // measured; 0 takes the published size
}

// PipeSize is one row of the published sizes.
type PipeSize struct {
	Size, Wall      string
	OutsideDiameter unit.Length
	MinimumWall     unit.Length
	Rating          unit.Head // pressure rating at 23 °C
}

// InsideDiameter returns the published inside diameter: outside diameter less two minimum walls.
func (s PipeSize) InsideDiameter() unit.Length { return s.OutsideDiameter - 2*s.MinimumWall }

//go:embed pipes.csv
var pipeTable string

//go:embed pipe_temperature.csv
var pipeTemperatureTable string

// ratingFactor is one row of the temperature table.
type ratingFactor struct{ celsius, factor float64 }

var (
	pipeSizes     = readPipeSizes(pipeTable)
	ratingFactors = readRatingFactors(pipeTemperatureTable)
)

// Published returns the row of the published sizes that the pipe names.
func (p Pipe) Published() (PipeSize, bool) {
	for _, s := range pipeSizes {
		if s.Size == p.Size && s.Wall == p.Wall {
			return s, true
		}
	}
	return PipeSize{}, false
}

// Bore returns the inside diameter to reckon with: the measured one, else the published one, else 0.
func (p Pipe) Bore() unit.Length {
	if p.InsideDiameter != 0 {
		return p.InsideDiameter
	}
	if s, ok := p.Published(); ok {
		return s.InsideDiameter()
	}
	return 0
}

// RatingAt returns the pressure the pipe is rated for at temperature t. ok is false where no rating is known: a size
// that is not in the table, or PVC above 60 °C (140 °F). Drilling lowers the rating by an amount nobody publishes.
func (p Pipe) RatingAt(t unit.Temperature) (rating unit.Head, ok bool) {
	s, found := p.Published()
	f, known := RatingFactor(t)
	if !found || !known {
		return 0, false
	}
	return unit.Head(float64(s.Rating) * f), true
}

// RatingFactor returns the share of its 23 °C rating that PVC pipe keeps at temperature t, straight between the rows of
// the table and 1 below it. ok is false above the last row.
func RatingFactor(t unit.Temperature) (factor float64, ok bool) {
	c := float64(t)
	if c <= ratingFactors[0].celsius {
		return ratingFactors[0].factor, true
	}
	for i := 1; i < len(ratingFactors); i++ {
		a, b := ratingFactors[i-1], ratingFactors[i]
		if c <= b.celsius {
			return a.factor + (b.factor-a.factor)*(c-a.celsius)/(b.celsius-a.celsius), true
		}
	}
	return 0, false
}

func readPipeSizes(text string) []PipeSize {
	var sizes []PipeSize
	for _, row := range readTable(text, 5) {
		sizes = append(sizes, PipeSize{
			Size: row[0], Wall: row[1],
			OutsideDiameter: unit.Inches(number(row[2])),
			MinimumWall:     unit.Inches(number(row[3])),
			Rating:          unit.PSI(number(row[4])),
		})
	}
	return sizes
}

func readRatingFactors(text string) []ratingFactor {
	var factors []ratingFactor
	for _, row := range readTable(text, 2) {
		factors = append(factors, ratingFactor{float64(unit.Fahrenheit(number(row[0]))), number(row[1])})
	}
	return factors
}

// readTable splits an embedded table into rows of n columns; a malformed one stops the program at start.
func readTable(text string, n int) [][]string {
	r := csv.NewReader(strings.NewReader(text))
	r.Comment = '#'
	r.FieldsPerRecord = n
	rows, err := r.ReadAll()
	if err != nil || len(rows) == 0 {
		panic(fmt.Sprintf("hydraulics: embedded table: %v", err))
	}
	return rows
}

func number(s string) float64 {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		panic(fmt.Sprintf("hydraulics: embedded table: %v", err))
	}
	return v
}
