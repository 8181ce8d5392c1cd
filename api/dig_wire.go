package api

import (
	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
)

func digValues(b gen.DigValues) repo.DigValues {
	return repo.DigValues{
		PlotID: b.PlotId, PlantingID: b.PlantingId, Day: b.Day.Time, Finding: text(b.Finding), DepletionMm: b.DepletionMm, Note: b.Note,
	}
}

func digView(r repo.Dig) gen.Dig {
	return gen.Dig{
		Id: r.ID, PlotId: r.PlotID, PlantingId: r.PlantingID, Day: date(r.Day), Finding: word[gen.DigFinding](r.Finding), DepletionMm: r.DepletionMm,
		Note: r.Note, Reporter: r.Reporter, Revision: r.Revision, CreatedAt: r.CreatedAt,
	}
}
