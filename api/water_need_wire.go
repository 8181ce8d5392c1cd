package api

import (
	"slices"

	"github.com/google/uuid"

	"rillturn.example/rillturn/api/gen"
	sentence "rillturn.example/rillturn/api/render/words"
	"rillturn.example/rillturn/service"
	"rillturn.example/rillturn/service/file"
)

func waterNeedsView(n service.NeedOf) (gen.WaterNeeds, error) {
	view := gen.WaterNeeds{FirstDay: date(n.First), Days: int32(n.Days), Units: []gen.UnitNeed{}, Unplanned: []gen.UnplannedNeed{}}
	r := reporting{g: n.Input, words: speaking(n.Input.Garden)}
	r.index()
	for _, u := range n.Need.Units {
		if u.Demand == nil {
			continue
		}
		shown, err := r.unitNeed(u)
		if err != nil {
			return view, err
		}
		view.Units = append(view.Units, shown)
	}
	for _, u := range n.Need.Unplanned {
		id, err := uuid.Parse(u.ID)
		if err != nil {
			return view, err
		}
		view.Unplanned = append(view.Unplanned, gen.UnplannedNeed{Id: id, Reason: u.Reason, Text: r.unplanned(u)})
	}
	return view, nil
}

func (r *reporting) unitNeed(u file.UnitNeed) (gen.UnitNeed, error) {
	d := u.Demand
	view := gen.UnitNeed{
		PlotLabel: r.plots[u.PlotID], WantedTodayL: d.Days[0].WantedL, TotalL: d.TotalL, TotalLowL: d.TotalLowL, TotalHighL: d.TotalHighL,
		MostPerDayL: d.MostPerDayL, IntervalD: int32(d.IntervalD), DueD: int32(d.DueD), Seedlings: d.Seedlings, Spell: spellView(d.Spell),
		Efficiency: efficiencyView(u.Efficiency), Days: []gen.UnitNeedDay{}, Plantings: []gen.PlantingNeed{}, Flags: needCodes(u), Text: r.needText(u),
	}
	var err error
	if view.PlotId, err = uuid.Parse(u.PlotID); err != nil {
		return view, err
	}
	if view.LayoutId, view.LayoutName, err = layoutShown(r.g, u.LayoutID); err != nil {
		return view, err
	}
	if d.DaysSinceWatered != nil {
		n := int32(*d.DaysSinceWatered)
		view.DaysSinceWatered = &n
	}
	if id, err := uuid.Parse(d.Thirstiest); err == nil {
		view.Thirstiest = &id
	}
	for _, day := range d.Days {
		view.Days = append(view.Days, gen.UnitNeedDay{
			Day: date(needTime(day.Date)), Et0Mm: day.ET0Mm, Rung: day.Rung, UseL: day.UseL, WantedL: day.WantedL, MostL: day.MostL,
			IntervalD: int32(day.IntervalD),
		})
	}
	for _, p := range d.Plantings {
		id, err := uuid.Parse(p.Planting)
		if err != nil {
			return view, err
		}
		view.Plantings = append(view.Plantings, gen.PlantingNeed{
			PlantingId: id, Crop: r.crop(p.Planting), DepletionMm: p.Start.DepletionMm, WantedL: p.WantedL, GetsL: p.GetsL, SurplusL: p.SurplusL,
			DueD: int32(p.DueD),
		})
	}
	return view, nil
}

func spellView(s file.SpellResult) gen.NeedSpell {
	if !s.Limited {
		return gen.NeedSpell{}
	}
	return gen.NeedSpell{
		Limited: true, RateMmH: &s.RateMmH, IntakeMmH: &s.IntakeMmH, OnMin: &s.OnMin, OnLowMin: &s.OnLowMin, OnHighMin: &s.OnHighMin, SoakMin: &s.SoakMin,
	}
}

// needCodes gathers what is to be known about a unit, each code once.
func needCodes(u file.UnitNeed) []string {
	codes := append(slices.Clone(u.Flags), u.Demand.Flags...)
	for _, p := range u.Demand.Plantings {
		codes = append(codes, p.Notes...)
	}
	for _, l := range u.Ledgers {
		codes = append(codes, l.WithAssumed.Flags...)
	}
	var once []string
	for _, c := range codes {
		if !slices.Contains(once, c) {
			once = append(once, c)
		}
	}
	return once
}

// needText says what is to be known about a unit: first what is to be done, then what the need rests on, then what the
// thirstiest planting means for the others.
func (r *reporting) needText(u file.UnitNeed) []string {
	codes := needCodes(u)
	text := []string{}
	for _, code := range needFlags {
		if slices.Contains(codes, string(code)) {
			text = append(text, r.words.NeedFlag(sentence.NeedFact{Code: code, Days: 1}).String())
		}
	}
	for _, code := range u.Flags {
		text = append(text, r.words.PlanFlag(code, []string{r.plots[u.PlotID]}))
	}
	text = append(text, r.words.Efficiency(efficiencyOf(u.Efficiency)).String())
	return append(text, r.surplus(u.PlotID, *u.Demand)...)
}
