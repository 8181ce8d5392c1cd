package waterneed

import (
	"fmt"
	"slices"

	"rillturn.example/rillturn/engine/unit"
)

// smallRain is the share of ET0 under which a day's rain is ignored. Source: FAO-56 ch. 8.
const smallRain = 0.2

// evidenceDays is how long a ledger goes without anybody's report before a dig is asked for.
const evidenceDays = 7

// Flags of a ledger's day and of a ledger.
const (
	FlagRainMissing      Code = "rain_missing"
	FlagRainRead         Code = "rain_read_by_hand"
	FlagRainSmall        Code = "rain_ignored_small"
	FlagRainUnderPlastic Code = "rain_ignored_plastic"
	FlagAssumedTurn      Code = "turn_assumed"
	FlagAssumedLeftOut   Code = "assumed_turn_left_out"
	FlagPressureLost     Code = "pressure_lost_uncounted"
	FlagDig              Code = "reset_by_dig"
	FlagWilting          Code = "wilting_point"
	FlagPastCurve        Code = "past_curve"
	FlagOpeningAssumed   Code = "opening_assumed"
	FlagSoilAssumed      Code = "soil_assumed_loam"
	FlagCropJudged       Code = "crop_constants_judged"
	FlagDigAsked         Code = "dig_asked"
	FlagSeedling         Code = "seedling"
)

// State is a planting's soil at the start of a day. It is a cache of the ledger, never the truth.
type State struct {
	Date      Date
	Depletion unit.Depth
	// Surface is the depletion De of the surface layer, SurfaceWetted the wetted fraction of the last wetting; both are
	// used by the dual method.
	Surface       unit.Depth
	SurfaceWetted float64
	// LastWatered is the last day with irrigation, LastEvidence the last with a report or a dig. Zero when there is none.
	LastWatered, LastEvidence Date
}

// LedgerDay is one day of a planting's ledger. Depths are over the wet strip unless they say ground.
type LedgerDay struct {
	Date        Date
	Coefficient Coefficient
	Rung        Code
	ET0         unit.Depth
	// Kc is the coefficient in effect without stress: the single one, or Kcb + Ke.
	Kc, Ke float64
	// Surface is the working of the dual method; nil without it and under plastic.
	Surface *SurfaceResult
	// GroundET is crop evapotranspiration without stress over the ground; StripET the same water over the wet strip.
	GroundET, StripET unit.Depth
	// StripEvaporation is the part of StripET that the soil evaporates, which stress of the plants doesn't stop; the dual
	// method alone knows it.
	StripEvaporation unit.Depth
	Roots            unit.Length
	// TAW and RAW with the depletion fraction P of the day.
	TAW, RAW unit.Depth
	P        float64
	// Start is the depletion at the start; Adjustment what a dig or dry soil newly reached adds to it.
	Start, Adjustment unit.Depth
	// Rain as measured; RainCounted without what was ignored.
	Rain        Optional[unit.Depth]
	RainCounted unit.Depth
	// Irrigation is net; AssumedIrrigation is the part that nobody reported.
	Irrigation, AssumedIrrigation unit.Depth
	Percolation                   unit.Depth
	// Wet is the depletion after the wetting, from which Ks comes.
	Wet unit.Depth
	Ks  float64
	// ET is what the strip loses; Stress is 1 - ET/StripET.
	ET     unit.Depth
	Stress float64
	End    unit.Depth
	Flags  []Code
}

// Totals sums a ledger.
type Totals struct {
	ET, PotentialET, Rain, RainCounted, Irrigation, AssumedIrrigation, Percolation, Adjustment unit.Depth
	// StressDays is the sum of 1 - ET/ETc.
	StressDays float64
	// RainMissingDays counts days whose rain nobody read.
	RainMissingDays int
	// Residual closes the balance: start - end depletion less rain counted, irrigation, ET, percolation, adjustments.
	Residual unit.Depth
}

