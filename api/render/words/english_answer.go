package words

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/unit"
)

// englishVaried has a sentence for each assumption that was varied: what was taken, between which ends, and what the
// layout does there.
var englishVaried = map[hydraulics.SensitivityCode]func(Printer, hydraulics.Sensitivity, hydraulics.Outcome) Notice{
	hydraulics.VaryCoefficient: varied("Compare with cups under the first and the last hole.",
		func(_ Printer, s hydraulics.Sensitivity) string {
			return fmt.Sprintf("How freely the holes run is assumed (discharge coefficient, measured %s–%s elsewhere)", Digits(s.Low), Digits(s.High))
		}),
	hydraulics.VaryHole: varied("Measure a few holes with the shank of a drill bit.",
		func(_ Printer, s hydraulics.Sensitivity) string {
			return "Drilled holes may be " + apart(s) + " than the drill"
		}),
	hydraulics.VaryLevel: varied("Measure the level with water in a clear hose.",
		func(_ Printer, s hydraulics.Sensitivity) string {
			return fmt.Sprintf("Where nobody measured it, the ground is taken as level; it may fall or rise by %s", Percent(math.Max(-s.Low, s.High)))
		}),
	hydraulics.VaryLateralBore: varied("Measure the inside of the pipe that is lying there.",
		func(_ Printer, s hydraulics.Sensitivity) string {
			return fmt.Sprintf("The laterals are taken as wide inside as the table says; walls vary, and they may be %s narrower", Percent(1-s.Low))
		}),
	hydraulics.VaryHoseBore: varied("Measure the inside of the hose.",
		func(_ Printer, s hydraulics.Sensitivity) string {
			return "The hose may be " + apart(s) + " inside than stated"
		}),
	hydraulics.VaryBranch: varied("Look whether the tees narrow the way to the side.",
		func(_ Printer, s hydraulics.Sensitivity) string {
			return fmt.Sprintf("The loss in the tees is assumed (coefficient to the side, usually %s–%s)", Digits(s.Low), Digits(s.High))
		}),
	hydraulics.VaryWater: varied("",
		func(p Printer, s hydraulics.Sensitivity) string {
			return fmt.Sprintf("How warm the water is nobody said (%s)", Range(p.Temperature(unit.Temperature(s.Low)), p.Temperature(unit.Temperature(s.High))))
		}),
	hydraulics.VarySupply: varied("Measure the pressure with the tap closed and at two flows.",
		func(Printer, hydraulics.Sensitivity) string { return "What the tap gives rests on few tests" }),
}

// apart says by how much a size may be off.
func apart(s hydraulics.Sensitivity) string {
	return fmt.Sprintf("%s narrower or %s wider", Percent(1-s.Low), Percent(s.High-1))
}

// varied joins what was assumed with what it does to flow and evenness.
func varied(remedy string, what func(Printer, hydraulics.Sensitivity) string) func(Printer, hydraulics.Sensitivity, hydraulics.Outcome) Notice {
	return func(p Printer, s hydraulics.Sensitivity, as hydraulics.Outcome) Notice {
		least, most := min(s.AtLow.Flow, s.AtHigh.Flow, as.Flow), max(s.AtLow.Flow, s.AtHigh.Flow, as.Flow)
		low, high := s.DistributionRange(as)
		return Notice{
			Text: fmt.Sprintf("%s: the layout takes %s, with an evenness of %s.", what(p, s), Range(p.Flow(least), p.Flow(most)),
				percentRange(low, high)),
			Remedy: remedy,
		}
	}
}

var englishAnswers = answerPhrases{
	most: map[Counted]func(Printer, HowMany) Notice{
		CountedLayouts: mostOf("Of layouts like this one the source carries %s at once.", "The source does not carry even one layout like this."),
		CountedLaterals: mostOf("Of laterals like the first, spread over the manifold, the source carries %s.",
			"The source does not carry even one lateral like the first."),
		CountedHoleSets: mostOf("Each lateral may have up to %s hole sets like the first.", "The source does not carry even one hole set to a lateral."),
	},
	standpipe: englishStandpipe,
	cups:      englishCups,
	valve: func(p Printer, want unit.Head) Notice {
		return Notice{
			Text:   fmt.Sprintf("Close the layout's valve until a clear tube on the manifold shows %s.", p.WaterColumn(want)),
			Remedy: "Then leave the handle there and mark it.",
		}
	},
	noValve: func(p Printer, e hydraulics.HeadError) Notice {
		return Notice{
			Text:   fmt.Sprintf("With the valve wide open the manifold has %s, less than the %s wished.", p.WaterColumn(e.Most), p.WaterColumn(e.Want)),
			Remedy: "Open fewer or smaller holes, or use a wider hose.",
		}
	},
	plugged: englishPlugged,
	measure: englishMeasureMore,
	hose: func(p Printer, h OpenHose) Notice {
		return Notice{
			Text: fmt.Sprintf("A hose opened on the same source takes %s, and what waters gets %s instead of %s.", p.Flow(h.Hose), p.Flow(h.With),
				p.Flow(h.Without)),
			Remedy: "Keep the hose closed while this turn runs.",
		}
	},
	pattern: func(p Printer, d PieceDrilling) Notice {
		holes := count(d.Pattern.HolesPerSet, "hole", "holes")
		return Notice{Text: fmt.Sprintf("For %s drill %s of %s every %s into %s: at %s they give %s.", p.HoleFlow(d.Want), holes,
			p.HoleDiameter(d.Pattern.HoleDiameter), p.Length(d.Pattern.Spacing), englishPart(d.Path), p.WaterColumn(d.Head), p.HoleFlow(d.Flow))}
	},
	noPattern: func(path string) Notice {
		return Notice{
			Text:   fmt.Sprintf("None of the spacings and drills at hand gives water on %s.", englishPart(path)),
			Remedy: "Offer a closer spacing.",
		}
	},
	plug: englishPlug,
}

