package words

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/internal/sample"
	"rillturn.example/rillturn/engine/unit"
)

func TestQuantities_readLikeThis(t *testing.T) {
	t.Parallel()
	metric, us := New("en", render.Metric, nil), New("en", render.US, nil)
	cases := []struct{ name, got, want string }{
		{"litres", metric.Volume(unit.Liters(343)).String(), "340 L"},
		{"gallons", us.Volume(unit.Liters(343)).String(), "91 gal"},
		{"many litres", metric.Volume(unit.Liters(12_345)).String(), "12\u00a0000 L"},
		{"cup", metric.CupVolume(unit.Liters(0.2)).String(), "200 mL"},
		{"cup, US", us.CupVolume(unit.Liters(0.2)).String(), "6.8 fl oz"},
		{"flow of a tap", metric.Flow(unit.LitersPerMinute(27.96)).String(), "28 L/min"},
		{"flow of a tap, US", us.Flow(unit.LitersPerMinute(27.96)).String(), "7.4 gal/min"},
		{"flow of a hole", metric.HoleFlow(unit.LitersPerHour(4.07)).String(), "4.1 L/h"},
		{"flow of a hole, US", us.HoleFlow(unit.GallonsPerMinute(0.018)).String(), "1.1 gal/h"},
		{"pressure", metric.Pressure(1.55).String(), "15 kPa"},
		{"pressure, US", us.Pressure(unit.PSI(2.08)).String(), "2.1 psi"},
		{"low head", metric.WaterColumn(0.064).String(), "6.4 cm of water"},
		{"head", metric.WaterColumn(2.51).String(), "2.5 m of water"},
		{"low head, US", us.WaterColumn(0.0254).String(), "1.0 in of water"},
		{"head, US", us.WaterColumn(3.048).String(), "10 ft of water"},
		{"depth", metric.Depth(5.08).String(), "5.1 mm"},
		{"depth, US", us.Depth(5.08).String(), "0.20 in"},
		{"velocity", metric.Velocity(1.52).String(), "1.5 m/s"},
		{"velocity, US", us.Velocity(1.524).String(), "5.0 ft/s"},
		{"temperature", metric.Temperature(36.6).String(), "37 °C"},
		{"temperature, US", us.Temperature(37).String(), "99 °F"},
		{"frost", metric.Temperature(-0.2).String(), "0 °C"},
		{"length", metric.Length(13.716).String(), "13.72 m"},
		{"short length", metric.Length(0.4524).String(), "45 cm"},
		{"nearly a metre", metric.Length(0.9999).String(), "1.00 m"},
		{"feet", us.Length(unit.Feet(45)).String(), "45 ft"},
		{"feet and inches", us.Length(unit.Inches(148.5)).String(), "12 ft 4 1/2 in"},
		{"inches", us.Length(unit.Inches(6)).String(), "6 in"},
		{"a sixteenth", us.Length(unit.Inches(1.0 / 16)).String(), "1/16 in"},
		{"less than a sixteenth", us.Length(unit.Inches(1.0 / 64)).String(), "0 in"},
		{"rounded up to a foot", us.Length(unit.Inches(11.99)).String(), "1 ft"},
		{"a foot and a bit", us.Length(unit.Inches(12.25)).String(), "1 ft 1/4 in"},
		{"below", us.Length(unit.Inches(-3.5)).String(), "-3 1/2 in"},
		{"drill", metric.HoleDiameter(unit.Millimeters(1.588)).String(), "1.6 mm"},
		{"drill, US", us.HoleDiameter(unit.Inches(5.0 / 64)).String(), "5/64 in"},
		{"drill in lowest terms", us.HoleDiameter(unit.Inches(4.0 / 64)).String(), "1/16 in"},
		{"range", Range(metric.Flow(unit.LitersPerMinute(2.1)), metric.Flow(unit.LitersPerMinute(2.6))), "2.1–2.6 L/min"},
		{"range of one", Range(metric.Flow(unit.LitersPerMinute(2.11)), metric.Flow(unit.LitersPerMinute(2.12))), "2.1 L/min"},
		{"range of feet", Range(us.Length(unit.Inches(6)), us.Length(unit.Inches(18))), "6 in – 1 ft 6 in"},
		{"range of two units", Range(metric.WaterColumn(0.5), metric.WaterColumn(1.5)), "50 cm of water – 1.5 m of water"},
		{"not a number", metric.Volume(unit.Volume(math.NaN())).String(), "? L"},
		{"minutes", Duration(45), "45 min"},
		{"hour", Duration(60), "1 h 00 min"},
		{"hour and five", Duration(64.6), "1 h 05 min"},
		{"rounded up to an hour", Duration(59.7), "1 h 00 min"},
		{"seconds", Duration(0.3), "under 1 min"},
		{"none", Duration(0), "0 min"},
		{"less", Duration(-15), "-15 min"},
		{"percent", Percent(0.624), "62 %"},
		{"nearly all", Percent(0.9999), "over 99 %"},
		{"all", Percent(1), "100 %"},
		{"hardly any", Percent(0.0004), "under 1 %"},
		{"nothing", Percent(0), "0 %"},
		{"more than all", Percent(1.204), "120 %"},
		{"tiny", Digits(0.00031), "<0.001"},
		{"rounding to the next power", Digits(9.97), "10"},
		{"negative", Digits(-0.0456), "-0.046"},
	}
	for _, c := range cases {
		if c.got != c.want {
			t.Errorf("%s: %q, want %q", c.name, c.got, c.want)
		}
	}
}

