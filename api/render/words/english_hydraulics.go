package words

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/unit"
)

// englishHydraulics has a sentence for each warning of a layout. Value and Limit are in the units that the engine
// states beside the code.
var englishHydraulics = map[hydraulics.WarningCode]func(Printer, hydraulics.Warning) Notice{
	hydraulics.WarnPartFull: func(_ Printer, w hydraulics.Warning) Notice {
		return Notice{
			Text: fmt.Sprintf("%s runs only part full past %s, so nobody can say how its water is split.",
				upperFirst(englishPart(w.Path)), count(w.Count, "hole set", "hole sets")),
			Remedy: "Lay the pipe level or slightly falling from the tap, or open fewer holes at once.",
		}
	},
	hydraulics.WarnLowHead: func(p Printer, w hydraulics.Warning) Notice {
		return Notice{
			Text: fmt.Sprintf("In %s the pressure at %s falls to %s; under %s a hole drips or stops by chance.", englishPart(w.Path),
				count(w.Count, "hole", "holes"), p.WaterColumn(unit.Head(w.Value)), p.WaterColumn(unit.Head(w.Limit))),
			Remedy: "Open fewer lines together, drill fewer or smaller holes, or use wider pipe.",
		}
	},
	hydraulics.WarnDryHoles: func(_ Printer, w hydraulics.Warning) Notice {
		return Notice{
			Text:   fmt.Sprintf("%s nothing, %s of all.", count(w.Count, "open hole gets", "open holes get"), Percent(w.Value)),
			Remedy: "Plug every second hole, or give this layout a turn of its own.",
		}
	},
	hydraulics.WarnDryEnd: func(p Printer, w hydraulics.Warning) Notice {
		return Notice{
			Text: fmt.Sprintf("The last %d of %d holes of %s are dry: water reaches only %s along it.", w.Count, int(w.Limit),
				englishPart(w.Path), p.Length(unit.Length(w.Value))),
			Remedy: "Shorten it to that length, feed it from its middle, or lay wider pipe.",
		}
	},
	hydraulics.WarnStarvedEnd: func(_ Printer, w hydraulics.Warning) Notice {
		return Notice{
			Text:   fmt.Sprintf("The last hole of %s gives %s of the first.", englishPart(w.Path), Percent(w.Value)),
			Remedy: "Shorten it, feed it from its middle, lay wider pipe, or drill fewer holes.",
		}
	},
	hydraulics.WarnVelocity: func(p Printer, w hydraulics.Warning) Notice {
		return Notice{
			Text: fmt.Sprintf("Water moves at %s in %s; plastic pipe should stay under %s.", p.Velocity(unit.Velocity(w.Value)),
				englishPart(w.Path), p.Velocity(unit.Velocity(w.Limit))),
			Remedy: "Use wider pipe, and open and close the valve slowly.",
		}
	},
	hydraulics.WarnRating: func(p Printer, w hydraulics.Warning) Notice {
		return Notice{
			Text: fmt.Sprintf("The pressure in %s may reach %s; at this temperature the pipe is rated for %s.", englishPart(w.Path),
				p.Pressure(unit.Head(w.Value)), p.Pressure(unit.Head(w.Limit))),
			Remedy: "Fit a pressure reducer, use pipe of a higher rating, and keep it out of the sun.",
		}
	},
	hydraulics.WarnRatingUnknown: func(p Printer, w hydraulics.Warning) Notice {
		return Notice{
			Text:   fmt.Sprintf("The pressure in %s may reach %s, and its rating at this temperature is not known.", englishPart(w.Path), p.Pressure(unit.Head(w.Value))),
			Remedy: "Read the rating printed on the pipe, or fit a pressure reducer.",
		}
	},
	hydraulics.WarnPressFit: func(p Printer, w hydraulics.Warning) Notice {
		return Notice{
			Text: fmt.Sprintf("The pressure may reach %s when holes plug or the tap is opened wide; joints pushed together hold about %s.",
				p.Pressure(unit.Head(w.Value)), p.Pressure(unit.Head(w.Limit))),
			Remedy: "Open the tap only part of the way, fit a pressure reducer, or secure the joints.",
		}
	},
	hydraulics.WarnVelocityHead: func(_ Printer, w hydraulics.Warning) Notice {
		return Notice{
			Text: fmt.Sprintf("The holes of %s are large for its pipe (ratio %s, usual is under %s): its far end may give more than shown.",
				englishPart(w.Path), Digits(w.Value), Digits(w.Limit)),
			Remedy: "Check with cups under the first and the last hole.",
		}
	},
	hydraulics.WarnNoOpenHoles: func(_ Printer, w hydraulics.Warning) Notice {
		if partOf(w.Path).kind == "layout" {
			return Notice{Text: "No hole of this layout is open.", Remedy: "Connect a lateral to one of its outlets, or clear plugged holes."}
		}
		return Notice{
			Text:   fmt.Sprintf("No hole of %s is open.", englishPart(w.Path)),
			Remedy: "Clear or drill its holes, or plug its outlet.",
		}
	},
	hydraulics.WarnOutletBelowRegulation: func(p Printer, w hydraulics.Warning) Notice {
		return Notice{
			Text: fmt.Sprintf("In %s, %s less pressure than is needed to regulate: %s instead of %s.", englishPart(w.Path),
				count(w.Count, "outlet gets", "outlets get"), p.Pressure(unit.Head(w.Value)), p.Pressure(unit.Head(w.Limit))),
			Remedy: "Open fewer lines together, or use outlets that regulate at a lower pressure.",
		}
	},
}

// englishPart names a part of a layout in the middle of a sentence.
func englishPart(path string) string {
	switch p := partOf(path); p.kind {
	case "piece":
		return fmt.Sprintf("piece %d of the lateral at outlet %d", p.piece, p.outlet)
	case "lateral":
		return fmt.Sprintf("the lateral at outlet %d", p.outlet)
	case "manifold":
		return "the manifold"
	}
	return "the layout"
}

// upperFirst begins a sentence.
func upperFirst(s string) string {
	_, first := utf8.DecodeRuneInString(s)
	return strings.ToUpper(s[:first]) + s[first:]
}
