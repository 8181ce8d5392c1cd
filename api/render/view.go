// Package render holds the plain views from which the documents of a garden are drawn, and in its folders the
// renderers themselves: ics (calendar feed), csv (table), svg (pictures) and words (sentences and the text report).
//
// A view says what a reader should see. It carries names for people, instants with the garden's time zone, and plain
// numbers whose names end in their unit. Whoever fills a view has already decided who may see it: a renderer prints
// every name it is given. Renderers never look at a clock, so the same view gives the same bytes.
package render

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/rotation"
)

// Units says in which units a garden's people read quantities. Views are metric; renderers convert.
type Units string

// The unit systems of printed documents.
const (
	Metric Units = "metric" // L, L/min, m, cm, mm, kPa
	US     Units = "us"     // gal, gal/min, ft, in as fractions, psi
)

// Schedule is a watering schedule, proposed or published, as its readers see it.
type Schedule struct {
	GardenName string
	GardenID   string
	// TimeZone is the garden's IANA zone. Clock times are printed in it; it must be set.
	TimeZone   *time.Location
	RotationID string
	Revision   int
	Units      Units
	Language   string // BCP 47; English when empty or not known
	Proposed   bool   // nobody has published it yet
	// HorizonFrom and HorizonTo bound the schedule, the end excluded.
	HorizonFrom, HorizonTo time.Time
	// Generated is when the schedule was made or, where Published says so, when it was published; it is stamped on documents. It is
	// passed in so that a document is repeatable.
	Generated  time.Time
	Published  bool
	Turns      []Turn
	WaterHours []Interval
	Shares     []Share
	Shorts     []Shortfall
	// ShareBound is the proven upper bound on the smallest share over all schedules; nil when none was computed.
	ShareBound *float64
	// Over is the water given beyond need; nil when none was computed.
	Over *Overwatering
}

// Overwatering is the water that a schedule gives beyond need and tolerance, what no schedule with the same shares gives less
// than, and what all need, in litres.
type Overwatering struct{ Liters, LeastLiters, NeedLiters float64 }

// Interval is a span of time on one source in which it may run, the end excluded.
type Interval struct {
	SourceName string
	Start, End time.Time
}

// TurnStatus is what became of a turn.
type TurnStatus string

// The states of a turn that a reader must tell apart.
const (
	Planned   TurnStatus = "planned"
	Cancelled TurnStatus = "cancelled"
)

// TurnKind says how the water reaches the ground in a turn.
type TurnKind string

// The kinds of turn.
const (
	ZoneTurn TurnKind = "zone" // layouts opened together
	HoseTurn TurnKind = "hose" // a person waters one plot with a hose
	CanTurn  TurnKind = "can"  // a person carries cans to one plot
)

// Turn is one opening of one watering group.
type Turn struct {
	// UID stays the same through every change of this turn and is unique within the garden.
	UID string
	// Sequence rises with every change of this turn.
	Sequence   int
	Status     TurnStatus
	Start, End time.Time
	SourceName string
	ZoneName   string
	Kind       TurnKind
	Members    []Member
	// Opener is who must be present, empty when nobody need be.
	Opener string
	// FlowLPerMin is what the source gives while the turn runs; zero when it is not known.
	FlowLPerMin float64
	Note        string
}

// Member is one plot watered by a turn.
type Member struct {
	PlotName   string
	LayoutName string // empty when watered by hand
	Holder     string // empty when vacant or not to be shown
	Liters     float64
	// Share is the served fraction of this plot over the whole horizon, 0 to 1.
	Share float64
	// ClosesAt is when this member's own valve is closed before the turn ends; nil when it runs to the end.
	ClosesAt *time.Time
}

// Share is how much of its need one plot gets over the horizon.
type Share struct {
	PlotName        string
	LayoutName      string // empty when watered by hand
	NeedLiters      float64
	DeliveredLiters float64
	Fraction        float64 // served fraction, 0 to 1
	Reason          string  // one sentence, empty when fully served
}

// Shortfall is why a set of plots that share one bottleneck goes short. Its minutes add up, so that a reader can check
// it with pencil and paper:
//
//	the sum of all limits = offered, needed − offered = missing.
type Shortfall struct {
	Plots    []string // plots with their layouts, as a reader knows them
	Fraction float64  // the served fraction that the set gets
	// NeedLiters and MissingLiters are those of the plots; zero when they are not to be said.
	NeedLiters     float64
	MissingLiters  float64
	NeededMinutes  float64 // added up over the watering groups of the set
	OfferedMinutes float64
	MissingMinutes float64
	Limits         []Limit
	By             problem.Measure // what the garden shares evenly
	Level          float64         // how much of it the set gets: the part of its need, mm of water over its area, or minutes
	// GainPerMinute is by how much one more minute of water hours would raise the level at most; zero when more water hours
	// would not help.
	GainPerMinute float64
}

// Limit is one line of the sum that a shortfall offers; lines that are taken off carry negative minutes.
type Limit struct {
	Kind       rotation.PartKind
	ZoneName   string // empty when it is not about one watering group
	SourceName string // empty when it is not about one source
	LineName   string // of a volume or flow limit of a water line
	Flow       bool   // a volume that comes from a limit on flow
	// Start and End are the water hours it is about; both zero when there are none.
	Start, End time.Time
	// Day is any instant of its day in the garden's zone; zero when it is not about one day.
	Day         time.Time
	Minutes     float64
	GridMinutes float64 // turns start at whole multiples of it; only of a limit that comes from that
}

