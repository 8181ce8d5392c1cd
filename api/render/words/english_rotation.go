package words

import (
	"fmt"

	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/unit"
)

var englishRotation = rotationPhrases{
	unservable: map[problem.Reason]func(Printer, problem.Unservable) Notice{
		problem.ReasonFlow: func(p Printer, u problem.Unservable) Notice {
			return Notice{
				Text: fmt.Sprintf("No turn can water %s: at its least pressure it takes %s, and its tap gives %s there.", OneLine(u.Layout),
					p.Flow(u.Takes.Flow()), p.Flow(u.Gives.Flow())),
				Remedy: "Plug holes or outlets, split it between two valves, or move it to a stronger tap.",
			}
		},
		problem.ReasonLine: func(p Printer, u problem.Unservable) Notice {
			return Notice{
				Text: fmt.Sprintf("No turn can water %s: it takes %s, and the water line allows %s.", OneLine(u.Layout),
					p.Flow(u.Takes.Flow()), p.Flow(u.Gives.Flow())),
				Remedy: "Plug holes or outlets, throttle its valve, or split it between two valves.",
			}
		},
		problem.ReasonNone: func(_ Printer, u problem.Unservable) Notice {
			return Notice{
				Text:   fmt.Sprintf("No turn can water %s: nothing comes out of it at the pressure that its tap keeps.", OneLine(u.Layout)),
				Remedy: "Lower it, shorten it, or move it to a stronger tap.",
			}
		},
	},
	bounds: map[plan.BoundReason]func(plan.Bound) string{
		plan.BoundNeed: func(plan.Bound) string { return "Nothing known keeps a schedule from giving every plot what it needs." },
		plan.BoundTime: func(b plan.Bound) string {
			return atMost(b, fmt.Sprintf("the water hours of %s", OneLine(b.Source)))
		},
		plan.BoundDays: func(b plan.Bound) string {
			return atMost(b, fmt.Sprintf("the water hours of %s on the days on which some of its plots may be watered", OneLine(b.Source)))
		},
		plan.BoundSoil: func(b plan.Bound) string {
			return atMost(b, fmt.Sprintf("what the soil of %s takes on its days", OneLine(b.Layout)))
		},
		plan.BoundLineFlow: func(b plan.Bound) string {
			return atMost(b, fmt.Sprintf("the flow that %s allows during the water hours", OneLine(b.Line)))
		},
		plan.BoundLineTime: func(b plan.Bound) string {
			return atMost(b, fmt.Sprintf("the few taps that %s can feed at the same time", OneLine(b.Line)))
		},
		plan.BoundLineCap: func(b plan.Bound) string {
			return atMost(b, fmt.Sprintf("the daily volume that %s allows", OneLine(b.Line)))
		},
		plan.BoundSourceCap: func(b plan.Bound) string {
			return atMost(b, fmt.Sprintf("the volume that %s has", OneLine(b.Source)))
		},
	},
	rules: map[problem.Rule]func(Printer, problem.Violation, string) string{
		problem.RuleProblem: func(Printer, problem.Violation, string) string { return "The planning data themselves are not valid." },
		problem.RuleZone: func(_ Printer, v problem.Violation, _ string) string {
			return fmt.Sprintf("Watering group %s is empty, doubled, or on a tap that is not known.", OneLine(v.Zone))
		},
		problem.RuleMember: func(_ Printer, v problem.Violation, _ string) string {
			return fmt.Sprintf("%s must be in exactly one watering group if a turn can water it, in none otherwise; it is in %d.", OneLine(v.Layout), v.Have)
		},
		problem.RulePlumbing: func(_ Printer, v problem.Violation, _ string) string {
			return fmt.Sprintf("%s is not connected to %s, the tap of its watering group %s.", OneLine(v.Layout), OneLine(v.Source), OneLine(v.Zone))
		},
		problem.RuleHydraulic: englishHydraulicRule,
		problem.RuleConnections: func(_ Printer, v problem.Violation, _ string) string {
			return fmt.Sprintf("Watering group %s has %d members where the tap has room for %d at a time.", OneLine(v.Zone), v.Have, v.Limit)
		},
		problem.RuleReference: func(_ Printer, v problem.Violation, _ string) string {
			return fmt.Sprintf("A turn names a watering group or water hours that are not known: %s, %s.", OneLine(v.Zone), OneLine(v.Window))
		},
		problem.RuleWindow: func(_ Printer, v problem.Violation, _ string) string {
			return fmt.Sprintf("A turn of %s lies outside the water hours.", OneLine(v.Zone))
		},
		problem.RuleClosedDay: func(_ Printer, v problem.Violation, day string) string {
			return fmt.Sprintf("A turn of %s falls on %s, on which %s must not be watered.", OneLine(v.Zone), day, OneLine(v.Layout))
		},
		problem.RuleOverlap: englishOverlapRule,
		problem.RuleMinRun:  spanRule("A turn lasts %s, less than the shortest allowed, %s (group %s)."),
		problem.RuleMaxRun:  spanRule("A turn lasts %s; after %s water would run off (group %s)."),
		problem.RuleSoak:    spanRule("Only %s pass before the group's next turn; the soil needs %s to soak (group %s)."),
		problem.RuleMaxDay: func(p Printer, v problem.Violation, day string) string {
			return fmt.Sprintf("%s gets %s on %s; its soil takes %s.", OneLine(v.Layout), milliliters(p, v.Have), day, milliliters(p, v.Limit))
		},
		problem.RuleDayTime: func(_ Printer, v problem.Violation, day string) string {
			return fmt.Sprintf("%s is watered for %s on %s; at most %s are allowed.", OneLine(v.Layout), span(v.Have), day, span(v.Limit))
		},
		problem.RuleLineFlow: func(p Printer, v problem.Violation, _ string) string {
			return fmt.Sprintf("Turns at the same time draw %s from %s, which allows %s.", rate(p, v.Have), OneLine(v.Line), rate(p, v.Limit))
		},
		problem.RuleSourceCap: func(p Printer, v problem.Violation, day string) string {
			return fmt.Sprintf("On %s, %s gives %s; at most %s are allowed.", day, OneLine(v.Source), milliliters(p, v.Have), milliliters(p, v.Limit))
		},
		problem.RuleLineCap: func(p Printer, v problem.Violation, day string) string {
			return fmt.Sprintf("On %s, %s gives %s; at most %s are allowed.", day, OneLine(v.Line), milliliters(p, v.Have), milliliters(p, v.Limit))
		},
		problem.RuleTank: func(_ Printer, v problem.Violation, day string) string {
			return fmt.Sprintf("%s would run empty during a turn on %s.", OneLine(v.Source), day)
		},
		problem.RuleReserve: func(_ Printer, v problem.Violation, _ string) string {
			return fmt.Sprintf("Turns fill %s of water hours of which %s may be used; the rest stays free.", span(v.Have), span(v.Limit))
		},
		problem.RuleClosing: func(_ Printer, v problem.Violation, _ string) string {
			return fmt.Sprintf("%s cannot be closed early in a turn of %s: it needs a valve of its own and a time within the turn.", OneLine(v.Layout), OneLine(v.Zone))
		},
		problem.RuleInterval: func(_ Printer, v problem.Violation, day string) string {
			return fmt.Sprintf("%s goes %s without water by %s; its plants bear %s.", OneLine(v.Layout), count(int(v.Have), "day", "days"), day, count(int(v.Limit), "day", "days"))
		},
		problem.RuleDry: func(p Printer, v problem.Violation, day string) string {
			return fmt.Sprintf("On %s plants of %s go short: %s are missing from their roots after the day's water, and they reach %s easily.", day,
				OneLine(v.Layout), p.Volume(unit.Liters(problem.Milliliters(v.Have).Liters())), p.Volume(unit.Liters(problem.Milliliters(v.Limit).Liters())))
		},
	},
}

