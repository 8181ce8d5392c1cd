package words

import (
	"math"
	"strconv"
	"strings"
	"time"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/engine/unit"
)

// Printer writes for one reader: in a language, in a unit system, on a garden's clock.
type Printer struct {
	language table
	units    render.Units
	zone     *time.Location
}

// New returns the printer for a reader. A language that is not known reads as English; units that are not known as
// metric; a nil zone as UTC.
func New(language string, units render.Units, zone *time.Location) Printer {
	if zone == nil {
		zone = time.UTC
	}
	return Printer{language: tableFor(language), units: units, zone: zone}
}

// Quantity is a number with its unit, ready to print.
type Quantity struct {
	Number string
	Unit   string // empty when the number carries its units itself, as in 2 ft 3 in
}

// String joins number and unit.
func (q Quantity) String() string {
	if q.Unit == "" {
		return q.Number
	}
	return q.Number + " " + q.Unit
}

// notKnown stands for a number that is not one.
const notKnown = "?"

// Digits rounds v to two significant digits, the precision that people get: 0.064, 5.0, 28, 340. What is smaller than
// a thousandth reads <0.001.
func Digits(v float64) string { return significant(v, 2) }

// smallest is the least number that is worth its digits on paper.
const smallest = 0.001

// significant rounds v to n significant digits and never falls into powers of ten.
func significant(v float64, n int) string {
	switch {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return notKnown
	case v == 0:
		return "0"
	case v > 0 && v < smallest:
		return "<0.001"
	case v < 0 && v > -smallest:
		return ">-0.001"
	}
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(v, 'e', n-1, 64), 64)
	if err != nil {
		return notKnown
	}
	decimals := n - 1 - int(math.Floor(math.Log10(math.Abs(rounded))))
	return group(strconv.FormatFloat(rounded, 'f', max(decimals, 0), 64))
}

// group sets thousands of a long number apart with a no-break space, which no reader takes for a decimal mark.
func group(number string) string {
	whole, rest, _ := strings.Cut(number, ".")
	if rest != "" {
		rest = "." + rest
	}
	const longest = 4 // up to 9999 no grouping
	if len(strings.TrimPrefix(whole, "-")) <= longest {
		return whole + rest
	}
	var b strings.Builder
	for i, r := range whole {
		if left := len(whole) - i; i > 0 && left%3 == 0 && whole[i-1] != '-' {
			b.WriteRune('\u00a0')
		}
		b.WriteRune(r)
	}
	return b.String() + rest
}

func (p Printer) us() bool { return p.units == render.US }

// quantity rounds the metric or the US value to two digits.
func (p Printer) quantity(metric float64, metricUnit string, us float64, usUnit string) Quantity {
	if p.us() {
		return Quantity{Digits(us), usUnit}
	}
	return Quantity{Digits(metric), metricUnit}
}

// Volume prints an amount of water: 340 L, 90 gal.
func (p Printer) Volume(v unit.Volume) Quantity {
	return p.quantity(v.Liters(), "L", v.Gallons(), "gal")
}

// CupVolume prints what a cup holds: 200 mL, 6.8 fl oz.
func (p Printer) CupVolume(v unit.Volume) Quantity {
	const milliliters = 1000 // in a litre
	return p.quantity(v.Liters()*milliliters, "mL", v.FluidOunces(), "fl oz")
}

// Flow prints the flow of a tap or a layout: 28 L/min.
func (p Printer) Flow(q unit.Flow) Quantity {
	return p.quantity(q.LitersPerMinute(), "L/min", q.GallonsPerMinute(), "gal/min")
}

// HoleFlow prints the flow of a hole: 4.1 L/h.
func (p Printer) HoleFlow(q unit.Flow) Quantity {
	const minutesPerHour = 60
	return p.quantity(q.LitersPerHour(), "L/h", q.GallonsPerMinute()*minutesPerHour, "gal/h")
}

// Pressure prints a pressure as a gauge shows it: 15 kPa, 2.1 psi.
func (p Printer) Pressure(h unit.Head) Quantity {
	return p.quantity(h.KiloPascals(), "kPa", h.PSI(), "psi")
}

// WaterColumn prints a pressure as the height that water would stand: 6.4 cm, 2.5 m; in inches or feet.
func (p Printer) WaterColumn(h unit.Head) Quantity {
	l := unit.Length(h)
	small := math.Abs(float64(h)) < 1
	if small {
		return p.quantity(l.Millimeters()/10, "cm of water", l.Inches(), "in of water")
	}
	return p.quantity(float64(l), "m of water", l.Feet(), "ft of water")
}

// Depth prints a depth of water over ground: 5.1 mm, 0.20 in.
func (p Printer) Depth(d unit.Depth) Quantity {
	return p.quantity(float64(d), "mm", d.Inches(), "in")
}

// Area prints ground: 10 m², 110 sq ft.
func (p Printer) Area(a unit.Area) Quantity {
	foot := float64(unit.Feet(1))
	return p.quantity(float64(a), "m²", float64(a)/(foot*foot), "sq ft")
}

// Velocity prints a speed of water.
func (p Printer) Velocity(v unit.Velocity) Quantity {
	return p.quantity(float64(v), "m/s", unit.Length(v).Feet(), "ft/s")
}

// Temperature prints a temperature to the degree.
func (p Printer) Temperature(t unit.Temperature) Quantity {
	v, u := float64(t), "°C"
	if p.us() {
		v, u = t.Fahrenheit(), "°F"
	}
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return Quantity{notKnown, u}
	}
	return Quantity{strconv.FormatFloat(math.Round(v)+0, 'f', 0, 64), u}
}

