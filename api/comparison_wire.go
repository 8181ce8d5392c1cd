package api

import (
	"time"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/api/render"
	sentence "rillturn.example/rillturn/api/render/words"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service"
	"rillturn.example/rillturn/service/file"
)

// comparisonView shows a comparison beside the state that its garden has now.
func comparisonView(c service.Comparison, g repo.Garden) gen.RotationComparison {
	view := gen.RotationComparison{
		RotationId: c.Proposal.ID, PublishedId: c.Published.ID, Stale: c.Proposal.PlanRevision != g.PlanRevision,
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
	view.Text = changeText(sentence.New(g.Language, render.Units(g.Units), time.UTC), sentence.TurnChanges{
		Kept: c.Kept, Resized: int(view.Resized), Moved: int(view.Moved), Added: int(view.Added), Cancelled: int(view.Cancelled),
	}, c.Forced)
	return view
}

// changeText says what becomes of published turns and, when many of them change, which limits force it.
func changeText(words sentence.Printer, c sentence.TurnChanges, forced []file.ForcedChangePlan) []string {
	out := []string{words.TurnChanges(c)}
	if len(forced) == 0 {
		return out
	}
	var limits []sentence.Forced
	for _, f := range forced {
		limits = append(limits, sentence.Forced{Rule: problem.Rule(f.Code), Turns: f.Turns})
	}
	return append(out, words.Forced(limits))
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
