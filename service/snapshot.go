package service

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/file"
)

// weatherBefore is how many days of weather before the horizon a plan may look at: ledgers begin no earlier than the
// first recorded watering, and those of a season fit.
const weatherBefore = 366

// snapshot reads everything that a plan of the garden depends on, as a garden file. With a moment it holds the published
// rotation as it stands then, which the plan follows.
func snapshot(ctx context.Context, tx pgx.Tx, garden uuid.UUID, h file.Horizon, now time.Time) (file.Garden, error) {
	s := &snapping{q: repo.New(tx), garden: garden, horizon: h}
	out := file.Garden{Horizon: h}
	for _, read := range []func(context.Context, *file.Garden) error{s.settings, s.people, s.water, s.closures, s.outages, s.ground, s.rules, s.climate, s.weather, s.rainReadings, s.watered, s.digs} {
		if err := read(ctx, &out); err != nil {
			return out, fmt.Errorf("snapshot of garden %s: %w", garden, err)
		}
	}
	if now.IsZero() {
		return out, nil
	}
	if err := s.follow(ctx, &out, now); err != nil {
		return out, fmt.Errorf("published rotation of garden %s: %w", garden, err)
	}
	return out, nil
}

type snapping struct {
	q       *repo.Queries
	garden  uuid.UUID
	horizon file.Horizon
	loc     *time.Location
}

func (s *snapping) settings(ctx context.Context, out *file.Garden) error {
	g, err := s.q.GardenByID(ctx, s.garden)
	if err != nil {
		return err
	}
	if s.loc, err = time.LoadLocation(g.TimeZone); err != nil {
		return err
	}
	out.Garden = settingsFile(g)
	return nil
}

func settingsFile(g repo.Garden) file.GardenSettings {
	out := file.GardenSettings{
		ID: g.GardenID.String(), Name: g.Name, TimeZone: g.TimeZone, LatitudeDeg: g.LatitudeDeg, LongitudeDeg: g.LongitudeDeg,
		ElevationM: g.ElevationM, Units: g.Units, Language: g.Language, WaterOn: dayPointer(g.WaterOn), WaterOff: dayPointer(g.WaterOff),
		Fairness: g.Fairness, FreeShare: g.FreeShare, StartGridMin: g.StartGridMin, NoticePeriodH: g.NoticePeriodH, Coastal: g.Coastal,
	}
	if g.HumidityClass != nil {
		out.HumidityClass = *g.HumidityClass
	}
	return out
}

func (s *snapping) people(ctx context.Context, out *file.Garden) error {
	members, err := s.q.MemberList(ctx, s.garden)
	for _, m := range members {
		out.Members = append(out.Members, file.Member{ID: m.ID.String(), Name: m.Name, Role: m.Role})
	}
	return err
}

// water reads the service lines, the sources with their flow tests, and the hours in which they may run.
func (s *snapping) water(ctx context.Context, out *file.Garden) error {
	lines, err := s.q.ServiceLineList(ctx, s.garden)
	if err != nil {
		return err
	}
	for _, l := range lines {
		out.ServiceLines = append(out.ServiceLines, file.ServiceLine{
			ID: l.ID.String(), Name: l.Name, FlowLimitLPerMin: l.FlowLimitLPerMin, DailyVolumeLimitL: l.DailyVolumeLimitL,
			ElsewhereLPerMin: l.ElsewhereLPerMin,
		})
	}
	sources, err := s.q.WaterSourceList(ctx, s.garden)
	if err != nil {
		return err
	}
	tests, err := s.q.FlowTestList(ctx, s.garden)
	if err != nil {
		return err
	}
	for _, w := range sources {
		own := slices.DeleteFunc(slices.Clone(tests), func(t repo.FlowTest) bool { return t.WaterSourceID != w.ID })
		out.WaterSources = append(out.WaterSources, waterSourceFile(w, own))
	}
	hours, err := s.q.WaterHoursList(ctx, s.garden)
	if err != nil {
		return err
	}
	for _, h := range hours {
		out.WaterHours = append(out.WaterHours, file.WaterHours{
			ID: h.ID.String(), WaterSourceID: idPointer(h.WaterSourceID), Weekdays: ints(h.Weekdays), StartLocal: h.StartLocal,
			EndLocal: h.EndLocal, ValidFrom: dayPointer(h.ValidFrom), ValidTo: dayPointer(h.ValidTo), Note: h.Note,
		})
	}
	return nil
}

