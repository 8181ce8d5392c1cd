// Package problem states what is to be planned for one garden, the schedule that answers it, and the rules by which a
// schedule is checked.
//
// Everything is counted in integers, so that a plan can be added up by hand: water in millilitres, flow in millilitres
// per minute, time in milli-minutes since the start of the horizon. Measured quantities are rounded once, on entering:
// what a plot receives down, what a plot needs and what a source is asked for up.
package problem

import (
	"math"

	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/unit"
)

// Instant is a moment, in milli-minutes since the start of the horizon. A day has 23 to 25 hours, so a moment says
// nothing about its day: the window of a turn does.
type Instant int64

// Span is a length of time in milli-minutes.
type Span int64

// Milliliters is an amount of water [mL].
type Milliliters int64

// Rate is a flow [mL/min].
type Rate int64

// Minute is one minute of a Span or an Instant.
const Minute = 1000

// Limits of what can be stated, chosen so that no sum or product in the planner leaves 64 bits.
const (
	MaxDays    = 28
	MaxSpan    = Span(MaxDays+1) * 25 * 60 * Minute
	MaxVolume  = Milliliters(1e10) // 10,000 m³
	MaxRate    = Rate(1e7)         // 10,000 L/min
	MaxLayouts = 2000
)

// PerMille is a share in thousandths.
type PerMille int

// Problem is everything that a rotation of one garden depends on.
type Problem struct {
	Days          int      // length of the horizon
	OverTolerance PerMille // litres up to need·(1+tolerance) do not count as overwatering
	Lines         []Line
	Sources       []Source
	Windows       []Window
	Layouts       []Layout
	Past          []Past
}

// Line is a service line: a limit on flow and volume, not a coupling of pressures.
type Line struct {
	ID        string
	FlowLimit Rate
	DailyCap  Milliliters // 0 means none
}

// Source is a spigot, hydrant or raised tank.
type Source struct {
	ID          string
	Line        string            // "" means that no service line limits it
	Supply      hydraulics.Supply // a raised tank enters at its lowest useful level
	FlowMax     Rate
	Changeover  Span // pause between two turns of different zones in one window
	MinRun      Span // shortest turn
	DailyCap    Milliliters
	Connections int      // most members of a zone where each needs its own hose connection; 0 means unlimited
	Reserve     PerMille // share of each window that is left free
	Tank        *Tank    // nil for a source that cannot run empty
}

// Tank is a store behind a source, filled at a constant rate until it is full.
type Tank struct {
	Volume Milliliters
	Level  Milliliters // at the start of the horizon
	Refill Rate
}

// Window is a time when sources may run. It belongs to one day of the horizon, by which watering days are counted.
type Window struct {
	ID         string
	Day        int
	Start, End Instant
	Sources    []string
	Attended   bool // somebody is there during turns, who may shut the valve of a member early
}

// Length is the time between the window's ends.
func (w Window) Length() Span { return Span(w.End - w.Start) }

// Layout is whatever takes turns: everything behind one valve of a plot, or a hand turn by hose or can. A hand turn is
// always a zone of its own and has a measured flow instead of a curve.
type Layout struct {
	ID          string
	Source      string
	Curve       hydraulics.HeadFlow // nil for a hand turn
	HeadMin     unit.Head           // least head at the source's outlet
	HandFlow    Rate                // flow of a hand turn
	Need        Milliliters         // over the horizon
	Area        unit.Area           // for shares by area
	Class       int                 // 0 is served first, then 1, and so on
	MaxInterval int                 // most days between watering days
	DaysSince   int                 // the last watering day was this many days before the horizon; 1 is yesterday
	MaxDay      Milliliters         // most that the soil takes in a day
	MaxRun      Span                // longest turn before water runs off
	Soak        Span                // pause after a turn before the next one of the same layout
	MaxDayTime  Span                // most time on a day; 0 means no limit
	ClosedDays  []int
	OwnValve    bool        // may be closed before its zone's turn ends
	Reservoirs  []Reservoir // of its plantings; none means that only watering days are counted
}

