package api

import (
	"fmt"
	"slices"
	"time"

	"rillturn.example/rillturn/api/render"
	sentence "rillturn.example/rillturn/api/render/words"
	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/rotation"
	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/service/file"
)

// PlanReport is the view of a plan for people: the garden file that it was planned from, the plan, and when it was made.
func PlanReport(g file.Garden, p file.GardenPlan, generated time.Time) (render.Report, error) {
	zone, err := time.LoadLocation(g.Garden.TimeZone)
	if err != nil {
		return render.Report{}, err
	}
	r := reporting{g: g, p: p, zone: zone, words: sentence.New(g.Garden.Language, render.Units(g.Garden.Units), zone)}
	r.index()
	return render.Report{
		Schedule: r.schedule(generated), Layouts: r.layouts(), Groups: r.groups(), Assumptions: r.assumptions(), Cautions: r.cautions(),
	}, nil
}

// reporting gives the ids of a plan the names that people know.
type reporting struct {
	g     file.Garden
	p     file.GardenPlan
	zone  *time.Location
	words sentence.Printer

	sources, lines, plots, layoutNames map[string]string
	units                              map[string]file.UnitPlan
	zones                              map[string]file.ZonePlan
}

func (r *reporting) index() {
	r.sources, r.lines, r.plots, r.layoutNames = map[string]string{}, map[string]string{}, map[string]string{}, map[string]string{}
	r.units, r.zones = map[string]file.UnitPlan{}, map[string]file.ZonePlan{}
	for _, s := range r.g.WaterSources {
		r.sources[s.ID] = s.Name
	}
	for _, l := range r.g.ServiceLines {
		r.lines[l.ID] = l.Name
	}
	for _, p := range r.g.Plots {
		r.plots[p.ID] = p.Label
	}
	for _, l := range r.g.Layouts {
		r.layoutNames[l.ID] = l.Name
	}
	for _, u := range r.p.Units {
		r.units[u.ID] = u
	}
	for _, z := range r.p.Zones {
		r.zones[z.ID] = z
	}
}

func (r *reporting) plotOf(unit string) string { return r.plots[r.units[unit].PlotID] }

func (r *reporting) layoutOf(unit string) string {
	if id := r.units[unit].LayoutID; id != nil {
		return r.layoutNames[*id]
	}
	return ""
}

func (r *reporting) label(unit string) string {
	return sentence.PlotLabel(r.plotOf(unit), r.layoutOf(unit))
}

func (r *reporting) schedule(generated time.Time) render.Schedule {
	bound := r.p.Bound.Share
	s := render.Schedule{
		GardenName: r.g.Garden.Name, GardenID: r.g.Garden.ID, TimeZone: r.zone, Revision: 1, Units: render.Units(r.g.Garden.Units),
		Language: r.g.Garden.Language, HorizonFrom: r.p.StartsAt, HorizonTo: r.p.EndsAt, Generated: generated, ShareBound: &bound,
	}
	if least := r.p.LeastOverL; least != nil {
		s.Over = &render.Overwatering{Liters: r.p.OverL, LeastLiters: *least}
		for _, u := range r.p.Units {
			s.Over.NeedLiters += u.NeedL
		}
	}
	for _, source := range r.p.Sources {
		for _, h := range source.Hours {
			s.WaterHours = append(s.WaterHours, render.Interval{SourceName: r.sources[source.ID], Start: h.StartsAt, End: h.EndsAt})
		}
	}
	for i, t := range r.p.Turns {
		z := r.zones[t.Zone]
		turn := render.Turn{
			UID: fmt.Sprintf("turn-%d", i+1), Status: render.Planned, Start: t.StartsAt, End: t.EndsAt, SourceName: r.sources[z.SourceID],
			ZoneName: z.Name, Kind: render.TurnKind(z.Kind), FlowLPerMin: z.FlowLPerMin,
		}
		for _, m := range t.Members {
			turn.Members = append(turn.Members, render.Member{
				PlotName: r.plotOf(m.Unit), LayoutName: r.layoutOf(m.Unit), Liters: m.VolumeL, Share: r.units[m.Unit].Share, ClosesAt: m.ClosesAt,
			})
		}
		s.Turns = append(s.Turns, turn)
	}
	short := map[string]string{}
	for _, x := range r.p.Shortages {
		fall := r.shortfall(x)
		s.Shorts = append(s.Shorts, fall)
		for _, u := range x.Units {
			short[u] = fmt.Sprintf("%s are missing.", sentence.Duration(unit.Minutes(x.MissingMin)))
		}
	}
	for _, u := range r.p.Units {
		s.Shares = append(s.Shares, render.Share{
			PlotName: r.plots[u.PlotID], LayoutName: r.layoutOf(u.ID), NeedLiters: u.NeedL, DeliveredLiters: u.DeliveredL, Fraction: u.Share,
			Reason: short[u.ID],
		})
	}
	return s
}

