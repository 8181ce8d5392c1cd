package api

import (
	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
)

func plotValues(b gen.PlotValues) repo.PlotValues {
	return repo.PlotValues{
		Label:           b.Label,
		AreaM2:          b.AreaM2,
		Method:          string(b.Method),
		Communal:        b.Communal,
		WaterSourceID:   b.WaterSourceId,
		HoseFlowLPerMin: b.HoseFlowLPerMin,
		CanVolumeL:      b.CanVolumeL,
		CanMinutesEach:  b.CanMinutesEach,
		MaxDayMin:       b.MaxDayMin,
		SoilTexture:     text(b.SoilTexture),
		FieldCapacity:   b.FieldCapacity,
		WiltingPoint:    b.WiltingPoint,
		BedDepthM:       b.BedDepthM,
	}
}

func plotView(r repo.Plot) gen.Plot {
	return gen.Plot{
		Id:              r.ID,
		Label:           r.Label,
		AreaM2:          r.AreaM2,
		Method:          gen.WateringMethod(r.Method),
		Communal:        r.Communal,
		WaterSourceId:   r.WaterSourceID,
		HoseFlowLPerMin: r.HoseFlowLPerMin,
		CanVolumeL:      r.CanVolumeL,
		CanMinutesEach:  r.CanMinutesEach,
		MaxDayMin:       r.MaxDayMin,
		SoilTexture:     word[gen.SoilTexture](r.SoilTexture),
		FieldCapacity:   r.FieldCapacity,
		WiltingPoint:    r.WiltingPoint,
		BedDepthM:       r.BedDepthM,
		Revision:        r.Revision,
		CreatedAt:       r.CreatedAt,
		UpdatedAt:       r.UpdatedAt,
	}
}
