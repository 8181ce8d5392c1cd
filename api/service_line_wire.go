package api

import (
	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
)

func serviceLineValues(b gen.ServiceLineValues) repo.ServiceLineValues {
	return repo.ServiceLineValues{
		Name:              b.Name,
		FlowLimitLPerMin:  b.FlowLimitLPerMin,
		DailyVolumeLimitL: b.DailyVolumeLimitL,
		ElsewhereLPerMin:  b.ElsewhereLPerMin,
	}
}

func serviceLineView(r repo.ServiceLine) gen.ServiceLine {
	return gen.ServiceLine{
		Id:                r.ID,
		Name:              r.Name,
		FlowLimitLPerMin:  r.FlowLimitLPerMin,
		DailyVolumeLimitL: r.DailyVolumeLimitL,
		ElsewhereLPerMin:  r.ElsewhereLPerMin,
		Revision:          r.Revision,
		CreatedAt:         r.CreatedAt,
		UpdatedAt:         r.UpdatedAt,
	}
}
