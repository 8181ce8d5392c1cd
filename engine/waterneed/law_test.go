package waterneed

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"rillturn.example/rillturn/engine/unit"
)

// The laws below hold for any input in range. Draws are named for the reports of failures.

func number(t *rapid.T, name string, low, high float64) float64 {
	return rapid.Float64Range(low, high).Draw(t, name)
}

func drawPlace(t *rapid.T) Place {
	return Place{
		Latitude: unit.Degrees(number(t, "latitude", -90, 90)), Elevation: unit.Length(number(t, "elevation", -100, 3000)),
		Coastal:  rapid.Bool().Draw(t, "coastal"),
		Humidity: rapid.SampledFrom([]HumidityClass{HumidityUnknown, HumidityArid, HumiditySemiArid, HumiditySubHumid, HumidityHumid, HumidityVeryHumid}).Draw(t, "class"),
	}
}

func drawDate(t *rapid.T) Date {
	return DateOf(rapid.IntRange(Date{1999, 12, 1}.Number(), Date{2030, 2, 1}.Number()).Draw(t, "date"))
}

// drawWeather draws weather with any part unknown but temperatures.
func drawWeather(t *rapid.T, p Place, d Date) Weather {
	sky := SkyAt(p.Latitude, d.DayOfYear())
	tmin := number(t, "tmin", -20, 30)
	w := temperatures(tmin+number(t, "range", 0, 25), tmin)
	w.Rain = Given(unit.Depth(number(t, "rain", 0, 40)))
	if rapid.Bool().Draw(t, "has humidity") {
		low := number(t, "rh min", 0, 100)
		w.RHMin, w.RHMax = Given(unit.Percent(low)), Given(unit.Percent(number(t, "rh max", low, 100)))
	}
	if rapid.Bool().Draw(t, "has sunshine") {
		w.Sunshine = Given(unit.Hours(number(t, "sunshine", 0, float64(sky.DaylightHours))))
	}
	if rapid.Bool().Draw(t, "has wind") {
		w.Wind, w.WindHeight = Given(unit.Velocity(number(t, "wind", 0, 8))), unit.Length(number(t, "mast", 0.5, 20))
	}
	return w
}

func mustET0(t *rapid.T, p Place, d Date, w Weather) ReferenceET {
	r, err := DailyReferenceET(p, d, w)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// Laws 3 and 5: ET0 is a number not below 0 at any place and date, polar night and day included.
func TestLaw_et0IsNeverNegative(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, d := drawPlace(t), drawDate(t)
		r := mustET0(t, p, d, drawWeather(t, p, d))
		for _, v := range []float64{
			float64(r.ET0), float64(r.Hargreaves), float64(r.Extraterrestrial), float64(r.DaylightHours), float64(r.Solar),
			float64(r.NetLongwave.Radiation), float64(r.Deficit),
		} {
			if math.IsNaN(v) || v < 0 {
				t.Fatalf("a part is %g in %+v", v, r)
			}
		}
		if r.DaylightHours > 24+1e-9 {
			t.Fatalf("N = %g", float64(r.DaylightHours))
		}
	})
}

// Law 3: at fixed radiation ET0 rises with the deficit. At fixed measured radiation only, humid air also holds back
// longwave loss, so that in calm air the law would not hold; the net radiation is what must stay.
func TestLaw_et0RisesWithTheDeficitAtFixedNetRadiation(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, d := drawPlace(t), drawDate(t)
		dry := mustET0(t, p, d, drawWeather(t, p, d))
		humid := dry
		humid.Deficit = dry.Deficit * unit.Pressure(number(t, "share", 0, 0.99))
		humid.Notes = nil
		humid.terms()
		if humid.AerodynamicTerm > dry.AerodynamicTerm || humid.ET0 > dry.ET0+1e-12 {
			t.Fatalf("deficit %g gives %g, %g gives %g", dry.Deficit, dry.ET0, humid.Deficit, humid.ET0)
		}
	})
}

// Law 3: a datum that goes missing changes ET0 only by its documented substitute.
func TestLaw_missingDatumIsItsSubstitute(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, d := drawPlace(t), drawDate(t)
		tmin := number(t, "tmin", -10, 25)
		w := temperatures(tmin+number(t, "range", 0, 20), tmin)
		without := mustET0(t, p, d, w)
		w.DewPoint = Given(unit.Temperature(tmin) - p.Humidity.dewPointDrop())
		w.Wind, w.WindHeight = Given(unit.Velocity(2)), 2
		w.Radiation = Given(without.Solar)
		with := mustET0(t, p, d, w)
		if math.Abs(float64(with.ET0-without.ET0)) > 1e-12 {
			t.Fatalf("given %g, missing %g", with.ET0, without.ET0)
		}
	})
}

