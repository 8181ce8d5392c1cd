package api

import (
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	openapi_types "github.com/oapi-codegen/runtime/types"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/api/render"
	sentence "rillturn.example/rillturn/api/render/words"
	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/engine/waterneed"
	"rillturn.example/rillturn/service"
	"rillturn.example/rillturn/service/file"
)

func needTime(d file.NeedDate) time.Time {
	return time.Date(d.Year, time.Month(d.Month), d.Day, 0, 0, 0, 0, time.UTC)
}

func needDay(d *file.NeedDate) *openapi_types.Date {
	if d == nil {
		return nil
	}
	shown := date(needTime(*d))
	return &shown
}

// speaking is how a garden is spoken to.
func speaking(g file.GardenSettings) sentence.Printer {
	return sentence.New(g.Language, render.Units(g.Units), time.UTC)
}

func ledgerView(l service.LedgerOf, from *time.Time) (gen.PlantingLedger, error) {
	view := gen.PlantingLedger{
		PlantingId: l.Planting.ID, PlotId: l.Planting.PlotID, PlotLabel: l.Input.Plots[0].Label, Crop: l.Planting.Crop,
		LastDay: date(l.Last), Ledgers: []gen.UnitLedger{},
	}
	for _, u := range l.Units {
		shown, err := unitLedger(l.Input, u, from)
		if err != nil {
			return view, err
		}
		view.Ledgers = append(view.Ledgers, shown)
	}
	return view, nil
}

func unitLedger(g file.Garden, u file.UnitNeed, from *time.Time) (gen.UnitLedger, error) {
	both, words := u.Ledgers[0], speaking(g.Garden)
	view := gen.UnitLedger{
		Soil: gen.LedgerSoil{
			Texture: u.Soil.Texture, Assumed: u.Soil.Assumed, FieldCapacity: u.Soil.FieldCapacityM3M3, WiltingPoint: u.Soil.WiltingPointM3M3,
		},
		Efficiency: efficiencyView(u.Efficiency), WithAssumed: ledgerShown(both.WithAssumed, from), WithoutAssumed: ledgerShown(both.WithoutAssumed, from),
		Opening: openingView(both.WithAssumed),
		DigAsked: gen.DigAsked{
			Asked: slices.Contains(both.WithAssumed.Flags, string(waterneed.FlagDigAsked)), LastEvidence: needDay(both.WithAssumed.State.LastEvidence),
		},
		Notes: []string{words.Efficiency(efficiencyOf(u.Efficiency)).String()},
	}
	if view.DigAsked.Asked {
		reason := words.NeedFlag(sentence.NeedFact{Code: waterneed.FlagDigAsked, Days: 1}).String()
		view.DigAsked.Reason = &reason
	}
	for _, f := range ledgerFacts(both.WithAssumed) {
		view.Notes = append(view.Notes, words.NeedFlag(f).String())
	}
	var err error
	view.LayoutId, view.LayoutName, err = layoutShown(g, u.LayoutID)
	return view, err
}

// notOpen says what a ledger without days waits for.
const notOpen = "The ledger has no days yet: it opens with the first recorded watering or dig, or on the day of planting when it is known " +
	"how moist the soil was then."

// openingView says how a ledger opened. One that has not opened knows nothing of its soil.
func openingView(l file.LedgerResult) gen.LedgerOpening {
	if len(l.Days) == 0 {
		return gen.LedgerOpening{State: gen.NotOpen, Reason: new(notOpen)}
	}
	assumed := slices.Contains(l.Flags, string(waterneed.FlagOpeningAssumed))
	return gen.LedgerOpening{
		State: gen.Open, Day: needDay(&l.Days[0].Date), DepletionMm: &l.StartMm, Assumed: &assumed,
	}
}

// layoutShown names a layout of a garden; nil for none.
func layoutShown(g file.Garden, layout *string) (id *uuid.UUID, name *string, err error) {
	if layout == nil {
		return nil, nil, nil
	}
	parsed, err := uuid.Parse(*layout)
	if err != nil {
		return nil, nil, err
	}
	i := slices.IndexFunc(g.Layouts, func(l file.LayoutOnPlot) bool { return l.ID == *layout })
	return &parsed, &g.Layouts[i].Name, nil
}

// ledgerFacts gathers the flags of a ledger in the shape that words speak of.
func ledgerFacts(l file.LedgerResult) []sentence.NeedFact {
	var e waterneed.Ledger
	for _, code := range l.Flags {
		e.Flags = append(e.Flags, waterneed.Code(code))
	}
	for _, d := range l.Days {
		day := waterneed.LedgerDay{AssumedIrrigation: unit.Depth(d.AssumedIrrigationMm)}
		if d.RainMm != nil {
			day.Rain = waterneed.Given(unit.Depth(*d.RainMm))
		}
		for _, code := range d.Flags {
			day.Flags = append(day.Flags, waterneed.Code(code))
		}
		e.Days = append(e.Days, day)
	}
	return sentence.LedgerFacts(e)
}

