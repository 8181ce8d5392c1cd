package words

import (
	"math"
	"strconv"
	"strings"
	"time"

	"rillturn.example/rillturn/engine/fieldwork"
	"rillturn.example/rillturn/engine/unit"
)

// SheetLabel is a fixed text of a document for the work outdoors.
type SheetLabel string

// The labels of layout documents and of the printed watering schedule.
const (
	SheetDrawing       SheetLabel = "drawing"
	SheetDrawingNote   SheetLabel = "drawing-note"
	SheetParts         SheetLabel = "parts"
	SheetPartsNote     SheetLabel = "parts-note"
	SheetPart          SheetLabel = "part"
	SheetCount         SheetLabel = "count"
	SheetSpare         SheetLabel = "spare"
	SheetJoints        SheetLabel = "joints"
	SheetPrice         SheetLabel = "price"
	SheetCuts          SheetLabel = "cuts"
	SheetStick         SheetLabel = "stick"
	SheetCutTo         SheetLabel = "cut-to"
	SheetLeft          SheetLabel = "left"
	SheetStored        SheetLabel = "stored"
	SheetStoredPipe    SheetLabel = "stored-pipe"
	SheetBecomes       SheetLabel = "becomes"
	SheetToDo          SheetLabel = "to-do"
	SheetDrill         SheetLabel = "drill"
	SheetDrillHow      SheetLabel = "drill-how"
	SheetMarks         SheetLabel = "marks"
	SheetTeeEnd        SheetLabel = "tee-end"
	SheetFarEnd        SheetLabel = "far-end"
	SheetWrite         SheetLabel = "write"
	SheetPlanting      SheetLabel = "planting"
	SheetPlantingHow   SheetLabel = "planting-how"
	SheetLateral       SheetLabel = "lateral"
	SheetPlantsAt      SheetLabel = "plants-at"
	SheetSetUp         SheetLabel = "set-up"
	SheetSpring        SheetLabel = "spring"
	SheetTakeDown      SheetLabel = "take-down"
	SheetStorage       SheetLabel = "storage"
	SheetBundle        SheetLabel = "bundle"
	SheetPipes         SheetLabel = "pipes"
	SheetCrops         SheetLabel = "crops"
	SheetExpected      SheetLabel = "expected"
	SheetExpectedHow   SheetLabel = "expected-how"
	SheetReading       SheetLabel = "reading"
	SheetShouldBe      SheetLabel = "should-be"
	SheetMeasured      SheetLabel = "measured"
	SheetFlow          SheetLabel = "flow"
	SheetSourceHead    SheetLabel = "source-head"
	SheetManifoldHead  SheetLabel = "manifold-head"
	SheetEvenness      SheetLabel = "evenness"
	SheetNotice        SheetLabel = "notice"
	SheetCautions      SheetLabel = "cautions"
	SheetAssumptions   SheetLabel = "assumptions"
	SheetWeek          SheetLabel = "week"
	SheetDay           SheetLabel = "day"
	SheetTurnsAt       SheetLabel = "turns-at"
	SheetTime          SheetLabel = "time"
	SheetGroup         SheetLabel = "group"
	SheetWater         SheetLabel = "water"
	SheetOpener        SheetLabel = "opener"
	SheetShort         SheetLabel = "short"
	SheetNobodyShort   SheetLabel = "nobody-short"
	SheetPlot          SheetLabel = "plot"
	SheetGets          SheetLabel = "gets"
	SheetHow           SheetLabel = "how"
	SheetReport        SheetLabel = "report"
	SheetReportHow     SheetLabel = "report-how"
	SheetDone          SheetLabel = "done"
	SheetPartly        SheetLabel = "partly"
	SheetMissed        SheetLabel = "missed"
	SheetFromTo        SheetLabel = "from-to"
	SheetBy            SheetLabel = "by"
	SheetRemarks       SheetLabel = "remarks"
	SheetNoTurns       SheetLabel = "no-turns"
	SheetCancelledTurn SheetLabel = "cancelled"
	SheetMinutes       SheetLabel = "minutes"
	SheetRuns          SheetLabel = "runs"
	SheetNothingNew    SheetLabel = "nothing-new"
	SheetUseManifold   SheetLabel = "use-manifold"
	SheetUseLateral    SheetLabel = "use-lateral"
	SheetUseStub       SheetLabel = "use-stub"
	SheetUseNipple     SheetLabel = "use-nipple"
	SheetPurchase      SheetLabel = "purchase"
	SheetCutTogether   SheetLabel = "cut-together"
	SheetStaticHead    SheetLabel = "static-head"
	SheetLacking       SheetLabel = "lacking"
)