// Hand tells whether the layout is a hand turn.
func (l *Layout) Hand() bool { return l.Curve == nil }

// Past is a turn of the horizon that ran, or runs and will run to its end: a fact that no plan changes. It is told layout
// by layout, because zones may have changed since.
type Past struct {
	Zone       string // by which a turn of the same zone needs no changeover after it
	Window     string // "" when it ran outside the water hours
	Source     string
	Day        int
	Start, End Instant
	Flow       Rate // drawn from the source
	Given      []Given
}

// Given is what one layout got from a turn of the past.
type Given struct {
	Layout string
	Volume Milliliters
	Time   Span
}

// Schedule answers a problem.
type Schedule struct {
	Zones []Zone
	Turns []Turn
}

// Zone is a group of layouts of one source that are open together.
type Zone struct {
	ID      string
	Source  string
	Layouts []string
}

// Turn is one opening of a zone.
type Turn struct {
	Zone       string
	Window     string
	Start, End Instant
	Closings   []Closing // members shut early, in the order of time
}

// Closing is a member of the open zone shut by its own valve before the turn ends, in a window in which somebody is there
// to do it. From then on the others have the flow of a zone without it.
type Closing struct {
	Layout string
	At     Instant
}

// Length is the time that the turn lasts.
func (t Turn) Length() Span { return Span(t.End - t.Start) }

// snap is the error of a decimal figure after a few float operations: 13.7 L/min must become 13700 mL/min both ways.
const snap = 1e-6

// RoundDown returns v without its fraction; a value within the error of a decimal figure below an integer is that
// integer.
func RoundDown(v float64) int64 { return int64(math.Floor(v + snap)) }

// RoundUp returns the least integer not below v, up to the error of a decimal figure.
func RoundUp(v float64) int64 { return int64(math.Ceil(v - snap)) }

// VolumeUp enters a volume that somebody needs.
func VolumeUp(v unit.Volume) Milliliters { return Milliliters(RoundUp(v.Liters() * 1000)) }

// VolumeDown enters a volume that is a limit.
func VolumeDown(v unit.Volume) Milliliters { return Milliliters(RoundDown(v.Liters() * 1000)) }

// RateUp enters a flow that is drawn.
func RateUp(q unit.Flow) Rate { return Rate(RoundUp(q.LitersPerMinute() * 1000)) }

// RateDown enters a flow that is delivered, or a limit.
func RateDown(q unit.Flow) Rate { return Rate(RoundDown(q.LitersPerMinute() * 1000)) }

// SpanUp enters a time that must at least pass.
func SpanUp(t unit.Minutes) Span { return Span(RoundUp(float64(t) * Minute)) }

// SpanDown enters a time that is a limit.
func SpanDown(t unit.Minutes) Span { return Span(RoundDown(float64(t) * Minute)) }

// Liters returns the volume as a quantity.
func (v Milliliters) Liters() float64 { return float64(v) / 1000 }

// Flow returns the rate as a quantity.
func (r Rate) Flow() unit.Flow { return unit.LitersPerMinute(float64(r) / 1000) }

// Minutes returns the time as a quantity.
func (s Span) Minutes() unit.Minutes { return unit.Minutes(float64(s) / Minute) }

// Volume returns the water that flows at rate r over s, in microlitres: the one unit in which the product is exact.
func (r Rate) Volume(s Span) int64 { return int64(r) * int64(s) }

// Over returns the shortest time in which rate r gives at least v.
func (v Milliliters) Over(r Rate) Span {
	if r <= 0 {
		return MaxSpan
	}
	return min(MaxSpan, Span((int64(v)*1000+int64(r)-1)/int64(r)))
}

// Within returns the longest time in which rate r gives at most v.
func (v Milliliters) Within(r Rate) Span {
	if r <= 0 {
		return MaxSpan
	}
	return min(MaxSpan, Span(int64(v)*1000/int64(r)))
}
