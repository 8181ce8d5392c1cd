package waterneed

import (
	"slices"

	"rillturn.example/rillturn/engine/unit"
)

// inchAWeek is the garden's rule of thumb [in/week].
const inchAWeek = 1

// MidSeason returns the mean wind at 2 m and RHmin over a planting's mid season, from the days of the series that have
// weather; unknown when none has. Wind counts only where it was measured. RHmin is from FAO-56 eq. 64.
func (s Series) MidSeason(p Planting) (wind Optional[unit.Velocity], rhMin Optional[unit.Percent]) {
	var windSum, rhSum float64
	var windDays, rhDays int
	dev := p.Crop.Stages.Initial + p.Crop.Stages.Development
	for _, d := range s.Days {
		if n := d.Date.Sub(p.From); n < dev || n >= dev+p.Crop.Stages.Mid || d.Working == nil {
			continue
		}
		if d.Working.WindSource == WindMeasured {
			windSum += float64(d.Working.Wind)
			windDays++
		}
		rhSum += float64(d.Working.lowestHumidity())
		rhDays++
	}
	if windDays > 0 {
		wind = Given(unit.Velocity(windSum / float64(windDays)))
	}
	if rhDays > 0 {
		rhMin = Given(unit.Percent(rhSum / float64(rhDays)))
	}
	return wind, rhMin
}

// lowestHumidity is RHmin of the day, from ea and e°(Tmax). Source: FAO-56 eq. 64.
func (r ReferenceET) lowestHumidity() unit.Percent {
	return unit.Percent(min(100, 100*float64(r.Actual/r.SaturationTMax)))
}

// MidSeason returns the climate of a planting's mid season before its weather is known: from the normals of its months
// when there are twelve, else RHmin of the place's humidity class and unknown wind. It does not change as the season goes
// on, so neither does the ledger's past. Faults are InputErrors.
func (c Climate) MidSeason(p Planting) (wind Optional[unit.Velocity], rhMin Optional[unit.Percent], err error) {
	if len(c.Normals) == 0 {
		rh, ok := c.Place.Humidity.lowestHumidity()
		if !ok {
			return wind, rhMin, InputErrors{{Field: "place.humidity_class", Reason: ReasonUnknown}}
		}
		return wind, Given(unit.Percent(rh)), nil
	}
	if _, err := c.ladder(); err != nil {
		return wind, rhMin, err
	}
	s := Series{}
	first := p.From.AddDays(p.Crop.Stages.Initial + p.Crop.Stages.Development)
	for i := range p.Crop.Stages.Mid {
		d := first.AddDays(i)
		r := penmanMonteith(c.Place, d.DayOfYear(), c.Normals[d.Month-1], 0)
		s.Days = append(s.Days, DayClimate{Date: d, Working: &r})
	}
	wind, rhMin = s.MidSeason(p)
	return wind, rhMin, nil
}

// Week is seven days of a season, the last week perhaps less. Depths are over the ground.
type Week struct {
	From Date
	Days int
	// CropET is what the crop used, RainUsed the rain that did not percolate, Net the irrigation that it needed.
	CropET, Rain, RainUsed, Net unit.Depth
	// Gross is the litres at the unit.
	Gross      unit.Volume
	Irrigation int // number of waterings
	StressDays float64
	// RuleRatio is what the planting got, rain used and irrigation, over one inch in seven days.
	RuleRatio float64
}

// SeasonReport is a season of one planting, irrigated whenever RAW is used.
type SeasonReport struct {
	Planting string
	Weeks    []Week
	Total    Week
	Ledger   Ledger
	// Rule is the same season by the rule of thumb.
	Rule RuleReport
	// YieldLost is the share of the yield that the season's stress costs by Ky; unknown where no Ky is published.
	YieldLost Optional[float64]
}

// RuleReport is a season watered by the rule of thumb: each seventh day an inch over the ground, less the rain of the
// seven days before.
type RuleReport struct {
	Gross      unit.Volume
	Waterings  int
	StressDays float64
	// Lost is the water that percolates, over the ground.
	Lost      unit.Depth
	YieldLost Optional[float64]
}