// Law 4: half a year later the other hemisphere has the same sun but for the orbit; N of both sums to a day.
func TestLaw_hemispheresMirror(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		latitude := unit.Degrees(number(t, "latitude", -90, 90))
		j := rapid.IntRange(1, 183).Draw(t, "day")
		here, there := SkyAt(latitude, j), SkyAt(-latitude, j+183)
		if diff := math.Abs(float64(here.Extraterrestrial - there.Extraterrestrial)); diff > 0.08*float64(here.Extraterrestrial)+0.5 {
			t.Fatalf("Ra %g here, %g there", here.Extraterrestrial, there.Extraterrestrial)
		}
		if sum := SkyAt(latitude, j).DaylightHours + SkyAt(-latitude, j).DaylightHours; math.Abs(float64(sum)-24) > 1e-6 {
			t.Fatalf("N sums to %g", sum)
		}
	})
}

// Law 4, for ET0: the same weather half a year later in the other hemisphere, to the few per cent of the orbit. Held between
// the polar circles, where half a day of season more or less does not decide over the sun.
func TestLaw_hemispheresMirrorET0(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		north := Place{Latitude: unit.Degrees(number(t, "latitude", 0, 60))}
		south := north
		south.Latitude = -north.Latitude
		d := Date{2015, 1, 1}.AddDays(rapid.IntRange(0, 182).Draw(t, "day"))
		w := temperatures(number(t, "tmax", 15, 35), 14)
		here, there := mustET0(t, north, d, w), mustET0(t, south, d.AddDays(182), w)
		if diff := math.Abs(float64(here.ET0 - there.ET0)); diff > 0.08*float64(here.ET0)+0.15 {
			t.Fatalf("%g mm in the north, %g mm in the south half a year later", here.ET0, there.ET0)
		}
	})
}

func drawCrop(t *rapid.T) Crop {
	c := rapid.SampledFrom(Crops()).Draw(t, "crop")
	length := func(name string) int { return rapid.IntRange(0, 60).Draw(t, name) }
	c.Stages = StageLengths{length("initial"), length("development"), length("mid"), length("late")}
	return c
}

func drawSetting(t *rapid.T) Setting {
	return Setting{
		WettedFraction: number(t, "fw", 0.05, 1), Mulch: rapid.SampledFrom([]MulchKind{MulchNone, MulchOrganic, MulchPlastic}).Draw(t, "mulch"),
		MulchCover: number(t, "cover", 0, 1), Supported: rapid.Bool().Draw(t, "supported"), Exposure: number(t, "exposure", 1, 1.3),
		Wind: Given(unit.Velocity(number(t, "wind", 0, 8))), RHMin: Given(unit.Percent(number(t, "rh", 0, 100))),
	}
}

// Law 6: the curve keeps within its three values, starts and ends on them, takes no step larger than its slope, and
// bears stages of no length.
func TestLaw_curve(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		crop := drawCrop(t)
		c, err := NewCurve(crop, drawSetting(t))
		if err != nil {
			t.Fatal(err)
		}
		low, high := min(c.KcIni, c.KcMid, c.KcEnd), max(c.KcIni, c.KcMid, c.KcEnd)
		for day := 1; day <= crop.Stages.Total()+5; day++ {
			k := c.At(day)
			if k.Kc < low-1e-12 || k.Kc > high+1e-12 {
				t.Fatalf("day %d: Kc %g outside %g to %g", day, k.Kc, low, high)
			}
			if k.Roots < c.RootStart-1e-12 || k.Roots > c.RootDepth+1e-12 || k.Height < 0 || k.Height > c.Height {
				t.Fatalf("day %d: roots %g, height %g", day, k.Roots, k.Height)
			}
		}
		if crop.Stages.Initial > 0 && c.At(1).Kc != c.KcIni {
			t.Fatalf("day 1: %g, Kc ini %g", c.At(1).Kc, c.KcIni)
		}
		if crop.Stages.Late > 0 && c.At(crop.Stages.Total()).Kc != c.KcEnd {
			t.Fatalf("last day: %g, Kc end %g", c.At(crop.Stages.Total()).Kc, c.KcEnd)
		}
		if s := crop.Stages; s.Development > 0 && s.Late > 0 {
			slope := (high-low)/float64(min(s.Development, s.Late)) + 1e-12
			for day := 2; day <= s.Total(); day++ {
				if step := math.Abs(c.At(day).Kc - c.At(day-1).Kc); step > slope {
					t.Fatalf("day %d: step %g, steepest slope %g", day, step, slope)
				}
			}
		}
	})
}