func (s *snapping) closures(ctx context.Context, out *file.Garden) error {
	closures, err := s.q.ClosureList(ctx, s.garden)
	if err != nil {
		return err
	}
	for _, c := range closures {
		out.Closures = append(out.Closures, file.Closure{
			ID: c.ID.String(), WaterSourceID: idPointer(c.WaterSourceID), FirstDay: file.Day{Time: c.FirstDay}, LastDay: file.Day{Time: c.LastDay},
			Weekdays: ints(c.Weekdays), DayParity: c.DayParity, ExemptMethods: c.ExemptMethods, Rule: c.Rule,
		})
	}
	return nil
}

func (s *snapping) ground(ctx context.Context, out *file.Garden) error {
	plots, err := s.q.PlotList(ctx, s.garden)
	if err != nil {
		return err
	}
	for _, p := range plots {
		out.Plots = append(out.Plots, file.Plot{
			ID: p.ID.String(), Label: p.Label, AreaM2: p.AreaM2, Method: p.Method, Communal: p.Communal, WaterSourceID: idPointer(p.WaterSourceID),
			HoseFlowLPerMin: p.HoseFlowLPerMin, CanVolumeL: p.CanVolumeL, CanMinutesEach: p.CanMinutesEach, MaxDayMin: p.MaxDayMin,
			SoilTexture: p.SoilTexture, FieldCapacity: p.FieldCapacity, WiltingPoint: p.WiltingPoint, BedDepthM: p.BedDepthM,
		})
	}
	layouts, err := s.q.LayoutListAccepted(ctx, s.garden)
	if err != nil {
		return err
	}
	for _, l := range layouts {
		of := layoutFile(l.Layout)
		if err := json.Unmarshal(l.LayoutRevision.Spec, &of.Spec); err != nil {
			return fmt.Errorf("document of layout %s: %w", of.ID, err)
		}
		out.Layouts = append(out.Layouts, of)
	}
	return s.plantings(ctx, out)
}

// layoutFile is a layout as a garden file has it, without its document.
func layoutFile(l repo.Layout) file.LayoutOnPlot {
	return file.LayoutOnPlot{
		ID: l.ID.String(), PlotID: l.PlotID.String(), WaterSourceID: l.WaterSourceID.String(), Name: l.Name, OwnValve: l.OwnValve,
		MeasuredDU: l.MeasuredDu,
	}
}

func (s *snapping) plantings(ctx context.Context, out *file.Garden) error {
	plantings, err := s.q.PlantingList(ctx, s.garden)
	if err != nil {
		return err
	}
	for _, p := range plantings {
		of, err := plantingFile(p)
		if err != nil {
			return err
		}
		out.Plantings = append(out.Plantings, of)
	}
	return nil
}

func plantingFile(p repo.Planting) (file.Planting, error) {
	of := file.Planting{
		ID: p.ID.String(), PlotID: p.PlotID.String(), LayoutID: idPointer(p.LayoutID), Crop: p.Crop, CropConstants: &file.Crop{},
		PlantedOn: file.Day{Time: p.PlantedOn}, RemovedOn: dayPointer(p.RemovedOn), AreaM2: p.AreaM2, WettedFraction: p.WettedFraction,
		Mulch: p.Mulch, MulchCover: p.MulchCover, PlantSpacingM: p.PlantSpacingM, RowSpacingM: p.RowSpacingM,
		Outlets: ints(p.Outlets), FromM: p.FromM, ToM: p.ToM, BothSides: p.BothSides, Note: p.Note,
		Supported: p.Supported, ExposureFactor: p.ExposureFactor, DualCoefficient: p.DualCoefficient, GroundShare: p.GroundShare,
		OpeningDepletionMM: p.OpeningDepletionMm,
	}
	if p.Establishment != nil {
		of.Establishment = *p.Establishment
	}
	if p.Opening != nil {
		of.Opening = *p.Opening
	}
	if err := errors.Join(json.Unmarshal(p.CropConstants, of.CropConstants), json.Unmarshal(p.Companions, &of.Companions)); err != nil {
		return of, fmt.Errorf("documents of planting %s: %w", of.ID, err)
	}
	return of, nil
}

