package waterneed

import (
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rillturn.example/rillturn/engine/unit"
)

// bed is ten square metres of established tomato at Kc 1 on silt, wet on half of it, with an efficiency of 0.8 and days
// of 5 mm without rain.
func bed(days int) (Unit, Series) {
	u, s := example37(days)
	p := &u.Plantings[0]
	p.Crop.KcIni, p.Crop.KcMid, p.Crop.KcEnd = 1, 1, 1
	p.WetArea, p.Opening = 5, Opening{Kind: OpeningWinterRain}
	u.Uniformity.Measured = Given(0.8)
	return u, s
}

func ledgerOf(t *testing.T, u Unit, s Series, h History, days int, o LedgerOptions) Ledger {
	t.Helper()
	l, err := Ledgers(u, s, h, Date{2015, 7, 1}.AddDays(days), o)
	if err != nil {
		t.Fatal(err)
	}
	return l[0]
}

// By hand: 60 L over 5 m² at 0.8 are 9.6 mm of the strip; the strip loses 5 mm / 0.5 = 10 mm a day.
func TestTurn_countsByItsOutcome(t *testing.T) {
	ran := func(m float64) Optional[unit.Minutes] { return Given(unit.Minutes(m)) }
	metered := Given(unit.Liters(30))
	cases := []struct {
		name     string
		turn     Turn
		want     float64
		assumed  bool
		flag     Code
		evidence bool
	}{
		{"done", Turn{Outcome: Done}, 9.6, false, "", true},
		{"done in five minutes", Turn{Outcome: Done, Ran: ran(5)}, 2.4, false, "", true},
		{"nobody reported", Turn{}, 9.6, true, FlagAssumedTurn, false},
		{"half of it", Turn{Outcome: Part, Ran: ran(10)}, 4.8, false, "", true},
		{"missed", Turn{Outcome: Missed}, 0, false, "", true},
		{"found wet", Turn{Outcome: SkippedWet}, 0, false, "", true},
		{"pressure lost after five minutes", Turn{Outcome: PressureLost, Ran: ran(5)}, 2.4, false, "", true},
		{"pressure lost, nobody noted when", Turn{Outcome: PressureLost}, 0, false, FlagPressureLost, true},
		{"overran", Turn{Outcome: Overran, Ran: ran(30)}, 14.4, false, "", true},
		{"meter says 30 L", Turn{Outcome: Done, Metered: metered}, 4.8, false, "", true},
		{"meter speaks for nobody", Turn{Metered: metered}, 4.8, false, "", true},
		{"missed whatever the meter says", Turn{Outcome: Missed, Metered: metered}, 0, false, "", true},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			u, s := bed(4)
			c.turn.Date, c.turn.Volume, c.turn.Minutes = Date{2015, 7, 3}, unit.Liters(60), 20
			l := ledgerOf(t, u, s, History{Turns: []Turn{c.turn}}, 4, LedgerOptions{})
			d := l.Days[2]
			near(t, "irrigation", d.Irrigation, c.want, 1e-9)
			near(t, "end", d.End, 20-c.want+10, 1e-9)
			if (d.AssumedIrrigation > 0) != c.assumed || (c.flag != "" && !slices.Contains(d.Flags, c.flag)) {
				t.Errorf("assumed %g, flags %v", d.AssumedIrrigation, d.Flags)
			}
			if (l.State.LastEvidence == Date{2015, 7, 3}) != c.evidence {
				t.Errorf("last evidence %s", l.State.LastEvidence)
			}
		})
	}
}

func TestLedger_withAndWithoutAssumedTurns(t *testing.T) {
	u, s := bed(4)
	h := History{Turns: []Turn{{Date: Date{2015, 7, 2}, Volume: unit.Liters(60), Minutes: 20}}}
	with := ledgerOf(t, u, s, h, 4, LedgerOptions{})
	without := ledgerOf(t, u, s, h, 4, LedgerOptions{WithoutAssumed: true})
	near(t, "difference", without.State.Depletion-with.State.Depletion, 9.6, 1e-9)
	near(t, "assumed", with.Totals.AssumedIrrigation, 9.6, 1e-9)
	if !with.WithAssumed || without.WithAssumed || !slices.Contains(without.Days[1].Flags, FlagAssumedLeftOut) {
		t.Errorf("with %v, without %v: %v", with.WithAssumed, without.WithAssumed, without.Days[1].Flags)
	}
}

