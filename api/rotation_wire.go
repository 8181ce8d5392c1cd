package api

import (
	"encoding/hex"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service"
	"rillturn.example/rillturn/service/file"
)

// rotationView shows a rotation beside the plan revision that its garden has now.
func rotationView(r repo.Rotation, planRevision int64) gen.Rotation {
	view := gen.Rotation{
		Id:            r.ID,
		Status:        gen.RotationStatus(r.Status),
		FirstDay:      date(r.FirstDay),
		Days:          r.Days,
		StartsAt:      r.StartsAt,
		EndsAt:        r.EndsAt,
		PlanRevision:  r.PlanRevision,
		Stale:         r.PlanRevision != planRevision,
		EngineVersion: r.EngineVersion,
		Effort:        gen.Effort(r.Effort),
		Seed:          r.Seed,
		InputSha256:   hex.EncodeToString(r.InputSha256),
		Revision:      r.Revision,
		CreatedAt:     r.CreatedAt,
		PublishedAt:   r.PublishedAt,
		SupersededAt:  r.SupersededAt,
		Trouble:       r.Trouble,
		Nightly:       r.Nightly,
	}
	if view.Status == gen.RotationStatusPlanning {
		view.Progress = &gen.RotationProgress{Stage: gen.RotationProgressStageWaiting, Level: r.Level, HeardAt: r.ProgressAt}
		if r.Stage != nil {
			view.Progress.Stage = gen.RotationProgressStage(*r.Stage)
		}
	}
	return view
}

func proposal(b gen.RotationCreate) service.Proposal {
	p := service.Proposal{Days: 7, Effort: string(gen.EffortFast), Seed: 1, Fresh: b.Fresh != nil && *b.Fresh}
	if b.Days != nil {
		p.Days = int(*b.Days)
	}
	if b.Effort != nil {
		p.Effort = string(*b.Effort)
	}
	if b.Seed != nil {
		p.Seed = *b.Seed
	}
	if b.FirstDay != nil {
		p.FirstDay = &file.Day{Time: b.FirstDay.Time}
	}
	return p
}