func (s *snapping) weather(ctx context.Context, out *file.Garden) error {
	first := s.horizon.FirstDay.Time
	days, err := s.q.WeatherDayList(ctx, s.garden, first.AddDate(0, 0, -weatherBefore), first.AddDate(0, 0, s.horizon.Days))
	for _, d := range days {
		out.Weather = append(out.Weather, weatherDayFile(d))
	}
	return err
}

// watered reads the turns before the horizon, as published and as last reported.
func (s *snapping) watered(ctx context.Context, out *file.Garden) error {
	start := instant(s.horizon.FirstDay.Time, 0, s.loc)
	begin := start.AddDate(0, 0, -weatherBefore)
	turns, err := s.q.TurnListPlannedIn(ctx, s.garden, begin, start)
	if err != nil {
		return err
	}
	reports, err := s.q.TurnReportListIn(ctx, s.garden, begin, start)
	if err != nil {
		return err
	}
	last := map[uuid.UUID]repo.TurnReport{}
	for _, r := range reports { // in the order in which they came: the last one holds
		last[r.TurnID] = r
	}
	ids := make([]uuid.UUID, len(turns))
	byID := map[uuid.UUID]repo.Turn{}
	for i, t := range turns {
		ids[i], byID[t.ID] = t.ID, t
	}
	members, err := s.q.TurnMemberListByTurns(ctx, s.garden, ids)
	if err != nil {
		return err
	}
	for _, m := range members {
		out.Waterings = append(out.Waterings, wateringFile(byID[m.TurnID], m, last[m.TurnID], s.loc))
	}
	slices.SortStableFunc(out.Waterings, func(a, b file.Watering) int { return a.Day.Compare(b.Day.Time) })
	return nil
}

// wateringFile is what a turn gave one of its members; without a report the outcome is empty. A member whose own valve
// closes before the turn ends got no more of a turn that overran.
func wateringFile(t repo.Turn, m repo.TurnMember, r repo.TurnReport, loc *time.Location) file.Watering {
	closes := t.EndsAt
	if m.ClosesAt != nil {
		closes = *m.ClosesAt
	}
	w := file.Watering{
		PlotID: m.PlotID.String(), LayoutID: idPointer(m.LayoutID), Day: file.DayOf(t.StartsAt.In(loc)), VolumeL: m.VolumeL,
		DurationMin: closes.Sub(t.StartsAt).Minutes(), Outcome: r.Outcome, RanMin: r.DurationMin,
	}
	if r.DurationMin != nil && m.ClosesAt != nil {
		own := min(*r.DurationMin, w.DurationMin)
		w.RanMin = &own
	}
	return w
}

func waterSourceFile(w repo.WaterSource, tests []repo.FlowTest) file.WaterSource {
	out := file.WaterSource{
		ID: w.ID.String(), Name: w.Name, Kind: w.Kind, ServiceLineID: idPointer(w.ServiceLineID), HoseConnections: int(w.HoseConnections),
		HoseLengthM: w.HoseLengthM, HoseInsideDiameterMM: w.HoseInsideDiameterMm, StaticHeadM: w.StaticHeadM, ChangeoverMin: w.ChangeoverMin,
		MinRunMin: w.MinRunMin, FlowLimitLPerMin: w.FlowLimitLPerMin, DailyVolumeLimitL: w.DailyVolumeLimitL, TankVolumeL: w.TankVolumeL,
		TankLevelM: w.TankLevelM, TankRefillLPerDay: w.TankRefillLPerDay, TankOutletDiameterMM: w.TankOutletDiameterMm, TankOutletK: w.TankOutletK,
	}
	for _, t := range tests {
		tested := t.TestedAt.UTC()
		out.FlowTests = append(out.FlowTests, file.FlowTest{
			TestedAt: &tested, Kind: t.Kind, HeadM: t.HeadM, FlowLPerMin: t.FlowLPerMin, VolumeL: t.VolumeL, DurationS: t.DurationS,
			AfterHose: t.AfterHose, OtherFlowLPerMin: t.OtherFlowLPerMin, Note: t.Note,
		})
	}
	return out
}

func dayPointer(t *time.Time) *file.Day {
	if t == nil {
		return nil
	}
	return &file.Day{Time: *t}
}

func idPointer(id *uuid.UUID) *string {
	if id == nil {
		return nil
	}
	s := id.String()
	return &s
}

func ints(in []int16) []int {
	out := make([]int, len(in))
	for i, v := range in {
		out[i] = int(v)
	}
	return out
}
