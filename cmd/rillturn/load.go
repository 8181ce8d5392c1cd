package main

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/google/uuid"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service"
	"rillturn.example/rillturn/service/file"
)

// loader enters a garden file through the methods of the service that the API uses.
type loader struct {
	svc *service.Service
	p   service.Principal // the garden's first coordinator

	members, lines, sources, plots, layouts, plantings map[string]uuid.UUID
}

// loadGarden opens the garden of a file and enters everything in it. The file's first member is its first coordinator.
func loadGarden(ctx context.Context, svc *service.Service, g file.Garden) (service.Principal, error) {
	l := &loader{
		svc: svc, members: map[string]uuid.UUID{}, lines: map[string]uuid.UUID{}, sources: map[string]uuid.UUID{}, plots: map[string]uuid.UUID{},
		layouts: map[string]uuid.UUID{}, plantings: map[string]uuid.UUID{},
	}
	for _, step := range []func(context.Context, file.Garden) error{l.open, l.people, l.water, l.hours, l.ground, l.draw, l.climate, l.plant, l.digs, l.weather, l.rain, l.shed} {
		if err := step(ctx, g); err != nil {
			return l.p, fmt.Errorf("load %s: %w", g.Garden.Name, err)
		}
	}
	return l.p, nil
}

func (l *loader) open(ctx context.Context, g file.Garden) error {
	s := g.Garden
	made, err := l.svc.CreateGarden(ctx, service.Principal{Role: service.Operator, Name: "demo"}, repo.GardenValues{
		Name: s.Name, TimeZone: s.TimeZone, LatitudeDeg: s.LatitudeDeg, LongitudeDeg: s.LongitudeDeg, ElevationM: s.ElevationM, Units: s.Units,
		Language: s.Language, WaterOn: timeOf(s.WaterOn), WaterOff: timeOf(s.WaterOff), Fairness: s.Fairness, FreeShare: s.FreeShare,
		StartGridMin: s.StartGridMin, NoticePeriodH: s.NoticePeriodH, Coastal: s.Coastal, HumidityClass: nonEmpty(s.HumidityClass),
	}, g.Members[0].Name)
	if err != nil {
		return err
	}
	l.members[g.Members[0].ID] = made.Coordinator.ID
	l.p, err = l.svc.Authenticate(ctx, made.Secret)
	return err
}

func (l *loader) people(ctx context.Context, g file.Garden) error {
	for _, m := range g.Members[1:] {
		row, err := l.svc.CreateMember(ctx, l.p, repo.MemberValues{Name: m.Name, Role: m.Role})
		if err != nil {
			return fmt.Errorf("member %s: %w", m.Name, err)
		}
		l.members[m.ID] = row.ID
	}
	return nil
}

func (l *loader) water(ctx context.Context, g file.Garden) error {
	for _, s := range g.ServiceLines {
		row, err := l.svc.CreateServiceLine(ctx, l.p, repo.ServiceLineValues{
			Name: s.Name, FlowLimitLPerMin: s.FlowLimitLPerMin, DailyVolumeLimitL: s.DailyVolumeLimitL, ElsewhereLPerMin: s.ElsewhereLPerMin,
		})
		if err != nil {
			return fmt.Errorf("service line %s: %w", s.Name, err)
		}
		l.lines[s.ID] = row.ID
	}
	for _, s := range g.WaterSources {
		row, err := l.svc.CreateWaterSource(ctx, l.p, repo.WaterSourceValues{
			Name: s.Name, Kind: s.Kind, ServiceLineID: lookup(l.lines, s.ServiceLineID), HoseConnections: int32(s.HoseConnections),
			HoseLengthM: s.HoseLengthM, HoseInsideDiameterMm: s.HoseInsideDiameterMM, StaticHeadM: s.StaticHeadM, ChangeoverMin: s.ChangeoverMin,
			MinRunMin: s.MinRunMin, FlowLimitLPerMin: s.FlowLimitLPerMin, DailyVolumeLimitL: s.DailyVolumeLimitL, TankVolumeL: s.TankVolumeL,
			TankLevelM: s.TankLevelM, TankRefillLPerDay: s.TankRefillLPerDay, TankOutletDiameterMm: s.TankOutletDiameterMM,
			TankOutletK: s.TankOutletK,
		})
		if err != nil {
			return fmt.Errorf("water source %s: %w", s.Name, err)
		}
		l.sources[s.ID] = row.ID
		for _, t := range s.FlowTests {
			_, err := l.svc.CreateFlowTest(ctx, l.p, repo.FlowTestValues{
				WaterSourceID: row.ID, TestedAt: *t.TestedAt, Kind: t.Kind, HeadM: t.HeadM, FlowLPerMin: t.FlowLPerMin, VolumeL: t.VolumeL,
				DurationS: t.DurationS, AfterHose: t.AfterHose, OtherFlowLPerMin: t.OtherFlowLPerMin, Note: t.Note,
			})
			if err != nil {
				return fmt.Errorf("flow test of %s: %w", s.Name, err)
			}
		}
	}
	return nil
}

