package waterneed

import (
	"fmt"
	"math"
	"slices"

	"rillturn.example/rillturn/engine/unit"
)

// The horizon of a rotation [days].
const leastHorizon, mostHorizon = 7, 28

// longestInterval is the longest interval that a demand states [days]; beyond it the interval does not bind a rotation.
const longestInterval = 60

// Notes of a demand.
const (
	NoteDemandShortInterval Code = "readily_available_water_lasts_less_than_a_day"
	NoteDemandDry           Code = "already_past_readily_available_water"
	NoteDemandSeedling      Code = "seedlings_daily"
	NoteDemandStarts        Code = "planting_starts_in_horizon"
	NoteDemandEnds          Code = "planting_ends_in_horizon"
)

// PlantingDay is a planting on one day of a horizon, as it would be if all wanted water came.
type PlantingDay struct {
	Active      bool
	Coefficient Coefficient
	// Kc is the coefficient in effect, P the depletion fraction.
	Kc, P float64
	// StripET is the day's use without stress over the wet strip, TAW and RAW its reservoir.
	StripET, TAW, RAW unit.Depth
	// Wanted is the depletion of the morning that a watering would fill, when each day before was filled too.
	Wanted unit.Depth
	// Room is the most net depth that the strip takes that morning when nothing was watered before in the horizon, held
	// to RAW so that a rotation never waits for stress, or to the depletion of the first morning when that is more.
	Room unit.Depth
	// UseVolume, WantedVolume and RoomVolume are the gross litres at the unit for StripET, Wanted and Room.
	UseVolume, WantedVolume, RoomVolume unit.Volume
	// Interval is how many days RAW lasts from a refill on that morning; at least 1.
	Interval int
	Seedling bool
}

// PlantingDemand is the need of one planting.
type PlantingDemand struct {
	Planting string
	// GrossPerDepth is the litres at the unit for a net millimetre on this planting's strip, as a volume.
	GrossPerDepth unit.Volume
	Start         State
	Days          []PlantingDay
	// Wanted is the sum of the wanted gross litres over the horizon.
	Wanted unit.Volume
	// Gets is what falls on this planting, as litres at the unit, when the unit runs for its thirstiest planting; it is
	// the unit's total. Surplus is Gets less Wanted.
	Gets, Surplus unit.Volume
	// SurplusHere is the part of the surplus that falls on this planting itself.
	SurplusHere unit.Volume
	// Due is the number of days from the horizon's start until RAW is gone without watering: 0 is the first day.
	Due   int
	Notes []Code
}

// DemandDay is a day of the unit. Volumes are gross litres at the holes or the hose end.
type DemandDay struct {
	Date Date
	Rung Code
	ET0  unit.Depth
	// Use is what the thirstiest planting uses on the day; Wanted what it wants in the morning; Most is the most that its
	// soil takes that morning.
	Use, Wanted, Most unit.Volume
	// Interval is the longest interval from this day before some planting's RAW is gone [days].
	Interval int
}

// Spell limits a run by infiltration.
type Spell struct {
	// Rate is how fast water reaches the strip, Intake how fast the soil takes it.
	Rate, Intake unit.Intensity
	// Limited is false when the soil takes all; On and Soak are then 0.
	Limited bool
	// On is the longest run before water stands deeper than the surface stores; Soak the pause until it is gone.
	On, Soak unit.Minutes
	// OnLow and OnHigh span the range of infiltration of the texture.
	OnLow, OnHigh unit.Minutes
}

// Demand is what a unit needs and bears over a horizon, with its working.
type Demand struct {
	Unit       string
	Start      Date
	Days       []DemandDay
	Efficiency Efficiency
	// Total is the wanted gross litres over the horizon; TotalLow and TotalHigh span the range of the efficiency.
	Total, TotalLow, TotalHigh unit.Volume
	// MostPerDay is the most gross litres that a day's runs should bring once the horizon is under way: a full RAW of the
	// thirstiest planting.
	MostPerDay unit.Volume
	// Interval is the longest interval between waterings that no planting minds, on all days of the horizon.
	Interval int
	// Due is the first day of the horizon on which some planting's RAW is gone without watering.
	Due int
	// DaysSinceWatered counts from the last watering to the start; -1 when there was none.
	DaysSinceWatered int
	Spell            Spell
	Seedlings        bool
	// Thirstiest is the index of the planting that asks for most litres over the horizon; -1 when none is active.
	Thirstiest int
	Plantings  []PlantingDemand
	Flags      []Code
}

