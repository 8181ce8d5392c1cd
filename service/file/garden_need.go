package file

import "rillturn.example/rillturn/engine/waterneed"

// GardenNeed is what a garden needs over its horizon, with the ledgers behind it: what `rillturn need` prints for a garden
// file. Units are layouts and hand-watered plots.
type GardenNeed struct {
	GardenID string `json:"garden_id"`
	FirstDay Day    `json:"first_day"`
	Days     int    `json:"days"`
	// Weather is the reference evapotranspiration of each day from the first ledger's to the horizon's last.
	Weather   []SeriesDayResult `json:"weather"`
	Units     []UnitNeed        `json:"units"`
	Unplanned []UnplannedPlan   `json:"unplanned"`
}

// UnitNeed is one layout or hand-watered plot.
type UnitNeed struct {
	ID         string           `json:"id"`
	PlotID     string           `json:"plot_id"`
	LayoutID   *string          `json:"layout_id,omitempty"` // left out for a hand-watered plot
	Soil       SoilResult       `json:"soil"`
	Efficiency EfficiencyResult `json:"efficiency"`
	// Ledgers are those of all plantings that have begun, with and without the turns that nobody reported.
	Ledgers []PlantingLedgers `json:"ledgers"`
	// Demand is left out where nothing grows in the horizon.
	Demand *DemandResult `json:"demand,omitempty"`
	Flags  []string      `json:"flags,omitempty"`
}

// PlantingLedgers are both ledgers of a planting up to the horizon's first morning.
type PlantingLedgers struct {
	Planting       string       `json:"planting"`
	WithAssumed    LedgerResult `json:"with_assumed"`
	WithoutAssumed LedgerResult `json:"without_assumed"`
}

// LedgerPlan is where a planting's ledger stands on the horizon's first morning, with and without the turns that nobody
// reported. Depths are over the wet strip.
type LedgerPlan struct {
	PlantingID                string    `json:"planting_id"`
	DepletionMm               float64   `json:"depletion_mm"`
	DepletionWithoutAssumedMm float64   `json:"depletion_without_assumed_mm"`
	LastEvidence              *NeedDate `json:"last_evidence"`
	Flags                     []string  `json:"flags,omitempty"`
}

// UnitNeedOf returns a unit with both ledgers of its plantings, in their order, as files show it.
func UnitNeedOf(u waterneed.Unit, with, without []waterneed.Ledger) UnitNeed {
	out := UnitNeed{
		ID: u.ID, Soil: soilResult(u.Soil), Efficiency: EfficiencyOf(u.Uniformity.Efficiency()),
		Ledgers: make([]PlantingLedgers, len(with)),
	}
	for i := range with {
		out.Ledgers[i] = PlantingLedgers{Planting: with[i].Planting, WithAssumed: ledgerResult(with[i]), WithoutAssumed: ledgerResult(without[i])}
	}
	return out
}

// StandOf returns where ledgers stand.
func StandOf(with, without []waterneed.Ledger) []LedgerPlan {
	var out []LedgerPlan
	for i, l := range with {
		if len(l.Days) == 0 {
			continue
		}
		out = append(out, LedgerPlan{
			PlantingID: l.Planting, DepletionMm: float64(l.State.Depletion), DepletionWithoutAssumedMm: float64(without[i].State.Depletion),
			LastEvidence: dateOrNull(l.State.LastEvidence), Flags: codes(l.Flags),
		})
	}
	return out
}