func (l *loader) hours(ctx context.Context, g file.Garden) error {
	for _, h := range g.WaterHours {
		_, err := l.svc.CreateWaterHours(ctx, l.p, repo.WaterHoursValues{
			WaterSourceID: lookup(l.sources, h.WaterSourceID), Weekdays: smallInts(h.Weekdays), StartLocal: h.StartLocal, EndLocal: h.EndLocal,
			ValidFrom: timeOf(h.ValidFrom), ValidTo: timeOf(h.ValidTo), Note: h.Note,
		})
		if err != nil {
			return fmt.Errorf("water hours %s: %w", h.ID, err)
		}
	}
	for _, c := range g.Closures {
		_, err := l.svc.CreateClosure(ctx, l.p, repo.ClosureValues{
			WaterSourceID: lookup(l.sources, c.WaterSourceID), FirstDay: c.FirstDay.Time, LastDay: c.LastDay.Time, Weekdays: smallInts(c.Weekdays),
			DayParity: c.DayParity, ExemptMethods: append([]string{}, c.ExemptMethods...), Rule: c.Rule,
		})
		if err != nil {
			return fmt.Errorf("closure %s: %w", c.ID, err)
		}
	}
	return nil
}

func (l *loader) ground(ctx context.Context, g file.Garden) error {
	for _, p := range g.Plots {
		row, err := l.svc.CreatePlot(ctx, l.p, repo.PlotValues{
			Label: p.Label, AreaM2: p.AreaM2, Method: p.Method, Communal: p.Communal, WaterSourceID: lookup(l.sources, p.WaterSourceID),
			HoseFlowLPerMin: p.HoseFlowLPerMin, CanVolumeL: p.CanVolumeL, CanMinutesEach: p.CanMinutesEach, MaxDayMin: p.MaxDayMin,
			SoilTexture: p.SoilTexture, FieldCapacity: p.FieldCapacity, WiltingPoint: p.WiltingPoint, BedDepthM: p.BedDepthM,
		})
		if err != nil {
			return fmt.Errorf("plot %s: %w", p.Label, err)
		}
		l.plots[p.ID] = row.ID
		for _, h := range p.Holders {
			_, err := l.svc.CreateHolder(ctx, l.p, repo.PlotHolderValues{
				PlotID: row.ID, MemberID: l.members[h.MemberID], HeldFrom: h.HeldFrom.Time, HeldTo: timeOf(h.HeldTo),
			})
			if err != nil {
				return fmt.Errorf("holder of plot %s: %w", p.Label, err)
			}
		}
	}
	return nil
}

// draw enters the layouts and takes each through its review.
func (l *loader) draw(ctx context.Context, g file.Garden) error {
	for _, d := range g.Layouts {
		row, err := l.svc.CreateLayout(ctx, l.p, repo.LayoutValues{
			PlotID: l.plots[d.PlotID], WaterSourceID: l.sources[d.WaterSourceID], Name: d.Name, OwnValve: d.OwnValve, MeasuredDu: d.MeasuredDU,
		}, d.Spec)
		if err == nil {
			row, err = l.svc.SubmitLayout(ctx, l.p, row.Layout.ID, row.Layout.Revision)
		}
		if err == nil {
			row, err = l.svc.AcceptLayout(ctx, l.p, row.Layout.ID, row.Layout.Revision)
		}
		if err != nil {
			return fmt.Errorf("layout %s: %w", d.ID, err)
		}
		l.layouts[d.ID] = row.Layout.ID
	}
	return nil
}

// climate enters the garden's own crops, its normals and its stations.
func (l *loader) climate(ctx context.Context, g file.Garden) error {
	for _, c := range g.Crops {
		if _, err := l.svc.CreateOwnCrop(ctx, l.p, c); err != nil {
			return fmt.Errorf("crop %s: %w", c.Code, err)
		}
	}
	if len(g.Normals) > 0 {
		if _, err := l.svc.ReplaceClimateNormals(ctx, l.p, 1, g.Normals); err != nil {
			return fmt.Errorf("climate normals: %w", err)
		}
	}
	if len(g.Stations) > 0 {
		if _, err := l.svc.ReplaceWeatherStations(ctx, l.p, 1, g.Stations); err != nil {
			return fmt.Errorf("weather stations: %w", err)
		}
	}
	return nil
}

