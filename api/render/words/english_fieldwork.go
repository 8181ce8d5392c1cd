package words

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"rillturn.example/rillturn/engine/fieldwork"
	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/unit"
)

var englishFieldwork = fieldworkPhrases{
	labels: englishSheetLabels, warnings: englishFieldworkWarnings, tasks: englishTasks, parts: englishParts, faults: englishFieldworkFaults,

	sized: englishSized,
	stick: func(p Printer, l unit.Length) string { return "stick of " + p.Length(l).String() },
	joints: func(cemented, pressed int) string {
		switch {
		case cemented > 0 && pressed > 0:
			return fmt.Sprintf("%d cemented, %d pressed", cemented, pressed)
		case cemented > 0:
			return fmt.Sprintf("%d cemented", cemented)
		case pressed > 0:
			return fmt.Sprintf("%d pressed", pressed)
		}
		return ""
	},
	page:      func(page, pages int) string { return fmt.Sprintf("Page %d of %d", page, pages) },
	revision:  func(revision int) string { return fmt.Sprintf("revision %d", revision) },
	made:      func(when string) string { return "made " + when },
	published: func(when string) string { return "published " + when },
	sum: func(money string, unpriced int) string {
		if unpriced == 0 {
			return fmt.Sprintf("All together %s, spares included.", money)
		}
		return fmt.Sprintf("Priced parts together %s, spares included; %s no price here.", money, count(unpriced, "line has", "lines have"))
	},
	bought:      englishBought,
	drill:       englishDrill,
	planting:    englishPlantingLine,
	reservation: englishReservation,
	restOf:      func(label string) string { return "rest of " + label },
	cutTo:       func(lengths string) string { return "Cut to " + lengths + ", as the cut list says." },
	plantRows: func(outlets []int, sides int) string {
		text := "Lateral "
		if len(outlets) > 1 {
			text = "Laterals "
		}
		if text += englishOutlets(outlets); sides > 1 {
			text += ", both sides"
		}
		return text
	},
	alsoAt: func(outlets []int) string { return fmt.Sprintf("Much the same at outlet %s.", englishOutlets(outlets)) },
	bucketTest: func(bucket string) string {
		return fmt.Sprintf("Bucket of %s under the open tap, nothing on it", bucket)
	},
	hole: func(outlet int, last bool) string {
		if last {
			return fmt.Sprintf("Lateral %d, cup under the last hole", outlet+1)
		}
		return fmt.Sprintf("Lateral %d, cup under the first hole", outlet+1)
	},
	fullSize: func(row string) string {
		return fmt.Sprintf("The pipe in full size, %s to a row. Print without scaling and lay a ruler on the bar: where it does not measure %s, use the marks below.", row, row)
	},
	closeAt: func(clock string) string { return "close at " + clock },
	howTo: []string{
		"Look up the group, its tap and its plots in the list of turns.",
		"Open the valves of all plots of the group, and no others.",
		"Open the tap slowly, all the way. Water must come out of the last holes; walk along once and look.",
		"Close the valve of a plot early where the list says so.",
		"At the end close the tap first, then the valves of the plots.",
		"Tick the turn off in the report below, or in the garden's web page.",
		"If you come late: water until the end of the turn, not longer, and tick it as partly done.",
	},
	scan: "Scan for the current state.",
}