func TestLedger_asksForADigAfterSevenDaysWithoutEvidence(t *testing.T) {
	u, s := bed(12)
	h := History{Turns: []Turn{{Date: Date{2015, 7, 3}, Volume: unit.Liters(60), Minutes: 20, Outcome: Done}}}
	for days, want := range map[int]bool{6: false, 8: false, 9: true, 12: true} {
		if got := slices.Contains(ledgerOf(t, u, s, h, days, LedgerOptions{}).Flags, FlagDigAsked); got != want {
			t.Errorf("after %d days: dig asked %v", days, got)
		}
	}
	h.Digs = []Dig{{Date: Date{2015, 7, 10}, Finding: FoundWet}}
	if slices.Contains(ledgerOf(t, u, s, h, 12, LedgerOptions{}).Flags, FlagDigAsked) {
		t.Error("a dig two days ago is evidence")
	}
}

// TAW 160, RAW 64 (p 0.40, fixed): moist is 32, dry 64.
func TestDig_resetsTheMorning(t *testing.T) {
	for _, c := range []struct {
		dig  Dig
		want float64
	}{
		{Dig{Finding: FoundWet}, 0},
		{Dig{Finding: FoundMoist}, 32},
		{Dig{Finding: FoundDry}, 64},
		{Dig{Depletion: Given(unit.Depth(50))}, 50},
		{Dig{Depletion: Given(unit.Depth(500))}, 160},
		{Dig{Finding: FoundWet, Planting: "p"}, 0},
	} {
		u, s := bed(5)
		c.dig.Date = Date{2015, 7, 4}
		d := ledgerOf(t, u, s, History{Digs: []Dig{c.dig}}, 5, LedgerOptions{}).Days[3]
		near(t, "after the dig", d.Start+d.Adjustment, c.want, 1e-9)
		near(t, "before the plants use water", d.Wet, c.want, 1e-9)
	}
}

func TestOpening_isStatedAndFlagged(t *testing.T) {
	u, s := bed(2)
	if l := ledgerOf(t, u, s, History{}, 2, LedgerOptions{}); l.Start != 0 || len(l.Flags) != 0 {
		t.Errorf("after winter rain: %g, flags %v", l.Start, l.Flags)
	}
	u.Plantings[0].Opening = Opening{}
	l := ledgerOf(t, u, s, History{}, 2, LedgerOptions{})
	near(t, "half of RAW", l.Start, 32, 1e-9)
	if diff := cmp.Diff([]Code{FlagOpeningAssumed}, l.Flags); diff != "" {
		t.Error(diff)
	}
	dug := History{Digs: []Dig{{Date: s.From(), Depletion: Given(unit.Depth(12))}}}
	if l := ledgerOf(t, u, s, dug, 2, LedgerOptions{}); len(l.Flags) != 0 {
		t.Errorf("dug on the first morning, and still flagged %v", l.Flags)
	}
	dug.Digs[0].Date = s.From().AddDays(1)
	if l := ledgerOf(t, u, s, dug, 2, LedgerOptions{}); !slices.Contains(l.Flags, FlagOpeningAssumed) {
		t.Errorf("dug on the second morning, flags %v: the first day rests on a guess", l.Flags)
	}
	u.Plantings[0].Opening = Opening{Kind: OpeningGiven, Depletion: 500}
	near(t, "never above TAW", ledgerOf(t, u, s, History{}, 2, LedgerOptions{}).Start, 160, 1e-9)
	u.Soil, u.Plantings[0].Opening = UnknownSoil(), Opening{Kind: OpeningWinterRain, Date: Date{2015, 7, 2}}
	l = ledgerOf(t, u, s, History{}, 2, LedgerOptions{})
	if len(l.Days) != 1 || !slices.Contains(l.Flags, FlagSoilAssumed) {
		t.Errorf("%d days, flags %v", len(l.Days), l.Flags)
	}
}

// Rain of 0.9 mm is under 0.2 of 5 mm, 1.0 mm is not; plastic sheds both; an unread gauge is flagged.
func TestRain_rule(t *testing.T) {
	cases := []struct {
		name  string
		rain  Optional[unit.Depth]
		mulch MulchKind
		want  float64
		flag  Code
	}{
		{"small", Given(unit.Depth(0.9)), MulchNone, 0, FlagRainSmall},
		{"enough", Given(unit.Depth(1)), MulchNone, 1, ""},
		{"plastic", Given(unit.Depth(12)), MulchPlastic, 0, FlagRainUnderPlastic},
		{"unread", Optional[unit.Depth]{}, MulchNone, 0, FlagRainMissing},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			u, s := bed(3)
			s.Days[2].Rain, u.Plantings[0].Setting.Mulch = c.rain, c.mulch
			l := ledgerOf(t, u, s, History{}, 3, LedgerOptions{})
			near(t, "counted", l.Days[2].RainCounted, c.want, 0)
			if c.flag != "" && !slices.Contains(l.Days[2].Flags, c.flag) {
				t.Errorf("flags %v", l.Days[2].Flags)
			}
			if (l.Totals.RainMissingDays == 1) != (c.flag == FlagRainMissing) {
				t.Errorf("%d days without a reading", l.Totals.RainMissingDays)
			}
		})
	}
}

