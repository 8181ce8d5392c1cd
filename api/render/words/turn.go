package words

import (
	"strings"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/engine/unit"
)

// turnPhrases is what a language says about one turn.
type turnPhrases struct {
	calendar func(garden string) string
	title    func(t render.Turn) string
	details  func(p Printer, t render.Turn) []string
}

// CalendarName is the name of a garden's feed of turns.
func (p Printer) CalendarName(garden string) string {
	return p.language.turns.calendar(OneLine(garden))
}

// TurnTitle says in one line which group is watered, from which tap.
func (p Printer) TurnTitle(t render.Turn) string { return p.language.turns.title(t) }

// TurnDetails says line by line what to open and close, for whom, and how much water it brings.
func (p Printer) TurnDetails(t render.Turn) []string { return p.language.turns.details(p, t) }

// PlotLabel names a plot with its layout.
func PlotLabel(plot, layout string) string {
	plot, layout = OneLine(plot), OneLine(layout)
	switch {
	case layout == "" || layout == plot:
		return plot
	case plot == "":
		return layout
	}
	return plot + ", " + layout
}

// turnMinutes returns how long a turn lasts.
func turnMinutes(t render.Turn) unit.Minutes { return unit.Minutes(t.End.Sub(t.Start).Minutes()) }

// plotNames lists the plots of a turn.
func plotNames(t render.Turn) string {
	names := make([]string, 0, len(t.Members))
	for _, m := range t.Members {
		names = append(names, PlotLabel(m.PlotName, m.LayoutName))
	}
	return strings.Join(names, "; ")
}
