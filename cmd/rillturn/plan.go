package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"rillturn.example/rillturn/api"
	"rillturn.example/rillturn/api/render/words"
	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/service"
	"rillturn.example/rillturn/service/file"
)

type planCmd struct {
	File    string `arg:"" help:"Garden file or rotation problem, or - for standard input."`
	Effort  string `enum:"fast,full,file" default:"file" help:"How hard to look for a better plan: fast, full, or as the garden file says."`
	Explain bool   `help:"Also print the plan in words, on standard error."`
	Why     string `help:"Id of a layout or hand-watered plot: print what keeps it from more water instead of the plan."`
	WhatIf  string `help:"A change to the garden, as JSON; prints what it makes of the plan, such as '{\"weather\": \"hot_week\"}'."`
}

// Run plans a garden file, which has a field garden, or a rotation problem.
func (c planCmd) Run(ctx context.Context, std streams) error {
	in, err := std.open(c.File)
	if err != nil {
		return err
	}
	body, err := io.ReadAll(io.LimitReader(in, file.MaxBytes+1))
	if err = errors.Join(err, in.Close()); err != nil {
		return err
	}
	if file.HasField(body, "garden") {
		return c.garden(ctx, std, body)
	}
	if c.WhatIf != "" || c.Why != "" {
		return errors.New("--what-if and --why need a garden file, and this is a rotation problem")
	}
	return c.problem(ctx, std, body)
}

func (c planCmd) garden(ctx context.Context, std streams, body []byte) error {
	g, err := file.ReadGarden(bytes.NewReader(body))
	if err = allFaults(api.CheckGardenFile(body), err); err != nil {
		return err
	}
	if c.Effort != "file" {
		g.Horizon.Effort = c.Effort
	}
	if c.WhatIf != "" {
		return c.whatIf(ctx, std, g)
	}
	p, err := service.PlanGarden(g, ended(ctx))
	if err != nil {
		return err
	}
	if c.Explain {
		report, err := api.PlanReport(g, p, p.StartsAt)
		if err != nil {
			return err
		}
		if err := words.Report(std.err, report); err != nil {
			return err
		}
	}
	if c.Why == "" {
		return printJSON(std.out, p)
	}
	why, known := p.Why(c.Why)
	if !known {
		return fmt.Errorf("--why: %q is neither the id of a layout nor of a hand-watered plot of the garden", c.Why)
	}
	return printJSON(std.out, why)
}

func (c planCmd) whatIf(ctx context.Context, std streams, g file.Garden) error {
	change, err := file.ReadWhatIf(strings.NewReader(c.WhatIf))
	if err != nil {
		return err
	}
	d, err := service.WhatIf(g, change, ended(ctx))
	if err != nil {
		return err
	}
	return printJSON(std.out, d)
}

// allFaults joins what the contract and the file's decoder have to say, one fault a field. An error that is no fault of
// the file comes first.
func allFaults(contract, decoder error) error {
	var all, more file.Faults
	if contract != nil && !errors.As(contract, &all) {
		return contract
	}
	if decoder != nil && !errors.As(decoder, &more) {
		return decoder
	}
	for _, f := range more {
		if !slices.ContainsFunc(all, func(known file.Fault) bool { return known.Pointer == f.Pointer }) {
			all = append(all, f)
		}
	}
	return all.Err()
}

func (c planCmd) problem(ctx context.Context, std streams, body []byte) error {
	f, err := file.ReadProblem(bytes.NewReader(body))
	if err != nil {
		return err
	}
	p, err := f.Engine()
	if err != nil {
		return err
	}
	effort := plan.Fast
	if c.Effort == string(plan.Full) {
		effort = plan.Full
	}
	options := plan.Options{Effort: effort, Stop: ended(ctx)}
	if f.Seed != nil {
		options.Seed = uint64(*f.Seed)
	}
	made, err := plan.Propose(p, options)
	if err != nil {
		return err
	}
	least, err := plan.LeastOver(p, options, made)
	if err != nil {
		return err
	}
	if c.Explain {
		explainProblem(std.err, p, made, least)
	}
	schedule := file.NewSchedule(f.Name, made.Schedule)
	schedule.Certify(made, least)
	return file.WriteSchedule(std.out, schedule)
}

// ended lets a signal cut a plan short; what is printed then says so.
func ended(ctx context.Context) func() bool { return func() bool { return ctx.Err() != nil } }

// create opens a file for writing in a folder, making the folder.
func create(dir, name string, write func(io.Writer) error) error {
	const everybodyReads = 0o755                             // schedules are made to be shown
	if err := os.MkdirAll(dir, everybodyReads); err != nil { //nolint:gosec // see everybodyReads
		return err
	}
	f, err := os.Create(dir + string(os.PathSeparator) + name)
	if err != nil {
		return err
	}
	if err := errors.Join(write(f), f.Close()); err != nil {
		return fmt.Errorf("write %s: %w", f.Name(), err)
	}
	return nil
}