func (r *reporting) shortfall(x file.ShortagePlan) render.Shortfall {
	fall := render.Shortfall{
		Fraction: x.Share, NeededMinutes: x.NeededMin, OfferedMinutes: x.OfferedMin, MissingMinutes: x.MissingMin, GainPerMinute: x.GainPerMin,
		By: problem.Measure(x.By), Level: x.Level,
	}
	for _, u := range x.Units {
		fall.Plots = append(fall.Plots, r.label(u))
		fall.NeedLiters += r.units[u].NeedL
		fall.MissingLiters += r.units[u].NeedL - r.units[u].DeliveredL
	}
	for _, l := range x.Limits {
		limit := render.Limit{
			Kind: rotation.PartKind(l.Kind), ZoneName: r.zones[l.Zone].Name, SourceName: r.sources[l.SourceID], LineName: r.lines[l.LineID],
			Minutes: l.Minutes, Flow: l.Flow,
		}
		if l.StartsAt != nil {
			limit.Start, limit.End = *l.StartsAt, *l.EndsAt
		}
		if l.Day >= 0 {
			limit.Day = r.g.Horizon.FirstDay.AddDate(0, 0, l.Day).Add(12 * time.Hour)
		}
		if limit.Kind == rotation.PartGrid {
			limit.GridMinutes = r.g.Garden.StartGridMin
		}
		fall.Limits = append(fall.Limits, limit)
	}
	return fall
}

func (r *reporting) layouts() []render.LayoutReport {
	unserved := map[string]string{}
	for _, u := range r.p.Unplanned {
		if u.TakesLPerMin > 0 || u.GivesLPerMin > 0 {
			unserved[u.ID] = r.unservable(u)
		}
	}
	var out []render.LayoutReport
	for _, u := range r.p.Units {
		l := render.LayoutReport{
			PlotName: r.plots[u.PlotID], LayoutName: r.layoutOf(u.ID), SourceName: r.sources[u.SourceID], Kind: render.ZoneTurn,
			FlowLPerMin: u.HandFlow, Unservable: unserved[u.ID],
		}
		if u.Alone == nil {
			l.Kind = r.handKind(u.PlotID)
			out = append(out, l)
			continue
		}
		du := u.Alone.DU
		l.FlowLPerMin, l.HeadM, l.Evenness = u.Alone.FlowLPerMin, u.Alone.ManifoldHeadM, &du
		if m := r.measuredDU(*u.LayoutID); m != nil {
			l.Evenness, l.EvennessMeasured = m, true
		}
		if u.FirstHole != nil && u.LastHole != nil {
			l.FirstHoleLPerH, l.LastHoleLPerH = u.FirstHole.FlowLPerH/float64(u.FirstHole.Holes), u.LastHole.FlowLPerH/float64(u.LastHole.Holes)
		}
		l.Warnings = worstWarnings(u.Alone.Warnings)
		out = append(out, l)
	}
	return out
}

// unservable says why no zone can carry a unit.
func (r *reporting) unservable(u file.UnplannedPlan) string {
	return r.words.Unservable(problem.Unservable{
		Layout: r.label(u.ID), Reason: problem.Reason(u.Reason),
		Takes: problem.RateUp(unit.LitersPerMinute(u.TakesLPerMin)), Gives: problem.RateDown(unit.LitersPerMinute(u.GivesLPerMin)),
	}).String()
}

func (r *reporting) handKind(plot string) render.TurnKind {
	for _, p := range r.g.Plots {
		if p.ID == plot {
			return render.TurnKind(p.Method)
		}
	}
	return render.HoseTurn
}

func (r *reporting) measuredDU(layout string) *float64 {
	for _, l := range r.g.Layouts {
		if l.ID == layout {
			return l.MeasuredDU
		}
	}
	return nil
}

