package service

import (
	"fmt"
	"slices"
	"strings"

	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/engine/waterneed"
	"rillturn.example/rillturn/service/file"
)

// NeedGarden works out what every layout and hand-watered plot of a garden needs over the horizon, with the ledgers of all
// plantings that have begun, of those that have ended too. It is a function of the file alone. What is wrong with the file
// comes back as file.Faults.
func NeedGarden(g file.Garden) (file.GardenNeed, error) {
	f, err := gatherNeed(g)
	if err != nil {
		return file.GardenNeed{}, err
	}
	out := file.GardenNeed{
		GardenID: g.Garden.ID, FirstDay: g.Horizon.FirstDay, Days: g.Horizon.Days, Weather: file.SeriesOf(f.series), Units: []file.UnitNeed{},
		Unplanned: append([]file.UnplannedPlan{}, f.left...),
	}
	for _, u := range f.units {
		need := file.UnitNeedOf(u.unit, u.with, u.without)
		need.PlotID, need.Flags = u.plot.ID, u.flags
		if u.layout != nil {
			need.LayoutID = &u.layout.ID
		}
		if len(u.demand.Days) > 0 {
			need.Demand = file.DemandOf(u.demand)
		}
		out.Units = append(out.Units, need)
	}
	return out, nil
}

// needs computes the demand of every unit: its plantings' ledgers up to the horizon, then what they want and bear in it.
func (f *facts) needs(faults *file.Faults) {
	climate := f.needInputs(faults)
	soils := f.soils(faults)
	first := f.Horizon.FirstDay.EngineDate()
	from := first
	for _, u := range f.units {
		u.unit.Soil = soils[u.plot.ID]
		f.plant(u, climate, faults)
		for _, p := range u.unit.Plantings {
			if opens := p.Opens(); opens.Compare(from) < 0 {
				from = opens
			}
		}
	}
	if len(*faults) > 0 {
		return
	}
	var err error
	if f.series, err = climate.Series(from, first.Sub(from)+f.Horizon.Days); err != nil {
		*faults = append(*faults, file.EngineFaults(err)...)
		return
	}
	f.supposed.weather(&f.series, first)
	for _, u := range f.units {
		if len(u.unit.Plantings) > 0 {
			f.demand(u, first, faults)
		}
	}
}

// dropFallow leaves out the units on which nothing grows.
func (f *facts) dropFallow() {
	f.units = slices.DeleteFunc(f.units, func(u *watered) bool {
		fallow := len(u.unit.Plantings) == 0
		if fallow {
			f.left = append(f.left, file.UnplannedPlan{ID: u.id, Reason: "nothing_planted"})
		}
		return fallow
	})
}

// needInputs checks the parts of the file that belong to no single unit, and returns the weather.
func (f *facts) needInputs(faults *file.Faults) waterneed.Climate {
	*faults = append(*faults, f.OwnCropFaults()...)
	climate, err := f.Climate()
	*faults = append(*faults, file.EngineFaults(err)...)
	for i, r := range f.RainReadings {
		if !slices.ContainsFunc(f.Plots, func(p file.Plot) bool { return p.ID == r.PlotID }) {
			faults.Add(file.Point("rain_readings", i, "plot_id"), "%q is not the id of a plot", r.PlotID)
		}
	}
	for i, d := range f.Digs {
		if !slices.ContainsFunc(f.Plots, func(p file.Plot) bool { return p.ID == d.PlotID }) {
			faults.Add(file.Point("digs", i, "plot_id"), "%q is not the id of a plot", d.PlotID)
		}
		if d.PlantingID != nil && !slices.ContainsFunc(f.Plantings, func(p file.Planting) bool { return p.ID == *d.PlantingID && p.PlotID == d.PlotID }) {
			faults.Add(file.Point("digs", i, "planting_id"), "%q is not the id of a planting of this plot", *d.PlantingID)
		}
	}
	return climate
}

func (f *facts) soils(faults *file.Faults) map[string]waterneed.Soil {
	soils := map[string]waterneed.Soil{}
	for i, p := range f.Plots {
		soil, err := p.Soil(file.Point("plots", i))
		*faults = append(*faults, file.EngineFaults(err)...)
		soils[p.ID] = soil
	}
	return soils
}

func (f *facts) demand(u *watered, first waterneed.Date, faults *file.Faults) {
	history, series := f.recorded(u), f.RainOn(u.plot.ID, f.series)
	var err error
	if u.with, err = waterneed.Ledgers(u.unit, series, history.History, first, waterneed.LedgerOptions{}); err != nil {
		history.blame(faults, u.at, err)
		return
	}
	if u.without, err = waterneed.Ledgers(u.unit, series, history.History, first, waterneed.LedgerOptions{WithoutAssumed: true}); err != nil {
		history.blame(faults, u.at, err)
		return
	}
	growing, states := f.growing(u)
	if len(states) == 0 {
		return
	}
	if u.demand, err = waterneed.UnitDemand(growing, series, states, first, f.Horizon.Days); err != nil {
		history.blame(faults, u.at, err)
		return
	}
	if s := u.demand.Spell; s.Limited && s.On < leastSpell {
		u.flags = append(u.flags, flagRunoff)
	}
}

// growing is the part of a unit that grows in the horizon, with its soils on the first morning.
func (f *facts) growing(u *watered) (waterneed.Unit, []waterneed.State) {
	growing, states := u.unit, []waterneed.State(nil)
	growing.Plantings = nil
	for i, p := range u.unit.Plantings {
		if !f.over(p) {
			growing.Plantings, states = append(growing.Plantings, p), append(states, u.with[i].State)
		}
	}
	return growing, states
}