// plain undoes grouping and parses.
func plain(t *rapid.T, s string) float64 {
	v, err := strconv.ParseFloat(strings.ReplaceAll(s, "\u00a0", ""), 64)
	if err != nil {
		t.Fatalf("%q: %v", s, err)
	}
	return v
}

func TestDigits_keepTwo(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(smallest, 1e9).Draw(t, "v")
		text := Digits(v)
		if got := plain(t, text); math.Abs(got-v) > 0.05*v*(1+1e-9) {
			t.Fatalf("%g reads %q", v, text)
		}
		digits := strings.Trim(strings.ReplaceAll(strings.ReplaceAll(text, "\u00a0", ""), ".", ""), "0")
		if len(digits) > 2 {
			t.Fatalf("%g reads %q, more than two digits", v, text)
		}
		if Digits(-v) != "-"+text {
			t.Fatalf("%g reads %q, its negative %q", v, text, Digits(-v))
		}
	})
}

// parseFeet reads back what feetAndInches writes.
func parseFeet(t *rapid.T, s string) float64 {
	sign := 1.0
	if strings.HasPrefix(s, "-") {
		sign, s = -1, s[1:]
	}
	inches, pending := 0.0, 0.0
	for _, field := range strings.Fields(s) {
		switch numerator, denominator, fraction := strings.Cut(field, "/"); {
		case field == "ft":
			inches, pending = inches+12*pending, 0
		case field == "in":
			inches, pending = inches+pending, 0
		case fraction:
			pending += plain(t, numerator) / plain(t, denominator)
		default:
			pending += plain(t, field)
		}
	}
	return sign * inches
}

func TestLength_inchesAreWithinHalfASixteenth(t *testing.T) {
	t.Parallel()
	us := New("en", render.US, nil)
	rapid.Check(t, func(t *rapid.T) {
		inches := rapid.Float64Range(-500, 5000).Draw(t, "inches")
		text := us.Length(unit.Inches(inches)).String()
		if got := parseFeet(t, text); math.Abs(got-inches) > 1.0/32+1e-9 {
			t.Fatalf("%g in reads %q", inches, text)
		}
	})
}