// worstWarnings keeps one warning of each code: laterals alike warn alike.
func worstWarnings(all []file.FlowWarning) []hydraulics.Warning {
	var out []hydraulics.Warning
	for _, w := range all {
		i := slices.IndexFunc(out, func(o hydraulics.Warning) bool { return string(o.Code) == w.Code })
		if i < 0 {
			out = append(out, hydraulics.Warning{Code: hydraulics.WarningCode(w.Code), Value: w.Value, Limit: w.Limit, Count: w.Count})
			continue
		}
		out[i].Count += w.Count
		if (w.Value > out[i].Value) == (w.Value > w.Limit) {
			out[i].Value = w.Value
		}
	}
	return out
}

func (r *reporting) groups() []render.GroupReport {
	var out []render.GroupReport
	for _, z := range r.p.Zones {
		g := render.GroupReport{
			Name: z.Name, SourceName: r.sources[z.SourceID], Kind: render.TurnKind(z.Kind), FlowLPerMin: z.FlowLPerMin, HeadM: z.HeadM,
		}
		for _, u := range z.Units {
			g.Members = append(g.Members, r.label(u))
		}
		out = append(out, g)
	}
	return out
}

// assumptions says what the plan takes for granted: about the sources, the layouts and the soil.
func (r *reporting) assumptions() []string {
	var out []string
	if r.p.Bound.Share < 1 {
		out = append(out, r.words.PlanBound(plan.Bound{
			Share: r.p.Bound.Share, Reason: plan.BoundReason(r.p.Bound.Reason), Source: r.sources[r.p.Bound.Source],
			Line: r.lines[r.p.Bound.Line], Layout: r.label(r.p.Bound.Unit),
		}))
	}
	for _, s := range r.p.Sources {
		for _, a := range s.Supply.Assumptions {
			n := r.words.SupplyAssumption(hydraulics.Assumption{Code: hydraulics.AssumptionCode(a.Code), Value: a.Value, Low: a.Low, High: a.High})
			out = append(out, r.sources[s.ID]+": "+n.String())
		}
	}
	out = append(out, r.changes()...)
	out = append(out, r.weather()...)
	out = append(out, r.flags()...)
	return append(out, r.need()...)
}

// changes says what becomes of the published turns that the plan follows.
func (r *reporting) changes() []string {
	c := r.p.Changes
	if c == nil {
		return nil
	}
	return changeText(r.words, sentence.TurnChanges{Kept: c.Kept, Resized: c.Resized, Moved: c.Moved, Added: c.Added, Cancelled: len(c.Cancelled)}, c.Forced)
}

// flags says once what holds for several plots, and for which.
func (r *reporting) flags() []string {
	plots := map[string][]string{}
	for _, u := range r.p.Units {
		for _, f := range u.Flags {
			plots[f] = append(plots[f], r.plots[u.PlotID])
		}
	}
	for _, l := range r.p.Late {
		if plot := r.plotOf(l.Unit); !slices.Contains(plots[flagLate], plot) {
			plots[flagLate] = append(plots[flagLate], plot)
		}
	}
	for _, d := range r.p.Dry {
		if plot := r.plotOf(d.Unit); !slices.Contains(plots[flagDry], plot) {
			plots[flagDry] = append(plots[flagDry], plot)
		}
	}
	var out []string
	codes := make([]string, 0, len(plots))
	for code := range plots {
		codes = append(codes, code)
	}
	slices.Sort(codes)
	for _, code := range codes {
		slices.SortFunc(plots[code], sentence.Compare)
		out = append(out, r.words.PlanFlag(code, plots[code]))
	}
	return out
}

// flagLate marks plots whose soil does not last to the next day on which they may be watered.
const flagLate = "waits_longer_than_soil_lasts"

// flagDry marks plots of which plants go short of water by the ledger on some days.
const flagDry = "plants_go_short"

func (r *reporting) cautions() []render.CautionCode {
	c := render.Circumstances{PeopleAtWork: true, ValveAfterTap: len(r.g.Layouts) > 0, PlasticPipe: len(r.g.Layouts) > 0}
	for _, s := range r.g.WaterSources {
		c.DrinkingWaterTap = c.DrinkingWaterTap || s.Kind != "tank"
		c.StoredWater = c.StoredWater || s.Kind == "tank"
		c.RefilledFromTap = c.RefilledFromTap || s.Kind == "tank"
	}
	for _, l := range r.g.Layouts {
		c.Hose = c.Hose || l.Spec.Feed.HoseLengthM > 0
		c.CementedJoints = c.CementedJoints || !l.Spec.PressFit
	}
	return c.Cautions()
}