// Ledger is the day-by-day depletion of one planting.
type Ledger struct {
	Planting string
	Start    unit.Depth
	Days     []LedgerDay
	// State is the soil at the start of the day after the last.
	State  State
	Totals Totals
	// WithAssumed says whether unreported turns count.
	WithAssumed bool
	Flags       []Code
}

// LedgerOptions chooses the ledger to see.
type LedgerOptions struct {
	// WithoutAssumed leaves out turns that nobody reported.
	WithoutAssumed bool
}

// Ledgers replays the history of a unit up to the morning of a date, one ledger per planting in their order. A planting
// that begins later has an empty ledger; one that has ended keeps its days. The series must cover all days. Faults are
// InputErrors.
func Ledgers(u Unit, s Series, h History, until Date, o LedgerOptions) ([]Ledger, error) {
	faults := u.faults()
	ids := map[string]bool{}
	for _, p := range u.Plantings {
		ids[p.ID] = true
	}
	faults.join("history", h.faults(ids))
	faults.checkDate("until", until)
	if err := faults.err(); err != nil {
		return nil, err
	}
	h = h.sorted()
	out := make([]Ledger, len(u.Plantings))
	for i, p := range u.Plantings {
		m := newModel(u, i)
		first, n := m.span(until)
		if n > 0 && !s.Covers(first, n) {
			return nil, InputErrors{{Field: fmt.Sprintf("plantings[%d].series", i), Reason: ReasonMissing}}
		}
		out[i] = m.run(s, h, first, n, o)
		out[i].Planting = p.ID
	}
	return out, nil
}

// model is a planting of a unit made ready for daily steps.
type model struct {
	planting   Planting
	soil       Soil
	curve      Curve
	companions []Curve
	setting    Setting
	fw         float64
	// netDepth is the net depth over the strip that one cubic metre at the unit makes [mm/m³].
	netDepth float64
}

func newModel(u Unit, i int) model {
	p := u.Plantings[i]
	setting := p.Setting
	setting.WettedFraction = p.WettedFraction()
	m := model{planting: p, soil: u.Soil, setting: setting, fw: setting.WettedFraction}
	m.curve = newCurve(p.Crop, setting)
	switch p.Establishment {
	case Established:
		m.curve.RootStart = m.curve.RootDepth
	case Sown:
	default:
		m.curve.RootStart = min(m.curve.RootDepth, max(m.curve.RootStart, transplantRoots))
	}
	for _, c := range p.Companions {
		m.companions = append(m.companions, newCurve(c.Crop, setting))
	}
	m.netDepth = float64(unit.DepthOf(1, p.wetArea())) * u.Shares()[i] * u.Uniformity.Efficiency().Value
	return m
}

// span returns the first day of the ledger and how many days lie before until.
func (m model) span(until Date) (first Date, days int) {
	first = m.planting.Opens()
	last := m.planting.End().AddDays(1)
	if until.Compare(last) < 0 {
		last = until
	}
	return first, max(0, last.Sub(first))
}

// open returns the state in which the ledger opens.
func (m model) open(first DayClimate) (State, []Code) {
	o := m.planting.Opening
	st := State{Date: first.Date, Depletion: o.Depletion, SurfaceWetted: 1, LastEvidence: first.Date}
	var flags []Code
	switch o.Kind {
	case OpeningWinterRain:
		st.Depletion = 0
	case OpeningUnknown:
		d, _ := m.step(State{Date: first.Date, SurfaceWetted: 1}, first, dayEvents{})
		st.Depletion = d.RAW / 2
		flags = append(flags, FlagOpeningAssumed)
	case OpeningGiven:
		st.Depletion = min(o.Depletion, m.crop(st, first).TAW)
	}
	if m.soil.Assumed {
		flags = append(flags, FlagSoilAssumed)
	}
	if m.planting.Crop.CoefficientsJudged || m.planting.Crop.StagesJudged {
		flags = append(flags, FlagCropJudged)
	}
	return st, flags
}

