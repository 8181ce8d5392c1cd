package waterneed

import (
	"slices"
	"testing"

	"rillturn.example/rillturn/engine/unit"
)

func demandOf(t *testing.T, u Unit, s Series, states []State, days int) Demand {
	t.Helper()
	d, err := UnitDemand(u, s, states, s.From(), days)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// By hand: the strip of the bed loses 10 mm a day over 5 m², 50 L net and 62.5 L gross at 0.8. RAW of 64 mm lasts six
// days and is 400 L gross. 24 mm missing on the first morning are 150 L gross.
func TestUnitDemand_byHand(t *testing.T) {
	u, s := bed(28)
	d := demandOf(t, u, s, []State{{Date: s.From(), Depletion: 24, LastWatered: s.From().AddDays(-3)}}, 7)
	near(t, "carried over", d.Days[0].Wanted.Liters(), 150, 1e-9)
	for i, day := range d.Days {
		near(t, "use", day.Use.Liters(), 62.5, 1e-9)
		if i > 0 {
			near(t, "wanted", day.Wanted.Liters(), 62.5, 1e-9)
		}
		near(t, "most", day.Most.Liters(), min(400, 150+62.5*float64(i)), 1e-9)
		if day.Interval != 6 {
			t.Errorf("%s: interval %d", day.Date, day.Interval)
		}
	}
	near(t, "total", d.Total.Liters(), 150+6*62.5, 1e-9)
	near(t, "low", d.TotalLow.Liters(), d.Total.Liters()*0.8/0.85, 1e-9)
	near(t, "high", d.TotalHigh.Liters(), d.Total.Liters()*0.8/0.75, 1e-9)
	near(t, "most in a day", d.MostPerDay.Liters(), 400, 1e-9)
	if d.Interval != 6 || d.Due != 5 || d.DaysSinceWatered != 3 || d.Seedlings || d.Thirstiest != 0 {
		t.Errorf("%+v", d)
	}
}

// 24 mm + 10 mm a day passes 64 mm on the morning of day 5; a replay without water agrees.
func TestReplay_agreesWithDue(t *testing.T) {
	u, s := bed(28)
	states := []State{{Date: s.From(), Depletion: 24}}
	p, err := Replay(u, s, states, s.From(), make([]unit.Volume, 7))
	if err != nil {
		t.Fatal(err)
	}
	for i, d := range p[0].Days {
		if (d.Start > d.RAW) != (i >= 5) || (d.Ks < 1) != (i >= 5) {
			t.Errorf("day %d: %g of %g, Ks %g", i, d.Start, d.RAW, d.Ks)
		}
	}
	if p[0].Totals.StressDays <= 0 {
		t.Error("no stress days")
	}
	water := make([]unit.Volume, 7)
	for i := range water {
		water[i] = unit.Liters(150)
	}
	p, err = Replay(u, s, states, s.From(), water)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "stress with water", p[0].Totals.StressDays, 0, 0)
	near(t, "surplus percolates", p[0].Totals.Percolation, 7*24-24-6*10, 1e-9)
	near(t, "the last day's use is missing", p[0].State.Depletion, 10, 1e-9)
}

// Two plantings on one valve: a strip that loses twice as much rules the litres; the other gets twice what it wants, and
// half of the surplus falls on its half of the wet ground.
func TestUnitDemand_theThirstiestRules(t *testing.T) {
	u, s := bed(28)
	second := u.Plantings[0]
	second.ID = "q"
	second.Crop.KcIni, second.Crop.KcMid, second.Crop.KcEnd = 0.5, 0.5, 0.5
	u.Plantings = append(u.Plantings, second)
	d := demandOf(t, u, s, make([]State, 2), 14)
	if d.Thirstiest != 0 || d.Interval != 6 {
		t.Errorf("thirstiest %d, interval %d", d.Thirstiest, d.Interval)
	}
	near(t, "total", d.Total.Liters(), 13*125, 1e-9)
	near(t, "the other wants", d.Plantings[1].Wanted.Liters(), 13*62.5, 1e-9)
	near(t, "surplus", d.Plantings[1].Surplus.Liters(), 13*62.5, 1e-9)
	near(t, "surplus on it", d.Plantings[1].SurplusHere.Liters(), 13*31.25, 1e-9)
	near(t, "the thirstiest has none", d.Plantings[0].Surplus.Liters(), 0, 1e-9)
	u.Plantings[0].FlowShare, u.Plantings[1].FlowShare = 2.0/3, 1.0/3
	d = demandOf(t, u, s, make([]State, 2), 14)
	near(t, "matched shares", d.Plantings[1].Surplus.Liters(), 0, 1e-6)
	near(t, "and less water", d.Total.Liters(), 13*93.75, 1e-6)
}

