package api

import (
	"slices"
	"strings"

	sentence "rillturn.example/rillturn/api/render/words"
	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/engine/waterneed"
	"rillturn.example/rillturn/service/file"
)

// weather says what the evaporation of the days planned for stands on. All units share it.
func (r *reporting) weather() []string {
	if len(r.p.Units) == 0 {
		return nil
	}
	days := map[string]int{}
	var order []string
	for _, d := range r.p.Units[0].Demand.Days {
		if days[d.Rung]++; days[d.Rung] == 1 {
			order = append(order, d.Rung)
		}
	}
	out := make([]string, len(order))
	for i, rung := range order {
		out[i] = r.words.Rung(waterneed.Code(rung), days[rung])
	}
	return out
}

// needFlags are what a plan tells about the need of plots, what is to be done first.
var needFlags = []waterneed.Code{
	waterneed.FlagDigAsked, waterneed.NoteDemandDry, waterneed.FlagOpeningAssumed, waterneed.FlagSoilAssumed, waterneed.FlagCropJudged,
	waterneed.FlagSeedling, waterneed.NoteDemandShortInterval,
}

// need says what the need of plots rests on, each once with its plots; then what the thirstiest planting of a valve means
// for the others.
func (r *reporting) need() []string {
	plots := map[string][]string{}
	for _, u := range r.p.Units {
		codes := slices.Clone(u.Demand.Flags)
		for _, p := range u.Demand.Plantings {
			codes = append(codes, p.Notes...)
		}
		for _, l := range u.Ledgers {
			codes = append(codes, l.Flags...)
		}
		for _, code := range codes {
			if plot := r.plots[u.PlotID]; !slices.Contains(plots[code], plot) {
				plots[code] = append(plots[code], plot)
			}
		}
	}
	var out []string
	for _, code := range needFlags {
		if where := plots[string(code)]; len(where) > 0 {
			slices.SortFunc(where, sentence.Compare)
			out = append(out, strings.Join(where, ", ")+": "+r.words.NeedFlag(sentence.NeedFact{Code: code, Days: 1}).String())
		}
	}
	for _, u := range r.p.Units {
		out = append(out, r.unreported(u)...)
		out = append(out, r.surplus(u.PlotID, u.Demand)...)
	}
	return out
}

// unreported gives both ledgers of a unit that asks for a dig.
func (r *reporting) unreported(u file.UnitPlan) []string {
	var out []string
	for _, l := range u.Ledgers {
		if slices.Contains(l.Flags, string(waterneed.FlagDigAsked)) && l.DepletionWithoutAssumedMm > l.DepletionMm {
			out = append(out, r.words.Unreported(r.plots[u.PlotID], r.crop(l.PlantingID), unit.Depth(l.DepletionMm), unit.Depth(l.DepletionWithoutAssumedMm)))
		}
	}
	return out
}

// worthTelling is the share of a planting's own need from which its surplus is told.
const worthTelling = 0.1

// surplus says what the thirstiest planting of a valve gives the others beyond their need.
func (r *reporting) surplus(plot string, d file.DemandResult) []string {
	var out []string
	for _, p := range d.Plantings {
		if own := p.GetsL - p.SurplusL; p.Planting != d.Thirstiest && p.SurplusL > worthTelling*own && p.SurplusHereL > 0 {
			out = append(out, r.words.Surplus(r.plots[plot], r.crop(d.Thirstiest), r.crop(p.Planting), unit.Liters(p.SurplusHereL)))
		}
	}
	return out
}

// crop names the crop of a planting.
func (r *reporting) crop(planting string) string {
	for _, p := range r.g.Plantings {
		if p.ID == planting {
			return cropName(p.Crop)
		}
	}
	return planting
}
