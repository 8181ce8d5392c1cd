package service

import (
	"context"

	"github.com/google/uuid"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/file"
)

// PlotShortfall is what says why a plot is short: the rotation in force, what it was planned from and what came out.
type PlotShortfall struct {
	Plot     repo.Plot
	Rotation repo.Rotation
	Input    file.Garden
	Plan     file.GardenPlan
}

// PlotShortfall reads what says why a plot is short in the rotation in force or, when there is none, the next to come.
func (s *Service) PlotShortfall(ctx context.Context, p Principal, plot uuid.UUID) (PlotShortfall, error) {
	var out PlotShortfall
	var err error
	if out.Plot, err = s.Plot(ctx, p, plot); err != nil {
		return out, err
	}
	if out.Rotation, err = s.CurrentRotation(ctx, p); err != nil {
		if explainKind(err) == NotFound {
			err = refuse(Conflict, "No rotation is published: what a plot gets is known from then on.")
		}
		return out, err
	}
	out.Input, out.Plan, err = s.RotationDocuments(ctx, p, out.Rotation.ID)
	return out, err
}