// fieldworkPhrases is what a language says in documents for the work outdoors.
type fieldworkPhrases struct {
	labels   map[SheetLabel]string
	warnings map[fieldwork.WarningCode]func(Printer, fieldwork.Warning) Notice
	tasks    map[fieldwork.TaskCode]func(count int) string
	parts    map[fieldwork.PartKind]string
	faults   map[fieldwork.FaultCode]func(fieldwork.Fault) string

	sized       func(name, size, wall, branch string) string
	stick       func(p Printer, l unit.Length) string
	joints      func(cemented, pressed int) string
	page        func(page, pages int) string
	revision    func(revision int) string
	made        func(when string) string
	published   func(when string) string
	sum         func(money string, unpriced int) string
	bought      func(p Printer, c *fieldwork.CutList) string
	drill       func(p Printer, d *fieldwork.DrillSheet) []string
	planting    func(p Printer, m *fieldwork.PlantingMarks) string
	reservation func(p Printer, r *fieldwork.Reservation) string
	restOf      func(label string) string
	cutTo       func(lengths string) string
	plantRows   func(outlets []int, sides int) string
	alsoAt      func(outlets []int) string
	bucketTest  func(bucket string) string
	hole        func(outlet int, last bool) string
	fullSize    func(row string) string
	closeAt     func(clock string) string
	howTo       []string
	scan        string
}

// Sheet returns a fixed text.
func (p Printer) Sheet(l SheetLabel) string { return p.language.fieldwork.labels[l] }

// FieldworkWarning says what a sheet is warned of.
func (p Printer) FieldworkWarning(w fieldwork.Warning) Notice {
	say, ok := p.language.fieldwork.warnings[w.Code]
	if !ok {
		return p.unknownCode(string(w.Code))
	}
	n := say(p, w)
	n.Code = string(w.Code)
	return n
}

// FieldworkFault says what is wrong with one field of a fieldwork request.
func (p Printer) FieldworkFault(f fieldwork.Fault) string {
	if say, ok := p.language.fieldwork.faults[f.Code]; ok {
		return say(f)
	}
	return p.language.unknownCode(string(f.Code))
}

// Task says what to do.
func (p Printer) Task(t fieldwork.Task) string {
	if say, ok := p.language.fieldwork.tasks[t.Code]; ok {
		return say(t.Count)
	}
	return p.language.unknownCode(string(t.Code))
}

// Part names a line of a parts list as a shop would.
func (p Printer) Part(x fieldwork.Part) string {
	say := p.language.fieldwork
	name, ok := say.parts[x.Kind]
	if !ok {
		name = strings.ReplaceAll(string(x.Kind), "_", " ")
	}
	name = say.sized(name, x.Size, x.Wall, x.Branch)
	if x.Length > 0 {
		name += ", " + say.stick(p, x.Length)
	}
	return name
}

// PipeName names a pipe by size and wall.
func (p Printer) PipeName(size, wall string) string {
	return p.language.fieldwork.sized("", size, wall, "")
}

// Joints says how the joints of a part are made.
func (p Printer) Joints(x fieldwork.Part) string {
	return p.language.fieldwork.joints(x.Cemented, x.Pressed)
}

// Page numbers a page of so many.
func (p Printer) Page(page, pages int) string { return p.language.fieldwork.page(page, pages) }

// Revision numbers a revision.
func (p Printer) Revision(revision int) string { return p.language.fieldwork.revision(revision) }

// Made says when a document was made.
func (p Printer) Made(when string) string { return p.language.fieldwork.made(when) }

// Published says when a schedule was published.
func (p Printer) Published(when string) string { return p.language.fieldwork.published(when) }

// PartsSum says what all parts cost, in the garden's money.
func (p Printer) PartsSum(c fieldwork.PartsCost) string {
	return p.language.fieldwork.sum(Money(c.Cents), c.Unpriced)
}

// Money writes hundredths of the garden's money; its name is nobody's business here.
func Money(cents int64) string {
	const hundred = 100
	rest := strconv.FormatInt(cents%hundred, 10)
	if len(rest) == 1 {
		rest = "0" + rest
	}
	return group(strconv.FormatInt(cents/hundred, 10)) + "." + rest
}

// CutBought says how much pipe is bought and whether less would do.
func (p Printer) CutBought(c *fieldwork.CutList) string { return p.language.fieldwork.bought(p, c) }

// DrillLines says line by line how to drill a piece.
func (p Printer) DrillLines(d *fieldwork.DrillSheet) []string {
	return p.language.fieldwork.drill(p, d)
}

