package api

import (
	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
)

func waterHoursValues(b gen.WaterHoursValues) repo.WaterHoursValues {
	return repo.WaterHoursValues{
		WaterSourceID: b.WaterSourceId,
		Weekdays:      int16s(b.Weekdays),
		StartLocal:    b.StartLocal,
		EndLocal:      b.EndLocal,
		ValidFrom:     dayOf(b.ValidFrom),
		ValidTo:       dayOf(b.ValidTo),
		Note:          b.Note,
	}
}

func waterHoursView(r repo.WaterHours) gen.WaterHours {
	return gen.WaterHours{
		Id:            r.ID,
		WaterSourceId: r.WaterSourceID,
		Weekdays:      int32s(r.Weekdays),
		StartLocal:    r.StartLocal,
		EndLocal:      r.EndLocal,
		ValidFrom:     datePointer(r.ValidFrom),
		ValidTo:       datePointer(r.ValidTo),
		Note:          r.Note,
		Revision:      r.Revision,
		CreatedAt:     r.CreatedAt,
		UpdatedAt:     r.UpdatedAt,
	}
}