var englishSheetLabels = map[SheetLabel]string{
	SheetDrawing:     "The layout, to scale",
	SheetDrawingNote: "Seen from above. Numbers are outlets, counted from the end of the manifold that lengths count from.",
	SheetParts:       "Parts",
	SheetPartsNote:   "Fittings are those of the usual shapes; threads and adapters differ from maker to maker, so try the parts together before cementing.",
	SheetPart:        "Part", SheetCount: "Count", SheetSpare: "Spare", SheetJoints: "Joints", SheetPrice: "Price each",
	SheetCuts: "Cut list", SheetStick: "Stick", SheetCutTo: "Cut into", SheetLeft: "Left over",
	SheetStored: "Stored pipes to take first", SheetStoredPipe: "Stored pipe", SheetBecomes: "Becomes", SheetToDo: "To do",
	SheetDrill: "Drill sheet",
	SheetDrillHow: "Lay the pipes tight side by side on a flat floor: they keep one another straight, and the touching line is the line to drill along. " +
		"Hook the tape on the end that goes to the tee and leave it there for all marks. Prick each mark with an awl, so that the bit does not wander.",
	SheetMarks: "Marks from the tee end", SheetTeeEnd: "tee end", SheetFarEnd: "far end", SheetWrite: "Write near the tee end",
	SheetPlanting: "Planting marks",
	SheetPlantingHow: "Let the layout run for some minutes first: the wet marks on the soil show where to plant. The figures below help to count; " +
		"where a wet mark and a figure disagree, the wet mark is right.",
	SheetLateral: "Row", SheetPlantsAt: "plants at, from the tee",
	SheetSetUp: "Setting up", SheetSpring: "Spring check", SheetTakeDown: "Taking down", SheetStorage: "Storing",
	SheetBundle: "Bundle", SheetPipes: "Pipes, from the tee", SheetCrops: "Grew along it",
	SheetExpected: "What it should show",
	SheetExpectedHow: "Computed for this layout running alone on its tap. Drilled holes differ by a fifth or so: look for a lateral or a hole that is far off the others. " +
		"More flow at less pressure than here means a leak or a joint that came apart; less flow at more pressure means clogged holes.",
	SheetReading: "Reading", SheetShouldBe: "Should be about", SheetMeasured: "Measured", SheetFlow: "Flow of the whole layout",
	SheetSourceHead: "Pressure at the tap, layout running", SheetManifoldHead: "Pressure in the manifold", SheetEvenness: "Evenness",
	SheetStaticHead: "Pressure at the tap, everything closed",
	SheetNotice:     "Please note", SheetCautions: "Cautions", SheetAssumptions: "What this takes for granted",
	SheetWeek: "Week at a glance", SheetDay: "Day", SheetTurnsAt: "Turns at", SheetTime: "Time", SheetGroup: "Group and plots",
	SheetWater: "Water", SheetOpener: "Must be there", SheetShort: "Who is short, and why", SheetNobodyShort: "Nobody: every plot gets what it needs.",
	SheetPlot: "Plot", SheetGets: "Gets of its need", SheetHow: "How to open and close a group",
	SheetReport: "Report", SheetReportHow: "Tick what happened to each turn. Write the times only where they differ from the plan.",
	SheetDone: "done", SheetPartly: "partly", SheetMissed: "missed", SheetFromTo: "From – to", SheetBy: "By", SheetRemarks: "Blocked holes, leaks, rain",
	SheetNoTurns: "No turns in these days.", SheetCancelledTurn: "Cancelled", SheetMinutes: "Minutes",
	SheetNothingNew: "Nothing to drill: stored pipes serve. The sheet is for the next time.",
	SheetRuns:       "runs", SheetUseManifold: "manifold", SheetUseLateral: "lateral", SheetUseStub: "stub of a closed outlet", SheetUseNipple: "nipple",
	SheetLacking:     "□ stands for letters that this print does not have.",
	SheetPurchase:    "To buy and to cut for all layouts",
	SheetCutTogether: "Pipe is bought and cut for all layouts together: the cut list stands at the beginning of this document.",
}

var englishParts = map[fieldwork.PartKind]string{
	fieldwork.PartPipe:        "plastic pipe",
	fieldwork.PartRatedOutlet: "rated outlet",
	fieldwork.PartCement:      "primer and solvent cement, small can of each",
	fieldwork.PartBackflow:    "backflow device: ask the water utility or a licensed plumber which one local code wants",

	fieldwork.PartKind(fieldwork.FittingTee):            "tee",
	fieldwork.PartKind(fieldwork.FittingCross):          "cross",
	fieldwork.PartKind(fieldwork.FittingElbow):          "elbow",
	fieldwork.PartKind(fieldwork.FittingCoupling):       "coupling",
	fieldwork.PartKind(fieldwork.FittingFlushCap):       "end cap that opens for flushing",
	fieldwork.PartKind(fieldwork.FittingPlug):           "plug for a closed outlet's stub",
	fieldwork.PartKind(fieldwork.FittingHoseConnection): "hose connection, female",
	fieldwork.PartKind(fieldwork.FittingValve):          "valve",
	fieldwork.PartKind(fieldwork.FittingFilter):         "filter",
	fieldwork.PartKind(fieldwork.FittingUnion):          "union, the joint that is opened each season",
}

// englishSized adds sizes to the name of a part: tee, 3/4 in, branch 1/2 in.
func englishSized(name, size, wall, branch string) string {
	inch := func(s string) string {
		if strings.HasSuffix(s, "mm") {
			return "inside " + s
		}
		return s + " in"
	}
	words := make([]string, 0, 3)
	if name != "" {
		words = append(words, name)
	}
	if size != "" {
		words = append(words, strings.TrimSpace(inch(OneLine(size))+" "+OneLine(wall)))
	}
	if branch != "" {
		words = append(words, "to "+inch(OneLine(branch)))
	}
	return strings.Join(words, ", ")
}

