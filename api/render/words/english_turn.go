package words

import (
	"fmt"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/engine/unit"
)

var englishTurns = turnPhrases{
	calendar: func(garden string) string { return "Watering, " + garden },
	title:    englishTurnTitle,
	details:  englishTurnDetails,
}

func englishTurnTitle(t render.Turn) string {
	zone, source := OneLine(t.ZoneName), OneLine(t.SourceName)
	var title string
	switch t.Kind {
	case render.HoseTurn:
		title = fmt.Sprintf("Water %s by hose from %s", zone, source)
	case render.CanTurn:
		title = fmt.Sprintf("Water %s by can from %s", zone, source)
	case render.ZoneTurn:
		title = fmt.Sprintf("Water %s from %s", zone, source)
	}
	if t.Status == render.Cancelled {
		return "Cancelled: " + title
	}
	return title
}

func englishTurnDetails(p Printer, t render.Turn) []string {
	var lines []string
	if t.Status == render.Cancelled {
		lines = append(lines, "This turn is cancelled. Leave the tap closed.")
	}
	source, zone := OneLine(t.SourceName), OneLine(t.ZoneName)
	from, to, long := p.Clock(t.Start), p.Clock(t.End), Duration(turnMinutes(t))
	switch t.Kind {
	case render.HoseTurn:
		lines = append(lines, fmt.Sprintf("Connect the hose to %s and water from %s to %s (%s), then close the tap.", source, from, to, long))
	case render.CanTurn:
		lines = append(lines, fmt.Sprintf("Fill cans at %s and water from %s to %s (%s).", source, from, to, long))
	case render.ZoneTurn:
		lines = append(lines,
			fmt.Sprintf("Open at %s: the valves of watering group %s, then %s.", from, zone, source),
			fmt.Sprintf("Close at %s, after %s: %s, then the valves.", to, long, source))
	}
	if opener := OneLine(t.Opener); opener != "" {
		lines = append(lines, fmt.Sprintf("Must be there: %s.", opener))
	}
	if t.FlowLPerMin > 0 && t.Kind != render.CanTurn {
		lines = append(lines, fmt.Sprintf("Expected flow: about %s.", p.Flow(unit.LitersPerMinute(t.FlowLPerMin))))
	}
	for _, m := range t.Members {
		lines = append(lines, englishMember(p, m))
	}
	if note := Clean(t.Note); note != "" {
		lines = append(lines, note)
	}
	return append(lines, "Amounts are estimates: dig and look.")
}

func englishMember(p Printer, m render.Member) string {
	line := "- " + PlotLabel(m.PlotName, m.LayoutName)
	if holder := OneLine(m.Holder); holder != "" {
		line += fmt.Sprintf(" (%s)", holder)
	}
	line += fmt.Sprintf(": about %s", p.Volume(unit.Liters(m.Liters)))
	if m.ClosesAt != nil {
		line += fmt.Sprintf("; close its valve at %s", p.Clock(*m.ClosesAt))
	}
	if render.IsShort(m.Share) {
		line += fmt.Sprintf("; gets %s of its need in this schedule", Percent(m.Share))
	}
	return line
}
