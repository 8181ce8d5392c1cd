package waterneed

import (
	"fmt"

	"rillturn.example/rillturn/engine/unit"
)

// Establishment is how a planting begins.
type Establishment string

// The ways to begin.
const (
	// Sown plants root from the crop's RootStart and are seedlings for fourteen days.
	Sown Establishment = "sown"
	// Transplanted plants root 0.20 m deep and are seedlings for seven days. It is the zero value's meaning.
	Transplanted Establishment = "transplanted"
	// Established plants have their roots from the first day.
	Established Establishment = "established"
)

// Root depth of transplants [m] and days as seedlings: own judgement, within extension advice.
const (
	transplantRoots                    = 0.20
	sownSeedlings, transplantSeedlings = 14, 7
)

// OpeningKind says what is known of the soil when a ledger opens.
type OpeningKind string

// The openings.
const (
	// OpeningUnknown takes half of RAW as missing, and flags it.
	OpeningUnknown OpeningKind = ""
	// OpeningWinterRain takes the soil as full after winter rain.
	OpeningWinterRain OpeningKind = "winter_rain"
	// OpeningGiven takes the depletion given.
	OpeningGiven OpeningKind = "given"
)

// Opening is the state in which a ledger opens.
type Opening struct {
	Kind OpeningKind
	// Date is the first day of the ledger; the zero date and dates before planting stand for the day of planting.
	Date Date
	// Depletion of the wet strip, for OpeningGiven.
	Depletion unit.Depth
}

// Companion is another crop with a mixed canopy on the same bed.
type Companion struct {
	Crop Crop
	// From is the day of planting, To the last day; a zero To stands for the end of the crop's stages.
	From, To Date
	// Ground is its share of the ground.
	Ground float64
}

// Planting is a crop on a piece of ground from a date to a date.
type Planting struct {
	ID   string
	Crop Crop
	// From is the day of planting, To the last day; a zero To stands for the end of the crop's stages.
	From, To      Date
	Establishment Establishment
	// GroundArea is the ground that the canopy serves, WetArea the part that irrigation wets; a zero WetArea stands for
	// all of it.
	GroundArea, WetArea unit.Area
	// FlowShare is the share of the unit's litres that falls here; 0 shares by wet area.
	FlowShare float64
	// Setting of the crop; its WettedFraction is not used, the areas say it.
	Setting Setting
	// RootLimit is the depth of a raised bed on hard ground, or of the soil; 0 is no limit.
	RootLimit unit.Length
	// DryBelow is the share of available water that is missing in soil which roots newly reach; 0 is field capacity.
	DryBelow float64
	// FixedDepletion keeps p as the crop has it, instead of letting it follow the day's evapotranspiration.
	FixedDepletion bool
	// Dual computes evaporation from the soil apart from transpiration.
	Dual    bool
	Opening Opening
	// Companions share the bed; Ground is the main crop's own share of the ground, used with companions only.
	Companions []Companion
	Ground     float64
}

// Opens returns the first day of the planting's ledger: the day of planting, or a later one that the opening names.
func (p Planting) Opens() Date {
	if o := p.Opening.Date; o != (Date{}) && o.Compare(p.From) > 0 {
		return o
	}
	return p.From
}

// End returns the last day of the planting.
func (p Planting) End() Date { return lastDay(p.Crop, p.From, p.To) }

// End returns the last day of the companion.
func (c Companion) End() Date { return lastDay(c.Crop, c.From, c.To) }

func lastDay(c Crop, from, to Date) Date {
	if to != (Date{}) {
		return to
	}
	return from.AddDays(max(1, c.Stages.Total()) - 1)
}

// wetArea returns the area that irrigation wets.
func (p Planting) wetArea() unit.Area {
	if p.WetArea == 0 {
		return p.GroundArea
	}
	return p.WetArea
}

// WettedFraction returns fw: wet area over ground area.
func (p Planting) WettedFraction() float64 { return float64(p.wetArea() / p.GroundArea) }

// largestArea is the largest plot [m²]: a market garden, and a guard against a mistyped unit.
const largestArea = 1e6

// longestPlanting is the longest span of a planting [days].
const longestPlanting = 3660

