package api

import (
	"encoding/json"
	"fmt"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/file"
)

func plantingValues(b gen.PlantingValues) (repo.PlantingValues, error) {
	companions, err := json.Marshal(append([]file.PlantingCompanion{}, b.Companions...))
	if err != nil {
		return repo.PlantingValues{}, err
	}
	var constants json.RawMessage
	if b.CropConstants != nil {
		constants, err = json.Marshal(b.CropConstants)
	}
	return repo.PlantingValues{
		CropConstants:  constants,
		PlotID:         b.PlotId,
		Crop:           b.Crop,
		PlantedOn:      b.PlantedOn.Time,
		RemovedOn:      dayOf(b.RemovedOn),
		AreaM2:         b.AreaM2,
		WettedFraction: b.WettedFraction,
		Mulch:          string(b.Mulch),
		MulchCover:     b.MulchCover,
		PlantSpacingM:  b.PlantSpacingM,
		RowSpacingM:    b.RowSpacingM,
		LayoutID:       b.LayoutId,
		Outlets:        int16s(b.Outlets),
		FromM:          b.FromM,
		ToM:            b.ToM,
		BothSides:      b.BothSides,
		Note:           b.Note,
		Establishment:  text(b.Establishment), Supported: b.Supported, ExposureFactor: b.ExposureFactor, DualCoefficient: b.DualCoefficient,
		Opening: text(b.Opening), OpeningDepletionMm: b.OpeningDepletionMm, GroundShare: b.GroundShare, Companions: companions,
	}, err
}

// plantingView shows a planting with the crop's constants as they were copied.
func plantingView(r repo.Planting) (gen.Planting, error) {
	var crop gen.Crop
	if err := json.Unmarshal(r.CropConstants, &crop); err != nil {
		return gen.Planting{}, fmt.Errorf("stored crop constants of planting %s: %w", r.ID, err)
	}
	var companions []file.PlantingCompanion
	if err := json.Unmarshal(r.Companions, &companions); err != nil {
		return gen.Planting{}, fmt.Errorf("stored companions of planting %s: %w", r.ID, err)
	}
	return gen.Planting{
		CropConstants:  &crop,
		Id:             r.ID,
		PlotId:         r.PlotID,
		Crop:           r.Crop,
		PlantedOn:      date(r.PlantedOn),
		RemovedOn:      datePointer(r.RemovedOn),
		AreaM2:         r.AreaM2,
		WettedFraction: r.WettedFraction,
		Mulch:          gen.Mulch(r.Mulch),
		MulchCover:     r.MulchCover,
		PlantSpacingM:  r.PlantSpacingM,
		RowSpacingM:    r.RowSpacingM,
		LayoutId:       r.LayoutID,
		Outlets:        int32s(r.Outlets),
		FromM:          r.FromM,
		ToM:            r.ToM,
		BothSides:      r.BothSides,
		Note:           r.Note,
		Establishment:  word[gen.Establishment](r.Establishment), Supported: r.Supported, ExposureFactor: r.ExposureFactor,
		DualCoefficient: r.DualCoefficient, Opening: word[gen.SoilOpening](r.Opening), OpeningDepletionMm: r.OpeningDepletionMm,
		GroundShare: r.GroundShare, Companions: companions,
		Revision:  r.Revision,
		CreatedAt: r.CreatedAt,
		UpdatedAt: r.UpdatedAt,
	}, nil
}