// englishHydraulicRule tells the two halves of the rule apart: a member's pressure, or the limit of the tap.
func englishHydraulicRule(p Printer, v problem.Violation, _ string) string {
	if v.Layout != "" {
		// The checker counts heads in millionths of a metre.
		const perMeter = 1e6
		return fmt.Sprintf("In watering group %s, %s has a pressure of %s and needs %s.", OneLine(v.Zone), OneLine(v.Layout),
			p.WaterColumn(unit.Head(float64(v.Have)/perMeter)), p.WaterColumn(unit.Head(float64(v.Limit)/perMeter)))
	}
	return fmt.Sprintf("Watering group %s draws %s from %s, which gives at most %s.", OneLine(v.Zone), rate(p, v.Have), OneLine(v.Source), rate(p, v.Limit))
}

// atMost says what the least served plot can get, and what holds it down.
func atMost(b plan.Bound, because string) string {
	return fmt.Sprintf("No schedule can give the least served plot more than %s, because of %s.", Percent(b.Share), because)
}

func englishOverlapRule(_ Printer, v problem.Violation, _ string) string {
	if v.Have < 0 {
		return fmt.Sprintf("Two turns of %s overlap by %s (group %s).", OneLine(v.Source), span(-v.Have), OneLine(v.Zone))
	}
	return fmt.Sprintf("Two turns of %s are %s apart; the pause between them must be %s (group %s).", OneLine(v.Source), span(v.Have), span(v.Limit), OneLine(v.Zone))
}

func span(v int64) string { return Duration(problem.Span(v).Minutes()) }

func rate(p Printer, v int64) string { return p.Flow(problem.Rate(v).Flow()).String() }

func milliliters(p Printer, v int64) string {
	return p.Volume(unit.Liters(problem.Milliliters(v).Liters())).String()
}

// spanRule is a rule about two lengths of time and a group.
func spanRule(format string) func(Printer, problem.Violation, string) string {
	return func(_ Printer, v problem.Violation, day string) string {
		return fmt.Sprintf(format, span(v.Have), span(v.Limit), OneLine(v.Zone))
	}
}