func (p Planting) faults() InputErrors {
	var faults InputErrors
	faults.join("crop", p.Crop.faults())
	faults.join("setting", p.Setting.faults())
	faults.spanFaults("", p.From, p.To)
	if p.Establishment != "" && p.Establishment != Sown && p.Establishment != Transplanted && p.Establishment != Established {
		faults.add("establishment", ReasonUnknown)
	}
	if faults.within("ground_area_m2", float64(p.GroundArea), 0.01, largestArea) {
		faults.within("wet_area_m2", float64(p.wetArea()), 0.01*float64(p.GroundArea), float64(p.GroundArea))
	}
	faults.within("flow_share", p.FlowShare, 0, 1)
	if p.RootLimit != 0 {
		faults.within("root_limit_m", float64(p.RootLimit), 0.05, 10)
	}
	faults.within("dry_below", p.DryBelow, 0, 1)
	p.openingFaults(&faults)
	p.companionFaults(&faults)
	return faults
}

func (p Planting) companionFaults(faults *InputErrors) {
	left := 1.0
	for i, c := range p.Companions {
		path := fmt.Sprintf("companions[%d]", i)
		faults.join(path+".crop", c.Crop.faults())
		faults.spanFaults(path+".", c.From, c.To)
		if faults.within(path+".ground", c.Ground, leastGround, 1) {
			left -= c.Ground
		}
	}
	if len(p.Companions) > 0 {
		faults.within("ground", p.Ground, leastGround, max(leastGround, left+1e-9))
	}
}

// leastGround is the least share of the ground of a crop that shares a bed.
const leastGround = 0.01

// spanFaults checks the first and the last day of a crop; the last may be left open.
func (e *InputErrors) spanFaults(prefix string, from, to Date) {
	if e.checkDate(prefix+"from", from) && to != (Date{}) && e.checkDate(prefix+"to", to) {
		e.check(prefix+"to", ReasonOrder, float64(to.Sub(from)), 0, longestPlanting)
	}
}

func (p Planting) openingFaults(faults *InputErrors) {
	o := p.Opening
	if o.Kind != OpeningUnknown && o.Kind != OpeningWinterRain && o.Kind != OpeningGiven {
		faults.add("opening.kind", ReasonUnknown)
	}
	faults.within("opening.depletion_mm", float64(o.Depletion), 0, 2000)
	if o.Date != (Date{}) {
		faults.checkDate("opening.date", o.Date)
	}
}

// Uniformity is what is known of how evenly a unit waters.
type Uniformity struct {
	// Measured is DU of a catch test: mean of the lowest quarter over the mean.
	Measured Optional[float64]
	// Computed is DU of the hydraulic solution, which knows nothing of drilling and plugging.
	Computed Optional[float64]
}

// Where an efficiency comes from.
const (
	EfficiencyMeasured Code = "catch_test"
	EfficiencyComputed Code = "computed_less_drilling_and_plugging"
	EfficiencyAssumed  Code = "assumed"
)

// Efficiency is the share of the litres that the quarter of the ground which gets least receives; the ledger follows
// that quarter.
type Efficiency struct {
	Value, Low, High float64
	Source           Code
	// Uniformity is the DU that it comes from and Factor what is left of it after drilling and plugging; both are 0 where
	// nothing is known, and Factor is 1 for a catch test.
	Uniformity, Factor float64
}

// drillingFactor is what drilling and plugging leave of a computed uniformity; the low and high bound its range. Own
// judgement: a drill wanders by 2 to 4 % in diameter and one hole in thirty clogs, until a catch test says better.
const drillingFactor, drillingLow, drillingHigh = 0.85, 0.70, 0.95

// assumedEfficiency stands when nothing is known, between 0.6 and 0.9; own judgement.
const assumedEfficiency, assumedLow, assumedHigh = 0.75, 0.6, 0.9

// catchError is the error of a catch test of four to eight cups [-]; own judgement.
const catchError = 0.05

// Efficiency returns the measured DU, else the computed one times 0.85 (0.70 to 0.95), else 0.75 (0.6 to 0.9).
func (u Uniformity) Efficiency() Efficiency {
	switch {
	case u.Measured.Known:
		du := u.Measured.Value
		return Efficiency{
			Value: du, Low: max(leastUniformity, du-catchError), High: min(1, du+catchError), Source: EfficiencyMeasured, Uniformity: du, Factor: 1,
		}
	case u.Computed.Known:
		du := u.Computed.Value
		least := func(factor float64) float64 { return max(leastUniformity, du*factor) }
		return Efficiency{
			Value: least(drillingFactor), Low: least(drillingLow), High: least(drillingHigh), Source: EfficiencyComputed, Uniformity: du,
			Factor: drillingFactor,
		}
	default:
		return Efficiency{Value: assumedEfficiency, Low: assumedLow, High: assumedHigh, Source: EfficiencyAssumed}
	}
}