// mostOf answers how many, with the worst hole at that number.
func mostOf(some, none string) func(Printer, HowMany) Notice {
	return func(p Printer, n HowMany) Notice {
		wish := englishWish(p, n.Wish)
		if n.Count == 0 {
			return Notice{Text: none, Remedy: fmt.Sprintf("Wished is %s.", wish)}
		}
		number := strconv.Itoa(n.Count)
		if n.AtLimit {
			number += " or more"
		}
		return Notice{
			Text: fmt.Sprintf(some, number) + fmt.Sprintf(" The worst hole then has %s and the evenness is %s; wished is %s.",
				p.WaterColumn(n.LeastHead), Percent(n.Distribution), wish),
		}
	}
}

func englishWish(p Printer, w hydraulics.Wish) string {
	wish := p.WaterColumn(w.Head).String() + " at the worst hole"
	if w.Distribution > 0 {
		wish += " and an evenness of " + Percent(w.Distribution)
	}
	return wish
}

func englishStandpipe(p Printer, s hydraulics.Standpipe) Notice {
	text := fmt.Sprintf("A clear open tube on the manifold shows %s while the layout runs alone.", p.WaterColumn(unit.Head(s.Running)))
	if s.Running <= 0 {
		text = "A clear open tube on the manifold stays empty while the layout runs alone."
	}
	if s.Shut <= 0 {
		return Notice{Text: text}
	}
	return Notice{
		Text: text,
		Remedy: fmt.Sprintf("With all holes closed it would show %s, and run over if it is shorter.",
			p.WaterColumn(unit.Head(s.Shut))),
	}
}

func englishCups(p Printer, c Cups) Notice {
	cup, where := p.CupVolume(c.Cup), englishPart(c.Path)
	switch {
	case c.First <= 0 && c.Last <= 0:
		return Notice{Text: fmt.Sprintf("Cups under the first and the last hole of %s stay empty.", where)}
	case c.Last <= 0:
		return Notice{Text: fmt.Sprintf("A cup of %s fills in %s under the first hole of %s and stays empty under the last.", cup, seconds(c.First), where)}
	case c.First <= 0:
		return Notice{Text: fmt.Sprintf("A cup of %s stays empty under the first hole of %s and fills in %s under the last.", cup, where, seconds(c.Last))}
	}
	return Notice{Text: fmt.Sprintf("A cup of %s fills in %s under the first hole of %s and in %s under the last.", cup, seconds(c.First), where, seconds(c.Last))}
}

// seconds writes a time to stop with a watch; long ones in minutes.
func seconds(s float64) string {
	const perMinute, long = 60, 10 * 60
	if s >= long {
		return Duration(unit.Minutes(s / perMinute))
	}
	return Digits(s) + " s"
}

func englishPlugged(s hydraulics.PluggedShare) Notice {
	const check = "Flush the laterals, then look at the holes that stay dry."
	switch {
	case s.Most < 0:
		return Notice{
			Text:   fmt.Sprintf("The layout passes %s of what its holes explain when clean.", Percent(s.Conductance)),
			Remedy: "Look for a leak, a joint that came apart, or holes that are wider than stated.",
		}
	case s.Least <= 0:
		return Notice{Text: fmt.Sprintf("At most %s of the holes are plugged, perhaps none.", Percent(s.Most)), Remedy: check}
	}
	return Notice{
		Text:   fmt.Sprintf("%s of the holes are plugged, more if they are those that get least water.", percentRange(s.Least, s.Most)),
		Remedy: check,
	}
}

func englishMeasureMore(m hydraulics.MeasureMore) Notice {
	remedy := map[string]string{
		"head_m":         "Measure the height of water in a clear tube on the manifold as well.",
		"flow_l_per_min": "Measure the flow: seconds to fill a bucket at the layout's feed, or the meter before and after.",
	}[m.Needed]
	if remedy == "" {
		remedy = "Measure the flow and the height of water in a clear tube more exactly, several times."
	}
	if m.Spread == 0 {
		return Notice{Text: "Without a flow nobody can tell how many holes are plugged.", Remedy: remedy}
	}
	return Notice{
		Text: fmt.Sprintf("This measurement cannot tell how many holes are plugged: a fifth of them would change it by %s, and it is good to %s.",
			Percent(m.Sensitivity), Percent(m.Spread)),
		Remedy: remedy,
	}
}

func englishPlug(p Printer, o OutletsToPlug) Notice {
	wish := englishWish(p, o.Wish)
	if !o.Granted {
		return Notice{
			Text:   fmt.Sprintf("Even one outlet alone does not get %s.", wish),
			Remedy: "Shorten its lateral, lay wider pipe, or drill fewer holes.",
		}
	}
	if len(o.Outlets) == 0 {
		return Notice{Text: fmt.Sprintf("No outlet needs plugging for %s.", wish)}
	}
	numbers := make([]string, len(o.Outlets))
	for i, n := range o.Outlets {
		numbers[i] = strconv.Itoa(n)
	}
	outlets := "outlet "
	if len(numbers) > 1 {
		outlets = "outlets "
	}
	return Notice{Text: fmt.Sprintf("Plug %s%s: the worst hole of the rest then has %s; wished is %s.", outlets, strings.Join(numbers, ", "),
		p.WaterColumn(o.LeastHead), wish)}
}