func TestClock_tellsTheTwoRepeatedHoursApart(t *testing.T) {
	t.Parallel()
	cases := []struct{ zone, instant, want string }{
		{"Europe/Warsaw", "2026-10-25T02:30:00+02:00", "Sun 25 October 02:30 CEST"},
		{"Europe/Warsaw", "2026-10-25T02:30:00+01:00", "Sun 25 October 02:30 CET"},
		{"Europe/Warsaw", "2026-10-25T03:30:00+01:00", "Sun 25 October 03:30"},
		{"Europe/Warsaw", "2026-03-29T03:30:00+02:00", "Sun 29 March 03:30"},
		{"America/New_York", "2026-11-01T01:59:00-04:00", "Sun 1 November 01:59 EDT"},
		{"America/New_York", "2026-11-01T01:59:00-05:00", "Sun 1 November 01:59 EST"},
		{"America/New_York", "2026-07-07T06:30:00-04:00", "Tue 7 July 06:30"},
		{"America/New_York", "2026-07-08T01:30:00Z", "Tue 7 July 21:30"},
		{"Australia/Lord_Howe", "2026-04-05T01:45:00+11:00", "Sun 5 April 01:45 +11"},
	}
	for _, c := range cases {
		at, err := time.Parse(time.RFC3339, c.instant)
		if err != nil {
			t.Fatal(err)
		}
		if got := New("en", render.Metric, sample.MustZone(c.zone)).Moment(at); got != c.want {
			t.Errorf("%s in %s: %q, want %q", c.instant, c.zone, got, c.want)
		}
	}
}

func TestNew_unknownLanguageReadsAsEnglish(t *testing.T) {
	t.Parallel()
	for _, tag := range []string{"", "en", "EN-gb", "tlh", "x"} {
		if got := New(tag, "", nil).Date(time.Date(2026, time.July, 7, 12, 0, 0, 0, time.UTC)); got != "Tue 7 July" {
			t.Errorf("%q: %q", tag, got)
		}
	}
}

func TestCompare_ordersNumbersByValue(t *testing.T) {
	t.Parallel()
	names := []string{"Plot 11", "plot 3", "Plot 2", "Plot 2b", "Plot", "Plot 02", "2", "10", ""}
	slices.SortFunc(names, Compare)
	want := []string{"", "2", "10", "Plot", "Plot 02", "Plot 2", "Plot 2b", "Plot 11", "plot 3"}
	if !slices.Equal(names, want) {
		t.Errorf("%q, want %q", names, want)
	}
	name := rapid.StringOfN(rapid.SampledFrom([]rune("ab 0123")), 0, 8, -1)
	rapid.Check(t, func(t *rapid.T) {
		a, b, c := name.Draw(t, "a"), name.Draw(t, "b"), name.Draw(t, "c")
		if Compare(a, b) != -Compare(b, a) || (Compare(a, b) == 0) != (a == b) {
			t.Fatalf("%q and %q: %d and %d", a, b, Compare(a, b), Compare(b, a))
		}
		if Compare(a, b) <= 0 && Compare(b, c) <= 0 && Compare(a, c) > 0 {
			t.Fatalf("%q, %q, %q are not in one order", a, b, c)
		}
	})
}

func TestClean_leavesOnlyWhatIsSafeToPrint(t *testing.T) {
	t.Parallel()
	if got := OneLine(" Plot\t7 \r\n\x1b[31m by\u202e the\x00 gate "); got != "Plot 7 [31m by the gate" {
		t.Errorf("%q", got)
	}
	rapid.Check(t, func(t *rapid.T) {
		s := string(rapid.SliceOf(rapid.Byte()).Draw(t, "bytes"))
		clean := Clean(s)
		if Clean(clean) != clean {
			t.Fatalf("%q is cleaned to %q and again to %q", s, clean, Clean(clean))
		}
		if strings.ContainsAny(OneLine(s), "\n\r\t\x00\x1b") {
			t.Fatalf("%q keeps control characters: %q", s, OneLine(s))
		}
	})
}
