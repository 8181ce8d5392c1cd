package api

import (
	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
)

func waterSourceValues(b gen.WaterSourceValues) repo.WaterSourceValues {
	return repo.WaterSourceValues{
		Name:                 b.Name,
		Kind:                 string(b.Kind),
		ServiceLineID:        b.ServiceLineId,
		HoseConnections:      b.HoseConnections,
		HoseLengthM:          b.HoseLengthM,
		HoseInsideDiameterMm: b.HoseInsideDiameterMm,
		StaticHeadM:          b.StaticHeadM,
		ChangeoverMin:        b.ChangeoverMin,
		MinRunMin:            b.MinRunMin,
		FlowLimitLPerMin:     b.FlowLimitLPerMin,
		DailyVolumeLimitL:    b.DailyVolumeLimitL,
		TankVolumeL:          b.TankVolumeL,
		TankLevelM:           b.TankLevelM,
		TankRefillLPerDay:    b.TankRefillLPerDay,
		TankOutletDiameterMm: b.TankOutletDiameterMm,
		TankOutletK:          b.TankOutletK,
	}
}

func waterSourceView(r repo.WaterSource) gen.WaterSource {
	return gen.WaterSource{
		Id:                   r.ID,
		Name:                 r.Name,
		Kind:                 gen.WaterSourceKind(r.Kind),
		ServiceLineId:        r.ServiceLineID,
		HoseConnections:      r.HoseConnections,
		HoseLengthM:          r.HoseLengthM,
		HoseInsideDiameterMm: r.HoseInsideDiameterMm,
		StaticHeadM:          r.StaticHeadM,
		ChangeoverMin:        r.ChangeoverMin,
		MinRunMin:            r.MinRunMin,
		FlowLimitLPerMin:     r.FlowLimitLPerMin,
		DailyVolumeLimitL:    r.DailyVolumeLimitL,
		TankVolumeL:          r.TankVolumeL,
		TankLevelM:           r.TankLevelM,
		TankRefillLPerDay:    r.TankRefillLPerDay,
		TankOutletDiameterMm: r.TankOutletDiameterMm,
		TankOutletK:          r.TankOutletK,
		Revision:             r.Revision,
		CreatedAt:            r.CreatedAt,
		UpdatedAt:            r.UpdatedAt,
	}
}