// PlantingLine says how many plants stand how far apart.
func (p Printer) PlantingLine(m *fieldwork.PlantingMarks) string {
	return p.language.fieldwork.planting(p, m)
}

// ReservationLine says what to do with a stored pipe.
func (p Printer) ReservationLine(r *fieldwork.Reservation) string {
	return p.language.fieldwork.reservation(p, r)
}

// RestOf names what is cut off a stored pipe.
func (p Printer) RestOf(label string) string { return p.language.fieldwork.restOf(OneLine(label)) }

// CutTo says to cut an off-cut.
func (p Printer) CutTo(lengths string) string { return p.language.fieldwork.cutTo(lengths) }

// PlantRows names rows of plants by their laterals; outlets are counted from 0.
func (p Printer) PlantRows(outlets []int, sides int) string {
	return p.language.fieldwork.plantRows(outlets, sides)
}

// AlsoAt says that something holds for other outlets too, counted from 0.
func (p Printer) AlsoAt(outlets []int) string { return p.language.fieldwork.alsoAt(outlets) }

// Bucket is the size of a usual bucket.
func (p Printer) Bucket() unit.Volume {
	if p.us() {
		return unit.Gallons(5)
	}
	return unit.Liters(10)
}

// BucketTest names the test with that bucket at the open source.
func (p Printer) BucketTest() string {
	return p.language.fieldwork.bucketTest(p.Volume(p.Bucket()).String())
}

// Seconds prints how long a volume takes to run: 21 s.
func Seconds(v unit.Volume, q unit.Flow) string {
	return Digits(float64(v)/float64(q)) + "\u00a0s"
}

// CupUnder names the hole that a cup stands under.
func (p Printer) CupUnder(outlet int, last bool) string {
	return p.language.fieldwork.hole(outlet, last)
}

// FullSize says how to use a strip in full size of which each row shows so much pipe.
func (p Printer) FullSize(row unit.Length) string {
	return p.language.fieldwork.fullSize(p.Measure(row).String())
}

// CloseAt says when a valve is closed before the turn ends.
func (p Printer) CloseAt(t time.Time) string { return p.language.fieldwork.closeAt(p.Clock(t)) }

// SumLabels names the last lines of a shortfall's sum: offered, needed, missing.
func (p Printer) SumLabels() (offered, needed, missing string) {
	say := p.language.report.shortfall
	return say.offered, say.needed, say.missing
}

// ExactMinutes writes minutes to the thousandth in which plans are counted, so that a sum is a sum.
func ExactMinutes(v float64) string { return exactMinutes(v) }

// OpenAndClose says step by step how a watering group is opened and closed.
func (p Printer) OpenAndClose() []string { return p.language.fieldwork.howTo }

// Scan says what the square code of a document leads to.
func (p Printer) Scan() string { return p.language.fieldwork.scan }

// Mark writes a running mark as a tape shows it: inches with a fraction, or millimetres.
func (p Printer) Mark(steps int) string {
	if !p.us() {
		return strconv.Itoa(steps)
	}
	const sixteenths = 16
	inches, n, d := steps/sixteenths, steps%sixteenths, sixteenths
	for n > 0 && n%2 == 0 {
		n, d = n/2, d/2
	}
	switch {
	case n == 0:
		return strconv.Itoa(inches)
	case inches == 0:
		return strconv.Itoa(n) + "/" + strconv.Itoa(d)
	}
	return strconv.Itoa(inches) + " " + strconv.Itoa(n) + "/" + strconv.Itoa(d)
}

// Measure prints a length to saw or to mark: to the millimetre, or to a sixteenth of an inch.
func (p Printer) Measure(l unit.Length) Quantity {
	if p.us() {
		return p.Length(l)
	}
	return Quantity{strconv.FormatFloat(math.Round(l.Millimeters())+0, 'f', 0, 64), "mm"}
}

// MarkUnit is the unit of Mark.
func (p Printer) MarkUnit() string {
	if p.us() {
		return "in"
	}
	return "mm"
}

// Ruler is the ruler that the reader marks with.
func (p Printer) Ruler() fieldwork.Ruler {
	if p.us() {
		return fieldwork.RulerInches
	}
	return fieldwork.RulerMillimeters
}

// Cup prints what a cup catches in a time: mL, or fluid ounces.
func (p Printer) Cup(q unit.Flow, m unit.Minutes) Quantity {
	const secondsPerMinute, milliliters = 60, 1000
	v := unit.Volume(float64(q) * float64(m) * secondsPerMinute)
	return p.quantity(v.Liters()*milliliters, "mL", v.FluidOunces(), "fl oz")
}