func (l *loader) plant(ctx context.Context, g file.Garden) error {
	for _, p := range g.Plantings {
		v := repo.PlantingValues{
			PlotID: l.plots[p.PlotID], LayoutID: lookup(l.layouts, p.LayoutID), Crop: p.Crop, PlantedOn: p.PlantedOn.Time, RemovedOn: timeOf(p.RemovedOn),
			AreaM2: p.AreaM2, WettedFraction: p.WettedFraction, Mulch: p.Mulch, MulchCover: p.MulchCover, PlantSpacingM: p.PlantSpacingM,
			RowSpacingM: p.RowSpacingM, Outlets: smallInts(p.Outlets), FromM: p.FromM, ToM: p.ToM, BothSides: p.BothSides, Note: p.Note,
			Establishment: nonEmpty(p.Establishment), Supported: p.Supported, ExposureFactor: p.ExposureFactor, DualCoefficient: p.DualCoefficient,
			Opening: nonEmpty(p.Opening), OpeningDepletionMm: p.OpeningDepletionMM, GroundShare: p.GroundShare,
		}
		var err error
		if v.Companions, err = json.Marshal(append([]file.PlantingCompanion{}, p.Companions...)); err != nil {
			return err
		}
		if p.CropConstants != nil {
			constants, err := json.Marshal(p.CropConstants)
			if err != nil {
				return err
			}
			v.CropConstants = constants
		}
		row, err := l.svc.CreatePlanting(ctx, l.p, v)
		if err != nil {
			return fmt.Errorf("planting %s: %w", p.ID, err)
		}
		l.plantings[p.ID] = row.ID
	}
	return nil
}

func (l *loader) digs(ctx context.Context, g file.Garden) error {
	for i, d := range g.Digs {
		_, err := l.svc.CreateDig(ctx, l.p, repo.DigValues{
			PlotID: l.plots[d.PlotID], PlantingID: lookup(l.plantings, d.PlantingID), Day: d.Day.Time, Finding: nonEmpty(d.Finding),
			DepletionMm: d.DepletionMM,
		})
		if err != nil {
			return fmt.Errorf("dig %d: %w", i, err)
		}
	}
	return nil
}

func (l *loader) weather(ctx context.Context, g file.Garden) error {
	days := make([]repo.WeatherDay, len(g.Weather))
	for i, d := range g.Weather {
		days[i] = repo.WeatherDay{
			Station: d.Station, Day: d.Day.Time, Kind: d.Kind, TmaxC: d.TmaxC, TminC: d.TminC, DewPointC: d.DewPointC, RhMaxPct: d.RhMaxPct,
			RhMinPct: d.RhMinPct, RhMeanPct: d.RhMeanPct, WindMS: d.WindMS, WindHeightM: d.WindHeightM, RadiationMjM2: d.RadiationMjM2,
			SunshineH: d.SunshineH, RainMm: d.RainMm, VaporPressureKpa: d.VaporPressureKpa, DryBulbC: d.DryBulbC, WetBulbC: d.WetBulbC,
			Psychrometer: nonEmpty(d.Psychrometer), Et0Mm: d.ET0Mm,
		}
	}
	return l.svc.StoreWeather(ctx, l.p, days)
}

func (l *loader) rain(ctx context.Context, g file.Garden) error {
	for i, r := range g.RainReadings {
		if _, err := l.svc.CreateRainReading(ctx, l.p, repo.RainReadingValues{PlotID: l.plots[r.PlotID], Day: r.Day.Time, RainMm: r.RainMm}); err != nil {
			return fmt.Errorf("rain reading %d: %w", i, err)
		}
	}
	return nil
}

// shed enters what is in the store, and the workshop.
func (l *loader) shed(ctx context.Context, g file.Garden) error {
	if _, _, err := l.svc.ReplaceWorkshop(ctx, l.p, 1, g.Workshop); err != nil {
		return fmt.Errorf("workshop: %w", err)
	}
	for _, s := range g.StoredPipes {
		_, err := l.svc.CreateStoredPipe(ctx, l.p, repo.StoredPipeValues{
			Label: s.Label, OwnerID: lookup(l.members, s.OwnerID), Condition: s.Condition, Note: s.Note,
			ReservedLayoutID: lookup(l.layouts, s.ReservedLayoutID), FromLayoutID: lookup(l.layouts, s.FromLayoutID),
		}, s)
		if err != nil {
			return fmt.Errorf("stored pipe %s: %w", s.Label, err)
		}
	}
	return nil
}

func timeOf(d *file.Day) *time.Time {
	if d == nil {
		return nil
	}
	return &d.Time
}

func lookup(ids map[string]uuid.UUID, id *string) *uuid.UUID {
	if id == nil {
		return nil
	}
	found := ids[*id]
	return &found
}

func smallInts(in []int) []int16 {
	out := make([]int16, len(in))
	for i, v := range in {
		out[i] = int16(v)
	}
	return out
}

// nonEmpty is a text, or nil where there is none.
func nonEmpty(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}