// UnitDemand computes the demand of a unit for a horizon of 7 to 28 days from the states of its plantings, one for each
// in their order, as Ledgers leaves them. A planting that starts within the horizon opens as its Opening says. Rain is
// not booked ahead, whatever the series holds. Faults are InputErrors.
//
// A day's water arrives in the morning, so the wanted litres of the first day are those missing from the soil then, and
// those of each later day are the use of the day before; the use of the last day belongs to the next horizon.
func UnitDemand(u Unit, s Series, states []State, start Date, days int) (Demand, error) {
	faults := u.faults()
	faults.within("days", float64(days), leastHorizon, mostHorizon)
	if faults.checkDate("start", start) && len(faults) == 0 && !s.Covers(start, days) {
		faults.add("series", ReasonMissing)
	}
	faults.within("states", float64(len(states)), float64(len(u.Plantings)), float64(len(u.Plantings)))
	if len(faults) == 0 {
		for i, st := range states {
			if st != (State{}) {
				faults.within(fmt.Sprintf("states[%d].depletion_mm", i), float64(st.Depletion), 0, 2000)
			}
		}
	}
	if err := faults.err(); err != nil {
		return Demand{}, err
	}
	offset := start.Sub(s.From())
	d := Demand{Unit: u.ID, Start: start, Efficiency: u.Uniformity.Efficiency(), Thirstiest: -1, DaysSinceWatered: -1}
	for i, st := range states {
		d.Plantings = append(d.Plantings, newModel(u, i).demandOver(s.Days[offset:offset+days], st))
	}
	d.Spell = u.spell()
	d.sum(s.Days[offset : offset+days])
	d.flag(u)
	return d, nil
}

// demandOver computes a planting's demand over the days of a horizon.
func (m model) demandOver(days []DayClimate, st State) PlantingDemand {
	p := PlantingDemand{
		Planting: m.planting.ID, Start: st, Days: make([]PlantingDay, len(days)), Due: len(days),
		GrossPerDepth: unit.Volume(1 / m.netDepth),
	}
	missing, unwatered, opened := unit.Depth(0), unit.Depth(0), unit.Depth(0)
	active := false
	for t, c := range days {
		if c.Date.Compare(m.planting.From) < 0 || c.Date.Compare(m.planting.End()) > 0 {
			if active {
				p.Notes = append(p.Notes, NoteDemandEnds)
				active = false
			}
			continue
		}
		c.Rain = Given(unit.Depth(0))
		if !active {
			active = true
			if t > 0 || st == (State{}) {
				var flags []Code
				st, flags = m.open(c)
				p.Start = st
				if slices.Contains(flags, FlagOpeningAssumed) {
					p.Notes = append(p.Notes, FlagOpeningAssumed)
				}
			}
			if t > 0 {
				p.Notes = append(p.Notes, NoteDemandStarts)
			}
			opened = st.Depletion
			missing, unwatered = opened, opened
		}
		var day PlantingDay
		day, st = m.plantingDay(c, missing, unwatered, opened, st)
		if unwatered > day.RAW && t < p.Due {
			p.Due = t
		}
		missing = min(day.TAW, day.StripET)
		unwatered = min(day.TAW, unwatered+day.StripET)
		p.Wanted += day.WantedVolume
		p.Days[t] = day
	}
	m.intervals(p.Days)
	p.note()
	return p
}

// plantingDay looks at one morning: missing is the depletion when all days before were filled, unwatered when none was.
// The wanted water wets the surface, which matters to the dual method.
func (m model) plantingDay(c DayClimate, missing, unwatered, opened unit.Depth, st State) (PlantingDay, State) {
	st.Depletion = missing
	d, next := m.step(st, c, dayEvents{irrigation: missing})
	gross := func(depth unit.Depth) unit.Volume { return unit.Volume(float64(depth) / m.netDepth) }
	day := PlantingDay{
		Active: true, Coefficient: d.Coefficient, Kc: d.Kc, P: d.P, StripET: d.StripET, TAW: d.TAW, RAW: d.RAW,
		Wanted: min(missing, d.TAW), Room: min(unwatered, max(d.RAW, min(opened, d.TAW))), Seedling: m.seedling(d.Coefficient.Day),
	}
	day.Room = max(day.Room, day.Wanted)
	day.UseVolume, day.WantedVolume, day.RoomVolume = gross(day.StripET), gross(day.Wanted), gross(day.Room)
	return day, next
}

