package csv

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"

	"rillturn.example/rillturn/api/render/words"
	"rillturn.example/rillturn/engine/fieldwork"
)

// SheetList names a list of a sheet.
type SheetList string

// The lists of a sheet, each a table of its own.
const (
	Parts    SheetList = "parts"
	Cuts     SheetList = "cuts"
	Drilling SheetList = "drilling"
	Planting SheetList = "planting"
	Stored   SheetList = "stored_pipes"
	Tasks    SheetList = "tasks"
	Readings SheetList = "readings"
)

// SheetTables are what the lists of a sheet are written from. Layouts names its layouts, and Expected is what tests of each should
// show, nil where the source is not known.
type SheetTables struct {
	Sheet    *fieldwork.Sheet
	Layouts  []string
	Expected []*fieldwork.Expected
}

// WriteSheet writes a list of a sheet, one row a line, by the rules of Write. Lengths are metric whatever the garden reads, but
// marks are those of its ruler, and names are written for its people.
func WriteSheet(w io.Writer, p words.Printer, list SheetList, t SheetTables) error {
	if list == Parts {
		return WriteParts(w, p, t.Sheet.Parts)
	}
	rows := map[SheetList]func(words.Printer, SheetTables) [][]string{
		Cuts: cutRows, Drilling: drillRows, Planting: plantRows, Stored: storedRows, Tasks: taskRows, Readings: readingRows,
	}[list](p, t)
	out := csv.NewWriter(w)
	out.UseCRLF = true
	if err := out.WriteAll(rows); err != nil {
		return fmt.Errorf("table of %s: %w", list, err)
	}
	return nil
}

const lengthDigits = 4 // of metres

// written is what stands on a pipe, or what it is for.
func (t SheetTables) written(site, pipe int) string {
	s := &t.Sheet.Sites[site]
	p := &s.Assembly.Pipes[pipe]
	if p.Use == fieldwork.UseLateral {
		return fieldwork.WrittenOn(s.Label, p, s.Drills)
	}
	return string(p.Use)
}

// marked writes a mark as a decimal number: programs for tables take a fraction for a date.
func marked(p words.Printer, steps int) string {
	if p.Ruler() == fieldwork.RulerInches {
		return number(float64(steps)*p.Ruler().Step().Inches(), lengthDigits)
	}
	return strconv.Itoa(steps)
}

func cutRows(_ words.Printer, t SheetTables) [][]string {
	rows := [][]string{{
		"pipe_size", "pipe_wall", "stick", "from", "stored_pipe", "stick_length_m", "piece", "piece_length_m", "layout", "becomes", "stick_kerf_m", "stick_left_m",
	}}
	for i := range t.Sheet.Cuts {
		c := &t.Sheet.Cuts[i]
		for n, s := range c.List.Sticks {
			from := "bought"
			switch {
			case s.Rest:
				from = "rest_of_stored_pipe"
			case s.OffCut != "":
				from = "off_cut"
			}
			for k, piece := range s.Pieces {
				at := c.Pieces[piece]
				rows = append(rows, []string{
					text(fieldwork.SizeName(c.Pipe)), text(c.Pipe.Wall), strconv.Itoa(n + 1), from, text(s.OffCut), number(float64(s.Length), lengthDigits),
					strconv.Itoa(k + 1), number(float64(t.Sheet.Sites[at.Site].Assembly.Pipes[at.Pipe].Length), lengthDigits), text(t.Layouts[at.Site]),
					text(t.written(at.Site, at.Pipe)), number(float64(s.Kerf), lengthDigits), number(float64(s.Left), lengthDigits),
				})
			}
		}
	}
	return rows
}

func drillRows(p words.Printer, t SheetTables) [][]string {
	rows := [][]string{{
		"layout", "drill_sheet", "pipe_length_m", "hole_mm", "bit_mm", "sides", "facing", "mark_number", "at_m", "mark", "mark_unit", "holes", "pipes",
	}}
	for i := range t.Sheet.Sites {
		for _, d := range t.Sheet.Sites[i].Drills {
			names := make([]string, len(d.Pipes))
			for k, pipe := range d.Pipes {
				names[k] = t.written(i, pipe)
			}
			for n, m := range d.Marks {
				rows = append(rows, []string{
					text(t.Layouts[i]), d.Name, number(float64(d.Length), lengthDigits), number(d.Pattern.HoleDiameter.Millimeters(), 3),
					number(d.Bit.Size.Millimeters(), 3), strconv.Itoa(d.Pattern.Sides), string(d.Pattern.Facing), strconv.Itoa(n + 1),
					number(float64(m.At), lengthDigits), marked(p, m.Steps), p.MarkUnit(), strconv.Itoa(m.Holes), text(strings.Join(names, "; ")),
				})
			}
		}
	}
	return rows
}