func englishBought(p Printer, c *fieldwork.CutList) string {
	if c.Bought == 0 {
		return "Nothing to buy: off-cuts suffice."
	}
	if c.Priced {
		text := fmt.Sprintf("Buys %s of pipe for %s for all layouts of this sheet, at the least cost by the garden's prices; ", p.Length(c.Bought), Money(c.Cents))
		if c.Proven() {
			return text + "no other way to cut costs less."
		}
		return text + fmt.Sprintf("no other way to cut can cost less than %s.", Money(c.CentsBound))
	}
	text := fmt.Sprintf("Buys %s of pipe for all layouts of this sheet; ", p.Length(c.Bought))
	if c.Proven() {
		return text + "no other way to cut buys less."
	}
	return text + fmt.Sprintf("no other way to cut can buy less than %s.", p.Length(c.Bound))
}

// unnoticed is a change of a hole's area that nobody can see or measure.
const unnoticed = 0.03

func englishDrill(p Printer, d *fieldwork.DrillSheet) []string {
	lines := []string{fmt.Sprintf("%s of %s, %s long.", count(len(d.Pipes), "pipe", "pipes"), englishSized("", fieldwork.SizeName(d.Pipe), d.Pipe.Wall, ""), p.Measure(d.Length))}
	if r := d.Pattern.Rated; r != nil {
		lines = append(lines, fmt.Sprintf("Bought outlets of %s at %s: punch as their maker says.", p.HoleFlow(r.Flow), p.Pressure(r.Head)))
	} else {
		bit := fmt.Sprintf("Holes of %s with a bit of %s", p.HoleDiameter(d.Pattern.HoleDiameter), p.HoleDiameter(d.Bit.Size))
		if math.Abs(d.Bit.AreaChange) > unnoticed {
			bit += fmt.Sprintf(" (%s area)", moreOrLess(d.Bit.AreaChange))
		}
		lines = append(lines, bit+". Drill through one wall only, and clear the burr.")
	}
	facing := map[hydraulics.Facing]string{
		hydraulics.FacingUp: "look up", hydraulics.FacingDown: "look down", hydraulics.FacingSide: "look sideways",
	}[d.Pattern.Facing]
	sets := fmt.Sprintf("%s with %s in all; they %s when the pipe lies in the bed.", count(len(d.Marks), "mark", "marks"),
		count(d.Holes(), "hole", "holes"), facing)
	if gap, even := d.Spacing(); even {
		sets = strings.Replace(sets, " with ", fmt.Sprintf(", %s apart, with ", p.Measure(gap)), 1)
	}
	lines = append(lines, sets)
	if d.Pattern.HolesPerSet > d.Lines {
		lines = append(lines, fmt.Sprintf("%d holes at each mark, close together around it.", d.Pattern.HolesPerSet))
	}
	if d.Lines > 1 {
		lines = append(lines, "Holes on two sides: draw a second line opposite the first by turning all pipes half round, and use the same marks.")
	}
	return lines
}

// englishOutlets lists outlets as people count: 1, 2 and 4.
func englishOutlets(outlets []int) string {
	var texts []string
	for _, o := range outlets {
		texts = append(texts, strconv.Itoa(o+1))
	}
	return listed(texts)
}

// moreOrLess writes a change: 3 % more, 3 % less.
func moreOrLess(change float64) string {
	if change < 0 {
		return Percent(-change) + " less"
	}
	return Percent(change) + " more"
}

func englishPlantingLine(p Printer, m *fieldwork.PlantingMarks) string {
	if m.Spacing == 0 {
		return fmt.Sprintf("%s: %s in %s, one at every wet mark.", upperFirst(OneLine(m.Planting.Name)), count(m.Count, "plant", "plants"),
			count(len(m.Rows), "row", "rows"))
	}
	return fmt.Sprintf("%s: %s in %s, %s apart.", upperFirst(OneLine(m.Planting.Name)), count(m.Count, "plant", "plants"),
		count(len(m.Rows), "row", "rows"), p.Measure(m.Spacing))
}

