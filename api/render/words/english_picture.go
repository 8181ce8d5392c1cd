package words

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/engine/unit"
)

var englishLabels = map[Label]string{
	LabelLegend:        "Legend",
	LabelWaterHours:    "water hours",
	LabelNoWaterHours:  "no water hours",
	LabelByHand:        "round ends: by hose or can",
	LabelCancelled:     "cancelled",
	LabelCancelledTurn: "dashed: cancelled",
	LabelShort:         "Short of water",
	LabelShortTurn:     "a plot of this group gets less than it needs",
	LabelShortTurns:    "Brief turns",
	LabelHose:          "hose",
	LabelCan:           "can",
	LabelNoTurns:       "No turns in these days.",
	LabelClockChange:   "clock changes",
	LabelServed:        "delivered",
	LabelMissing:       "missing",
	LabelBound:         "best possible for the least served",
	LabelNobodyShort:   "Every plot gets what it needs.",
	LabelDepletion:     "water missing in the root zone",
	LabelRAW:           "water the plants reach easily",
	LabelRain:          "rain",
	LabelNoWater:       "neither rain nor watering on these days",
	LabelWatering:      "watering",
	LabelAssumed:       "watering assumed, nobody reported it",
	LabelAssumedDay:    "weather not measured here",
	LabelWetSoil:       "soil full",
	LabelBeyond:        "plants go short of water",
	LabelReportedOnly:  "missing if nobody gave what is assumed",
	LabelDug:           "somebody dug and looked",
	LabelDistance:      "distance from the manifold",
	LabelLeastHead:     "under this line holes are unreliable",
	LabelHead:          "pressure as height of water",
	LabelFeed:          "feed",
	LabelPlugged:       "plugged",
	LabelUnreliable:    "unreliable or dry",
	LabelCropUse:       "used by the crop",
	LabelRainUsed:      "rain used",
	LabelPerWeek:       "a week",
}

var englishPictures = picturePhrases{
	scheduleTitle: func(p Printer, s render.Schedule) string {
		return fmt.Sprintf("%s: watering schedule, %s", OneLine(s.GardenName), englishDays(p, s))
	},
	scheduleSubtitle: func(p Printer, s render.Schedule) string {
		state := "Revision"
		if s.Proposed {
			state = "Proposed, not in force: revision"
		}
		stamp := p.Made
		if s.Published {
			stamp = p.Published
		}
		return fmt.Sprintf("%s %d, %s. Clock times of %s.", state, s.Revision, stamp(p.Moment(s.Generated)), placeOf(s.TimeZone.String()))
	},
	turn: englishTurn,
	sharesTitle: func(p Printer, s render.Schedule) string {
		return fmt.Sprintf("%s: share of its need that each plot gets, %s", OneLine(s.GardenName), englishDays(p, s))
	},
	share: englishShare,
	bound: func(fraction float64) string {
		return fmt.Sprintf("No schedule can give the least served plot more than %s.", Percent(fraction))
	},
	over: func(p Printer, o render.Overwatering) string {
		return fmt.Sprintf("%s are given beyond need, %s of what all need; no schedule with these shares gives less than %s too much.",
			p.Volume(unit.Liters(o.Liters)), Percent(o.Liters/max(1, o.NeedLiters)), p.Volume(unit.Liters(o.LeastLiters)))
	},
	ledgerTitle: func(c render.LedgerChart) string {
		return fmt.Sprintf("%s, %s: water missing in the root zone, day by day", OneLine(c.PlotName), OneLine(c.PlantingName))
	},
	ledgerDay: englishLedgerDay,
	profileTitle: func(h render.HeadProfile) string {
		return PlotLabel(h.PlotName, h.LayoutName) + ": pressure along the laterals"
	},
	profile: func(p Printer, l render.LateralProfile) string {
		first, last := l.Points[0], l.Points[len(l.Points)-1]
		return fmt.Sprintf("%s: %s at the first hole, %s from the manifold; %s at the last, %s from it.", OneLine(l.Name),
			p.WaterColumn(unit.Head(first.HeadM)), p.Length(unit.Length(first.DistanceM)),
			p.WaterColumn(unit.Head(last.HeadM)), p.Length(unit.Length(last.DistanceM)))
	},
	drawingTitle: func(d render.LayoutDrawing) string {
		return fmt.Sprintf("%s: %s, revision %d", OneLine(d.GardenName), PlotLabel(d.PlotName, d.LayoutName), d.Revision)
	},
	drawing: englishDrawing,
}

// englishDays names the days of a horizon; its excluded end counts as the day before where it is a midnight.
func englishDays(p Printer, s render.Schedule) string {
	first, last := p.DateWithYear(s.HorizonFrom), p.DateWithYear(lastDay(s.HorizonTo))
	switch {
	case first == last:
		return last
	case s.HorizonFrom.In(p.zone).Year() == lastDay(s.HorizonTo).In(p.zone).Year():
		first = p.Date(s.HorizonFrom)
	}
	return first + " to " + last
}