func plantRows(p words.Printer, t SheetTables) [][]string {
	rows := [][]string{{"layout", "planting", "outlet", "side", "wet_mark_m", "plant_m", "mark", "mark_unit"}}
	for i := range t.Sheet.Sites {
		for k := range t.Sheet.Sites[i].Plantings {
			m := &t.Sheet.Sites[i].Plantings[k]
			for _, r := range m.Rows {
				for _, wet := range r.Marks {
					for _, at := range wet.Plants {
						rows = append(rows, []string{
							text(t.Layouts[i]), text(m.Planting.Name), strconv.Itoa(r.Outlet + 1), strconv.Itoa(r.Side), number(float64(wet.At), lengthDigits),
							number(float64(at), lengthDigits), marked(p, p.Ruler().Mark(at)), p.MarkUnit(),
						})
					}
				}
			}
		}
	}
	return rows
}

func storedRows(p words.Printer, t SheetTables) [][]string {
	rows := [][]string{{"stored_pipe", "layout", "becomes", "turned_round", "cut_off_tee_end_m", "cut_off_far_end_m", "holes_to_close", "holes_to_drill", "to_do", "notes"}}
	for i := range t.Sheet.Saved {
		r := &t.Sheet.Saved[i]
		rows = append(rows, []string{
			text(r.Stored), text(t.Layouts[r.Site]), text(t.written(r.Site, r.Pipe)), strconv.FormatBool(r.Reversed), number(float64(r.CutOffTee), lengthDigits),
			number(float64(r.CutOff), lengthDigits), strconv.Itoa(r.PluggedOff), strconv.Itoa(r.NewHoles), text(p.ReservationLine(r)), text(r.Notes),
		})
	}
	for _, id := range t.Sheet.Unused {
		rows = append(rows, []string{text(id), "", "", "", "", "", "", "", "", ""})
	}
	return rows
}

func taskRows(p words.Printer, t SheetTables) [][]string {
	rows := [][]string{{"layout", "list", "number", "task", "count", "text"}}
	for i := range t.Sheet.Sites {
		tasks := &t.Sheet.Sites[i].Tasks
		for _, list := range []struct {
			name  string
			tasks []fieldwork.Task
		}{{"set_up", tasks.SetUp}, {"spring", tasks.Spring}, {"take_down", tasks.TakeDown}} {
			for n, x := range list.tasks {
				rows = append(rows, []string{text(t.Layouts[i]), list.name, strconv.Itoa(n + 1), string(x.Code), strconv.Itoa(x.Count), text(p.Task(x))})
			}
		}
	}
	return rows
}

func readingRows(_ words.Printer, t SheetTables) [][]string {
	rows := [][]string{{"layout", "reading", "outlet", "hole", "expected", "unit"}}
	for i, e := range t.Expected {
		if e == nil {
			continue
		}
		add := func(reading, outlet, hole, value, unit string) {
			rows = append(rows, []string{text(t.Layouts[i]), reading, outlet, hole, value, unit})
		}
		add("static_head", "", "", number(float64(e.StaticHead), 3), "m")
		if e.OpenFlow > 0 {
			add("open_flow", "", "", number(e.OpenFlow.LitersPerMinute(), 2), "L/min")
		}
		add("flow", "", "", number(e.Flow.LitersPerMinute(), 2), "L/min")
		add("source_head", "", "", number(float64(e.SourceHead), 3), "m")
		add("manifold_head", "", "", number(float64(e.ManifoldHead), 3), "m")
		add("uniformity_du", "", "", number(e.Evenness, 3), "")
		for _, l := range e.Laterals {
			outlet := strconv.Itoa(l.Outlet + 1)
			add("cup", outlet, "first", number(l.First.LitersPerMinute()*1000, 0), "mL/min")
			add("cup", outlet, "last", number(l.Last.LitersPerMinute()*1000, 0), "mL/min")
		}
	}
	return rows
}