// seedling says whether plants are seedlings on their day.
func (m model) seedling(day int) bool {
	switch m.planting.Establishment {
	case Established:
		return false
	case Sown:
		return day <= sownSeedlings
	default:
		return day <= transplantSeedlings
	}
}

// intervals counts for each day how long RAW lasts from a refill that morning. Days after the horizon are taken as its
// last. Seedlings are watered daily.
func (m model) intervals(days []PlantingDay) {
	for t := range days {
		if !days[t].Active {
			continue
		}
		if days[t].Seedling {
			days[t].Interval = 1
			continue
		}
		used := unit.Depth(0)
		for n := 0; n < longestInterval; n++ {
			at := min(t+n, len(days)-1)
			if !days[at].Active {
				days[t].Interval = longestInterval
				break
			}
			if used += days[at].StripET; used > days[at].RAW {
				break
			}
			days[t].Interval = n + 1
		}
		days[t].Interval = max(1, days[t].Interval)
	}
}

func (p *PlantingDemand) note() {
	short, seedling := false, false
	for _, day := range p.Days {
		short = short || day.Active && day.StripET > day.RAW
		seedling = seedling || day.Seedling
	}
	if first := p.Days[0]; first.Active && p.Start.Depletion > first.RAW {
		p.Notes = append(p.Notes, NoteDemandDry)
	}
	if short {
		p.Notes = append(p.Notes, NoteDemandShortInterval)
	}
	if seedling {
		p.Notes = append(p.Notes, NoteDemandSeedling)
	}
}

// sum makes the unit's days from its plantings: the thirstiest planting of each day rules the litres, the most
// sensitive the interval.
func (d *Demand) sum(days []DayClimate) {
	d.Interval, d.Due = longestInterval, len(days)
	for t, c := range days {
		day := DemandDay{Date: c.Date, Rung: c.Rung, ET0: c.ET0, Interval: longestInterval}
		for _, p := range d.Plantings {
			pd := p.Days[t]
			if !pd.Active {
				continue
			}
			day.Use, day.Wanted = max(day.Use, pd.UseVolume), max(day.Wanted, pd.WantedVolume)
			day.Most = max(day.Most, pd.RoomVolume)
			day.Interval = min(day.Interval, pd.Interval)
			d.MostPerDay = max(d.MostPerDay, unit.Volume(float64(pd.RAW))*p.GrossPerDepth, pd.WantedVolume)
			d.Seedlings = d.Seedlings || pd.Seedling
		}
		d.Interval = min(d.Interval, day.Interval)
		d.Total += day.Wanted
		d.Days = append(d.Days, day)
	}
	e := d.Efficiency
	d.TotalLow = d.Total * unit.Volume(e.Value/e.High)
	d.TotalHigh = d.Total * unit.Volume(e.Value/e.Low)
	for i := range d.Plantings {
		p := &d.Plantings[i]
		d.Due = min(d.Due, p.Due)
		if p.Wanted > 0 && (d.Thirstiest < 0 || p.Wanted > d.Plantings[d.Thirstiest].Wanted) {
			d.Thirstiest = i
		}
		if last := p.Start.LastWatered; last != (Date{}) {
			if since := d.Start.Sub(last); d.DaysSinceWatered < 0 || since < d.DaysSinceWatered {
				d.DaysSinceWatered = since
			}
		}
	}
}

// flag notes what the plantings get from each other's thirst, and what was assumed.
func (d *Demand) flag(u Unit) {
	judged := false
	shares := u.Shares()
	for i := range d.Plantings {
		p := &d.Plantings[i]
		p.Gets = d.Total
		p.Surplus = p.Gets - p.Wanted
		p.SurplusHere = p.Surplus * unit.Volume(shares[i])
		judged = judged || u.Plantings[i].Crop.CoefficientsJudged || u.Plantings[i].Crop.StagesJudged
	}
	if u.Soil.Assumed {
		d.Flags = append(d.Flags, FlagSoilAssumed)
	}
	if judged {
		d.Flags = append(d.Flags, FlagCropJudged)
	}
	if d.Seedlings {
		d.Flags = append(d.Flags, FlagSeedling)
	}
}