// Season irrigates the first planting of a unit from planting to harvest: on each morning on which the depletion left by
// the day's rain is RAW or more, the strip is refilled to field capacity. A planting whose setting says nothing of wind and
// humidity takes those of its mid season from the series. The series must cover the planting. Faults are InputErrors.
func Season(u Unit, s Series) (SeasonReport, error) {
	if err := u.faults().err(); err != nil {
		return SeasonReport{}, err
	}
	if !u.Plantings[0].Setting.Wind.Known && !u.Plantings[0].Setting.RHMin.Known {
		u.Plantings = slices.Clone(u.Plantings[:1])
		u.Plantings[0].Setting.Wind, u.Plantings[0].Setting.RHMin = s.MidSeason(u.Plantings[0])
	}
	m := newModel(u, 0)
	first, n := m.span(m.planting.End().AddDays(1))
	if n == 0 || !s.Covers(first, n) {
		return SeasonReport{}, InputErrors{{Field: "series", Reason: ReasonMissing}}
	}
	r := SeasonReport{Planting: m.planting.ID, Total: Week{From: first}}
	offset := first.Sub(s.From())
	st, flags := m.open(s.Days[offset])
	r.Ledger = Ledger{Planting: m.planting.ID, Start: st.Depletion, Flags: flags, WithAssumed: true}
	for i := range n {
		var d LedgerDay
		d, st = m.refill(st, s.Days[offset+i])
		r.Ledger.Days = append(r.Ledger.Days, d)
		r.Ledger.Totals.add(d)
		if i%7 == 0 {
			r.Weeks = append(r.Weeks, Week{From: d.Date})
		}
		r.Weeks[len(r.Weeks)-1].add(d, m)
		r.Total.add(d, m)
	}
	r.Ledger.State = st
	t := &r.Ledger.Totals
	t.Residual = r.Ledger.Start - st.Depletion - t.RainCounted - t.Irrigation + t.ET + t.Percolation + t.Adjustment
	r.YieldLost = m.yieldLost(*t)
	r.Rule = m.inchAWeek(s.Days[offset : offset+n])
	return r, nil
}

// inchAWeek waters a season by the rule of thumb.
func (m model) inchAWeek(days []DayClimate) RuleReport {
	var r RuleReport
	var t Totals
	st, _ := m.open(days[0])
	inch := unit.DepthInches(inchAWeek)
	var rain unit.Depth
	for i, c := range days {
		var e dayEvents
		if i%7 == 0 {
			if short := inch - rain; short > 0 {
				gross := short.Over(m.planting.GroundArea)
				e.irrigation = unit.Depth(m.netDepth * float64(gross))
				r.Gross += gross
				r.Waterings++
			}
			rain = 0
		}
		rain += c.Rain.Value
		var d LedgerDay
		d, st = m.step(st, c, e)
		t.add(d)
	}
	r.StressDays, r.Lost, r.YieldLost = t.StressDays, t.Percolation*unit.Depth(m.fw), m.yieldLost(t)
	return r
}

// yieldLost is the share of the yield that a ledger's stress costs.
func (m model) yieldLost(t Totals) Optional[float64] {
	if m.planting.Crop.YieldResponse == 0 || t.PotentialET <= 0 {
		return Optional[float64]{}
	}
	return Given(1 - RelativeYield(m.planting.Crop.YieldResponse, float64(t.ET/t.PotentialET)))
}

// refill takes a day dry, and once more with a refill when RAW was used in its morning.
func (m model) refill(st State, c DayClimate) (LedgerDay, State) {
	dry, next := m.step(st, c, dayEvents{})
	if dry.Wet <= 0 || dry.Wet < dry.RAW {
		return dry, next
	}
	return m.step(st, c, dayEvents{irrigation: dry.Wet})
}

func (w *Week) add(d LedgerDay, m model) {
	ground := func(strip unit.Depth) unit.Depth { return strip * unit.Depth(m.fw) }
	w.Days++
	w.CropET += ground(d.ET)
	w.Rain += d.Rain.Value
	w.RainUsed += ground(d.RainCounted - min(d.RainCounted, d.Percolation))
	w.Net += ground(d.Irrigation)
	w.Gross += unit.Volume(float64(d.Irrigation) / m.netDepth)
	if d.Irrigation > 0 {
		w.Irrigation++
	}
	w.StressDays += d.Stress
	w.RuleRatio = (w.RainUsed + w.Net).Inches() / (inchAWeek * float64(w.Days) / 7)
}
