package file

import "time"

// GardenPlan is a proposed rotation of a whole garden with its working: what `rillturn plan` prints for a garden file and
// what a rotation stores. Units are layouts and hand-watered plots, named by their ids in the garden file.
type GardenPlan struct {
	GardenID      string          `json:"garden_id"`
	EngineVersion string          `json:"engine_version"`
	StartsAt      time.Time       `json:"starts_at"`
	EndsAt        time.Time       `json:"ends_at"`
	Sources       []SourcePlan    `json:"sources"`
	Units         []UnitPlan      `json:"units"`
	Zones         []ZonePlan      `json:"zones"`
	Turns         []TurnPlan      `json:"turns"`
	SmallestShare float64         `json:"smallest_share"`
	MeanShare     float64         `json:"mean_share"`
	OpenMin       float64         `json:"open_min"`
	OverL         float64         `json:"over_l"`                 // beyond need and tolerance
	LeastOverL    *float64        `json:"least_over_l,omitempty"` // no plan with these shares gives less too much; nil in older plans
	Bound         BoundPlan       `json:"bound"`
	Shortages     []ShortagePlan  `json:"shortages"`
	Late          []LatePlan      `json:"late"`
	Dry           []DryPlan       `json:"dry"`
	Unplanned     []UnplannedPlan `json:"unplanned"`
	Changes       *ChangesPlan    `json:"changes,omitempty"` // against the published rotation that the plan follows
	Stopped       bool            `json:"stopped,omitempty"` // the search was cut short: another run may differ
}

// SourcePlan is a source with its supply curve and its water hours in the horizon.
type SourcePlan struct {
	ID     string       `json:"id"`
	Supply SupplyResult `json:"supply"`
	Hours  []HoursPlan  `json:"hours"`
}

// HoursPlan is one stretch in which a source may run.
type HoursPlan struct {
	StartsAt time.Time `json:"starts_at"`
	EndsAt   time.Time `json:"ends_at"`
}

// UnitPlan is one layout or hand-watered plot: what comes out of it alone, what it needs, what it gets.
type UnitPlan struct {
	ID         string            `json:"id"`
	PlotID     string            `json:"plot_id"`
	LayoutID   *string           `json:"layout_id,omitempty"` // left out for a hand-watered plot
	SourceID   string            `json:"source_id"`
	Alone      *LayoutFlowResult `json:"alone,omitempty"` // with nothing else open, without single holes; of layouts
	FirstHole  *HoleSetResult    `json:"first_hole,omitempty"`
	LastHole   *HoleSetResult    `json:"last_hole,omitempty"`
	HandFlow   float64           `json:"hand_flow_l_per_min,omitempty"`
	LeastHeadM float64           `json:"least_head_m,omitempty"` // at the source, for the unit to be open with others
	Demand     DemandResult      `json:"demand"`
	Efficiency EfficiencyResult  `json:"efficiency"`
	Ledgers    []LedgerPlan      `json:"ledgers,omitempty"` // of plantings that have begun
	Flags      []string          `json:"flags,omitempty"`
	Zone       string            `json:"zone,omitempty"` // left out when no zone can carry it
	NeedL      float64           `json:"need_l"`
	DeliveredL float64           `json:"delivered_l"`
	Share      float64           `json:"share"`
	OverL      float64           `json:"over_l"`
	StressDays float64           `json:"stress_days"` // predicted, of its thirstiest planting, without rain
}

// ZonePlan is a watering group at its operating point.
type ZonePlan struct {
	ID          string   `json:"id"`
	Name        string   `json:"name"` // as people call it: Group 3, Hose A9
	SourceID    string   `json:"source_id"`
	Kind        string   `json:"kind"` // zone, hose, can
	Units       []string `json:"units"`
	FlowLPerMin float64  `json:"flow_l_per_min"`
	HeadM       float64  `json:"head_m"`
}

// TurnPlan is one opening of a zone. A turn that goes on from a published one has that turn's id, and a change that says
// what became of it: kept, resized, moved. A turn that has begun is not planned any more and isn't here.
type TurnPlan struct {
	ID       string           `json:"id,omitempty"`
	Change   string           `json:"change,omitempty"`
	Zone     string           `json:"zone"`
	Day      int              `json:"day"`
	StartsAt time.Time        `json:"starts_at"`
	EndsAt   time.Time        `json:"ends_at"`
	Members  []TurnMemberPlan `json:"members"`
}

