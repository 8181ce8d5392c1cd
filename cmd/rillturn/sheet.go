package main

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"rillturn.example/rillturn/api"
	"rillturn.example/rillturn/api/render/csv"
	"rillturn.example/rillturn/api/render/pdf"
	"rillturn.example/rillturn/service/file"
)

type sheetCmd struct {
	File       string `arg:"" help:"Sheet file, or garden file for all its layouts together, or - for standard input."`
	PDF        string `name:"pdf" placeholder:"PATH" help:"Also write the sheets to print to this file."`
	CSV        string `name:"csv" placeholder:"PATH" help:"Also write a list as a table to this file."`
	List       string `enum:"parts,cuts,drilling,planting,stored_pipes,tasks,readings" default:"parts" help:"The list of the table: parts, cuts, drilling, planting, stored_pipes, tasks or readings."`
	Paper      string `enum:"A4,Letter" default:"A4" help:"Paper of the sheets to print: A4 or Letter."`
	LargePrint bool   `help:"Print everything nearly half as large again."`
	FullSize   bool   `help:"Draw the strips of drill sheets in full size."`
}

// Run works out parts, cuts, drill sheets and planting marks of a sheet file, or of all layouts of a garden file.
func (c sheetCmd) Run(std streams) error {
	in, err := std.open(c.File)
	if err != nil {
		return err
	}
	body, err := io.ReadAll(io.LimitReader(in, file.MaxBytes+1))
	if err = errors.Join(err, in.Close()); err != nil {
		return err
	}
	work, names, err := sheetOf(body)
	if err != nil {
		return err
	}
	if err := c.write(work, names); err != nil {
		return err
	}
	return printJSON(std.out, work.Result())
}

// sheetOf works out a sheet file, or the layouts of a garden file as they stand on the first day of its horizon.
func sheetOf(body []byte) (file.SheetWork, api.SheetNames, error) {
	if !file.HasField(body, "garden") {
		s, err := file.ReadSheet(bytes.NewReader(body))
		if err != nil {
			return file.SheetWork{}, api.SheetNames{}, err
		}
		names := api.SheetNames{TimeZone: time.UTC}
		for _, l := range s.Layouts {
			names.Layouts = append(names.Layouts, api.SheetLayoutNames{Plot: cmp.Or(l.Label, l.ID), Layout: l.Layout.Label})
		}
		work, err := file.WorkSheet(s)
		return work, names, err
	}
	g, err := file.ReadGarden(bytes.NewReader(body))
	if err = allFaults(api.CheckGardenFile(body), err); err != nil {
		return file.SheetWork{}, api.SheetNames{}, err
	}
	s := g.Sheet(g.Horizon.FirstDay)
	names, err := api.NamesOfSheet(g, s)
	if err != nil {
		return file.SheetWork{}, names, err
	}
	work, err := file.WorkSheet(s)
	return work, names, ofGarden(err)
}

// ofGarden gives the faults of a sheet their place in the garden file that it was made from.
func ofGarden(err error) error {
	var faults file.Faults
	if !errors.As(err, &faults) {
		return err
	}
	for i, f := range faults {
		if before, after, ok := strings.Cut(f.Pointer, "/layout/"); ok {
			faults[i].Pointer = before + "/spec/" + after
		}
	}
	return faults
}

// write makes the documents that were asked for. Each is whole before its file is begun.
func (c sheetCmd) write(w file.SheetWork, names api.SheetNames) error {
	for _, d := range []struct {
		path string
		draw func(io.Writer) error
	}{
		{c.PDF, func(out io.Writer) error {
			return pdf.Layouts(out, api.SheetDocuments(w, names), pdf.Options{Paper: pdf.Paper(c.Paper), LargePrint: c.LargePrint, FullSize: c.FullSize})
		}},
		{c.CSV, func(out io.Writer) error {
			return api.WriteSheetList(out, w, names, csv.SheetList(c.List))
		}},
	} {
		if d.path == "" {
			continue
		}
		var b bytes.Buffer
		if err := d.draw(&b); err != nil {
			return err
		}
		if err := os.WriteFile(d.path, b.Bytes(), 0o644); err != nil { //nolint:gosec // a document to print is for everybody
			return fmt.Errorf("write the document: %w", err)
		}
	}
	return nil
}
