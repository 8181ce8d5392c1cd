package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"rillturn.example/rillturn/service/file"
)

type flowCmd struct {
	File    string `arg:"" help:"Flow file, or - for standard input."`
	Explain bool   `help:"Also print the result in words, on standard error."`
}

// Run computes a flow file.
func (c flowCmd) Run(std streams) error {
	return offline(std, c.File, file.ReadFlow, func(f file.Flow) (file.FlowResult, error) {
		r, err := file.RunFlow(f)
		if err == nil && c.Explain {
			explainFlow(std.err, f, r)
		}
		return r, err
	})
}

// offline reads a file, runs one stage of the engine and prints its result as JSON.
func offline[In, Out any](std streams, name string, read func(io.Reader) (In, error), run func(In) (Out, error)) error {
	in, err := std.open(name)
	if err != nil {
		return err
	}
	parsed, err := read(in)
	if err = errors.Join(err, in.Close()); err != nil {
		return err
	}
	out, err := run(parsed)
	if err != nil {
		return err
	}
	return printJSON(std.out, out)
}

func printJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	if err := e.Encode(v); err != nil {
		return fmt.Errorf("print the result: %w", err)
	}
	return nil
}
