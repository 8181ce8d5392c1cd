package words

import (
	"fmt"
	"strings"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/rotation"
	"rillturn.example/rillturn/engine/unit"
)

var englishReport = reportPhrases{
	layouts:      "Layouts, each in its own turn",
	groups:       "Watering groups",
	turns:        "Turns",
	shares:       "Share of its need that each plot gets",
	shorts:       "Who is short, and why",
	assumptions:  "What this takes for granted",
	cautions:     "Cautions",
	layoutHeader: []string{"Plot, layout", "Source", "Flow", "Pressure", "Evenness", "First → last hole"},
	groupHeader:  []string{"Group", "Source", "Flow", "Pressure"},
	byHand:       "by hand",
	measured:     "Evenness measured with cups under the holes.",
	noTurns:      "No turns in these days.",
	noneShort:    "Nobody: every plot gets what it needs.",
	cancelled:    "Cancelled, leave the tap closed.",
	closes:       func(plot, clock string) string { return fmt.Sprintf("Close the valve of %s at %s.", plot, clock) },
	opens:        func(opener string) string { return fmt.Sprintf("%s must be there.", opener) },
	shortfall: shortfallPhrases{
		gets:    englishGets,
		limits:  englishLimits,
		offered: "minutes that they can get",
		needed:  "minutes that they need",
		missing: "minutes that are missing",
		gain:    englishGain,
		noGain:  "More water hours alone would not help these plots.",
	},
}

var englishLimits = map[rotation.PartKind]func(Printer, render.Limit) string{
	rotation.PartWindow: func(p Printer, l render.Limit) string {
		return onDay(p, l, fmt.Sprintf("water hours of %s, %s", OneLine(l.SourceName), p.Span(l.Start, l.End)))
	},
	rotation.PartChange: func(p Printer, l render.Limit) string { return onDay(p, l, "less the pauses between turns") },
	rotation.PartGrid: func(p Printer, l render.Limit) string {
		return onDay(p, l, fmt.Sprintf("less what starting on the %g-minute grid leaves unused", l.GridMinutes))
	},
	rotation.PartPlacement: func(p Printer, l render.Limit) string {
		return onDay(p, l, "less what soaking and other taps leave unused")
	},
	rotation.PartOthers: func(p Printer, l render.Limit) string { return onDay(p, l, "less the turns of other watering groups") },
	rotation.PartVisit: func(p Printer, l render.Limit) string {
		return onDay(p, l, fmt.Sprintf("longest turns of %s", OneLine(l.ZoneName)))
	},
	rotation.PartSoil: func(p Printer, l render.Limit) string {
		return onDay(p, l, fmt.Sprintf("what the soil of %s takes", OneLine(l.ZoneName)))
	},
	rotation.PartVolume: func(p Printer, l render.Limit) string {
		whose := OneLine(l.LineName)
		if whose == "" {
			whose = OneLine(l.SourceName)
		}
		if l.Flow {
			return onDay(p, l, fmt.Sprintf("what the flow limit of %s lets through", whose))
		}
		return onDay(p, l, fmt.Sprintf("what the volume limit of %s lets through", whose))
	},
	rotation.PartPlaced: func(p Printer, l render.Limit) string {
		if l.Minutes > 0 {
			return onDay(p, l, "more in turns as they were placed")
		}
		return onDay(p, l, "less what turns lose to their places")
	},
	rotation.PartTurns: func(p Printer, l render.Limit) string {
		return onDay(p, l, fmt.Sprintf("turns of %s that found a place beside those of other taps", OneLine(l.ZoneName)))
	},
	rotation.PartOwn: func(p Printer, l render.Limit) string {
		return onDay(p, l, "shortest turns of these plots at other hours")
	},
	rotation.PartHad: func(Printer, render.Limit) string { return "turns of these plots before this schedule was made" },
	rotation.PartSettled: func(Printer, render.Limit) string {
		return "turns of these plots that stay as they were announced"
	},
}

// onDay puts the day of a limit before it.
func onDay(p Printer, l render.Limit, text string) string {
	if l.Day.IsZero() {
		return text
	}
	return p.Date(l.Day) + ": " + text
}

func englishGets(p Printer, s render.Shortfall) string {
	plots := make([]string, len(s.Plots))
	for i, plot := range s.Plots {
		plots[i] = OneLine(plot)
	}
	verb := "get"
	if len(plots) == 1 {
		verb = "gets"
	}
	who := strings.Join(plots, "; ")
	each := ""
	switch s.By {
	case problem.ByArea:
		each = fmt.Sprintf(" %s of water over each bed,", p.Depth(unit.Depth(s.Level)))
	case problem.ByMinutes:
		each = fmt.Sprintf(" %s for each watering group,", Duration(unit.Minutes(s.Level)))
	}
	if s.NeedLiters <= 0 {
		return fmt.Sprintf("%s %s%s %s of the water needed.", who, verb, each, Percent(s.Fraction))
	}
	return fmt.Sprintf("%s %s%s %s of the %s needed; %s is missing.", who, verb, each, Percent(s.Fraction),
		p.Volume(unit.Liters(s.NeedLiters)), p.Volume(unit.Liters(s.MissingLiters)))
}

// englishGain says what ten more minutes of water hours would bring.
func englishGain(p Printer, s render.Shortfall) string {
	const perHundred, tenMinutes = 100, 10
	switch gain := s.GainPerMinute * tenMinutes; s.By {
	case problem.ByArea:
		return fmt.Sprintf("Ten more minutes of these hours would bring them at most %s more.", p.Depth(unit.Depth(gain)))
	case problem.ByMinutes:
		return fmt.Sprintf("Ten more minutes of these hours would bring each watering group at most %s more.", Duration(unit.Minutes(gain)))
	default:
		return fmt.Sprintf("Ten more minutes of these hours would raise their share by at most %s points of a hundred.", Digits(gain*perHundred))
	}
}
