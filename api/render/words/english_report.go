package words

import (
	"fmt"
	"strings"

	"rillturn.example/rillturn/api/render"
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
		gets:       englishGets,
		needed:     "minutes that these plots need",
		changeover: "less the pauses between turns",
		offered:    "minutes that they can get",
		missing:    "minutes that are missing",
		soil: func(p Printer, b render.BindingSoil) string {
			return fmt.Sprintf("%s: the soil of %s takes no more than", p.Date(b.Day), OneLine(b.ZoneName))
		},
		window: func(p Printer, b render.BindingWindow) string {
			return fmt.Sprintf("%s: full hours of %s, %s", p.Date(b.Start), OneLine(b.SourceName), p.Span(b.Start, b.End))
		},
		line: func(line string) string { return fmt.Sprintf("The limit of %s binds.", line) },
		gain: func(gain float64) string {
			const perHundred, tenMinutes = 100, 10
			return fmt.Sprintf("Ten more minutes of these hours would raise these plots by at most %s points of a hundred.", Digits(gain*perHundred*tenMinutes))
		},
		noGain: "More water hours alone would not help these plots.",
	},
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
	return fmt.Sprintf("%s %s %s of the %s needed; %s is missing.", strings.Join(plots, "; "), verb, Percent(s.Fraction),
		p.Volume(unit.Liters(s.NeedLiters)), p.Volume(unit.Liters(s.MissingLiters)))
}
