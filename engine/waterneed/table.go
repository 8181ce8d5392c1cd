package waterneed

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"

	"rillturn.example/rillturn/engine/unit"
)

// table is a published table: a header row, then rows, all of equal width. Lines that begin with # are its provenance.
type table struct {
	name string
	col  map[string]int
	rows [][]string
}

// readTable parses an embedded table. A malformed one stops the program at start.
func readTable(name, text string) table {
	r := csv.NewReader(strings.NewReader(text))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) < 2 {
		panic(fmt.Sprintf("%s: malformed: %v", name, err))
	}
	t := table{name: name, col: map[string]int{}, rows: rows[1:]}
	for i, head := range rows[0] {
		t.col[head] = i
	}
	return t
}

func (t table) text(row int, col string) string {
	i, ok := t.col[col]
	if !ok {
		panic(fmt.Sprintf("%s: no column %s", t.name, col))
	}
	return t.rows[row][i]
}

func (t table) number(row int, col string) float64 {
	v, err := strconv.ParseFloat(t.text(row, col), 64)
	if err != nil {
		panic(fmt.Sprintf("%s: row %d: column %s: %v", t.name, row+1, col, err))
	}
	return v
}

// optional reads a number from a cell that may be empty.
func (t table) optional(row int, col string) Optional[float64] {
	if t.text(row, col) == "" {
		return Optional[float64]{}
	}
	return Given(t.number(row, col))
}

func (t table) whole(row int, col string) int {
	v, err := strconv.Atoi(t.text(row, col))
	if err != nil {
		panic(fmt.Sprintf("%s: row %d: column %s: %v", t.name, row+1, col, err))
	}
	return v
}

//go:embed latitude.csv
var latitudeText string

// The rows of the table by latitude, south first.
const latitudeFirst, latitudeStep, latitudeRows = -70, 10, 15

var latitudeTable = readLatitudeTable()

func readLatitudeTable() [latitudeRows][12]float64 {
	t := readTable("latitude.csv", latitudeText)
	if len(t.rows) != latitudeRows {
		panic("latitude.csv: wrong number of rows")
	}
	var out [latitudeRows][12]float64
	for i := range out {
		if t.whole(i, "latitude_deg") != latitudeFirst+i*latitudeStep {
			panic("latitude.csv: latitudes out of order")
		}
		for m := range out[i] {
			out[i][m] = t.number(i, strconv.Itoa(m+1))
		}
	}
	return out
}

// LatitudeET0 returns ET0 of a date from the table by month and latitude, which assumes temperatures; the last rung, to
// be used within ± 30 %. It is interpolated between the middles of months and the latitudes of the table; poleward of
// 70° the table's edge holds.
func LatitudeET0(latitude unit.Angle, d Date) unit.Depth {
	at := min(latitudeRows-1, max(0, (latitude.Degrees()-latitudeFirst)/latitudeStep))
	row := min(latitudeRows-2, int(at))
	share := at - float64(row)
	return betweenMonths(d, func(month int) float64 {
		return latitudeTable[row][month-1]*(1-share) + latitudeTable[row+1][month-1]*share
	})
}