func englishReservation(p Printer, r *fieldwork.Reservation) string {
	if r.AsItIs && !r.Reversed {
		return "Use as it is."
	}
	var steps []string
	if r.Reversed {
		steps = append(steps, "turn it round, its old far end goes to the tee")
	}
	if r.CutOffTee > 0 {
		steps = append(steps, fmt.Sprintf("cut %s off the end that goes to the tee", p.Measure(r.CutOffTee)))
	}
	if r.CutOff > 0 {
		steps = append(steps, fmt.Sprintf("cut %s off its closed end", p.Measure(r.CutOff)))
	}
	if r.PluggedOff > 0 {
		steps = append(steps, "close "+count(r.PluggedOff, "old hole", "old holes"))
	}
	if r.NewHoles > 0 {
		steps = append(steps, "drill "+count(r.NewHoles, "new hole", "new holes"))
	}
	return upperFirst(strings.Join(steps, "; ")) + "."
}

var englishFieldworkWarnings = map[fieldwork.WarningCode]func(Printer, fieldwork.Warning) Notice{
	fieldwork.WarnHoleInSocket: func(p Printer, w fieldwork.Warning) Notice {
		return Notice{
			Text: fmt.Sprintf("In %s, %s within %s of an end, where a fitting covers it.", englishPart(w.Path),
				count(w.Count, "hole set lies", "hole sets lie"), p.Length(unit.Length(w.Limit))),
			Remedy: "Move the first hole further in, or leave it out.",
		}
	},
	fieldwork.WarnBitDiffers: func(_ Printer, w fieldwork.Warning) Notice {
		return Notice{
			Text:   fmt.Sprintf("No usual bit has the size of the holes of %s; the nearest lets out %s.", englishPart(w.Path), moreOrLess(w.Value)),
			Remedy: "Choose a hole of the size of a bit you have, and compute again.",
		}
	},
	fieldwork.WarnSpacingDisagrees: func(p Printer, w fieldwork.Warning) Notice {
		return Notice{
			Text: fmt.Sprintf("Plants %s apart do not meet the holes: at the wet marks they stand %s apart.", p.Length(unit.Length(w.Limit)),
				p.Length(unit.Length(w.Value))),
			Remedy: "Accept that distance, or drill holes to suit the crop.",
		}
	},
	fieldwork.WarnPlantsBetween: func(p Printer, w fieldwork.Warning) Notice {
		return Notice{
			Text:   fmt.Sprintf("%s share a wet mark, and the outer ones stand %s from it.", upperFirst(count(w.Count, "plant", "plants")), p.Length(unit.Length(w.Value))),
			Remedy: "Small plants and seeds need the wet mark: water them by hand until they root, or drill closer.",
		}
	},
	fieldwork.WarnUnusualSpacing: func(p Printer, w fieldwork.Warning) Notice {
		return Notice{
			Text:   fmt.Sprintf("Plants %s apart is not usual for this crop; %s is.", p.Length(unit.Length(w.Value)), p.Length(unit.Length(w.Limit))),
			Remedy: "Check the distance.",
		}
	},
	fieldwork.WarnSpacingUnknown: func(Printer, fieldwork.Warning) Notice {
		return Notice{Text: "Nobody said how far apart these plants stand: the list has one at every wet mark.", Remedy: "Enter the distance in the row."}
	},
	fieldwork.WarnNoWetMarks: func(Printer, fieldwork.Warning) Notice {
		return Notice{Text: "No open hole waters this planting.", Remedy: "Give it other laterals, or water it by hand."}
	},
	fieldwork.WarnPieceSplit: func(p Printer, w fieldwork.Warning) Notice {
		return Notice{
			Text: fmt.Sprintf("%s is longer than a stick of %s and is made of %s with couplings.", upperFirst(englishPart(w.Path)),
				p.Length(unit.Length(w.Limit)), count(w.Count, "part", "parts")),
		}
	},
	fieldwork.WarnFittingsClose: func(p Printer, w fieldwork.Warning) Notice {
		return Notice{
			Text:   fmt.Sprintf("Two fittings of the manifold are only %s apart, and their sockets need %s.", p.Length(unit.Length(w.Value)), p.Length(unit.Length(w.Limit))),
			Remedy: "Move the outlets apart, or use a cross.",
		}
	},
	fieldwork.WarnNoFilter: func(Printer, fieldwork.Warning) Notice {
		return Notice{Text: "There is no filter, and small holes clog.", Remedy: "Put one behind the valve."}
	},
	fieldwork.WarnClosedOutlet: func(_ Printer, w fieldwork.Warning) Notice {
		return Notice{
			Text:   fmt.Sprintf("%s is closed: it gets a stub with a plug, and its %s not built.", upperFirst(englishPart(w.Path)), count(w.Count, "pipe is", "pipes are")),
			Remedy: "Open it in a new revision of the layout when it is wanted.",
		}
	},
}