// ChangesPlan is what becomes of the published turns that were still to come.
type ChangesPlan struct {
	ToCome    int                 `json:"to_come"`
	Kept      int                 `json:"kept"`
	Resized   int                 `json:"resized"` // start or end a little different
	Moved     int                 `json:"moved"`
	Added     int                 `json:"added"` // before the published rotation ends
	Cancelled []CancelledTurnPlan `json:"cancelled"`
	Part      float64             `json:"part"`  // moved, added and cancelled turns to those to come
	Small     bool                `json:"small"` // within what the garden lets publish itself
	// Forced says which limits ask for more changes than a quarter of the turns to come; empty when there are no more.
	Forced []ForcedChangePlan `json:"forced,omitempty"`
}

// CancelledTurnPlan is a published turn that the plan does not keep.
type CancelledTurnPlan struct {
	ID       string    `json:"id"`
	Zone     string    `json:"zone"`
	StartsAt time.Time `json:"starts_at"`
	EndsAt   time.Time `json:"ends_at"`
}

// ForcedChangePlan is a limit that published turns no longer keep, with how many of them it moves, adds or cancels.
type ForcedChangePlan struct {
	Code  string `json:"code"`
	Turns int    `json:"turns"`
}

// TurnMemberPlan is what one unit gets from a turn. closes_at is left out where the unit stays open to the end.
type TurnMemberPlan struct {
	Unit     string     `json:"unit"`
	VolumeL  float64    `json:"volume_l"`
	ClosesAt *time.Time `json:"closes_at,omitempty"`
}

// BoundPlan is what the smallest share of no plan can exceed, and what that rests on.
type BoundPlan struct {
	Share  float64 `json:"share"`
	Reason string  `json:"reason"`
	Source string  `json:"source,omitempty"`
	Line   string  `json:"line,omitempty"`
	Unit   string  `json:"unit,omitempty"`
}

// ShortagePlan is the proof that a set of zones can't get more: offered is the sum of the limits and of their turns, and
// needed less offered is missing. by is what the garden shares evenly, level how much of it the set gets: the part of its
// need, millimetres of water over its area, or minutes.
type ShortagePlan struct {
	Zones      []string    `json:"zones"`
	Units      []string    `json:"units"` // those that get less than they need
	Share      float64     `json:"share"`
	NeededMin  float64     `json:"needed_min"`
	OfferedMin float64     `json:"offered_min"`
	MissingMin float64     `json:"missing_min"`
	By         string      `json:"by"`
	Level      float64     `json:"level"`
	Limits     []LimitPlan `json:"limits"`
	GainPerMin float64     `json:"gain_per_min"` // of the level, at most, for one more minute in a window; 0 where windows don't bind
}

// LimitPlan is one term of the sum that a set of zones can get; what is taken off has a minus sign.
type LimitPlan struct {
	Kind     string     `json:"kind"`
	Minutes  float64    `json:"minutes"`
	Zone     string     `json:"zone,omitempty"`
	SourceID string     `json:"source_id,omitempty"`
	LineID   string     `json:"line_id,omitempty"`
	Flow     bool       `json:"flow,omitempty"` // a volume that comes from a limit on flow
	Day      int        `json:"day"`
	StartsAt *time.Time `json:"starts_at,omitempty"`
	EndsAt   *time.Time `json:"ends_at,omitempty"`
}

// LatePlan is a unit that has to wait longer than its soil lasts.
type LatePlan struct {
	Unit   string `json:"unit"`
	Day    int    `json:"day"`
	GapD   int    `json:"gap_d"`
	LimitD int    `json:"limit_d"`
}

// DryPlan is a day on which plants of a unit go short: after the day's water more is missing from a root zone than it
// holds readily, in litres at the unit.
type DryPlan struct {
	Unit     string  `json:"unit"`
	Day      int     `json:"day"`
	MissingL float64 `json:"missing_l"`
	HoldsL   float64 `json:"holds_l"`
}

// UnplannedPlan is a plot or layout that the rotation leaves out, and why.
type UnplannedPlan struct {
	ID           string  `json:"id"`
	Reason       string  `json:"reason"`
	TakesLPerMin float64 `json:"takes_l_per_min,omitempty"`
	GivesLPerMin float64 `json:"gives_l_per_min,omitempty"`
}