// Law 7: the climate leaves the table alone at 2 m/s and 45 %, raises Kc with wind, lowers it with humidity, and leaves
// an end below 0.45.
func TestLaw_climateOfKc(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k, h := number(t, "kc", 0.45, 1.3), unit.Length(number(t, "height", 0.1, 5))
		if got := ClimateCoefficientMid(k, 2, 45, h); got != k {
			t.Fatalf("standard climate: %g of %g", got, k)
		}
		u, rh := unit.Velocity(number(t, "wind", 1, 5.9)), unit.Percent(number(t, "rh", 20, 79))
		if ClimateCoefficientEnd(k, u+0.1, rh, h) <= ClimateCoefficientEnd(k, u, rh, h) {
			t.Fatal("more wind does not raise Kc")
		}
		if ClimateCoefficientMid(k, u, rh+1, h) >= ClimateCoefficientMid(k, u, rh, h) {
			t.Fatal("more humidity does not lower Kc")
		}
		low := number(t, "low end", 0, 0.449)
		if ClimateCoefficientEnd(low, u, rh, h) != low {
			t.Fatal("an end below 0.45 changed")
		}
	})
}

// Law 8: TAW is linear in depth, p stays within 0.1 and 0.8 and does not rise with evapotranspiration.
func TestLaw_availableWater(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		row := rapid.SampledFrom(Textures()).Draw(t, "texture")
		soil, err := SoilOf(row.Texture)
		if err != nil {
			t.Fatal(err)
		}
		z, factor := unit.Length(number(t, "roots", 0.05, 2)), number(t, "factor", 0.1, 3)
		once, more := soil.TotalAvailableWater(z), soil.TotalAvailableWater(z*unit.Length(factor))
		if math.Abs(float64(more)-factor*float64(once)) > 1e-9*float64(more) {
			t.Fatalf("TAW %g, times %g: %g", once, factor, more)
		}
		p, etc := number(t, "p", 0.1, 0.8), unit.Depth(number(t, "etc", 0, 15))
		got := DepletionFraction(p, etc)
		if got < 0.1 || got > 0.8 || DepletionFraction(p, etc+1) > got {
			t.Fatalf("p %g at %g mm", got, etc)
		}
	})
}

// Law 9: effective rain lies between nothing and the rain, SCS not above evapotranspiration, all rise with rain.
func TestLaw_effectiveRain(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rain, etc := unit.Depth(number(t, "rain", 0, 500)), unit.Depth(number(t, "etc", 0, 300))
		storage := unit.Depth(number(t, "storage", 20, 150))
		for name, rule := range map[string]func(unit.Depth) unit.Depth{
			"scs":    func(p unit.Depth) unit.Depth { return EffectiveRainSCS(p, etc, storage) },
			"short":  EffectiveRainShort,
			"bursts": EffectiveRainBursts,
			"simple": EffectiveRainSimple,
		} {
			got, more := rule(rain), rule(rain+5)
			if got < 0 || got > rain+1e-9 || more < got-1e-9 {
				t.Fatalf("%s: %g of %g, %g of %g", name, got, rain, more, rain+5)
			}
		}
		if EffectiveRainSCS(rain, etc, storage) > etc+1e-9 {
			t.Fatal("SCS above evapotranspiration")
		}
	})
	if gap := EffectiveRainShort(250.000001) - EffectiveRainShort(250); math.Abs(float64(gap)) > 1e-5 {
		t.Errorf("short form jumps by %g at 250 mm", gap)
	}
}

