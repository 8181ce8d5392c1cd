package file

import "slices"

// Why is all that a plan says about one layout or hand-watered plot: what it needs and gets, and what keeps it from more.
type Why struct {
	Unit   string  `json:"unit"`
	PlotID string  `json:"plot_id,omitempty"`
	NeedL  float64 `json:"need_l"`
	GetsL  float64 `json:"gets_l"`
	Share  float64 `json:"share"`
	// Shortage adds up what the unit's zone and those that it is held down with can get; left out where nobody in the zone
	// goes short.
	Shortage *ShortagePlan `json:"shortage,omitempty"`
	// Binds names the limits of the shortage that hold it down, the largest first, without what is taken off.
	Binds []string `json:"binds"`
	// Bound is what no plan can give the least served, whatever its zones.
	Bound      BoundPlan      `json:"bound"`
	Late       []LatePlan     `json:"late"`
	Dry        []DryPlan      `json:"dry"`
	StressDays float64        `json:"stress_days"`
	Unplanned  *UnplannedPlan `json:"unplanned,omitempty"` // why no turn waters it
}

// Why tells why a unit gets what it gets. It is false for a unit that the plan knows nothing of.
func (p GardenPlan) Why(unit string) (Why, bool) {
	w := Why{Unit: unit, Binds: []string{}, Bound: p.Bound, Late: []LatePlan{}, Dry: []DryPlan{}}
	known := false
	for _, u := range p.Units {
		if u.ID == unit {
			known = true
			w.PlotID, w.NeedL, w.GetsL, w.Share, w.StressDays = u.PlotID, u.NeedL, u.DeliveredL, u.Share, u.StressDays
		}
	}
	if i := slices.IndexFunc(p.Unplanned, func(u UnplannedPlan) bool { return u.ID == unit }); i >= 0 {
		known, w.Unplanned = true, &p.Unplanned[i]
	}
	if i := slices.IndexFunc(p.Shortages, func(s ShortagePlan) bool { return slices.Contains(s.Units, unit) }); i >= 0 {
		w.Shortage = &p.Shortages[i]
		w.Binds = w.Shortage.binds()
	}
	for _, l := range p.Late {
		if l.Unit == unit {
			w.Late = append(w.Late, l)
		}
	}
	for _, d := range p.Dry {
		if d.Unit == unit {
			w.Dry = append(w.Dry, d)
		}
	}
	return w, known
}

// binds adds up the limits by kind and sorts the kinds by their minutes.
func (s *ShortagePlan) binds() []string {
	minutes := map[string]float64{}
	out := []string{}
	for _, l := range s.Limits {
		if l.Minutes <= 0 {
			continue
		}
		if minutes[l.Kind] == 0 {
			out = append(out, l.Kind)
		}
		minutes[l.Kind] += l.Minutes
	}
	slices.SortStableFunc(out, func(a, b string) int {
		switch {
		case minutes[a] > minutes[b]:
			return -1
		case minutes[a] < minutes[b]:
			return 1
		}
		return 0
	})
	return out
}
