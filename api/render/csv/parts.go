package csv

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"

	"rillturn.example/rillturn/api/render/words"
	"rillturn.example/rillturn/engine/fieldwork"
)

// partsHeader names the columns of a parts list: the code of the part, and its name for people.
var partsHeader = []string{
	"part", "name", "size", "wall", "branch", "length_m", "count", "spare", "cemented_joints", "pressed_joints", "price_cents",
}

// WriteParts writes a parts list, one row a line, by the rules of Write. Lengths are metric whatever the garden reads, but
// names are written for its people.
func WriteParts(w io.Writer, p words.Printer, parts []fieldwork.Part) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	rows := [][]string{partsHeader}
	for _, x := range parts {
		length, price := "", ""
		if x.Length > 0 {
			length = number(float64(x.Length), 4)
		}
		if x.PriceCents != nil {
			price = strconv.FormatInt(*x.PriceCents, 10)
		}
		rows = append(rows, []string{
			text(string(x.Kind)), text(p.Part(x)), text(x.Size), text(x.Wall), text(x.Branch), length, strconv.Itoa(x.Count),
			strconv.Itoa(x.Spare), strconv.Itoa(x.Cemented), strconv.Itoa(x.Pressed), price,
		})
	}
	if err := out.WriteAll(rows); err != nil {
		return fmt.Errorf("table of parts: %w", err)
	}
	return nil
}
