package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"github.com/google/uuid"

	"rillturn.example/rillturn/api"
	"rillturn.example/rillturn/api/render/svg"
	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service"
	"rillturn.example/rillturn/service/file"
	"rillturn.example/rillturn/testdata/waterneed"
)

// demoServes is where the clock of the demo stands when it begins to serve: Friday morning of the first week, with four days
// of turns behind it.
var demoServes = time.Date(2015, time.July, 10, 14, 30, 0, 0, time.UTC)

// demoOutcomes are what people report of their turns, over and over; nobody reports the turn of an empty one.
var demoOutcomes = []string{"done", "done", "part", "done", "", "missed", "done", "overran", "done", "pressure_lost"}

// demoStations are the stations of the weather records, by garden.
var demoStations = []string{"Seattle", "New York"}

// live lets the first days of the published week go by: their weather is pushed and their turns are reported, so that the
// ledgers have something to tell. It happens once.
func (d *demo) live(ctx context.Context, p service.Principal, number int, g file.Garden) error {
	svc := service.New(d.pool, func() time.Time { return demoServes })
	turns, err := d.pastTurns(ctx, svc, p)
	if err != nil || len(turns) == 0 {
		return errors.Join(err, errIf(len(turns) == 0, "no turn of the garden has run"))
	}
	if known, _, err := svc.Reports(ctx, p, turns[0].ID, service.Page{Limit: 1}); err != nil || len(known) > 0 {
		return err
	}
	if err := pushWeather(ctx, svc, p, number, g); err != nil {
		return err
	}
	for i, t := range turns {
		outcome := demoOutcomes[i%len(demoOutcomes)]
		if t.Kind == "can" {
			outcome = "done"
		}
		if outcome == "" {
			continue
		}
		if _, err := svc.CreateReport(ctx, p, demoReport(t, outcome)); err != nil {
			return fmt.Errorf("report of turn %s: %w", t.ID, err)
		}
	}
	_, err = svc.CreateDig(ctx, p, repo.DigValues{PlotID: shownPlot(turns), Day: g.Horizon.FirstDay.AddDate(0, 0, 2), Finding: new("moist"), Note: "a hand deep, by the path"})
	return err
}

func errIf(wrong bool, text string) error {
	if wrong {
		return errors.New(text)
	}
	return nil
}

// pastTurns are the turns that have ended when the demo begins to serve.
func (d *demo) pastTurns(ctx context.Context, svc *service.Service, p service.Principal) ([]repo.ScheduledTurn, error) {
	const all = 1000
	turns, _, err := svc.Turns(ctx, p, repo.TurnFilter{To: &demoServes}, service.Page{Limit: all})
	var ended []repo.ScheduledTurn
	for _, t := range turns {
		if t.Status == "planned" && t.EndsAt.Before(demoServes) {
			ended = append(ended, t)
		}
	}
	return ended, err
}

// demoReport is what somebody says of a turn.
func demoReport(t repo.ScheduledTurn, outcome string) repo.TurnReportValues {
	v := repo.TurnReportValues{TurnID: t.ID, Outcome: outcome}
	ran := t.EndsAt.Sub(t.StartsAt).Minutes()
	switch outcome {
	case "part":
		v.DurationMin, v.Note = new(ran/2), "had to leave"
	case "pressure_lost":
		v.DurationMin, v.Note = new(ran/4), "hardly a drip from then on"
	case "overran":
		v.DurationMin, v.Note = new(ran*1.5), "talked too long"
	}
	return v
}

// pushWeather stores the weather that was measured since the garden file ends.
func pushWeather(ctx context.Context, svc *service.Service, p service.Principal, number int, g file.Garden) error {
	table, err := file.ReadWeatherTable(bytes.NewReader(waterneed.Weather2015))
	if err != nil {
		return err
	}
	var days []repo.WeatherDay
	for _, d := range table[demoStations[number]] {
		day := time.Date(d.Date.Year, time.Month(d.Date.Month), d.Date.Day, 0, 0, 0, 0, time.UTC)
		if day.Before(g.Horizon.FirstDay.Time) || !day.Before(demoServes.Truncate(24*time.Hour)) {
			continue
		}
		days = append(days, repo.WeatherDay{
			Station: g.Weather[0].Station, Day: day, Kind: "measured", TmaxC: d.TmaxC, TminC: d.TminC, WindMS: d.WindMS, WindHeightM: d.WindHeightM,
			RainMm: d.RainMm,
		})
	}
	return svc.StoreWeather(ctx, p, days)
}

// shownPlot is the plot whose ledger is shown: that of the first turn that nobody reports.
func shownPlot(turns []repo.ScheduledTurn) uuid.UUID {
	i := slices.Index(demoOutcomes, "")
	return turns[min(i, len(turns)-1)].Members[0].PlotID
}

// ledger draws the ledger of what grows on the plot that is shown.
func (d *demo) ledger(ctx context.Context, w io.Writer, p service.Principal) error {
	svc := service.New(d.pool, func() time.Time { return demoServes })
	planting, err := d.shownPlanting(ctx, svc, p)
	if err != nil {
		return err
	}
	asked, err := svc.AskLedger(ctx, p, planting.ID, nil)
	if err != nil {
		return err
	}
	l, err := svc.Ledger(ctx, p, asked)
	if err != nil {
		return err
	}
	chart, err := api.LedgerChart(l)
	if err != nil {
		return err
	}
	return svg.Ledger(w, chart)
}

// shownPlanting is the first planting of the plot that is shown.
func (d *demo) shownPlanting(ctx context.Context, svc *service.Service, p service.Principal) (repo.Planting, error) {
	turns, err := d.pastTurns(ctx, svc, p)
	if err != nil {
		return repo.Planting{}, err
	}
	plot := shownPlot(turns)
	plantings, _, err := svc.Plantings(ctx, p, &plot, service.Page{Limit: 1})
	if err == nil && len(plantings) == 0 {
		err = errors.New("nothing grows on the plot that is shown")
	}
	if err != nil {
		return repo.Planting{}, err
	}
	return plantings[0], nil
}