// Two crops follow each other on the ground of the bed: each has all of the water while it stands. A third beside them
// halves that, also while its own ground lies bare.
func TestShares_countWhatStandsTogether(t *testing.T) {
	u, _ := bed(60)
	u.Plantings[0].To = Date{2015, 7, 10}
	next := u.Plantings[0]
	next.ID, next.From, next.To = "next", Date{2015, 7, 10}, Date{2015, 8, 20}
	u.Plantings = append(u.Plantings, next)
	if got := u.Shares(); got[0] != 1 || got[1] != 1 {
		t.Errorf("one after the other: %v", got)
	}
	beside := next
	beside.ID, beside.From = "beside", Date{2015, 8, 1}
	u.Plantings = append(u.Plantings, beside)
	if got := u.Shares(); got[0] != 1 || got[1] != 0.5 || got[2] != 0.5 {
		t.Errorf("with a third: %v", got)
	}
	for i := range u.Plantings {
		u.Plantings[i].FlowShare = 0.6
	}
	wantField(t, u.Validate(), "plantings.flow_share")
}

func TestUnitDemand_seedlingsDaily(t *testing.T) {
	u, s := bed(28)
	crop, _ := CropByCode("lettuce")
	u.Plantings[0].Crop, u.Plantings[0].Establishment = crop, Sown
	d := demandOf(t, u, s, make([]State, 1), 21)
	for i, day := range d.Days {
		if seedling := i < 14; d.Plantings[0].Days[i].Seedling != seedling || (seedling && day.Interval != 1) {
			t.Errorf("day %d: seedling %v, interval %d", i+1, d.Plantings[0].Days[i].Seedling, day.Interval)
		}
	}
	if !d.Seedlings || d.Interval != 1 || !slices.Contains(d.Flags, FlagSeedling) {
		t.Errorf("seedlings %v, interval %d, flags %v", d.Seedlings, d.Interval, d.Flags)
	}
}

func TestUnitDemand_plantingWithinTheHorizon(t *testing.T) {
	u, s := bed(28)
	u.Plantings[0].From, u.Plantings[0].To = s.From().AddDays(3), s.From().AddDays(9)
	u.Plantings[0].Opening = Opening{}
	d := demandOf(t, u, s, make([]State, 1), 14)
	for i, day := range d.Days {
		if active := i >= 3 && i <= 9; d.Plantings[0].Days[i].Active != active || (day.Use > 0) != active {
			t.Errorf("day %d: %+v", i, day)
		}
	}
	near(t, "opens with half of RAW", d.Plantings[0].Days[3].Wanted, 32, 1e-9)
	for _, note := range []Code{NoteDemandStarts, NoteDemandEnds, FlagOpeningAssumed} {
		if !slices.Contains(d.Plantings[0].Notes, note) {
			t.Errorf("notes %v", d.Plantings[0].Notes)
		}
	}
	u.Plantings[0].From, u.Plantings[0].To = s.From().AddDays(20), s.From().AddDays(25)
	if d = demandOf(t, u, s, make([]State, 1), 14); d.Total != 0 || d.Thirstiest != -1 || d.Interval != longestInterval {
		t.Errorf("nothing grows: %+v", d)
	}
}

// Measured rain in the horizon's days of the series is not booked ahead.
func TestUnitDemand_booksNoRainAhead(t *testing.T) {
	u, s := bed(28)
	dry := demandOf(t, u, s, make([]State, 1), 14)
	for i := range s.Days {
		s.Days[i].Rain = Given(unit.Depth(30))
	}
	if wet := demandOf(t, u, s, make([]State, 1), 14); wet.Total != dry.Total {
		t.Errorf("%g L with rain ahead, %g without", wet.Total.Liters(), dry.Total.Liters())
	}
	p, err := Replay(u, s, make([]State, 1), s.From(), make([]unit.Volume, 7))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "rain in the replay", p[0].Totals.RainCounted, 0, 0)
}

