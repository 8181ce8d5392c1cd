// Package sample holds one invented week of Tanager Bend Garden, with which the renderers are tested and looked at.
package sample

import (
	"fmt"
	"time"
	_ "time/tzdata" // so that every machine reads the garden's clock alike

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/rotation"
)

// Zone returns the garden's time zone.
func Zone() *time.Location { return MustZone("America/New_York") }

// MustZone loads an IANA zone from the embedded data.
func MustZone(name string) *time.Location {
	zone, err := time.LoadLocation(name)
	if err != nil {
		panic(err)
	}
	return zone
}

// group is one watering group of the invented week.
type group struct {
	name, source string
	kind         render.TurnKind
	flow         float64
	opener       string
	minutes      int
	members      []render.Member
}

func groups() []group {
	return []group{
		{"Upper row, box beds", "North tap", render.ZoneTurn, 28, "", 45, []render.Member{
			{PlotName: "Plot 1", LayoutName: "box bed", Holder: "Mara", Liters: 410, Share: 1},
			{PlotName: "Plot 2", LayoutName: "double rows", Holder: "Teodor", Liters: 395, Share: 1},
			{PlotName: "Plot 4", LayoutName: "four laterals", Holder: "Ilse", Liters: 380, Share: 0.86},
		}},
		{"Upper row, long rows", "North tap", render.ZoneTurn, 26, "Mara", 75, []render.Member{
			{PlotName: "Plot 6", LayoutName: "half-inch long row", Holder: "Bartosz", Liters: 690, Share: 0.62},
			{PlotName: "Plot 7", LayoutName: "two rows", Holder: "Wren", Liters: 720, Share: 0.62},
		}},
		{"Lower row", "South tap", render.ZoneTurn, 24, "", 60, []render.Member{
			{PlotName: "Plot 18", LayoutName: "clay bed", Holder: "Amadou", Liters: 500, Share: 1},
			{PlotName: "Plot 19", LayoutName: "three laterals", Holder: "Jun", Liters: 460, Share: 1},
			{PlotName: "Plot 20", LayoutName: "herb spiral", Holder: "", Liters: 130, Share: 1},
		}},
		{"Plot 11", "South tap", render.HoseTurn, 17, "Pilar", 15, []render.Member{
			{PlotName: "Plot 11", Holder: "Pilar", Liters: 240, Share: 1},
		}},
		{"Communal bed", "Rain tank", render.ZoneTurn, 9, "", 30, []render.Member{
			{PlotName: "Communal bed", LayoutName: "rated outlets", Liters: 250, Share: 1},
		}},
		{"Plot 14", "Rain tank", render.CanTurn, 0, "Odalys", 10, []render.Member{
			{PlotName: "Plot 14", Holder: "Odalys", Liters: 60, Share: 0.95},
		}},
	}
}

// Week returns the schedule from Monday 6 to Sunday 12 July 2026: six days of turns, none on Sunday.
func Week() render.Schedule {
	zone := Zone()
	at := func(day, hour, minute int) time.Time {
		return time.Date(2026, time.July, day, hour, minute, 0, 0, zone)
	}
	bound := 0.63
	s := render.Schedule{
		GardenName: "Tanager Bend Garden", GardenID: "tanager-bend", TimeZone: zone,
		RotationID: "2026-07-06", Revision: 3, Units: render.Metric, Language: "en",
		HorizonFrom: at(6, 0, 0), HorizonTo: at(13, 0, 0), Generated: at(5, 19, 12),
		ShareBound: &bound, Shares: shares(), Shorts: shorts(at), Over: &render.Overwatering{Liters: 640, LeastLiters: 512.4, NeedLiters: 9120},
	}
	sources := []string{"North tap", "South tap", "Rain tank"}
	for day := 6; day <= 11; day++ {
		for _, source := range sources {
			s.WaterHours = append(s.WaterHours,
				render.Interval{SourceName: source, Start: at(day, 6, 0), End: at(day, 9, 30)},
				render.Interval{SourceName: source, Start: at(day, 18, 30), End: at(day, 20, 30)})
		}
		s.Turns = append(s.Turns, turnsOf(day, at)...)
	}
	s.Turns[7].Status, s.Turns[7].Sequence, s.Turns[7].Note = render.Cancelled, 2, "12 mm of rain on Monday night."
	return s
}

func turnsOf(day int, at func(day, hour, minute int) time.Time) []render.Turn {
	next := map[string]time.Time{
		"North tap": at(day, 6, 0), "South tap": at(day, 6, 0), "Rain tank": at(day, 18, 30),
	}
	var turns []render.Turn
	for i, g := range groups() {
		if (day+i)%2 == 1 && i > 0 && i != 2 {
			continue
		}
		start := next[g.source]
		end := start.Add(time.Duration(g.minutes) * time.Minute)
		const changeover = 5 * time.Minute
		next[g.source] = end.Add(changeover)
		members := append([]render.Member(nil), g.members...)
		if g.name == "Lower row" {
			early := start.Add(35 * time.Minute)
			members[2].ClosesAt = &early
		}
		turns = append(turns, render.Turn{
			UID: fmt.Sprintf("turn-%02d-%d@tanager-bend.example", day, i), Status: render.Planned, Start: start, End: end,
			SourceName: g.source, ZoneName: g.name, Kind: g.kind, Members: members, Opener: g.opener, FlowLPerMin: g.flow,
		})
	}
	return turns
}

