package main

import (
	"bytes"
	"errors"
	"io"
	"slices"

	"rillturn.example/rillturn/api"
	"rillturn.example/rillturn/service"
	"rillturn.example/rillturn/service/file"
)

type needCmd struct {
	File string `arg:"" help:"Need file or garden file, or - for standard input."`
	Plot string `help:"Only the plot of this label, of a garden file." placeholder:"LABEL"`
}

// Run computes a garden file, which has a field garden, or a need file.
func (c needCmd) Run(std streams) error {
	in, err := std.open(c.File)
	if err != nil {
		return err
	}
	body, err := io.ReadAll(io.LimitReader(in, file.MaxBytes+1))
	if err = errors.Join(err, in.Close()); err != nil {
		return err
	}
	if file.HasField(body, "garden") {
		return c.garden(std, body)
	}
	n, err := file.ReadNeed(bytes.NewReader(body))
	if err != nil {
		return err
	}
	r, err := file.RunNeed(n)
	if err != nil {
		return err
	}
	return printJSON(std.out, r)
}

func (c needCmd) garden(std streams, body []byte) error {
	g, err := file.ReadGarden(bytes.NewReader(body))
	if err = allFaults(api.CheckGardenFile(body), err); err != nil {
		return err
	}
	n, err := service.NeedGarden(g)
	if err != nil {
		return err
	}
	if c.Plot != "" {
		i := slices.IndexFunc(g.Plots, func(p file.Plot) bool { return p.Label == c.Plot })
		if i < 0 {
			return file.Faults{{Pointer: "/plots", Reason: "no plot has the label " + c.Plot}}
		}
		n.Units = slices.DeleteFunc(n.Units, func(u file.UnitNeed) bool { return u.PlotID != g.Plots[i].ID })
	}
	return printJSON(std.out, n)
}