// leastEvenness is the least evenness (DU) that litres are planned for. To water the driest quarter of a layout that is
// more uneven would drown the rest of it and take the others' water; its far end goes short, which is flagged.
const leastEvenness = 0.5

// flagUneven marks a layout whose evenness is under leastEvenness.
const flagUneven = "too_uneven_for_far_end"

// plant fills in what grows on a unit, on which soil, and how evenly it is watered.
func (f *facts) plant(u *watered, climate waterneed.Climate, faults *file.Faults) {
	u.unit.ID = u.id
	if u.layout != nil && u.solved {
		even := u.alone.Uniformity.Distribution
		if even < leastEvenness {
			even, u.flags = leastEvenness, append(u.flags, flagUneven)
		}
		u.unit.Uniformity.Computed = waterneed.Given(even)
		// The water falls on the wet strips alone. By hand it is moved about, so runoff limits no hand turn.
		u.unit.Application.Flow = u.alone.Flow
	}
	if u.layout != nil && u.layout.MeasuredDU != nil {
		u.unit.Uniformity.Measured = waterneed.Given(*u.layout.MeasuredDU)
	}
	for i, p := range f.Plantings {
		share := f.shareOf(p, u)
		if share == 0 {
			continue
		}
		planting, err := f.planting(i, share, u, climate)
		if err != nil {
			*faults = append(*faults, file.EngineFaults(err)...)
			continue
		}
		if planting.From.Sub(f.Horizon.FirstDay.EngineDate()) < f.Horizon.Days {
			u.unit.Plantings = append(u.unit.Plantings, planting)
		}
	}
	for i, share := range f.flowShares(u) {
		u.unit.Plantings[i].FlowShare = share // also of what has ended, whose ground is watered on
	}
	if !f.ended {
		u.unit.Plantings = slices.DeleteFunc(u.unit.Plantings, f.over)
	}
}

// over reports whether a planting ended before the horizon.
func (f *facts) over(p waterneed.Planting) bool {
	return p.End().Compare(f.Horizon.FirstDay.EngineDate()) < 0
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

// planting is the part of a planting that a unit waters, in the climate of its mid season.
func (f *facts) planting(i int, share float64, u *watered, climate waterneed.Climate) (waterneed.Planting, error) {
	out, err := f.Plantings[i].Engine(f.Crops, file.Point("plantings", i))
	if err != nil {
		return out, err
	}
	out.GroundArea *= unit.Area(share)
	out.WetArea *= unit.Area(share)
	if u.plot.BedDepthM != nil {
		out.RootLimit = unit.Length(*u.plot.BedDepthM)
	}
	if out.Setting.Wind, out.Setting.RHMin, err = climate.MidSeason(out); err != nil {
		return out, err
	}
	if out.Opening.Kind == waterneed.OpeningUnknown {
		out.Opening.Date = f.opened(out, u)
	}
	return out, nil
}

// opened is the first day of the ledger of a planting whose soil nobody stated at planting: the day of planting or the
// first day on which somebody recorded a watering or a dig, whichever is later. Before that nobody kept count, so the
// ledger opens at half of the readily available water and says so. Who states the soil at planting keeps count from then.
func (f *facts) opened(p waterneed.Planting, u *watered) waterneed.Date {
	first := f.Horizon.FirstDay.EngineDate()
	earlier := func(d file.Day) {
		if d.EngineDate().Compare(first) < 0 {
			first = d.EngineDate()
		}
	}
	for _, w := range f.Waterings {
		if f.watersUnit(w, u) {
			earlier(w.Day)
		}
	}
	for _, d := range f.Digs {
		if d.PlotID == u.plot.ID && (d.PlantingID == nil || *d.PlantingID == p.ID) {
			earlier(d.Day)
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

// recorded is what happened to a unit before the horizon, and where in the garden file it stands.
type recorded struct {
	waterneed.History
	turns, digs []string
}

func (f *facts) recorded(u *watered) recorded {
	var r recorded
	for i, w := range f.Waterings {
		if f.watersUnit(w, u) {
			r.Turns = append(r.Turns, w.Engine(fmt.Sprint(i)))
			r.turns = append(r.turns, file.Point("waterings", i))
		}
	}
	for i, d := range f.Digs {
		if d.PlotID != u.plot.ID || d.PlantingID != nil && !u.grows(*d.PlantingID) {
			continue
		}
		if slices.ContainsFunc(f.Digs[i+1:], d.Repeats) { // of two on a day the later holds
			continue
		}
		r.Digs = append(r.Digs, d.Engine())
		r.digs = append(r.digs, file.Point("digs", i))
	}
	return r
}

func (w *watered) grows(planting string) bool {
	return slices.ContainsFunc(w.unit.Plantings, func(p waterneed.Planting) bool { return p.ID == planting })
}

// blame adds the engine's faults with a history to the faults of the garden file, each where it stands.
func (r recorded) blame(faults *file.Faults, at string, err error) {
	for _, x := range file.EngineFaults(err) {
		at, i := at, 0
		switch {
		case scan(x.Pointer, "/turns/%d", &i):
			at = r.turns[i]
		case scan(x.Pointer, "/digs/%d", &i):
			at = r.digs[i]
		}
		faults.Add(at+strings.Replace(x.Pointer[strings.LastIndexByte(x.Pointer, '/'):], "/date", "/day", 1), "%s", x.Reason)
	}
}