// 6.67 L/h for a metre of a strip 0.3 m wide are 22.2 mm/h: above loam's 15 (10 to 20), below sandy loam's 25.
func TestUnitDemand_spell(t *testing.T) {
	u, s := bed(28)
	u.Application = Application{FlowPerMeter: unit.LitersPerHour(20.0 / 3), StripWidth: 0.3}
	u.Soil = UnknownSoil()
	d := demandOf(t, u, s, make([]State, 1), 7)
	rate := 20 / 0.9
	near(t, "rate", d.Spell.Rate, rate, 1e-9)
	near(t, "on", d.Spell.On, 60*3/(rate-15), 1e-9)
	near(t, "on at the low end", d.Spell.OnLow, 60*3/(rate-10), 1e-9)
	near(t, "soak", d.Spell.Soak, float64(d.Spell.On)*(rate-15)/15, 1e-9)
	if !d.Spell.Limited || !slices.Contains(d.Flags, FlagSoilAssumed) {
		t.Errorf("%+v, flags %v", d.Spell, d.Flags)
	}
	var err error
	if u.Soil, err = SoilOf(SandyLoam); err != nil {
		t.Fatal(err)
	}
	if d = demandOf(t, u, s, make([]State, 1), 7); d.Spell.Limited || d.Spell.On != 0 {
		t.Errorf("%+v", d.Spell)
	}
	u.Application = Application{Flow: unit.LitersPerMinute(20)}
	if d = demandOf(t, u, s, make([]State, 1), 7); !d.Spell.Limited || d.Spell.Rate != 240 {
		t.Errorf("a hose of 20 L/min on 5 m²: %+v", d.Spell)
	}
}

func TestEfficiency_namesItsSource(t *testing.T) {
	e := Uniformity{Measured: Given(0.7), Computed: Given(0.9)}.Efficiency()
	if e.Source != EfficiencyMeasured || e.Value != 0.7 {
		t.Errorf("%+v", e)
	}
	e = Uniformity{Computed: Given(0.9)}.Efficiency()
	near(t, "computed", e.Value, 0.9*0.85, 1e-12)
	if e.Source != EfficiencyComputed || e.Uniformity != 0.9 || e.Factor != 0.85 || e.Low >= e.Value || e.High <= e.Value {
		t.Errorf("%+v", e)
	}
	if e = (Uniformity{}).Efficiency(); e.Source != EfficiencyAssumed || e.Low != 0.6 || e.High != 0.9 {
		t.Errorf("%+v", e)
	}
}

func TestUnitDemand_refusesByField(t *testing.T) {
	u, s := bed(28)
	start := s.From()
	for _, c := range []struct {
		field  string
		states int
		start  Date
		days   int
	}{
		{"days", 1, start, 6},
		{"days", 1, start, 29},
		{"states", 2, start, 7},
		{"start", 1, Date{2015, 13, 1}, 7},
		{"series", 1, start.AddDays(25), 7},
	} {
		_, err := UnitDemand(u, s, make([]State, c.states), c.start, c.days)
		wantField(t, err, c.field)
	}
	_, err := Replay(u, s, make([]State, 1), start, []unit.Volume{-1})
	wantField(t, err, "litres[0]")
}

func TestHandTurns(t *testing.T) {
	minutes, cans := HandTurns(unit.Liters(95), unit.LitersPerMinute(10), unit.Liters(10))
	near(t, "minutes", minutes, 9.5, 1e-9)
	if cans != 10 {
		t.Errorf("%d cans", cans)
	}
	near(t, "litres per metre of row", PerMeterOfRow(8, 0.5).Liters(), 4, 1e-9)
	near(t, "gross with leaching", GrossDepth(9, 0.9, 0.1), 9/0.81, 1e-9)
	near(t, "leaching requirement", LeachingRequirement(1, 2), 1.0/9, 1e-12)
	near(t, "water too salty", LeachingRequirement(5, 1), 1, 0)
	near(t, "yield left", RelativeYield(1.05, 0.8), 0.79, 1e-12)
}