// drawUnit draws a unit of one or two plantings with a series and a history of a few weeks.
func drawUnit(t *rapid.T) (Unit, Series, History, Date) {
	start := drawDate(t) // over new years and leap days too
	days := rapid.IntRange(1, 45).Draw(t, "days")
	s := Series{}
	for i := range days + 28 {
		c := DayClimate{Date: start.AddDays(i), ET0: unit.Depth(number(t, "et0", 0, 9)), Rung: RungMeasured}
		if rapid.IntRange(0, 9).Draw(t, "rain known") > 0 {
			c.Rain = Given(unit.Depth(max(0, number(t, "rain", -20, 25))))
		}
		s.Days = append(s.Days, c)
	}
	row := rapid.SampledFrom(Textures()).Draw(t, "texture")
	soil, err := SoilOf(row.Texture)
	if err != nil {
		t.Fatal(err)
	}
	u := Unit{ID: "unit", Soil: soil, Uniformity: Uniformity{Measured: Given(number(t, "du", 0.3, 1))}}
	for i := range rapid.IntRange(1, 2).Draw(t, "plantings") {
		ground := number(t, "ground", 1, 50)
		p := Planting{
			ID: string(rune('a' + i)), Crop: drawCrop(t), From: start.AddDays(rapid.IntRange(0, 5).Draw(t, "from")), GroundArea: unit.Area(ground),
			WetArea: unit.Area(ground * number(t, "fw", 0.1, 1)), Setting: drawSetting(t), Dual: rapid.Bool().Draw(t, "dual"),
			DryBelow:      rapid.SampledFrom([]float64{0, 0, 0.5}).Draw(t, "dry below"),
			Establishment: rapid.SampledFrom([]Establishment{"", Sown, Transplanted, Established}).Draw(t, "establishment"),
			Opening:       Opening{Kind: rapid.SampledFrom([]OpeningKind{OpeningUnknown, OpeningWinterRain}).Draw(t, "opening")},
		}
		p.To = start.AddDays(days + 40)
		u.Plantings = append(u.Plantings, p)
	}
	var h History
	outcomes := []Outcome{Unreported, Done, Part, Missed, SkippedWet, PressureLost, Overran}
	for i := range rapid.IntRange(0, 12).Draw(t, "turns") {
		h.Turns = append(h.Turns, Turn{
			ID: string(rune('A' + i)), Date: start.AddDays(rapid.IntRange(0, days).Draw(t, "day")), Volume: unit.Liters(number(t, "litres", 0, 600)),
			Minutes: 30, Outcome: rapid.SampledFrom(outcomes).Draw(t, "outcome"), Ran: Given(unit.Minutes(number(t, "ran", 0, 60))),
		})
	}
	if rapid.Bool().Draw(t, "dig") {
		h.Digs = append(h.Digs, Dig{Date: start.AddDays(days / 2), Finding: rapid.SampledFrom([]Finding{FoundWet, FoundMoist, FoundDry}).Draw(t, "finding")})
	}
	return u, s, h, start.AddDays(days)
}

func mustLedgers(t *rapid.T, u Unit, s Series, h History, until Date, o LedgerOptions) []Ledger {
	l, err := Ledgers(u, s, h, until, o)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// Laws 1, 2 and 10: the balance closes each day and in total; depletion, Ks and percolation keep their bounds.
func TestLaw_ledgerClosesAndKeepsBounds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u, s, h, until := drawUnit(t)
		for _, l := range mustLedgers(t, u, s, h, until, LedgerOptions{}) {
			last := l.Start
			for _, d := range l.Days {
				if d.Start != last {
					t.Fatalf("%s starts at %g after an end of %g", d.Date, d.Start, last)
				}
				residual := d.Start + d.Adjustment - d.RainCounted - d.Irrigation + d.Percolation + d.ET - d.End
				if scale := d.TAW + d.RainCounted + d.Irrigation; math.Abs(float64(residual)) > 1e-9*float64(scale) {
					t.Fatalf("%s: residual %g", d.Date, residual)
				}
				if d.End < 0 || d.End > d.TAW+1e-9 || d.Ks < 0 || d.Ks > 1 || d.Stress < -1e-12 || d.Stress > 1+1e-12 {
					t.Fatalf("%s: %+v", d.Date, d)
				}
				if rounding := 1e-12 * d.RAW; d.Wet <= d.RAW && d.Ks != 1 || d.Wet > d.RAW+rounding && d.Ks >= 1 {
					t.Fatalf("%s: Ks %g at %g of RAW %g", d.Date, d.Ks, d.Wet, d.RAW)
				}
				if d.Percolation > 0 && d.Wet > 0 {
					t.Fatalf("%s: water percolates from dry soil", d.Date)
				}
				last = d.End
			}
			if math.Abs(float64(l.Totals.Residual)) > 1e-9*(1+float64(l.Totals.RainCounted+l.Totals.Irrigation+l.Totals.ET)) {
				t.Fatalf("total residual %g", l.Totals.Residual)
			}
		}
	})
}

// Law 2: Ks falls as depletion rises.
func TestLaw_stressGrowsWithDepletion(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		taw := unit.Depth(number(t, "taw", 1, 300))
		raw := taw * unit.Depth(number(t, "p", 0.1, 0.8))
		a, b := unit.Depth(number(t, "a", 0, float64(taw))), unit.Depth(number(t, "b", 0, float64(taw)))
		if a > b {
			a, b = b, a
		}
		if StressCoefficient(b, taw, raw) > StressCoefficient(a, taw, raw) {
			t.Fatalf("Ks rises from %g to %g", a, b)
		}
	})
}

