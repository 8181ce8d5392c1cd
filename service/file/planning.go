package file

import "time"

// Planning are the coordinator's choices for every plan of the garden. Units are layouts and hand-watered plots, by id.
type Planning struct {
	Pins     []Pin    `json:"pins,omitempty"`
	Apart    []Apart  `json:"apart,omitempty"`
	Excluded []string `json:"excluded,omitempty"` // units or plots that no plan waters
	// ServeFirst names kinds of plots that have all they need before anybody after them gets any: seedlings, communal, in
	// this order.
	ServeFirst []string `json:"serve_first,omitempty"`
	// AttendedHours are the ids of water hours in which somebody is at the taps during turns. A layout with a valve of its
	// own may then be shut before its turn ends, when it has enough.
	AttendedHours []string     `json:"attended_hours,omitempty"`
	SmallChanges  *SmallChange `json:"small_changes,omitempty"`
}

// Pin is units that stay in one zone, whoever else is in it.
type Pin struct {
	Units []string `json:"units" file:"required"`
	Zone  string   `json:"zone,omitempty"`  // the name of the zone, published or to be; left out: any
	Alone bool     `json:"alone,omitempty"` // nobody else may be in their zone
}

// Apart is two units that are never open together.
type Apart struct {
	Units []string `json:"units" file:"required"`
}

// SmallChange is what a published turn may change without anybody being asked.
type SmallChange struct {
	ShiftMin  float64 `json:"shift_min" file:"required"`  // a start this much earlier or later
	LengthMin float64 `json:"length_min" file:"required"` // this much shorter or longer
}

// Replan is the published rotation that a plan follows: it keeps zones and turns as far as it can. Turns that began before
// now are facts; inside the notice period of the garden turns are only shortened or cancelled.
type Replan struct {
	Now    time.Time    `json:"now" file:"required"`
	EndsAt time.Time    `json:"ends_at" file:"required"` // of the published rotation: turns after it are new to everybody
	Zones  []ReplanZone `json:"zones" file:"required"`
	Turns  []ReplanTurn `json:"turns" file:"required"` // published, not cancelled, that end after the horizon begins
}

// ReplanZone is a published zone.
type ReplanZone struct {
	ID       string   `json:"id" file:"required"`
	Name     string   `json:"name" file:"required"`
	SourceID string   `json:"source_id" file:"required"`
	Units    []string `json:"units" file:"required"`
}

// ReplanTurn is a published turn.
type ReplanTurn struct {
	ID       string         `json:"id" file:"required"`
	Zone     string         `json:"zone" file:"required"`
	StartsAt time.Time      `json:"starts_at" file:"required"`
	EndsAt   time.Time      `json:"ends_at" file:"required"`
	Locked   bool           `json:"locked,omitempty"` // stays where it is, whatever is planned
	Members  []ReplanMember `json:"members" file:"required"`
	// RanMin is how long a turn of the past ran by its report: 0 when it was missed. Left out, it ran as published.
	RanMin *float64 `json:"ran_min,omitempty"`
}

// ReplanMember is what a unit was to get from a published turn. closes_at is left out where it stays open to the end.
type ReplanMember struct {
	Unit     string     `json:"unit" file:"required"`
	VolumeL  float64    `json:"volume_l" file:"required"`
	ClosesAt *time.Time `json:"closes_at,omitempty"`
}

// Follow returns the plan as the published rotation that the next plan follows. id names the plan's turns, by their place.
func (p GardenPlan) Follow(now time.Time, id func(turn int) string) *Replan {
	r := &Replan{Now: now, EndsAt: p.EndsAt, Zones: []ReplanZone{}, Turns: []ReplanTurn{}}
	for _, z := range p.Zones {
		r.Zones = append(r.Zones, ReplanZone{ID: z.ID, Name: z.Name, SourceID: z.SourceID, Units: z.Units})
	}
	for i, t := range p.Turns {
		turn := ReplanTurn{ID: id(i), Zone: t.Zone, StartsAt: t.StartsAt, EndsAt: t.EndsAt}
		for _, m := range t.Members {
			turn.Members = append(turn.Members, ReplanMember(m))
		}
		r.Turns = append(r.Turns, turn)
	}
	return r
}
