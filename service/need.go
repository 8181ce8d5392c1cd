package service

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/engine/waterneed"
	"rillturn.example/rillturn/service/file"
)

// needs computes the demand of every unit: its plantings' ledgers up to the horizon, then what they want and bear in it.
func (f *facts) needs(faults *file.Faults) {
	climate := f.climate()
	var starts []waterneed.Date
	for _, u := range f.units {
		f.plant(u, climate, faults)
		for _, p := range u.unit.Plantings {
			starts = append(starts, p.Opening.Date)
		}
	}
	if len(*faults) > 0 {
		return
	}
	first := f.Horizon.FirstDay.EngineDate()
	from := first
	for _, d := range starts {
		if d.Compare(from) < 0 {
			from = d
		}
	}
	var err error
	if f.series, err = climate.Series(from, first.Sub(from)+f.Horizon.Days); err != nil {
		f.blame(faults, "/weather_days", err)
		return
	}
	kept := f.units[:0]
	for _, u := range f.units {
		if len(u.unit.Plantings) == 0 {
			f.left = append(f.left, file.UnplannedPlan{ID: u.id, Reason: "nothing_planted"})
			continue
		}
		if err := f.demand(u, first); err != nil {
			f.blame(faults, u.at, err)
			continue
		}
		kept = append(kept, u)
	}
	f.units = kept
}

func (f *facts) demand(u *watered, first waterneed.Date) error {
	ledgers, err := waterneed.Ledgers(u.unit, f.series, f.history(u), first, waterneed.LedgerOptions{})
	if err != nil {
		return err
	}
	for _, l := range ledgers {
		u.states = append(u.states, l.State)
	}
	u.demand, err = waterneed.UnitDemand(u.unit, f.series, u.states, first, f.Horizon.Days)
	if s := u.demand.Spell; err == nil && s.Limited && s.On < leastSpell {
		u.flags = append(u.flags, flagRunoff)
	}
	return err
}

// leastEvenness is the least evenness (DU) that litres are planned for. To water the driest quarter of a layout that is
// more uneven would drown the rest of it and take the others' water; its far end goes short, which is flagged.
const leastEvenness = 0.5

// flagUneven marks a layout whose evenness is under leastEvenness.
const flagUneven = "too_uneven_for_far_end"

// climate gathers the garden's weather. Where several stations know a day, the first by name is taken.
func (f *facts) climate() waterneed.Climate {
	c := waterneed.Climate{Place: waterneed.Place{Latitude: unit.Degrees(f.Garden.Garden.LatitudeDeg), Elevation: unit.Length(f.Garden.Garden.ElevationM)}}
	days := slices.Clone(f.Weather)
	slices.SortStableFunc(days, func(a, b file.WeatherDay) int { return strings.Compare(a.Station, b.Station) })
	seen := map[string]bool{}
	for _, d := range days {
		key := d.Kind + d.Day.Format(time.DateOnly)
		if seen[key] {
			continue
		}
		seen[key] = true
		if d.Kind == "forecast" {
			c.Forecast = append(c.Forecast, d.EngineDay())
		} else {
			c.Measured = append(c.Measured, d.EngineDay())
		}
	}
	return c
}

// plant fills in what grows on a unit, on which soil, and how evenly it is watered.
func (f *facts) plant(u *watered, climate waterneed.Climate, faults *file.Faults) {
	u.unit = waterneed.Unit{ID: u.id, Soil: soilOf(u.plot)}
	if u.layout != nil {
		even := u.alone.Uniformity.Distribution
		if even < leastEvenness {
			even, u.flags = leastEvenness, append(u.flags, flagUneven)
		}
		u.unit.Uniformity.Computed = waterneed.Given(even)
		if u.layout.MeasuredDU != nil {
			u.unit.Uniformity.Measured = waterneed.Given(*u.layout.MeasuredDU)
		}
		// The water falls on the wet strips alone. By hand it is moved about, so runoff limits no hand turn.
		u.unit.Application.Flow = u.alone.Flow
	}
	for i, p := range f.Plantings {
		share := f.shareOf(p, u)
		if share == 0 {
			continue
		}
		planting, err := f.planting(p, share, u, climate)
		if err != nil {
			f.blame(faults, file.Point("plantings", i), err)
			continue
		}
		if first := f.Horizon.FirstDay.EngineDate(); planting.End().Compare(first) >= 0 && planting.From.Sub(first) < f.Horizon.Days {
			u.unit.Plantings = append(u.unit.Plantings, planting)
		}
	}
}