// Law 10: irrigation within the depletion does not percolate; each millimetre beyond it does.
func TestLaw_surplusPercolatesOneForOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		taw := unit.Depth(number(t, "taw", 10, 200))
		d := LedgerDay{TAW: taw, RAW: taw / 2, StripET: 4, Start: taw * unit.Depth(number(t, "share", 0, 1))}
		within, beyond := d, d
		within.Irrigation = d.Start * unit.Depth(number(t, "part", 0, 1))
		within.Balance()
		extra := unit.Depth(number(t, "extra", 0, 50))
		beyond.Irrigation = d.Start + extra
		beyond.Balance()
		if within.Percolation != 0 || math.Abs(float64(beyond.Percolation-extra)) > 1e-9 {
			t.Fatalf("percolation %g within, %g for %g beyond", within.Percolation, beyond.Percolation, extra)
		}
	})
}

// Law 11: no evapotranspiration and no water leave the depletion alone.
func TestLaw_nothingChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u, s, _, until := drawUnit(t)
		for i := range s.Days {
			s.Days[i].ET0, s.Days[i].Rain = 0, Given(unit.Depth(0))
		}
		for i := range u.Plantings {
			u.Plantings[i].DryBelow = 0
		}
		for _, l := range mustLedgers(t, u, s, History{}, until, LedgerOptions{}) {
			if len(l.Days) > 0 && l.State.Depletion != l.Start {
				t.Fatalf("from %g to %g", l.Start, l.State.Depletion)
			}
		}
	})
}

// Law 17: the order of entry leaves no trace, and a reading entered late gives the ledger it would have given on its day.
func TestLaw_lateEntryGivesTheSameLedger(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u, s, h, until := drawUnit(t)
		want := mustLedgers(t, u, s, h, until, LedgerOptions{})
		shuffled := History{Turns: rapid.Permutation(h.Turns).Draw(t, "turns"), Digs: rapid.Permutation(h.Digs).Draw(t, "digs")}
		if diff := cmp.Diff(want, mustLedgers(t, u, s, shuffled, until, LedgerOptions{})); diff != "" {
			t.Fatal(diff)
		}
	})
	p := Place{Latitude: unit.Degrees(47)}
	day := func(n int, rain Optional[unit.Depth]) Day {
		w := temperatures(24, 12)
		w.Rain = rain
		return Day{Date: Date{2015, 7, n}, Weather: w}
	}
	onTime := Climate{Place: p, Measured: []Day{day(1, Given(unit.Depth(5))), day(2, Given(unit.Depth(8)))}}
	late := Climate{Place: p, Measured: []Day{day(2, Given(unit.Depth(8))), day(1, Given(unit.Depth(5)))}}
	a, err := onTime.Series(Date{2015, 7, 1}, 10)
	if err != nil {
		t.Fatal(err)
	}
	b, err := late.Series(Date{2015, 7, 1}, 10)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(a, b); diff != "" {
		t.Error(diff)
	}
}

// Laws 12, 13 and 15: litres do not depend on the strip's width in mid season, halving the efficiency doubles them, two
// halves of a bed sum to the whole, and the order of plantings and the other plantings change no planting's need.
func TestLaw_litersScaleWithAreaAndEfficiency(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u, s, _, _ := drawUnit(t)
		u.Plantings = u.Plantings[:1]
		p := &u.Plantings[0]
		p.Dual, p.Crop.Stages, p.Establishment = false, StageLengths{0, 0, 100, 10}, Established
		p.From, p.Opening = s.From(), Opening{Kind: OpeningWinterRain}
		use := func(u Unit) float64 {
			d, err := UnitDemand(u, s, make([]State, len(u.Plantings)), s.From(), 7)
			if err != nil {
				t.Fatal(err)
			}
			var sum unit.Volume
			for _, day := range d.Days {
				sum += day.Use
			}
			return sum.Liters()
		}
		equal := func(what string, got, want float64) {
			if math.Abs(got-want) > 1e-9*math.Abs(want) {
				t.Fatalf("%s: %g, want %g", what, got, want)
			}
		}
		whole := use(u)
		wide := u
		wide.Plantings = []Planting{*p}
		wide.Plantings[0].WetArea = p.GroundArea
		equal("all ground wet", use(wide), whole)
		poor := u
		poor.Uniformity.Measured = Given(u.Uniformity.Measured.Value / 2)
		equal("half the efficiency", use(poor), 2*whole)
		half := u
		half.Plantings = []Planting{*p}
		half.Plantings[0].GroundArea /= 2
		half.Plantings[0].WetArea /= 2
		equal("half the bed", 2*use(half), whole)
	})
}

