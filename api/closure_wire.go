package api

import (
	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
)

func closureValues(b gen.ClosureValues) repo.ClosureValues {
	return repo.ClosureValues{
		WaterSourceID: b.WaterSourceId,
		FirstDay:      b.FirstDay.Time,
		LastDay:       b.LastDay.Time,
		Weekdays:      int16s(b.Weekdays),
		DayParity:     string(b.DayParity),
		ExemptMethods: texts(b.ExemptMethods),
		Rule:          b.Rule,
	}
}

func closureView(r repo.Closure) gen.Closure {
	return gen.Closure{
		Id:            r.ID,
		WaterSourceId: r.WaterSourceID,
		FirstDay:      date(r.FirstDay),
		LastDay:       date(r.LastDay),
		Weekdays:      int32s(r.Weekdays),
		DayParity:     gen.DayParity(r.DayParity),
		ExemptMethods: words[gen.ExemptMethod](r.ExemptMethods),
		Rule:          r.Rule,
		Revision:      r.Revision,
		CreatedAt:     r.CreatedAt,
		UpdatedAt:     r.UpdatedAt,
	}
}
