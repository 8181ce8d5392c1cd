package waterneed

import (
	"cmp"
	"fmt"
	"slices"

	"rillturn.example/rillturn/engine/unit"
)

// Outcome is what became of a published turn, or of a hand watering.
type Outcome string

// The outcomes.
const (
	// Unreported turns count as published and are marked as assumed.
	Unreported Outcome = ""
	// Done counts as published, or its minutes where somebody noted them.
	Done Outcome = "done"
	// Part counts its minutes, or the litres metered.
	Part Outcome = "part"
	// Missed counts nothing.
	Missed Outcome = "missed"
	// SkippedWet counts nothing; somebody looked at the soil and found it wet.
	SkippedWet Outcome = "skipped_wet"
	// PressureLost counts the minutes before the loss; without minutes nothing.
	PressureLost Outcome = "pressure_lost"
	// Overran counts its minutes, or the litres metered.
	Overran Outcome = "overran"
)

// Turn is one watering of a unit. Its litres are gross, at the holes or the hose end.
type Turn struct {
	ID   string
	Date Date
	// Published litres and minutes.
	Volume  unit.Volume
	Minutes unit.Minutes
	Outcome Outcome
	// Ran is how long the water ran; Metered the litres that a meter or counted cans show. Metered prevails.
	Ran     Optional[unit.Minutes]
	Metered Optional[unit.Volume]
}

// Dig is somebody's look into the soil in the morning of a date, before water arrives. It resets the ledger.
type Dig struct {
	Date Date
	// Planting is the id of the planting looked at; empty for all of the unit.
	Planting string
	Finding  Finding
	// Depletion is given when it was measured, and prevails over the finding.
	Depletion Optional[unit.Depth]
}

// Finding is what a dig shows at a hand's depth.
type Finding string

// The findings.
const (
	FoundWet   Finding = "wet"   // field capacity
	FoundMoist Finding = "moist" // half of RAW is gone
	FoundDry   Finding = "dry"   // RAW is gone
)

// History is what happened to a unit. Order and lateness of entry do not matter: the ledger is replayed from it.
type History struct {
	Turns []Turn
	Digs  []Dig
}

// Booking is what a turn counts for.
type Booking struct {
	Volume unit.Volume
	// Assumed says that nobody reported the turn.
	Assumed bool
	// Evidence says that somebody was there.
	Evidence bool
	// PressureLostUncounted says that a turn which lost pressure counts nothing because nobody noted the minutes.
	PressureLostUncounted bool
}

// Booked returns what the turn counts for.
func (t Turn) Booked() Booking {
	b := Booking{Evidence: t.Outcome != Unreported, Assumed: t.Outcome == Unreported}
	switch {
	case t.Outcome == Missed || t.Outcome == SkippedWet:
	case t.Metered.Known:
		b.Volume, b.Assumed, b.Evidence = t.Metered.Value, false, true
	case t.Outcome == Unreported:
		b.Volume = t.Volume
	case t.Ran.Known:
		b.Volume = t.Volume * unit.Volume(t.Ran.Value/t.Minutes)
	case t.Outcome == Done:
		b.Volume = t.Volume
	default:
		b.PressureLostUncounted = true
	}
	return b
}

// mostLiters is the most litres of a turn, a guard against a mistyped unit.
const mostLiters = 1e6

func (h History) faults(ids map[string]bool) InputErrors {
	var faults InputErrors
	for i, t := range h.Turns {
		path := fmt.Sprintf("turns[%d].", i)
		faults.checkDate(path+"date", t.Date)
		faults.within(path+"volume_l", t.Volume.Liters(), 0, mostLiters)
		faults.within(path+"duration_min", float64(t.Minutes), 0, 1500)
		optionalWithin(&faults, path+"ran_min", t.Ran, 0, 1500)
		if t.Metered.Known {
			faults.within(path+"metered_l", t.Metered.Value.Liters(), 0, mostLiters)
		}
		switch t.Outcome {
		case Unreported, Done, Missed, SkippedWet:
		case Part, Overran, PressureLost:
			if !t.Metered.Known && !t.Ran.Known && t.Outcome != PressureLost {
				faults.add(path+"ran_min", ReasonMissing)
			}
			if t.Ran.Known && t.Minutes <= 0 && !t.Metered.Known {
				faults.add(path+"duration_min", ReasonMissing)
			}
		default:
			faults.add(path+"outcome", ReasonUnknown)
		}
	}
	for i, d := range h.Digs {
		path := fmt.Sprintf("digs[%d].", i)
		faults.checkDate(path+"date", d.Date)
		if d.Planting != "" && !ids[d.Planting] {
			faults.add(path+"planting", ReasonUnknown)
		}
		optionalWithin(&faults, path+"depletion_mm", d.Depletion, 0, 2000)
		if !d.Depletion.Known && d.Finding != FoundWet && d.Finding != FoundMoist && d.Finding != FoundDry {
			faults.add(path+"finding", ReasonUnknown)
		}
	}
	return faults
}

// sorted returns the history by date and, within a day, by id and content, so that the order of entry has no trace.
func (h History) sorted() History {
	turns, digs := slices.Clone(h.Turns), slices.Clone(h.Digs)
	slices.SortFunc(turns, func(a, b Turn) int {
		return cmp.Or(a.Date.Compare(b.Date), cmp.Compare(a.ID, b.ID), cmp.Compare(a.Volume, b.Volume),
			cmp.Compare(a.Outcome, b.Outcome), cmp.Compare(a.Ran.Value, b.Ran.Value), cmp.Compare(a.Metered.Value, b.Metered.Value))
	})
	slices.SortFunc(digs, func(a, b Dig) int {
		return cmp.Or(a.Date.Compare(b.Date), cmp.Compare(a.Planting, b.Planting), cmp.Compare(a.Finding, b.Finding),
			cmp.Compare(a.Depletion.Value, b.Depletion.Value))
	})
	return History{Turns: turns, Digs: digs}
}