// Law 15: see above; the net need of a planting, in millimetres of its strip, is its own.
func TestLaw_needDependsOnNoOtherPlanting(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u, s, _, _ := drawUnit(t)
		both, err := UnitDemand(u, s, make([]State, len(u.Plantings)), s.From(), 14)
		if err != nil {
			t.Fatal(err)
		}
		reversed := u
		reversed.Plantings = nil
		for i := len(u.Plantings) - 1; i >= 0; i-- {
			reversed.Plantings = append(reversed.Plantings, u.Plantings[i])
		}
		turned, err := UnitDemand(reversed, s, make([]State, len(u.Plantings)), s.From(), 14)
		if err != nil {
			t.Fatal(err)
		}
		for i, p := range both.Plantings {
			other := turned.Plantings[len(turned.Plantings)-1-i]
			alone := u
			alone.Plantings = u.Plantings[i : i+1]
			single, err := UnitDemand(alone, s, make([]State, 1), s.From(), 14)
			if err != nil {
				t.Fatal(err)
			}
			for day := range p.Days {
				if p.Days[day].StripET != other.Days[day].StripET || p.Days[day].StripET != single.Plantings[0].Days[day].StripET {
					t.Fatalf("planting %d day %d depends on its neighbours", i, day)
				}
			}
		}
		if math.Abs(float64(both.Total-turned.Total)) > 1e-9*float64(both.Total) || both.Interval != turned.Interval {
			t.Fatalf("order changes the unit: %g and %g", both.Total, turned.Total)
		}
	})
}

// What a demand wants is what the soil takes: a plan that follows it neither percolates nor stresses what it could spare.
func TestLaw_wantedWaterFillsWithoutPercolation(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u, s, h, until := drawUnit(t)
		u.Plantings = u.Plantings[:1]
		l := mustLedgers(t, u, s, h, until, LedgerOptions{})
		d, err := UnitDemand(u, s, []State{l[0].State}, until, 14)
		if err != nil {
			t.Fatal(err)
		}
		plan := make([]unit.Volume, len(d.Days))
		for i, day := range d.Days {
			if day.Wanted > day.Most+1e-12 {
				t.Fatalf("day %d wants %g, the soil takes %g", i, day.Wanted.Liters(), day.Most.Liters())
			}
			plan[i] = day.Wanted
		}
		if u.Plantings[0].DryBelow > 0 { // roots that reach dry soil can take more than the demand asks
			return
		}
		r, err := Replay(u, s, []State{l[0].State}, until, plan)
		if err != nil {
			t.Fatal(err)
		}
		for i, day := range r[0].Days {
			if day.Percolation > 1e-9 {
				t.Fatalf("day %d: %g mm percolates", i, day.Percolation)
			}
			if day.Wet > 1e-9 {
				t.Fatalf("day %d: %g mm missing after the wanted water", i, day.Wet)
			}
		}
	})
}

// Law 14: cycles keep the sum, no spell is above the limit, no soak below nothing.
func TestLaw_cyclesKeepTheSum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rate, intake := unit.Intensity(number(t, "rate", 0, 200)), unit.Intensity(number(t, "intake", 1, 40))
		on, soak, limited := CycleAndSoak(rate, intake, unit.Depth(number(t, "storage", 1, 5)))
		if limited != (rate > intake) || soak < 0 {
			t.Fatalf("limited %v, soak %g", limited, soak)
		}
		if !limited {
			return
		}
		total := unit.Minutes(number(t, "total", 1, 300))
		n, each := Cycles(total, on)
		if math.Abs(float64(each)*float64(n)-float64(total)) > 1e-9*float64(total) || float64(each) > float64(on)*(1+1e-8) {
			t.Fatalf("%d spells of %g for %g, at most %g", n, each, total, on)
		}
	})
}

// Law 13: half the flow runs twice as long, half the efficiency takes twice the depth. Law 12: units round trip.
func TestLaw_dosesScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		depth, area := unit.Depth(number(t, "depth", 0.1, 100)), unit.Area(number(t, "area", 0.1, 1000))
		flow, efficiency := unit.LitersPerHour(number(t, "flow", 1, 5000)), number(t, "efficiency", 0.1, 1)
		equal := func(what string, got, want float64) {
			if math.Abs(got-want) > 1e-9*math.Abs(want) {
				t.Fatalf("%s: %g, want %g", what, got, want)
			}
		}
		equal("half the flow", float64(RunTime(depth, area, flow/2)), 2*float64(RunTime(depth, area, flow)))
		equal("half the efficiency", float64(GrossDepth(depth, efficiency/2, 0)), 2*float64(GrossDepth(depth, efficiency, 0)))
		equal("two halves", depth.Over(area/2).Liters()*2, depth.Over(area).Liters())
		equal("inches", float64(unit.DepthInches(depth.Inches())), float64(depth))
		equal("gallons", float64(unit.Gallons(depth.Over(area).Gallons())), float64(depth.Over(area)))
		equal("depth of the volume", float64(unit.DepthOf(depth.Over(area), area)), float64(depth))
	})
}