func shares() []render.Share {
	const reason = "The morning hours of North tap are full."
	return []render.Share{
		{PlotName: "Plot 1", LayoutName: "box bed", NeedLiters: 2460, DeliveredLiters: 2460, Fraction: 1},
		{PlotName: "Plot 2", LayoutName: "double rows", NeedLiters: 2370, DeliveredLiters: 2370, Fraction: 1},
		{PlotName: "Plot 4", LayoutName: "four laterals", NeedLiters: 2650, DeliveredLiters: 2280, Fraction: 0.86, Reason: "The sandy loam of this plot takes no more than 380 L in one run, and the morning hours leave no time for a second run after the soak."},
		{PlotName: "Plot 6", LayoutName: "half-inch long row", NeedLiters: 3340, DeliveredLiters: 2070, Fraction: 0.62, Reason: reason},
		{PlotName: "Plot 7", LayoutName: "two rows", NeedLiters: 3480, DeliveredLiters: 2160, Fraction: 0.62, Reason: reason},
		{PlotName: "Plot 11", NeedLiters: 720, DeliveredLiters: 720, Fraction: 1},
		{PlotName: "Plot 14", NeedLiters: 190, DeliveredLiters: 180, Fraction: 0.95, Reason: "The tank is not refilled before Friday."},
		{PlotName: "Plot 18", LayoutName: "clay bed", NeedLiters: 3000, DeliveredLiters: 3000, Fraction: 1},
		{PlotName: "Plot 19", LayoutName: "three laterals", NeedLiters: 2760, DeliveredLiters: 2760, Fraction: 1},
		{PlotName: "Plot 20", LayoutName: "herb spiral", NeedLiters: 780, DeliveredLiters: 780, Fraction: 1},
		{PlotName: "Communal bed", LayoutName: "rated outlets", NeedLiters: 750, DeliveredLiters: 750, Fraction: 1},
	}
}

func shorts(at func(day, hour, minute int) time.Time) []render.Shortfall {
	short := render.Shortfall{
		Plots: []string{"Plot 6, half-inch long row", "Plot 7, two rows"}, Fraction: 0.62, NeedLiters: 6820, MissingLiters: 2590,
		NeededMinutes: 363, OfferedMinutes: 225, MissingMinutes: 138, GainPerMinute: 1.0 / 363,
	}
	for _, day := range []int{7, 9, 11} {
		hours := render.Limit{SourceName: "North tap", Start: at(day, 6, 0), End: at(day, 9, 30), Day: at(day, 6, 0)}
		pauses, others := hours, hours
		hours.Kind, hours.Minutes = rotation.PartWindow, 210
		pauses.Kind, pauses.Minutes = rotation.PartChange, -10
		others.Kind, others.Minutes = rotation.PartOthers, -125
		short.Limits = append(short.Limits, hours, pauses, others)
	}
	return []render.Shortfall{short}
}

// Plan returns the week as a full report.
func Plan() render.Report {
	r := render.Report{
		Schedule: Week(),
		Layouts:  layouts(),
		Assumptions: []string{
			"The flow of a hole is computed with a discharge coefficient of 0.62; drilled holes measure 0.59 to 0.86.",
			"Weather from Friday on is the mean of the last seven days.",
		},
		Cautions: render.Circumstances{
			DrinkingWaterTap: true, ValveAfterTap: true, StoredWater: true, RoofWater: true, Hose: true, PlasticPipe: true, PeopleAtWork: true,
		}.Cautions(),
	}
	heads := []float64{0.62, 0.31, 0.85, 0, 1.4, 0}
	for i, g := range groups() {
		group := render.GroupReport{Name: g.name, SourceName: g.source, Kind: g.kind, FlowLPerMin: g.flow, HeadM: heads[i]}
		for _, m := range g.members {
			name := m.PlotName
			if m.LayoutName != "" {
				name += ", " + m.LayoutName
			}
			group.Members = append(group.Members, name)
		}
		r.Groups = append(r.Groups, group)
	}
	return r
}

func layouts() []render.LayoutReport {
	even := func(v float64) *float64 { return &v }
	return []render.LayoutReport{
		{PlotName: "Plot 1", LayoutName: "box bed", SourceName: "North tap", Kind: render.ZoneTurn, FlowLPerMin: 9.6, FlowLowLPerMin: 9.1, FlowHighLPerMin: 11.8, HeadM: 0.58, FirstHoleLPerH: 9.7, LastHoleLPerH: 9.4, Evenness: even(0.96)},
		{
			PlotName: "Plot 6", LayoutName: "half-inch long row", SourceName: "North tap", Kind: render.ZoneTurn, FlowLPerMin: 12.3, HeadM: 0.29, FirstHoleLPerH: 13.8, LastHoleLPerH: 0, Evenness: even(0.21),
			Warnings: []hydraulics.Warning{
				{Code: hydraulics.WarnLowHead, Path: "manifold.outlets[0].lateral", Value: 0.004, Limit: hydraulics.ReliableHead, Count: 31},
				{Code: hydraulics.WarnDryEnd, Path: "manifold.outlets[0].lateral", Value: 11.43, Limit: 90, Count: 15},
			},
		},
		{PlotName: "Plot 18", LayoutName: "clay bed", SourceName: "South tap", Kind: render.ZoneTurn, FlowLPerMin: 8.4, HeadM: 0.81, FirstHoleLPerH: 7.2, LastHoleLPerH: 6.1, Evenness: even(0.88), EvennessMeasured: true},
		{PlotName: "Plot 11", SourceName: "South tap", Kind: render.HoseTurn, FlowLPerMin: 17},
		{PlotName: "Plot 14", SourceName: "Rain tank", Kind: render.CanTurn},
		{PlotName: "Plot 23", LayoutName: "eleven laterals", SourceName: "South tap", Kind: render.ZoneTurn, FlowLPerMin: 24, HeadM: 0.02, FirstHoleLPerH: 1.9, LastHoleLPerH: 0, Evenness: even(0), Unservable: "No turn can water this layout: South tap cannot hold 3.0 cm of water over all its holes."},
	}
}