func (m model) run(s Series, h History, first Date, n int, o LedgerOptions) Ledger {
	l := Ledger{WithAssumed: !o.WithoutAssumed}
	if n == 0 {
		return l
	}
	offset := first.Sub(s.From())
	st, flags := m.open(s.Days[offset])
	events := m.events(h, first, n, o)
	if events[0].dig != nil { // what was found on the first morning stands in place of the guess
		flags = slices.DeleteFunc(flags, func(c Code) bool { return c == FlagOpeningAssumed })
	}
	l.Start, l.Flags = st.Depletion, flags
	l.Days = make([]LedgerDay, n)
	for i := range l.Days {
		l.Days[i], st = m.step(st, s.Days[offset+i], events[i])
		l.Totals.add(l.Days[i])
	}
	l.State = st
	if st.Date.Sub(st.LastEvidence) >= evidenceDays {
		l.Flags = append(l.Flags, FlagDigAsked)
	}
	t := l.Totals
	l.Totals.Residual = l.Start - st.Depletion - t.RainCounted - t.Irrigation + t.ET + t.Percolation + t.Adjustment
	return l
}

// dayEvents is what happened to a planting on one day.
type dayEvents struct {
	irrigation, assumed unit.Depth
	dig                 *Dig
	evidence            bool
	flags               []Code
}

// events lays a sorted history out by day.
func (m model) events(h History, first Date, n int, o LedgerOptions) []dayEvents {
	out := make([]dayEvents, n)
	for _, t := range h.Turns {
		i := t.Date.Sub(first)
		if i < 0 || i >= n {
			continue
		}
		b, e := t.Booked(), &out[i]
		e.evidence = e.evidence || b.Evidence
		if b.PressureLostUncounted {
			e.flags = append(e.flags, FlagPressureLost)
		}
		depth := unit.Depth(m.netDepth * float64(b.Volume))
		switch {
		case b.Assumed && o.WithoutAssumed:
			e.flags = append(e.flags, FlagAssumedLeftOut)
			continue
		case b.Assumed:
			e.assumed += depth
			e.flags = append(e.flags, FlagAssumedTurn)
		}
		e.irrigation += depth
	}
	for j, d := range h.Digs {
		i := d.Date.Sub(first)
		if i < 0 || i >= n || (d.Planting != "" && d.Planting != m.planting.ID) {
			continue
		}
		out[i].dig, out[i].evidence = &h.Digs[j], true
	}
	return out
}

// step takes the soil through one day.
func (m model) step(st State, c DayClimate, e dayEvents) (LedgerDay, State) {
	d := m.crop(st, c)
	if c.RainRead {
		d.Flags = append(d.Flags, FlagRainRead)
	}
	m.rain(&d, c.Rain)
	d.Irrigation, d.AssumedIrrigation = e.irrigation, e.assumed
	d.Flags = append(d.Flags, e.flags...)
	next := State{
		Date: c.Date.AddDays(1), LastWatered: st.LastWatered, LastEvidence: st.LastEvidence,
		Surface: st.Surface, SurfaceWetted: st.SurfaceWetted,
	}
	m.demand(&d, &next)
	if e.dig != nil {
		d.dig(*e.dig)
	}
	d.Balance()
	next.Depletion = d.End
	if d.Irrigation > 0 {
		next.LastWatered = d.Date
	}
	if e.evidence {
		next.LastEvidence = d.Date
	}
	return d, next
}