// leastUniformity is the least DU that litres are computed from; below it a bed is repaired, not watered longer.
const leastUniformity = 0.05

// Application is how fast a unit's water reaches the soil. With FlowPerMeter and StripWidth the rate is their quotient;
// with Flow alone it is Flow over the wet area; with neither the unit has no limit from runoff.
type Application struct {
	Flow         unit.Flow
	FlowPerMeter unit.Flow
	StripWidth   unit.Length
}

// Unit is a layout or a hand-watered plot: what one valve, hose or can waters in one turn.
type Unit struct {
	ID          string
	Soil        Soil
	Plantings   []Planting
	Uniformity  Uniformity
	Application Application
}

// stands reports whether a planting shares the ground with others on a date: the day on which one makes room for the next
// is no overlap.
func (p Planting) stands(d Date) bool {
	return p.From.Compare(d) <= 0 && (p.From == d || p.End().Compare(d) > 0)
}

// wetGround returns the most wet ground that plantings of the unit hold at one time while planting i stands.
func (u Unit) wetGround(i int) unit.Area {
	var most unit.Area
	for _, begins := range u.Plantings { // the sum is largest on a day on which a planting begins
		if !u.Plantings[i].stands(begins.From) {
			continue
		}
		var sum unit.Area
		for j, q := range u.Plantings {
			if j == i || q.stands(begins.From) {
				sum += q.wetArea()
			}
		}
		most = max(most, sum)
	}
	return most
}

// Shares returns the share of the unit's litres that falls on each planting: its own FlowShare, else its wet ground over
// the most that stands with it at one time. Plantings that follow each other on the same ground each get all of it;
// ground that lies bare for a while gets its water too.
func (u Unit) Shares() []float64 {
	out := make([]float64, len(u.Plantings))
	for i, p := range u.Plantings {
		if out[i] = p.FlowShare; p.FlowShare == 0 {
			out[i] = float64(p.wetArea() / u.wetGround(i))
		}
	}
	return out
}

func (u Unit) faults() InputErrors {
	var faults InputErrors
	faults.join("soil", u.Soil.faults())
	optionalWithin(&faults, "uniformity.measured_du", u.Uniformity.Measured, leastUniformity, 1)
	optionalWithin(&faults, "uniformity.computed_du", u.Uniformity.Computed, leastUniformity, 1)
	faults.within("application.flow_l_per_min", u.Application.Flow.LitersPerMinute(), 0, 60000)
	faults.within("application.flow_l_per_h_per_m", u.Application.FlowPerMeter.LitersPerHour(), 0, 10000)
	faults.within("application.strip_width_m", float64(u.Application.StripWidth), 0, 10)
	if u.Application.FlowPerMeter > 0 && u.Application.StripWidth == 0 {
		faults.add("application.strip_width_m", ReasonMissing)
	}
	if len(u.Plantings) == 0 {
		faults.add("plantings", ReasonMissing)
	}
	ids := map[string]bool{}
	for i, p := range u.Plantings {
		path := fmt.Sprintf("plantings[%d]", i)
		faults.join(path, p.faults())
		if ids[p.ID] {
			faults.add(path+".id", ReasonDuplicate)
		}
		ids[p.ID] = true
		if (p.FlowShare == 0) != (u.Plantings[0].FlowShare == 0) {
			faults.add(path+".flow_share", ReasonMissing)
		}
	}
	if len(faults) == 0 {
		faults.within("plantings.flow_share", u.FlowAtOnce(), 0, 1+1e-9)
	}
	return faults
}

// FlowAtOnce returns the largest sum of flow shares given to plantings that stand at one time.
func (u Unit) FlowAtOnce() float64 {
	most := 0.0
	for _, begins := range u.Plantings {
		sum := 0.0
		for _, q := range u.Plantings {
			if q.stands(begins.From) {
				sum += q.FlowShare
			}
		}
		most = max(most, sum)
	}
	return most
}