// spell limits the unit's runs by infiltration.
func (u Unit) spell() Spell {
	var rate unit.Intensity
	a := u.Application
	switch {
	case a.FlowPerMeter > 0:
		rate = unit.IntensityOf(a.FlowPerMeter, unit.Area(a.StripWidth))
	case a.Flow > 0:
		for i, share := range u.Shares() {
			rate = max(rate, unit.IntensityOf(a.Flow*unit.Flow(share), u.Plantings[i].wetArea()))
		}
	}
	s := Spell{Rate: rate, Intake: u.Soil.Infiltration}
	s.On, s.Soak, s.Limited = CycleAndSoak(rate, u.Soil.Infiltration, u.Soil.SurfaceStorage)
	s.OnLow, _, _ = CycleAndSoak(rate, u.Soil.InfiltrationLow, u.Soil.SurfaceStorage)
	s.OnHigh, _, _ = CycleAndSoak(rate, u.Soil.InfiltrationHigh, u.Soil.SurfaceStorage)
	return s
}

// CycleAndSoak returns the longest run before water stands deeper than the surface stores, and the pause until the soil
// has taken it:
//
//	on = 60 S/(r - i) minutes;  soak = on (r - i)/i
//
// It does not limit a rate r that the soil's intake i takes up. Own arithmetic, not published.
func CycleAndSoak(rate, intake unit.Intensity, storage unit.Depth) (on, soak unit.Minutes, limited bool) {
	surplus := float64(rate - intake)
	if surplus <= 0 {
		return 0, 0, false
	}
	minutes := 60 * float64(storage) / surplus
	return unit.Minutes(minutes), unit.Minutes(minutes * surplus / float64(intake)), true
}

// Cycles splits a run into equal spells not longer than on. Own arithmetic.
func Cycles(total, on unit.Minutes) (spells int, each unit.Minutes) {
	if total <= 0 {
		return 0, 0
	}
	spells = max(1, int(math.Ceil(float64(total/on)-1e-9)))
	return spells, total / unit.Minutes(spells)
}

// Prediction is what a plan does to one planting.
type Prediction struct {
	Planting string
	Days     []LedgerDay
	State    State
	Totals   Totals
}

// Replay predicts the ledgers of a unit under a plan of gross litres for each day from start, without rain. The states
// are those of UnitDemand. Faults are InputErrors.
func Replay(u Unit, s Series, states []State, start Date, liters []unit.Volume) ([]Prediction, error) {
	faults := u.faults()
	faults.within("litres", float64(len(liters)), 1, mostHorizon)
	for t, v := range liters {
		faults.within(fmt.Sprintf("litres[%d]", t), v.Liters(), 0, mostLiters)
	}
	if faults.checkDate("start", start) && len(faults) == 0 && !s.Covers(start, len(liters)) {
		faults.add("series", ReasonMissing)
	}
	faults.within("states", float64(len(states)), float64(len(u.Plantings)), float64(len(u.Plantings)))
	if err := faults.err(); err != nil {
		return nil, err
	}
	out := make([]Prediction, 0, len(states))
	for i, st := range states {
		out = append(out, newModel(u, i).replay(s, st, start, liters))
	}
	return out, nil
}

func (m model) replay(s Series, st State, start Date, liters []unit.Volume) Prediction {
	p := Prediction{Planting: m.planting.ID, State: st}
	begin, opened := unit.Depth(0), st != (State{})
	for t, v := range liters {
		c := s.At(start.AddDays(t))
		c.Rain = Given(unit.Depth(0))
		if c.Date.Compare(m.planting.From) < 0 || c.Date.Compare(m.planting.End()) > 0 {
			continue
		}
		if !opened {
			p.State, _ = m.open(c)
			opened = true
		}
		if len(p.Days) == 0 {
			begin = p.State.Depletion
		}
		var d LedgerDay
		d, p.State = m.step(p.State, c, dayEvents{irrigation: unit.Depth(m.netDepth * float64(v))})
		p.Days = append(p.Days, d)
		p.Totals.add(d)
	}
	t := p.Totals
	p.Totals.Residual = begin - p.State.Depletion - t.RainCounted - t.Irrigation + t.ET + t.Percolation + t.Adjustment
	return p
}