// crop begins a day with the plants and their root zone.
func (m model) crop(st State, c DayClimate) LedgerDay {
	n := c.Date.Sub(m.planting.From) + 1
	d := LedgerDay{Date: c.Date, Rung: c.Rung, ET0: c.ET0, Coefficient: m.curve.At(n), Start: st.Depletion}
	if len(m.companions) > 0 {
		m.mix(&d.Coefficient, c.Date)
	}
	d.Roots = m.limit(d.Coefficient.Roots)
	d.TAW = m.soil.TotalAvailableWater(d.Roots)
	if m.planting.DryBelow > 0 && n > 1 {
		before := m.soil.TotalAvailableWater(m.limit(m.curve.At(n - 1).Roots))
		d.Adjustment = max(0, d.TAW-before) * unit.Depth(m.planting.DryBelow)
	}
	if d.Coefficient.Stage == StagePast {
		d.Flags = append(d.Flags, FlagPastCurve)
	}
	return d
}

// limit keeps roots inside a raised bed.
func (m model) limit(roots unit.Length) unit.Length {
	if m.planting.RootLimit > 0 {
		return min(roots, m.planting.RootLimit)
	}
	return roots
}

// mix weights the coefficients of companions that are planted by ground and height (FAO-56 eq. 104). Seedlings have a
// height of at least a centimetre, so that they count from the first day.
func (m model) mix(k *Coefficient, date Date) {
	const seedlingHeight = 0.01
	weight := m.planting.Ground * max(seedlingHeight, float64(k.Height))
	sum, kc, kcb, tallest := weight, weight*k.Kc, weight*k.Kcb, k.Height
	for i, curve := range m.companions {
		companion := m.planting.Companions[i]
		n := date.Sub(companion.From) + 1
		if n < 1 || date.Compare(companion.End()) > 0 {
			continue
		}
		c := curve.At(n)
		weight = companion.Ground * max(seedlingHeight, float64(c.Height))
		sum, kc, kcb, tallest = sum+weight, kc+weight*c.Kc, kcb+weight*c.Kcb, max(tallest, c.Height)
	}
	k.Kcb = kcb / sum
	k.Kc = min(kc/sum, MaxCoefficient(k.Kcb, m.setting.Wind.Or(assumedWind), m.setting.RHMin.Or(45), tallest))
}

// rain counts a day's rain. Unknown rain counts as none and is flagged, never in silence.
func (m model) rain(d *LedgerDay, rain Optional[unit.Depth]) {
	d.Rain = rain
	switch {
	case !rain.Known:
		d.Flags = append(d.Flags, FlagRainMissing)
	case rain.Value <= 0:
	case m.setting.Mulch == MulchPlastic:
		d.Flags = append(d.Flags, FlagRainUnderPlastic)
	case rain.Value < smallRain*d.ET0:
		d.Flags = append(d.Flags, FlagRainSmall)
	default:
		d.RainCounted = rain.Value
	}
}

// demand sets evapotranspiration without stress, and RAW from it; with the dual method it steps the surface layer.
func (m model) demand(d *LedgerDay, next *State) {
	d.Kc = d.Coefficient.Kc
	strip := unit.Depth(1 / m.fw)
	if m.planting.Dual {
		d.Ke = m.surface(d, next)
		d.Kc = d.Coefficient.Kcb + d.Ke
		d.StripEvaporation = unit.Depth(d.Ke) * d.ET0
		if next.SurfaceWetted < 1 { // after rain all ground evaporates, else the strip alone
			d.StripEvaporation *= strip
		}
		d.StripET = unit.Depth(d.Coefficient.Kcb)*d.ET0*strip + d.StripEvaporation
	} else {
		d.StripET = unit.Depth(d.Kc) * d.ET0 * strip
	}
	d.GroundET = unit.Depth(d.Kc) * d.ET0
	d.P = m.planting.Crop.DepletionFraction
	for _, c := range m.planting.Companions {
		if d.Date.Compare(c.From) >= 0 && d.Date.Compare(c.End()) <= 0 {
			d.P = min(d.P, c.Crop.DepletionFraction)
		}
	}
	if !m.planting.FixedDepletion {
		d.P = DepletionFraction(d.P, d.GroundET)
	}
	d.RAW = unit.Depth(d.P) * d.TAW
}