// englishTasks are common practice, no source.
var englishTasks = map[fieldwork.TaskCode]func(int) string{
	fieldwork.TaskLevel:    func(int) string { return "Lay the manifold level, with a level or a line of water in a clear hose." },
	fieldwork.TaskBackflow: func(int) string { return "Fit the backflow device that local code asks for at the hose connection." },
	fieldwork.TaskLay: func(n int) string {
		return fmt.Sprintf("Lay %s, holes as the drill sheets say.", count(n, "lateral", "laterals"))
	},
	fieldwork.TaskPress: func(n int) string {
		return fmt.Sprintf("Push %s together, dry and all the way.", count(n, "joint", "joints"))
	},
	fieldwork.TaskCement: func(n int) string {
		return fmt.Sprintf("Cement %s of manifold and valve side; let them cure as the can says.", count(n, "joint", "joints"))
	},
	fieldwork.TaskCloseOutlet: func(n int) string { return fmt.Sprintf("Close %s with stub and plug.", count(n, "outlet", "outlets")) },
	fieldwork.TaskFlush: func(n int) string {
		return fmt.Sprintf("Open %s, flush until the water is clear, close.", count(n, "end cap", "end caps"))
	},
	fieldwork.TaskBucket: func(int) string {
		return "Bucket test at the tap: time how long it takes to fill a bucket of known volume, and record it."
	},
	fieldwork.TaskLeaks: func(n int) string {
		return fmt.Sprintf("Walk along with the water on and look at all %s.", count(n, "joint", "joints"))
	},
	fieldwork.TaskReadings: func(int) string { return "Compare flow and pressure with what they should be." },
	fieldwork.TaskCatch: func(int) string {
		return "Stand cups under the first and the last hole of each lateral for one minute and record them."
	},
	fieldwork.TaskClear: func(n int) string {
		return fmt.Sprintf("Look at %s while the water runs, and punch what is clogged open with the bit it was drilled with.", count(n, "hole", "holes"))
	},
	fieldwork.TaskPlant: func(n int) string { return fmt.Sprintf("Set %s at the wet marks.", count(n, "plant", "plants")) },
	fieldwork.TaskShut:  func(int) string { return "Close the tap and let the pressure off." },
	fieldwork.TaskDrain: func(n int) string {
		return fmt.Sprintf("Open %s and lift the pipes so that they run empty.", count(n, "end cap", "end caps"))
	},
	fieldwork.TaskPart: func(int) string { return "Open the union." },
	fieldwork.TaskPull: func(n int) string { return fmt.Sprintf("Pull apart and take up %s.", count(n, "pipe", "pipes")) },
	fieldwork.TaskWrite: func(n int) string {
		return fmt.Sprintf("Read, and where needed renew, the writing on %s; add the crop.", count(n, "pipe", "pipes"))
	},
	fieldwork.TaskBundle: func(n int) string {
		return fmt.Sprintf("Tie the pipes into %s, one for each lateral, and store them straight and out of the sun.", count(n, "bundle", "bundles"))
	},
	fieldwork.TaskFilterIn: func(int) string { return "Clean the filter, let it dry, and take it indoors before frost." },
	fieldwork.TaskCapRiser: func(int) string {
		return "Close and cover what stays in the ground, and stake it so that nobody tills into it."
	},
	fieldwork.TaskNote: func(int) string { return "Note what is cracked, bent or clogged." },
}

var englishFieldworkFaults = map[fieldwork.FaultCode]func(fieldwork.Fault) string{
	fieldwork.FaultNotFinite: func(fieldwork.Fault) string { return "Enter a number." },
	fieldwork.FaultOutOfRange: func(f fieldwork.Fault) string {
		return fmt.Sprintf("%s is not possible here: enter %s to %s.", upperFirst(withFieldUnit(f.Path, f.Got)), entered(f.Least), withFieldUnit(f.Path, f.Most))
	},
	fieldwork.FaultTooLong: func(f fieldwork.Fault) string {
		return fmt.Sprintf("A piece of %s is longer than all pipe there is: the longest has %s.", withFieldUnit(f.Path, f.Got), withFieldUnit(f.Path, f.Most))
	},
	fieldwork.FaultTooManyPieces: func(f fieldwork.Fault) string {
		return fmt.Sprintf("These layouts have %s pieces; at most %s can be planned at once.", entered(f.Got), entered(f.Most))
	},
	fieldwork.FaultNoSuch:  func(fieldwork.Fault) string { return "This names something that is not there." },
	fieldwork.FaultTwice:   func(fieldwork.Fault) string { return "This stands here twice: give each its own name." },
	fieldwork.FaultMissing: func(fieldwork.Fault) string { return "This is needed." },
}