// Roots grow from 0.10 m to 0.30 m over a lettuce's first 50 days when sown; a raised bed of 0.2 m stops them.
func TestRoots_growAndStopAtTheBedsFloor(t *testing.T) {
	u, s := bed(60)
	crop, _ := CropByCode("lettuce")
	p := &u.Plantings[0]
	p.Crop, p.Establishment, p.DryBelow = crop, Sown, 0
	l := ledgerOf(t, u, s, History{}, 60, LedgerOptions{})
	near(t, "day 1", l.Days[0].Roots, 0.10, 1e-12)
	near(t, "day 50", l.Days[49].Roots, 0.30, 1e-12)
	p.RootLimit = 0.2
	l = ledgerOf(t, u, s, History{}, 60, LedgerOptions{})
	near(t, "day 50 in the raised bed", l.Days[49].Roots, 0.20, 1e-12)
	p.RootLimit, p.DryBelow, p.Establishment = 0, 1, Transplanted
	l = ledgerOf(t, u, s, History{}, 60, LedgerOptions{})
	near(t, "transplants", l.Days[0].Roots, 0.20, 1e-12)
	near(t, "dry soil reached", l.Totals.Adjustment, 1000*0.2*0.1, 1e-9)
}

// The ledger's dual method on bare loam dries as FAO-56 ch. 7 Example 31 (p. 146) prints.
func TestLedger_dualFollowsExample31(t *testing.T) {
	u, s := bed(10)
	p := &u.Plantings[0]
	p.WetArea, p.Dual = 10, true
	p.Crop.KcbIni, p.Crop.KcbMid, p.Crop.KcbEnd = 0.15, 0.15, 0.15
	u.Soil.TotallyEvaporable, u.Soil.ReadilyEvaporable = 20, 9
	for i := range s.Days {
		s.Days[i].ET0 = 4.5
	}
	etc := []float64{5.4, 5.4, 5.2, 3.3, 2.1, 1.5, 1.2, 0.9, 0.8, 0.8}
	l := ledgerOf(t, u, s, History{}, 10, LedgerOptions{})
	for i, d := range l.Days {
		near(t, "ETc", d.GroundET, etc[i], 0.06)
		near(t, "loss", d.ET, float64(d.GroundET), 1e-9)
	}
	near(t, "De", l.State.Surface, 19.88, 0.02)
}

// After rain all ground evaporates, and the strip loses no more of it than its own depth; after drip the strip alone
// evaporates: Kcb 0.15 over half of the ground is 0.15·5/0.5 = 1.5 mm of the strip, Ke is 1.05 after rain and 0.5·1.2 after
// drip, which is 0.6·5/0.5 = 6 mm of the strip.
func TestLedger_dualEvaporatesFromTheStrip(t *testing.T) {
	u, s := bed(3)
	p := &u.Plantings[0]
	p.Dual = true
	p.Crop.KcbIni, p.Crop.KcbMid, p.Crop.KcbEnd = 0.15, 0.15, 0.15
	s.Days[0].Rain = Given(unit.Depth(20))
	h := History{Turns: []Turn{{Date: s.From().AddDays(1), Volume: unit.Liters(100), Outcome: Done}}}
	l := ledgerOf(t, u, s, h, 3, LedgerOptions{})
	near(t, "after rain", l.Days[0].StripET, 1.5+(l.Days[0].Kc-0.15)*5, 1e-9)
	near(t, "Ke after rain", l.Days[0].Ke, l.Days[0].Surface.KcMax-0.15, 1e-9)
	near(t, "after drip", l.Days[1].StripET, 1.5+0.5*l.Days[1].Surface.KcMax*5/0.5, 1e-9)
	near(t, "over the ground", l.Days[1].GroundET, (0.15+0.5*l.Days[1].Surface.KcMax)*5, 1e-9)
}

// Two crops on one bed: half each, heights 2 m and 0.4 m, Kc 1.2 and 1.0 in their mid seasons (FAO-56 eq. 104).
func TestLedger_companionsShareTheBed(t *testing.T) {
	u, s := bed(4)
	p := &u.Plantings[0]
	p.Crop.KcMid, p.Crop.Height, p.Ground = 1.2, 2, 0.5
	bean := p.Crop
	bean.KcMid, bean.Height, bean.DepletionFraction = 1.0, 0.4, 0.3
	p.Companions = []Companion{{Crop: bean, From: Date{2015, 7, 2}, To: Date{2015, 7, 3}, Ground: 0.5}}
	l := ledgerOf(t, u, s, History{}, 4, LedgerOptions{})
	near(t, "after the bean", l.Days[3].Kc, 1.2, 1e-12)
	near(t, "p without the bean", l.Days[3].P, 0.4, 0)
	near(t, "before the bean", l.Days[0].Kc, 1.2, 1e-12)
	near(t, "with the bean", l.Days[2].Kc, (0.5*2*1.2+0.5*0.4*1.0)/(0.5*2+0.5*0.4), 1e-12)
	near(t, "p of the more sensitive", l.Days[2].P, 0.3, 0)
}