// placeOf makes an IANA zone readable: America/New_York becomes New York.
func placeOf(zone string) string {
	return strings.ReplaceAll(zone[strings.LastIndex(zone, "/")+1:], "_", " ")
}

func englishTurn(p Printer, t render.Turn) string {
	text := fmt.Sprintf("%s %s, %s: %s", p.Date(t.Start), p.Span(t.Start, t.End), OneLine(t.SourceName), OneLine(t.ZoneName))
	switch t.Kind {
	case render.HoseTurn:
		text += " by hose"
	case render.CanTurn:
		text += " by can"
	case render.ZoneTurn:
		text += " (" + plotNames(t) + ")"
	}
	if opener := OneLine(t.Opener); opener != "" {
		text += ", opened by " + opener
	}
	if t.Status == render.Cancelled {
		text += ", cancelled"
	}
	var short []string
	for _, m := range t.Members {
		if render.IsShort(m.Share) {
			short = append(short, PlotLabel(m.PlotName, m.LayoutName)+" "+Percent(m.Share))
		}
	}
	if len(short) > 0 {
		text += "; short of water: " + strings.Join(short, "; ")
	}
	return text + "."
}

func englishShare(p Printer, s render.Share) string {
	text := fmt.Sprintf("%s gets %s of %s, %s", PlotLabel(s.PlotName, s.LayoutName),
		p.Volume(unit.Liters(s.DeliveredLiters)), p.Volume(unit.Liters(s.NeedLiters)), Percent(s.Fraction))
	if reason := OneLine(s.Reason); reason != "" {
		return text + ": " + reason
	}
	return text + "."
}

// noticedMm is the least difference of depth that is told.
const noticedMm = 0.05

func englishLedgerDay(p Printer, d render.LedgerDay) string {
	text := fmt.Sprintf("%s: %s missing of %s easily reached", englishDate(d.Date), p.Depth(unit.Depth(d.DepletionMm)), p.Depth(unit.Depth(d.RAWMm)))
	if d.RainMm > 0 {
		text += fmt.Sprintf(", rain %s", p.Depth(unit.Depth(d.RainMm)))
	}
	if d.WaterMm > 0 {
		text += fmt.Sprintf(", watering %s", p.Depth(unit.Depth(d.WaterMm)))
		if d.WaterAssumed {
			text += " (assumed)"
		}
	}
	if unreported := d.ReportedDepletionMm - d.DepletionMm; unreported > noticedMm {
		text += fmt.Sprintf(", %s missing without what nobody reported", p.Depth(unit.Depth(d.ReportedDepletionMm)))
	}
	if d.Dug {
		text += ", as somebody found by digging"
	}
	if d.WeatherAssumed {
		text += ", weather not measured here"
	}
	return text + "."
}

// englishLateral says what one lateral is and what comes out of it; plugged sets are left out of the flows.
func englishLateral(p Printer, l render.DrawnLateral) string {
	unreliable, plugged := 0, 0
	var flows []float64
	for _, h := range l.HoleSets {
		switch {
		case h.Plugged:
			plugged++
			continue
		case h.Unreliable:
			unreliable++
		}
		flows = append(flows, h.FlowLPerH)
	}
	text := fmt.Sprintf("lateral %s of %s, %s long, %s", OneLine(l.Name), OneLine(l.Pipe), p.Length(unit.Length(l.LengthM)),
		count(len(l.HoleSets), "hole set", "hole sets"))
	computed := unreliable > 0 // a set that gives nothing is unreliable
	if len(flows) > 0 && (computed || slices.Max(flows) > 0) {
		text += " of " + Range(p.HoleFlow(unit.LitersPerHour(slices.Min(flows))), p.HoleFlow(unit.LitersPerHour(slices.Max(flows))))
	}
	if unreliable > 0 {
		text += fmt.Sprintf(", %d unreliable or dry", unreliable)
	}
	if plugged > 0 {
		text += fmt.Sprintf(", %d plugged", plugged)
	}
	return text
}

func englishFeed(p Printer, d render.LayoutDrawing) string {
	switch {
	case d.FeedAtM <= 0:
		return "at its upper end"
	case d.FeedAtM >= d.ManifoldM:
		return "at its lower end"
	}
	return fmt.Sprintf("at %s from its upper end", p.Length(unit.Length(d.FeedAtM)))
}

func englishDrawing(p Printer, d render.LayoutDrawing) []string {
	lines := []string{fmt.Sprintf("Manifold of %s, %s long, fed %s.", OneLine(d.ManifoldPipe), p.Length(unit.Length(d.ManifoldM)), englishFeed(p, d))}
	for i, o := range d.Outlets {
		outlet := "Outlet " + strconv.Itoa(i+1) + " at " + p.Length(unit.Length(o.AtM)).String()
		if o.Lateral == nil {
			lines = append(lines, outlet+": plugged.")
			continue
		}
		lines = append(lines, outlet+": "+englishLateral(p, *o.Lateral)+".")
	}
	return lines
}
