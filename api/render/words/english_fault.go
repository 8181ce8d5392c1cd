package words

import (
	"fmt"

	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/engine/waterneed"
)

var englishLayoutFaults = map[hydraulics.FaultCode]func(Printer, hydraulics.Fault) string{
	hydraulics.FaultNotFinite: func(Printer, hydraulics.Fault) string { return "This is not a number." },
	hydraulics.FaultOutOfRange: func(_ Printer, f hydraulics.Fault) string {
		return fmt.Sprintf("%s is out of range: it must lie between %s and %s.", withFieldUnit(f.Path, f.Got), withFieldUnit(f.Path, f.Least), withFieldUnit(f.Path, f.Most))
	},
	hydraulics.FaultUnknownPipe: func(Printer, hydraulics.Fault) string {
		return "No pipe of this size and wall is in the table: use another, or measure its inside diameter and enter it."
	},
	hydraulics.FaultBoreTooLarge: func(_ Printer, f hydraulics.Fault) string {
		return fmt.Sprintf("An inside diameter of %s does not fit into this pipe: it can be at most %s.", withFieldUnit(f.Path, f.Got), withFieldUnit(f.Path, f.Most))
	},
	hydraulics.FaultMissing: func(Printer, hydraulics.Fault) string { return "This is needed." },
	hydraulics.FaultNotAllowed: func(Printer, hydraulics.Fault) string {
		return "This contradicts another entry: leave one of them out."
	},
	hydraulics.FaultUnknownWord: func(Printer, hydraulics.Fault) string { return "This word is not one of those allowed here." },
	hydraulics.FaultBeyondPipe: func(_ Printer, f hydraulics.Fault) string {
		return fmt.Sprintf("%s lies past the end of the pipe: the last place is %s.", withFieldUnit(f.Path, f.Got), withFieldUnit(f.Path, f.Most))
	},
	hydraulics.FaultTooManyHoles: func(_ Printer, f hydraulics.Fault) string {
		return fmt.Sprintf("%s holes are more than one layout can have: at most %s.", entered(f.Got), entered(f.Most))
	},
	hydraulics.FaultHolesOverlap: func(_ Printer, f hydraulics.Fault) string {
		return fmt.Sprintf("At a spacing of %s the holes would touch: take at least %s.", withFieldUnit(f.Path, f.Got), withFieldUnit(f.Path, f.Least))
	},
	hydraulics.FaultNoSuchHole: func(_ Printer, f hydraulics.Fault) string {
		return fmt.Sprintf("There is no hole %s here: the last is %s.", entered(f.Got), entered(f.Most))
	},
	hydraulics.FaultTwice: func(Printer, hydraulics.Fault) string { return "This was given before." },
	hydraulics.FaultNotUnderStatic: func(_ Printer, f hydraulics.Fault) string {
		return fmt.Sprintf("With water running the pressure must be below that with the tap closed: %s is not under %s.", withFieldUnit(f.Path, f.Got), withFieldUnit(f.Path, f.Most))
	},
	hydraulics.FaultNoUsableTest: func(Printer, hydraulics.Fault) string {
		return "None of these tests shows a flow: fill a bucket and note its volume and the seconds."
	},
	hydraulics.FaultHoseTakesAll: func(p Printer, f hydraulics.Fault) string {
		return fmt.Sprintf("This hose would lose %s, and the tap has %s: check its length and diameter.", p.WaterColumn(unit.Head(f.Got)), p.WaterColumn(unit.Head(f.Most)))
	},
}

var englishNeedFaults = map[waterneed.Code]func(waterneed.InputError) string{
	waterneed.ReasonMissing:   func(waterneed.InputError) string { return "This is needed." },
	waterneed.ReasonNotFinite: func(waterneed.InputError) string { return "This is not a number." },
	waterneed.ReasonOutOfRange: func(e waterneed.InputError) string {
		return fmt.Sprintf("%s is out of range: it must lie between %s and %s.", withFieldUnit(e.Field, e.Value), withFieldUnit(e.Field, e.Low), withFieldUnit(e.Field, e.High))
	},
	waterneed.ReasonUnknown: func(waterneed.InputError) string {
		return "This is not known here: choose one of the words or names allowed."
	},
	waterneed.ReasonDuplicate: func(waterneed.InputError) string { return "This was given before." },
	waterneed.ReasonUnit: func(e waterneed.InputError) string {
		return fmt.Sprintf("%s looks like another unit: between %s and %s is expected.", withFieldUnit(e.Field, e.Value), withFieldUnit(e.Field, e.Low), withFieldUnit(e.Field, e.High))
	},
	waterneed.ReasonOrder: func(e waterneed.InputError) string {
		return fmt.Sprintf("%s contradicts an entry that it must follow: it must lie between %s and %s.", withFieldUnit(e.Field, e.Value), withFieldUnit(e.Field, e.Low), withFieldUnit(e.Field, e.High))
	},
}