func TestLedgers_refuseByField(t *testing.T) {
	cases := []struct {
		field  string
		change func(*Unit, *History)
	}{
		{"plantings", func(u *Unit, _ *History) { u.Plantings = nil }},
		{"plantings[0].ground_area_m2", func(u *Unit, _ *History) { u.Plantings[0].GroundArea = 0 }},
		{"plantings[0].wet_area_m2", func(u *Unit, _ *History) { u.Plantings[0].WetArea = 11 }},
		{"plantings[0].crop.depletion_fraction", func(u *Unit, _ *History) { u.Plantings[0].Crop.DepletionFraction = 1 }},
		{"plantings[0].to", func(u *Unit, _ *History) { u.Plantings[0].To = Date{2015, 6, 1} }},
		{"plantings[0].setting.mulch", func(u *Unit, _ *History) { u.Plantings[0].Setting.Mulch = "gravel" }},
		{"plantings[0].opening.kind", func(u *Unit, _ *History) { u.Plantings[0].Opening.Kind = "guess" }},
		{"plantings[1].id", func(u *Unit, _ *History) { u.Plantings = append(u.Plantings, u.Plantings[0]) }},
		{"soil.wilting_point_m3_m3", func(u *Unit, _ *History) { u.Soil.WiltingPoint = 0.5 }},
		{"uniformity.measured_du", func(u *Unit, _ *History) { u.Uniformity.Measured = Given(1.2) }},
		{"application.strip_width_m", func(u *Unit, _ *History) { u.Application.FlowPerMeter = 1e-6 }},
		{"history.turns[0].volume_l", func(_ *Unit, h *History) { h.Turns[0].Volume = -1 }},
		{"history.turns[0].outcome", func(_ *Unit, h *History) { h.Turns[0].Outcome = "perhaps" }},
		{"history.turns[0].ran_min", func(_ *Unit, h *History) { h.Turns[0].Outcome = Part }},
		{"history.turns[0].duration_min", func(_ *Unit, h *History) {
			h.Turns[0].Outcome, h.Turns[0].Ran, h.Turns[0].Minutes = Part, Given(unit.Minutes(3)), 0
		}},
		{"history.digs[0].planting", func(_ *Unit, h *History) { h.Digs[0].Planting = "q" }},
		{"history.digs[0].finding", func(_ *Unit, h *History) { h.Digs[0].Finding = "odd" }},
	}
	for _, c := range cases {
		t.Run(c.field, func(t *testing.T) {
			u, s := bed(3)
			h := History{
				Turns: []Turn{{Date: Date{2015, 7, 2}, Volume: unit.Liters(60), Minutes: 20}},
				Digs:  []Dig{{Date: Date{2015, 7, 2}, Finding: FoundWet}},
			}
			c.change(&u, &h)
			_, err := Ledgers(u, s, h, Date{2015, 7, 4}, LedgerOptions{})
			wantField(t, err, c.field)
		})
	}
	u, s := bed(3)
	u.Plantings[0].To = Date{2015, 7, 20}
	_, err := Ledgers(u, s, History{}, Date{2015, 7, 9}, LedgerOptions{})
	wantField(t, err, "plantings[0].series")
}

// Common practice, no source.
func TestFeel_pointsToATexture(t *testing.T) {
	for want, f := range map[Texture]Feel{
		Sand:          {},
		LoamySand:     {Ball: true},
		SandyLoam:     {Ball: true, Ribbon: 0.01, Gritty: true},
		SiltLoam:      {Ball: true, Ribbon: 0.02, Smooth: true},
		SiltyClayLoam: {Ball: true, Ribbon: 0.04},
		SiltyClay:     {Ball: true, Ribbon: 0.07, Smooth: true},
		Clay:          {Ball: true, Ribbon: 0.07},
	} {
		if got := f.Texture(); got != want {
			t.Errorf("%+v is %s, want %s", f, got, want)
		}
	}
	for _, f := range []Feel{{Ball: true, Ribbon: 0.02}, {Ball: true, Ribbon: 0.03, Gritty: true}} {
		if got := f.Texture(); got != Loam {
			t.Errorf("%+v is %s, want loam", f, got)
		}
	}
}