// shareOf is the share of a planting's ground that a unit waters: all of it, or an equal part where the plot has several
// layouts and the planting names none.
func (f *facts) shareOf(p file.Planting, u *watered) float64 {
	if p.PlotID != u.plot.ID {
		return 0
	}
	if p.LayoutID != nil {
		if u.layout != nil && u.layout.ID == *p.LayoutID {
			return 1
		}
		return 0
	}
	onPlot := 0
	for _, other := range f.units {
		if other.plot.ID == u.plot.ID {
			onPlot++
		}
	}
	return 1 / float64(onPlot)
}

func (f *facts) planting(p file.Planting, share float64, u *watered, climate waterneed.Climate) (waterneed.Planting, error) {
	crop, err := cropOf(p)
	if err != nil {
		return waterneed.Planting{}, err
	}
	out := waterneed.Planting{
		ID: p.ID, Crop: crop, From: p.PlantedOn.EngineDate(), GroundArea: unit.Area(p.AreaM2 * share),
		WetArea: unit.Area(p.AreaM2 * share * p.WettedFraction), Setting: waterneed.Setting{Mulch: mulchOf(p.Mulch), MulchCover: p.MulchCover},
	}
	if p.RemovedOn != nil {
		out.To = p.RemovedOn.EngineDate()
	}
	if u.plot.BedDepthM != nil {
		out.RootLimit = unit.Length(*u.plot.BedDepthM)
	}
	if out.Setting.Wind, out.Setting.RHMin, err = climate.MidSeason(out); err != nil {
		return out, err
	}
	out.Opening.Date = f.opened(out, u)
	return out, nil
}

// opened is the first day of a planting's ledger: the day of planting or the first day on which somebody recorded a
// watering of the unit, whichever is later. Before that nobody kept count, so the ledger opens at half of the readily
// available water and says so.
func (f *facts) opened(p waterneed.Planting, u *watered) waterneed.Date {
	first := f.Horizon.FirstDay.EngineDate()
	for _, w := range f.Waterings {
		if f.watersUnit(w, u) && w.Day.EngineDate().Compare(first) < 0 {
			first = w.Day.EngineDate()
		}
	}
	if p.From.Compare(first) > 0 {
		return p.From
	}
	return first
}

func (f *facts) watersUnit(w file.Watering, u *watered) bool {
	if w.LayoutID != nil {
		return u.layout != nil && u.layout.ID == *w.LayoutID
	}
	return u.layout == nil && w.PlotID == u.plot.ID
}

// history is what the unit was given before the horizon. Volumes are what came out, so they count as metered.
func (f *facts) history(u *watered) waterneed.History {
	var h waterneed.History
	for i, w := range f.Waterings {
		if !f.watersUnit(w, u) {
			continue
		}
		t := waterneed.Turn{ID: fmt.Sprint(i), Date: w.Day.EngineDate(), Volume: unit.Liters(w.VolumeL), Outcome: waterneed.Outcome(w.Origin)}
		if w.Origin == originAssumed {
			t.Outcome = waterneed.Unreported
		} else {
			t.Metered = waterneed.Given(unit.Liters(w.VolumeL))
		}
		h.Turns = append(h.Turns, t)
	}
	return h
}

// originAssumed marks a watering that nobody reported.
const originAssumed = "assumed"

func cropOf(p file.Planting) (waterneed.Crop, error) {
	if p.CropConstants != nil {
		return p.CropConstants.Constants()
	}
	crop, known := waterneed.CropByCode(p.Crop)
	if !known {
		return crop, file.Faults{{Pointer: "/crop", Reason: fmt.Sprintf("%q is not a crop of the library", p.Crop)}}
	}
	return crop, nil
}

func mulchOf(kind string) waterneed.MulchKind {
	if kind == "none" {
		return waterneed.MulchNone
	}
	return waterneed.MulchKind(kind)
}

// soilOf is the plot's soil: its own water contents, else its texture's, else loam, flagged. The table of textures has no
// clay loam; its neighbour silty clay loam stands in.
func soilOf(p file.Plot) waterneed.Soil {
	soil := waterneed.UnknownSoil()
	if p.SoilTexture != nil {
		texture := waterneed.Texture(*p.SoilTexture)
		if texture == "clay_loam" {
			texture = waterneed.SiltyClayLoam
		}
		if known, err := waterneed.SoilOf(texture); err == nil {
			soil = known
		}
	}
	if p.FieldCapacity != nil && p.WiltingPoint != nil {
		soil = soil.WithWaterContents(*p.FieldCapacity, *p.WiltingPoint)
	}
	return soil
}

// blame adds an error of the engine to the faults, at the part of the garden file that it is about.
func (f *facts) blame(faults *file.Faults, at string, err error) {
	var own file.Faults
	if errors.As(err, &own) {
		for _, x := range own {
			faults.Add(at+x.Pointer, "%s", x.Reason)
		}
		return
	}
	faults.Add(at, "%s", err)
}
