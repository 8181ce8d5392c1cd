package api

import (
	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service"
	"rillturn.example/rillturn/service/file"
)

// comparisonView shows a comparison beside the plan revision that its garden has now.
func comparisonView(c service.Comparison, planRevision int64) gen.RotationComparison {
	view := gen.RotationComparison{
		RotationId: c.Proposal.ID, PublishedId: c.Published.ID, Stale: c.Proposal.PlanRevision != planRevision,
		ToCome: int32(c.ToCome), Kept: int32(c.Kept), Part: c.Part,
		Turns: views(c.Changed, turnChangeView), Shares: views(c.Shares, shareChangeView), Forced: views(c.Forced, forcedChangeView),
	}
	for _, t := range view.Turns {
		switch t.Kind {
		case gen.TurnChangeKindResized:
			view.Resized++
		case gen.TurnChangeKindMoved:
			view.Moved++
		case gen.TurnChangeKindAdded:
			view.Added++
		case gen.TurnChangeKindCancelled:
			view.Cancelled++
		}
	}
	return view
}

func turnChangeView(c service.TurnChange) gen.TurnChange {
	shown := func(t *repo.ScheduledTurn) *gen.Turn {
		if t == nil {
			return nil
		}
		v := turnView(*t)
		return &v
	}
	return gen.TurnChange{Kind: gen.TurnChangeKind(c.Kind), Was: shown(c.Was), Now: shown(c.Now)}
}

func shareChangeView(c service.ShareChange) gen.ShareChange {
	return gen.ShareChange{PlotId: c.PlotID, LayoutId: c.LayoutID, Was: c.Was, Now: c.Now}
}

func forcedChangeView(c file.ForcedChangePlan) gen.ForcedChange {
	return gen.ForcedChange{Code: c.Code, Turns: int32(c.Turns)}
}