// Length prints what somebody measures with a tape: to the centimetre, or to a sixteenth of an inch.
func (p Printer) Length(l unit.Length) Quantity {
	if math.IsNaN(float64(l)) || math.IsInf(float64(l), 0) {
		return Quantity{notKnown, ""}
	}
	if p.us() {
		const sixteenths = 16
		return Quantity{feetAndInches(l, sixteenths), ""}
	}
	const centimetersPerMeter = 100
	cm := math.Round(float64(l)*centimetersPerMeter) + 0
	if math.Abs(cm) < centimetersPerMeter {
		return Quantity{strconv.FormatFloat(cm, 'f', 0, 64), "cm"}
	}
	return Quantity{strconv.FormatFloat(cm/centimetersPerMeter, 'f', 2, 64), "m"}
}

// HoleDiameter prints the diameter of a drill: to a tenth of a millimetre, or to a sixty-fourth of an inch.
func (p Printer) HoleDiameter(l unit.Length) Quantity {
	if math.IsNaN(float64(l)) || math.IsInf(float64(l), 0) {
		return Quantity{notKnown, ""}
	}
	if p.us() {
		const sixtyFourths = 64
		return Quantity{feetAndInches(l, sixtyFourths), ""}
	}
	return Quantity{strconv.FormatFloat(l.Millimeters(), 'f', 1, 64), "mm"}
}

// feetAndInches writes a length in feet, inches and a fraction of an inch in lowest terms: 12 ft 4 1/2 in.
func feetAndInches(l unit.Length, denominator int64) string {
	const inchesPerFoot = 12
	parts := int64(math.Round(math.Abs(l.Inches()) * float64(denominator)))
	feet, rest := parts/(inchesPerFoot*denominator), parts%(inchesPerFoot*denominator)
	inches, numerator := rest/denominator, rest%denominator
	for numerator > 0 && numerator%2 == 0 {
		numerator, denominator = numerator/2, denominator/2
	}
	var words []string
	if feet > 0 {
		words = append(words, strconv.FormatInt(feet, 10), "ft")
	}
	if inches > 0 || (numerator == 0 && feet == 0) {
		words = append(words, strconv.FormatInt(inches, 10))
	}
	if numerator > 0 {
		words = append(words, strconv.FormatInt(numerator, 10)+"/"+strconv.FormatInt(denominator, 10))
	}
	if rest > 0 || feet == 0 {
		words = append(words, "in")
	}
	text := strings.Join(words, " ")
	if l < 0 && parts > 0 {
		return "-" + text
	}
	return text
}

// Percent prints a fraction: 62 %. It never says 100 % of something that is short, nor 0 % of something.
func Percent(fraction float64) string {
	if math.IsNaN(fraction) || math.IsInf(fraction, 0) {
		return notKnown + " %"
	}
	percent := math.Round(fraction*100) + 0
	switch {
	case percent >= 100 && fraction < 1:
		return "over 99 %"
	case percent == 0 && fraction > 0:
		return "under 1 %"
	}
	return strconv.FormatFloat(percent, 'f', 0, 64) + " %"
}

// Range prints what lies between two quantities of one unit: 2.1–2.6 L/min; one number when both read the same.
func Range(low, high Quantity) string {
	switch {
	case low == high:
		return low.String()
	case low.Unit == high.Unit && low.Unit != "":
		return low.Number + "–" + high.String()
	}
	return low.String() + " – " + high.String()
}

// Duration prints a span of minutes: 45 min, 1 h 05 min.
func Duration(m unit.Minutes) string {
	const minutesPerHour = 60
	v := float64(m)
	switch {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return notKnown + " min"
	case v > 0 && v < 0.5:
		return "under 1 min"
	case v < 0:
		return "-" + Duration(-m)
	}
	whole := int64(math.Round(v))
	hours, minutes := whole/minutesPerHour, whole%minutesPerHour
	if hours == 0 {
		return strconv.FormatInt(minutes, 10) + " min"
	}
	padded := strconv.FormatInt(minutes, 10)
	if len(padded) == 1 {
		padded = "0" + padded
	}
	return strconv.FormatInt(hours, 10) + " h " + padded + " min"
}

// Clock prints a time of day on the garden's clock, to the nearest minute: 06:30. Inside an hour that the clock runs through twice it adds
// the zone's abbreviation, which tells the two apart.
func (p Printer) Clock(t time.Time) string {
	t = t.Round(time.Minute)
	local := t.In(p.zone)
	text := local.Format("15:04")
	name, offset := local.Zone()
	const nearby = 3 * time.Hour // farther than any clock change
	for _, around := range []time.Duration{-nearby, nearby} {
		_, other := local.Add(around).Zone()
		twin := local.Add(time.Duration(offset-other) * time.Second)
		if _, o := twin.Zone(); o == other && other != offset {
			return text + " " + name
		}
	}
	return text
}

// Span prints the clock times of a turn: 06:30–07:15.
func (p Printer) Span(from, to time.Time) string { return p.Clock(from) + "–" + p.Clock(to) }

// Date prints a day so that nobody takes the month for the day: Tue 7 July.
func (p Printer) Date(t time.Time) string { return p.language.date(t.In(p.zone)) }

// DateWithYear prints a day with its year: Tue 7 July 2026.
func (p Printer) DateWithYear(t time.Time) string {
	return p.Date(t) + " " + strconv.Itoa(t.In(p.zone).Year())
}

// Moment prints day and time: Tue 7 July 06:30.
func (p Printer) Moment(t time.Time) string { return p.Date(t) + " " + p.Clock(t) }