// Law 16: need that is not met is carried. What a plan leaves out of the wanted water is missing on the morning after, up to
// the wilting point, and a plant in stress asks for no more than it lost.
func TestLaw_unmetNeedIsCarried(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u, s, h, until := drawUnit(t)
		u.Plantings = u.Plantings[:1]
		u.Plantings[0].Dual, u.Plantings[0].DryBelow = false, 0
		l := mustLedgers(t, u, s, h, until, LedgerOptions{})
		d, err := UnitDemand(u, s, []State{l[0].State}, until, 7)
		if err != nil {
			t.Fatal(err)
		}
		full, half := make([]unit.Volume, 7), make([]unit.Volume, 7)
		for i, day := range d.Days {
			full[i], half[i] = day.Wanted, day.Wanted/2
		}
		after := func(plan []unit.Volume) Prediction {
			r, err := Replay(u, s, []State{l[0].State}, until, plan)
			if err != nil {
				t.Fatal(err)
			}
			return r[0]
		}
		met, unmet := after(full), after(half)
		missing := met.Totals.Irrigation - unmet.Totals.Irrigation
		notUsed := met.Totals.ET - unmet.Totals.ET
		if carried := unmet.State.Depletion - met.State.Depletion; math.Abs(float64(carried-(missing-notUsed))) > 1e-6*float64(1+missing) {
			t.Fatalf("%g mm were left out, %g mm not used, %g mm carried", missing, notUsed, carried)
		}
		if unmet.State.Depletion < met.State.Depletion-1e-9 {
			t.Fatal("less water leaves the soil wetter")
		}
	})
}

// Law 18: the first irrigation does not come earlier with a larger p, root depth or TAW, nor later with a larger Kc.
func TestLaw_firstIrrigation(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u, s := example37(60)
		crop := &u.Plantings[0].Crop
		u.Plantings[0].Opening = Opening{Kind: OpeningWinterRain}
		crop.DepletionFraction = number(t, "p", 0.1, 0.7)
		crop.KcMid = number(t, "kc", 0.3, 1.1)
		crop.RootDepth = unit.Length(number(t, "roots", 0.2, 1))
		crop.RootStart = crop.RootDepth
		first := func(change func(*Unit)) int {
			other := u
			other.Plantings = []Planting{u.Plantings[0]}
			change(&other)
			d, err := UnitDemand(other, s, make([]State, 1), s.From(), 28)
			if err != nil {
				t.Fatal(err)
			}
			return d.Due
		}
		base := first(func(*Unit) {})
		if got := first(func(u *Unit) { u.Plantings[0].Crop.DepletionFraction += 0.1 }); got < base {
			t.Fatalf("a larger p: day %d, was %d", got, base)
		}
		if got := first(func(u *Unit) {
			u.Plantings[0].Crop.RootDepth += 0.2
			u.Plantings[0].Crop.RootStart += 0.2
		}); got < base {
			t.Fatalf("deeper roots: day %d, was %d", got, base)
		}
		if got := first(func(u *Unit) { u.Soil.FieldCapacity += 0.05 }); got < base {
			t.Fatalf("more water: day %d, was %d", got, base)
		}
		if got := first(func(u *Unit) { u.Plantings[0].Crop.KcMid += 0.2 }); got > base {
			t.Fatalf("a larger Kc: day %d, was %d", got, base)
		}
	})
}

// Law 11: more rain never raises the season's irrigation by more than one refill.
func TestLaw_rainDoesNotRaiseIrrigation(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u, s, _, _ := drawUnit(t)
		u.Plantings = u.Plantings[:1]
		p := &u.Plantings[0]
		p.To, p.From, p.Dual = s.Days[len(s.Days)-1].Date, s.From(), false
		less, err := Season(u, s)
		if err != nil {
			t.Fatal(err)
		}
		wetter := Series{Days: append([]DayClimate(nil), s.Days...)}
		at := rapid.IntRange(0, len(s.Days)-1).Draw(t, "wet day")
		wetter.Days[at].Rain = Given(wetter.Days[at].Rain.Value + unit.Depth(number(t, "more rain", 0, 30)))
		more, err := Season(u, wetter)
		if err != nil {
			t.Fatal(err)
		}
		var refill unit.Depth
		for _, d := range append(less.Ledger.Days, more.Ledger.Days...) {
			refill = max(refill, d.Irrigation)
		}
		if rise := more.Ledger.Totals.Irrigation - less.Ledger.Totals.Irrigation; rise > refill+1e-9 {
			t.Fatalf("irrigation rises by %g, the largest refill is %g", rise, refill)
		}
	})
}