// Validate reports what keeps a schedule from being drawn: a missing time zone, a turn without identity, an empty
// span. All faults are joined.
func (s Schedule) Validate() error {
	var faults []error
	if s.TimeZone == nil {
		faults = append(faults, errors.New("schedule: the time zone is missing"))
	}
	if !s.HorizonFrom.Before(s.HorizonTo) {
		faults = append(faults, fmt.Errorf("schedule: the horizon from %s to %s is empty", s.HorizonFrom, s.HorizonTo))
	}
	seen := make(map[string]bool, len(s.Turns))
	for i, t := range s.Turns {
		if strings.TrimSpace(t.UID) == "" {
			faults = append(faults, fmt.Errorf("turn %d: the identity is missing", i))
		} else if seen[t.UID] {
			faults = append(faults, fmt.Errorf("turn %d: the identity %q is used twice", i, t.UID))
		}
		seen[t.UID] = true
		if t.Sequence < 0 {
			faults = append(faults, fmt.Errorf("turn %d (%s): the sequence %d is negative", i, t.UID, t.Sequence))
		}
		if !t.Start.Before(t.End) {
			faults = append(faults, fmt.Errorf("turn %d (%s): ends at %s, not after its start %s", i, t.UID, t.End, t.Start))
		}
	}
	for i, h := range s.WaterHours {
		if !h.Start.Before(h.End) {
			faults = append(faults, fmt.Errorf("water hours %d (%s): end at %s, not after their start %s", i, h.SourceName, h.End, h.Start))
		}
	}
	return errors.Join(faults...)
}

// Between returns the schedule with only the turns and water hours that begin in [from, to), its horizon narrowed to
// it, for a page or a picture of a single week.
func (s Schedule) Between(from, to time.Time) Schedule {
	inside := func(t time.Time) bool { return !t.Before(from) && t.Before(to) }
	turns, hours := s.Turns, s.WaterHours
	s.HorizonFrom, s.HorizonTo, s.Turns, s.WaterHours = from, to, nil, nil
	for _, t := range turns {
		if inside(t.Start) {
			s.Turns = append(s.Turns, t)
		}
	}
	for _, h := range hours {
		if inside(h.Start) {
			s.WaterHours = append(s.WaterHours, h)
		}
	}
	return s
}

// LedgerChart is the day-by-day depletion of one planting.
type LedgerChart struct {
	PlantingName string
	PlotName     string
	Units        Units
	Language     string
	Days         []LedgerDay // consecutive days
}

// LedgerDay is one day of a depletion ledger, on the wet strip.
type LedgerDay struct {
	Date        time.Time // only the calendar date is read
	DepletionMm float64   // at the end of the day
	// ReportedDepletionMm is the same without the waterings that nobody reported.
	ReportedDepletionMm float64
	RAWMm               float64 // readily available water
	RainMm              float64
	WaterMm             float64 // watering that reached the strip
	// WaterAssumed says that nobody reported the watering of this day and it counts as run.
	WaterAssumed bool
	// WeatherAssumed says that the weather of this day was not measured here.
	WeatherAssumed bool
	// Dug says that somebody dug that morning, and the depletion is what was found.
	Dug bool
}

// HeadProfile is the pressure along the laterals of a layout while it runs.
type HeadProfile struct {
	LayoutName string
	PlotName   string
	Units      Units
	Language   string
	Laterals   []LateralProfile
	// LeastHeadM is the head under which a hole gives nothing reliable; zero draws no line.
	LeastHeadM float64
}

// LateralProfile is the pressure along one lateral, from its open end outward.
type LateralProfile struct {
	Name   string
	Points []HeadPoint
}

// HeadPoint is the pressure at one hole set.
type HeadPoint struct {
	DistanceM float64 // from the manifold
	HeadM     float64
}

// LayoutDrawing is a layout to scale, seen from above, with the manifold drawn from top to bottom.
type LayoutDrawing struct {
	GardenName   string
	PlotName     string
	LayoutName   string
	Revision     int
	Units        Units
	Language     string
	ManifoldM    float64 // length of the manifold
	ManifoldPipe string  // trade size and wall, as printed on the pipe
	// FeedAtM is where the feed enters, from the manifold's upper end.
	FeedAtM float64
	Outlets []DrawnOutlet
}

// DrawnOutlet is a tee of the manifold with what hangs on it.
type DrawnOutlet struct {
	AtM float64 // from the manifold's upper end
	// Lateral is nil when the outlet is plugged.
	Lateral *DrawnLateral
	// ToLeft says that the lateral leaves towards the left of the drawing.
	ToLeft bool
}

// DrawnLateral is one lateral with its hole sets.
type DrawnLateral struct {
	Name     string
	Pipe     string // trade size and wall
	LengthM  float64
	HoleSets []DrawnHoles
}

// DrawnHoles is one hole set of a lateral.
type DrawnHoles struct {
	AtM        float64 // from the manifold
	FlowLPerH  float64 // of the whole set
	Unreliable bool    // under the least head, or dry
	Plugged    bool
}

// IsShort reports whether a served fraction means less water than needed. Half a promille is rounding, not thirst.
func IsShort(fraction float64) bool {
	const rounding = 5e-4
	return fraction < 1-rounding
}