// surface steps the surface layer and returns Ke. Plastic lets nothing evaporate; an organic mulch saves 5 % for each
// 10 % of cover.
func (m model) surface(d *LedgerDay, next *State) float64 {
	if m.setting.Mulch == MulchPlastic {
		return 0
	}
	k := d.Coefficient
	kcMax := MaxCoefficient(k.Kcb, m.setting.Wind.Or(assumedWind), m.setting.RHMin.Or(45), k.Height)
	fc := CoverFraction(k.Kcb, kcMax, k.Height)
	switch {
	case d.RainCounted > 0:
		next.SurfaceWetted = 1
	case d.Irrigation > 0 && m.fw < 1:
		next.SurfaceWetted = DripWettedFraction(m.fw, fc)
	case d.Irrigation > 0:
		next.SurfaceWetted = 1
	}
	r := SurfaceDay{
		ET0: d.ET0, Kcb: k.Kcb, KcMax: kcMax, Cover: fc, Wetted: next.SurfaceWetted,
		TEW: m.soil.TotallyEvaporable, REW: m.soil.ReadilyEvaporable,
		Depletion: next.Surface, Rain: d.RainCounted, StripSupply: d.Irrigation,
	}.Evaporate()
	next.Surface, d.Surface = r.DepletionEnd, &r
	if m.setting.Mulch == MulchOrganic {
		return r.Ke * (1 - 0.5*m.setting.MulchCover)
	}
	return r.Ke
}

// dig resets the depletion of the morning.
func (d *LedgerDay) dig(dig Dig) {
	found := unit.Depth(0)
	switch {
	case dig.Depletion.Known:
		found = min(d.TAW, dig.Depletion.Value)
	case dig.Finding == FoundMoist:
		found = d.RAW / 2
	case dig.Finding == FoundDry:
		found = d.RAW
	}
	d.Adjustment = found - d.Start
	d.Flags = append(d.Flags, FlagDig)
}

// Balance books the day: wetting, percolation of the surplus, then evapotranspiration with Ks from the depletion after
// the wetting. It reads Start, Adjustment, RainCounted, Irrigation, TAW, RAW, StripET and StripEvaporation, and sets
// Percolation, Wet, Ks, ET, Stress and End.
//
//	Ks = (TAW - Dr)/(TAW - RAW) beyond RAW, else 1
//
// Source: FAO-56 eq. 84, 85, 86, in the order of its plans by day (Example 37).
func (d *LedgerDay) Balance() {
	before := d.Start + d.Adjustment
	d.Percolation = max(0, d.RainCounted+d.Irrigation-before)
	d.Wet = max(0, before-d.RainCounted-d.Irrigation)
	d.Ks = StressCoefficient(d.Wet, d.TAW, d.RAW)
	potential := d.StripET
	d.ET = unit.Depth(d.Ks)*(potential-d.StripEvaporation) + d.StripEvaporation
	if left := max(0, d.TAW-d.Wet); d.ET > left {
		d.ET = left
		d.Flags = append(d.Flags, FlagWilting)
	}
	if potential > 0 {
		d.Stress = 1 - float64(d.ET/potential)
	}
	d.End = d.Wet + d.ET
}

// StressCoefficient returns Ks at depletion dr. Source: FAO-56 eq. 84.
func StressCoefficient(dr, taw, raw unit.Depth) float64 {
	if dr <= raw {
		return 1
	}
	return max(0, float64((taw-dr)/(taw-raw)))
}

func (t *Totals) add(d LedgerDay) {
	t.ET += d.ET
	t.PotentialET += d.StripET
	t.Rain += d.Rain.Value
	t.RainCounted += d.RainCounted
	t.Irrigation += d.Irrigation
	t.AssumedIrrigation += d.AssumedIrrigation
	t.Percolation += d.Percolation
	t.Adjustment += d.Adjustment
	t.StressDays += d.Stress
	if !d.Rain.Known {
		t.RainMissingDays++
	}
}
