package words

import (
	"time"

	"rillturn.example/rillturn/api/render"
)

// Label is a fixed text of a picture or table.
type Label string

// The labels of pictures.
const (
	LabelLegend        Label = "legend"
	LabelWaterHours    Label = "water-hours"
	LabelNoWaterHours  Label = "no-water-hours"
	LabelByHand        Label = "by-hand"
	LabelCancelled     Label = "cancelled"
	LabelCancelledTurn Label = "cancelled-turn"
	LabelShort         Label = "short"
	LabelShortTurn     Label = "short-turn"
	LabelShortTurns    Label = "short-turns"
	LabelHose          Label = "hose"
	LabelCan           Label = "can"
	LabelNoTurns       Label = "no-turns"
	LabelClockChange   Label = "clock-change"
	LabelServed        Label = "served"
	LabelMissing       Label = "missing"
	LabelBound         Label = "bound"
	LabelNobodyShort   Label = "nobody-short"
	LabelDepletion     Label = "depletion"
	LabelRAW           Label = "raw"
	LabelRain          Label = "rain"
	LabelNoWater       Label = "no-water"
	LabelWatering      Label = "watering"
	LabelAssumed       Label = "assumed"
	LabelAssumedDay    Label = "assumed-weather"
	LabelWetSoil       Label = "wet-soil"
	LabelBeyond        Label = "beyond-raw"
	LabelReportedOnly  Label = "reported-only"
	LabelDug           Label = "dug"
	LabelDistance      Label = "distance"
	LabelLeastHead     Label = "least-head"
	LabelHead          Label = "head"
	LabelFeed          Label = "feed"
	LabelPlugged       Label = "plugged"
	LabelUnreliable    Label = "unreliable"
	LabelCropUse       Label = "crop-use"
	LabelRainUsed      Label = "rain-used"
	LabelPerWeek       Label = "per-week"
)

// Label returns a fixed text.
func (p Printer) Label(l Label) string { return p.language.labels[l] }

// picturePhrases is what a language says in and about pictures.
type picturePhrases struct {
	scheduleTitle    func(p Printer, s render.Schedule) string
	scheduleSubtitle func(p Printer, s render.Schedule) string
	turn             func(p Printer, t render.Turn) string
	sharesTitle      func(p Printer, s render.Schedule) string
	share            func(p Printer, s render.Share) string
	bound            func(fraction float64) string
	over             func(p Printer, o render.Overwatering) string
	ledgerTitle      func(c render.LedgerChart) string
	ledgerDay        func(p Printer, d render.LedgerDay) string
	profileTitle     func(h render.HeadProfile) string
	profile          func(p Printer, l render.LateralProfile) string
	drawingTitle     func(d render.LayoutDrawing) string
	drawing          func(p Printer, d render.LayoutDrawing) []string
}

// ScheduleTitle names a schedule with its days.
func (p Printer) ScheduleTitle(s render.Schedule) string {
	return p.language.pictures.scheduleTitle(p, s)
}

// ScheduleSubtitle says which revision of a schedule this is and on whose clock its times are.
func (p Printer) ScheduleSubtitle(s render.Schedule) string {
	return p.language.pictures.scheduleSubtitle(p, s)
}

// Turn says in one sentence when a group is watered and who is short in it.
func (p Printer) Turn(t render.Turn) string { return p.language.pictures.turn(p, t) }

// SharesTitle names the picture of shares.
func (p Printer) SharesTitle(s render.Schedule) string { return p.language.pictures.sharesTitle(p, s) }

// Share says in one sentence how much of its need a plot gets.
func (p Printer) Share(s render.Share) string { return p.language.pictures.share(p, s) }

// Bound says what the bound on the smallest share means.
func (p Printer) Bound(fraction float64) string { return p.language.pictures.bound(fraction) }

// Over says how much water is given beyond need, and how little that could be.
func (p Printer) Over(o render.Overwatering) string { return p.language.pictures.over(p, o) }

// LedgerTitle names the ledger of a planting.
func (p Printer) LedgerTitle(c render.LedgerChart) string { return p.language.pictures.ledgerTitle(c) }

// LedgerDay says in one sentence what a ledger holds on one day.
func (p Printer) LedgerDay(d render.LedgerDay) string { return p.language.pictures.ledgerDay(p, d) }

// ProfileTitle names the pressure profile of a layout.
func (p Printer) ProfileTitle(h render.HeadProfile) string {
	return p.language.pictures.profileTitle(h)
}

// Profile says in one sentence how pressure falls along a lateral.
func (p Printer) Profile(l render.LateralProfile) string { return p.language.pictures.profile(p, l) }

// DrawingTitle names the drawing of a layout.
func (p Printer) DrawingTitle(d render.LayoutDrawing) string {
	return p.language.pictures.drawingTitle(d)
}

// Drawing says sentence by sentence what a layout consists of.
func (p Printer) Drawing(d render.LayoutDrawing) []string { return p.language.pictures.drawing(p, d) }

// lastDay returns an instant of the last day before an excluded end.
func lastDay(end time.Time) time.Time { return end.Add(-time.Nanosecond) }
