package api

import (
	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
)

func gardenValues(b gen.GardenValues) repo.GardenValues {
	return repo.GardenValues{
		Name:          b.Name,
		TimeZone:      b.TimeZone,
		LatitudeDeg:   b.LatitudeDeg,
		LongitudeDeg:  b.LongitudeDeg,
		ElevationM:    b.ElevationM,
		Units:         string(b.Units),
		Language:      string(b.Language),
		WaterOn:       dayOf(b.WaterOn),
		WaterOff:      dayOf(b.WaterOff),
		Fairness:      string(b.Fairness),
		FreeShare:     b.FreeShare,
		StartGridMin:  b.StartGridMin,
		NoticePeriodH: b.NoticePeriodH,
		Coastal:       b.Coastal,
		HumidityClass: text(b.HumidityClass),
	}
}

func gardenView(r repo.Garden) gen.Garden {
	return gen.Garden{
		Id:              r.GardenID,
		Name:            r.Name,
		TimeZone:        r.TimeZone,
		LatitudeDeg:     r.LatitudeDeg,
		LongitudeDeg:    r.LongitudeDeg,
		ElevationM:      r.ElevationM,
		Units:           gen.Units(r.Units),
		Language:        gen.Language(r.Language),
		WaterOn:         datePointer(r.WaterOn),
		WaterOff:        datePointer(r.WaterOff),
		Fairness:        gen.Fairness(r.Fairness),
		FreeShare:       r.FreeShare,
		StartGridMin:    r.StartGridMin,
		NoticePeriodH:   r.NoticePeriodH,
		Coastal:         r.Coastal,
		HumidityClass:   word[gen.HumidityClass](r.HumidityClass),
		PlanRevision:    r.PlanRevision,
		ScheduleVersion: r.ScheduleVersion,
		Revision:        r.Revision,
		CreatedAt:       r.CreatedAt,
		UpdatedAt:       r.UpdatedAt,
	}
}