var englishSupply = map[hydraulics.AssumptionCode]func(Printer, hydraulics.Assumption) Notice{
	hydraulics.AssumedStatic: func(p Printer, a hydraulics.Assumption) Notice {
		return Notice{
			Text: fmt.Sprintf("The pressure of the closed tap is assumed as %s; it may be %s.", p.Pressure(unit.Head(a.Value)),
				Range(p.Pressure(unit.Head(a.Low)), p.Pressure(unit.Head(a.High)))),
			Remedy: "Measure the pressure with the tap closed.",
		}
	},
	hydraulics.AssumedExponent: func(_ Printer, a hydraulics.Assumption) Notice {
		return Notice{
			Text:   fmt.Sprintf("How pressure falls with flow is assumed (exponent %s, may be %s–%s).", Digits(a.Value), Digits(a.Low), Digits(a.High)),
			Remedy: "Measure the pressure left at a second flow.",
		}
	},
	hydraulics.ClampedExponent: func(_ Printer, a hydraulics.Assumption) Notice {
		return Notice{
			Text:   fmt.Sprintf("The tests contradict each other a little: they give an exponent of %s, %s is used.", Digits(a.Low), Digits(a.Value)),
			Remedy: "Repeat them one right after the other.",
		}
	},
	hydraulics.AssumedOtherHours: func(_ Printer, a hydraulics.Assumption) Notice {
		return Notice{
			Text:   fmt.Sprintf("No bucket test was made between %s and %s, when the water runs, nor within an hour of it; tests of other hours count.", dayClock(a.Low), dayClock(a.High)),
			Remedy: "Repeat the bucket test in these hours.",
		}
	},
	hydraulics.AssumedSwing: func(_ Printer, a hydraulics.Assumption) Notice {
		if a.Value == 0 {
			return Notice{Text: fmt.Sprintf("In the hours without a test the pressure may be up to %s lower.", Percent(a.High))}
		}
		return Notice{Text: fmt.Sprintf("The pressure in the hours without a test is taken as %s lower than in the tests; it may be up to %s lower.", Percent(a.Value), Percent(a.High))}
	},
	hydraulics.AssumedOtherStatic: func(p Printer, a hydraulics.Assumption) Notice {
		return Notice{
			Text: fmt.Sprintf("The pressure of the closed tap was measured at another hour, as %s; when the water runs it is taken as %s, and may be as low as %s.",
				p.Pressure(unit.Head(a.High)), p.Pressure(unit.Head(a.Value)), p.Pressure(unit.Head(a.Low))),
			Remedy: "Measure it within the water hours.",
		}
	},
	hydraulics.AssumedOthersOpen: func(Printer, hydraulics.Assumption) Notice {
		return Notice{
			Text:   "Every test was made while other taps ran; this one alone may give more than shown.",
			Remedy: "Repeat one with everything else closed.",
		}
	},
	hydraulics.DrawnElsewhere: func(p Printer, a hydraulics.Assumption) Notice {
		return Notice{Text: fmt.Sprintf("It is read while %s are drawn at other taps of its line.", p.Flow(unit.LitersPerMinute(a.Value)))}
	},
	hydraulics.AssumedAllShared: func(Printer, hydraulics.Assumption) Notice {
		return Notice{
			Text:   "No test was made with another tap open, so all pipes up to this tap count as shared: it may give more than shown.",
			Remedy: "Fill a bucket once more while the other taps run, and note what they draw.",
		}
	},
	hydraulics.AssumedTankOutlet: func(p Printer, a hydraulics.Assumption) Notice {
		return Notice{
			Text:   fmt.Sprintf("The inside diameter of the tank's outlet is assumed as %s; it may be %s.", p.HoleDiameter(unit.Millimeters(a.Value)), Range(p.HoleDiameter(unit.Millimeters(a.Low)), p.HoleDiameter(unit.Millimeters(a.High)))),
			Remedy: "Measure it.",
		}
	},
	hydraulics.AssumedTankOutletK: func(_ Printer, a hydraulics.Assumption) Notice {
		return Notice{
			Text:   fmt.Sprintf("The outlet of the tank counts as an opening with sharp edges (loss coefficient %s); a globe tap there loses more, up to %s.", Digits(a.Value), Digits(a.High)),
			Remedy: "Fill a bucket at the tap and compare, or enter the coefficient of the tap.",
		}
	},
	hydraulics.UncountedTankOutlet: func(Printer, hydraulics.Assumption) Notice {
		return Notice{
			Text:   "What the tank's outlet loses is not counted, so the tank may give less than shown.",
			Remedy: "Measure the inside diameter of its outlet.",
		}
	},
	hydraulics.AssumedBeyondTests: func(p Printer, a hydraulics.Assumption) Notice {
		return Notice{
			Text:   fmt.Sprintf("The largest flow tested is %s; what lies beyond is extrapolated.", p.Flow(unit.LitersPerMinute(a.Value))),
			Remedy: "Fill a bucket with the tap fully open.",
		}
	},
	hydraulics.AssumedSeveralReads: func(Printer, hydraulics.Assumption) Notice {
		return Notice{Text: "There are more tests than the curve needs; the least favourable counts."}
	},
}

// dayClock writes minutes after midnight as a time of day.
func dayClock(minutes float64) string {
	const perHour = 60
	m := int(minutes)
	return fmt.Sprintf("%02d:%02d", m/perHour, m%perHour)
}
