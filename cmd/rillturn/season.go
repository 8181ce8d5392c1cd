package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"

	"rillturn.example/rillturn/api"
	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/svg"
	"rillturn.example/rillturn/api/render/words"
	"rillturn.example/rillturn/service/file"
	"rillturn.example/rillturn/testdata/waterneed"
)

// season reckons whole seasons: of the file given and its weather, else of three crops on the open weather of 2015.
func (c needCmd) season(std streams) error {
	question, err := c.source(std, c.File, waterneed.Season)
	if err != nil {
		return err
	}
	weather, err := c.source(std, c.Weather, waterneed.Weather2015)
	if err != nil {
		return err
	}
	s, err := file.ReadSeason(bytes.NewReader(question))
	if err != nil {
		return err
	}
	table, err := file.ReadWeatherTable(bytes.NewReader(weather))
	if err != nil {
		return err
	}
	r, err := file.RunSeason(s, table)
	if err != nil {
		return err
	}
	chart := api.SeasonChart(s, r)
	if c.SVG != "" {
		if err := draw(c.SVG, chart); err != nil {
			return err
		}
	}
	if c.JSON {
		return printJSON(std.out, r)
	}
	return words.Seasons(std.out, chart)
}

// source reads a named file, standard input for "-", or takes what is built in.
func (c needCmd) source(std streams, name string, builtIn []byte) ([]byte, error) {
	if name == "" {
		return builtIn, nil
	}
	in, err := std.open(name)
	if err != nil {
		return nil, err
	}
	body, err := io.ReadAll(io.LimitReader(in, file.MaxBytes+1))
	return body, errors.Join(err, in.Close())
}

func draw(path string, chart render.SeasonChart) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	if err := errors.Join(svg.Seasons(f, chart), f.Close()); err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	return nil
}