func efficiencyOf(e file.EfficiencyResult) waterneed.Efficiency {
	return waterneed.Efficiency{Value: e.Value, Low: e.Low, High: e.High, Source: waterneed.Code(e.Source), Uniformity: e.DU, Factor: e.Factor}
}

func efficiencyView(e file.EfficiencyResult) gen.NeedEfficiency {
	return gen.NeedEfficiency{Value: e.Value, Low: e.Low, High: e.High, Source: e.Source}
}

func ledgerShown(l file.LedgerResult, from *time.Time) gen.Ledger {
	view := gen.Ledger{
		StressDays: l.Totals.StressDays, RainCountedMm: l.Totals.RainCountedMm, IrrigationMm: l.Totals.IrrigationMm,
		AssumedIrrigationMm: l.Totals.AssumedIrrigationMm, PercolationMm: l.Totals.PercolationMm, EtMm: l.Totals.ETMm,
		RainMissingDays: int32(l.Totals.RainMissingDays), Days: []gen.LedgerDay{},
	}
	if len(l.Days) > 0 {
		view.DepletionMm = &l.State.DepletionMm
	}
	for _, d := range since(l.Days, from) {
		day := gen.LedgerDay{
			Day: date(needTime(d.Date)), Stage: d.Stage, Et0Mm: d.ET0Mm, Rung: d.Rung, Kc: d.Kc, RootsM: d.RootsM, TawMm: d.TawMm, RawMm: d.RawMm,
			StartMm: d.StartMm, RainMm: d.RainMm, RainCountedMm: d.RainCountedMm, IrrigationMm: d.IrrigationMm,
			AssumedIrrigationMm: d.AssumedIrrigationMm, PercolationMm: d.PercolationMm, Ks: d.Ks, EtMm: d.ETMm, Stress: d.Stress,
			DepletionMm: d.EndMm, Flags: d.Flags,
		}
		if slices.Contains(d.Flags, string(waterneed.FlagDig)) {
			day.AdjustmentMm = &d.AdjustmentMm
		}
		view.Days = append(view.Days, day)
	}
	return view
}

// since leaves out the days before one.
func since(days []file.LedgerDayResult, from *time.Time) []file.LedgerDayResult {
	if from == nil {
		return days
	}
	i := slices.IndexFunc(days, func(d file.LedgerDayResult) bool { return !needTime(d.Date).Before(*from) })
	if i < 0 {
		return nil
	}
	return days[i:]
}

// unitOfLedger is the unit under a layout, or the first.
func unitOfLedger(l service.LedgerOf, layout *uuid.UUID) (*file.UnitNeed, error) {
	for i, u := range l.Units {
		if layout == nil || u.LayoutID != nil && *u.LayoutID == layout.String() {
			return &l.Units[i], nil
		}
	}
	if layout != nil {
		return nil, &service.Error{Kind: service.Invalid, Fields: []service.Field{{Pointer: "#query/layout", Reason: "names no layout that waters this planting"}}}
	}
	return nil, &service.Error{Kind: service.Conflict, Detail: "Nothing waters this planting: its plot has neither an accepted layout nor a hose or cans."}
}

// LedgerChart is the picture of a ledger, under the first layout that waters the planting or under its plot.
func LedgerChart(l service.LedgerOf) (render.LedgerChart, error) {
	u, err := unitOfLedger(l, nil)
	if err != nil {
		return render.LedgerChart{}, err
	}
	return ledgerChart(l, u, nil), nil
}

func ledgerChart(l service.LedgerOf, u *file.UnitNeed, from *time.Time) render.LedgerChart {
	chart := render.LedgerChart{
		PlantingName: cropName(l.Planting.Crop), PlotName: l.Input.Plots[0].Label, Units: render.Units(l.Garden.Units), Language: l.Garden.Language,
	}
	reported := since(u.Ledgers[0].WithoutAssumed.Days, from)
	for i, d := range since(u.Ledgers[0].WithAssumed.Days, from) {
		chart.Days = append(chart.Days, render.LedgerDay{
			Date: needTime(d.Date), DepletionMm: d.EndMm, ReportedDepletionMm: reported[i].EndMm, RAWMm: d.RawMm, RainMm: d.RainCountedMm,
			WaterMm: d.IrrigationMm, WaterAssumed: d.AssumedIrrigationMm > 0, WeatherAssumed: assumedWeather(d.Rung),
			Dug: slices.Contains(d.Flags, string(waterneed.FlagDig)),
		})
	}
	return chart
}

func assumedWeather(rung string) bool {
	switch waterneed.Code(rung) {
	case waterneed.RungGiven, waterneed.RungMeasured, waterneed.RungPartly, waterneed.RungTemperatures:
		return false
	}
	return true
}

// cropName is the code of a crop as people write it.
func cropName(code string) string { return strings.ReplaceAll(code, "_", " ") }