// Law 19: without any weather the need in the growing season is not zero, and says what it stands on.
func TestLaw_noWeatherIsFlaggedNotZero(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		latitude := number(t, "latitude", -60, 60)
		from := Date{2015, 6, 1}
		if latitude < 0 {
			from = Date{2015, 12, 1}
		}
		s, err := Climate{Place: Place{Latitude: unit.Degrees(latitude)}}.Series(from, 28)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range s.Days {
			if d.ET0 <= 0.5 || d.Rung != RungLatitude || d.Rain.Known {
				t.Fatalf("%s: %g mm on rung %s", d.Date, d.ET0, d.Rung)
			}
		}
	})
}

// Law 20: dates round trip, the day of the year stays within 1 and 366 and a day follows a day.
func TestLaw_dates(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, Date{9999, 12, 31}.Number()).Draw(t, "number")
		d := DateOf(n)
		if !d.Valid() || d.Number() != n || d.DayOfYear() < 1 || d.DayOfYear() > 366 {
			t.Fatalf("%d is %s, number %d", n, d, d.Number())
		}
		next := d.AddDays(1)
		if next.Sub(d) != 1 || (next.DayOfYear() != d.DayOfYear()+1 && next.DayOfYear() != 1) {
			t.Fatalf("%s follows %s", next, d)
		}
	})
	if got := (Date{2016, 12, 31}).DayOfYear(); got != 366 {
		t.Errorf("31 December of a leap year is day %d", got)
	}
	if got := (Date{1970, 1, 1}).Sub(Date{1969, 7, 20}); got != 165 {
		t.Errorf("165 days lie between, not %d", got)
	}
}

// Law 20: same input, same result.
func TestLaw_sameInputSameLedger(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u, s, h, until := drawUnit(t)
		if diff := cmp.Diff(mustLedgers(t, u, s, h, until, LedgerOptions{}), mustLedgers(t, u, s, h, until, LedgerOptions{})); diff != "" {
			t.Fatal(diff)
		}
	})
}

// Law 21: what cannot be is refused with the field's name.
func TestLaw_badNumbersAreRefusedByName(t *testing.T) {
	bad := map[string]func(*Weather, float64){
		"weather.tmax_c":          func(w *Weather, v float64) { w.TMax = Given(unit.Temperature(v)) },
		"weather.tmin_c":          func(w *Weather, v float64) { w.TMin = Given(unit.Temperature(v)) },
		"weather.dew_point_c":     func(w *Weather, v float64) { w.DewPoint = Given(unit.Temperature(v)) },
		"weather.rh_max_pct":      func(w *Weather, v float64) { w.RHMax = Given(unit.Percent(v)) },
		"weather.rh_min_pct":      func(w *Weather, v float64) { w.RHMin = Given(unit.Percent(v)) },
		"weather.rh_mean_pct":     func(w *Weather, v float64) { w.RHMean = Given(unit.Percent(v)) },
		"weather.radiation_mj_m2": func(w *Weather, v float64) { w.Radiation = Given(unit.Irradiation(v)) },
		"weather.sunshine_h":      func(w *Weather, v float64) { w.Sunshine = Given(unit.Hours(v)) },
		"weather.wind_m_s":        func(w *Weather, v float64) { w.Wind = Given(unit.Velocity(v)) },
		"weather.wind_height_m":   func(w *Weather, v float64) { w.WindHeight = unit.Length(v) },
		"weather.rain_mm":         func(w *Weather, v float64) { w.Rain = Given(unit.Depth(v)) },
	}
	rapid.Check(t, func(t *rapid.T) {
		field := rapid.SampledFrom([]string{
			"weather.tmax_c", "weather.tmin_c", "weather.dew_point_c", "weather.rh_max_pct", "weather.rh_min_pct", "weather.rh_mean_pct",
			"weather.radiation_mj_m2", "weather.sunshine_h", "weather.wind_m_s", "weather.wind_height_m", "weather.rain_mm",
		}).Draw(t, "field")
		v := rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), -1e9, 1e9, -70}).Draw(t, "value")
		w := temperatures(20, 10)
		bad[field](&w, v)
		_, err := DailyReferenceET(Place{Latitude: unit.Degrees(40)}, Date{2015, 7, 1}, w)
		wantField(t, err, field)
	})
}

// wantField fails unless an error is InputErrors that name a field.
func wantField(t interface {
	Helper()
	Fatalf(string, ...any)
}, err error, field string,
) {
	t.Helper()
	faults, ok := err.(InputErrors) //nolint:errorlint // the package returns them bare
	if !ok {
		t.Fatalf("want InputErrors, got %v", err)
	}
	for _, f := range faults {
		if f.Field == field && f.Reason != "" && f.Error() != "" {
			return
		}
	}
	t.Fatalf("%s is not named in %v", field, err)
}
