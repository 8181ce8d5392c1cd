package main

import (
	"bytes"
	"slices"

	"rillturn.example/rillturn/api"
	"rillturn.example/rillturn/service"
	"rillturn.example/rillturn/service/file"
)

type needCmd struct {
	File    string `arg:"" optional:"" help:"Need file or garden file, or - for standard input; with --season a season file."`
	Plot    string `help:"Only the plot of this label, of a garden file." placeholder:"LABEL"`
	Season  bool   `help:"Print whole seasons week by week; without a file those of three crops on open weather of two stations in 2015."`
	Weather string `help:"With --season: daily weather as CSV instead of the open weather of 2015." placeholder:"PATH"`
	SVG     string `name:"svg" help:"With --season: also draw the seasons to this file." placeholder:"PATH"`
	JSON    bool   `name:"json" help:"With --season: print JSON instead of a table."`
}

// Run computes a garden file, which has a field garden, a need file, or seasons.
func (c needCmd) Run(std streams) error {
	if c.Season {
		return c.season(std)
	}
	if c.Weather != "" || c.SVG != "" || c.JSON {
		return file.Faults{{Reason: "--weather, --svg and --json go with --season"}}
	}
	if c.File == "" {
		return file.Faults{{Reason: "name a need file or a garden file, or give --season"}}
	}
	body, err := c.source(std, c.File, nil)
	if err != nil {
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
