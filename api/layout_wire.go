package api

import (
	"encoding/json"
	"fmt"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service"
	"rillturn.example/rillturn/service/file"
)

func layoutValues(b gen.LayoutValues) repo.LayoutValues {
	return repo.LayoutValues{
		PlotID:        b.PlotId,
		WaterSourceID: b.WaterSourceId,
		Name:          b.Name,
		OwnValve:      b.OwnValve,
		MeasuredDu:    b.MeasuredDu,
	}
}

func layoutView(r repo.Layout) gen.Layout {
	return gen.Layout{
		Id:             r.ID,
		Status:         gen.LayoutStatus(r.Status),
		LatestNumber:   r.LatestNumber,
		AcceptedNumber: r.AcceptedNumber,
		PlotId:         r.PlotID,
		WaterSourceId:  r.WaterSourceID,
		Name:           r.Name,
		OwnValve:       r.OwnValve,
		MeasuredDu:     r.MeasuredDu,
		Revision:       r.Revision,
		CreatedAt:      r.CreatedAt,
		UpdatedAt:      r.UpdatedAt,
	}
}

func layoutRevisionView(r repo.LayoutRevision) gen.LayoutRevision {
	return gen.LayoutRevision{
		LayoutId:    r.LayoutID,
		Number:      r.Number,
		Status:      gen.LayoutRevisionStatus(r.Status),
		Comment:     r.Comment,
		Author:      r.Author,
		CreatedAt:   r.CreatedAt,
		SubmittedAt: r.SubmittedAt,
		DecidedAt:   r.DecidedAt,
		DecidedBy:   r.DecidedBy,
	}
}

// layoutDocumentView shows a layout with the document of its latest revision.
func layoutDocumentView(r repo.LayoutDocument) (gen.Layout, error) {
	view := layoutView(r.Layout)
	var err error
	view.Spec, err = layoutSpec(r.LayoutRevision.Spec)
	return view, err
}

// layoutSpec reads a stored layout document. It was checked when it was stored.
func layoutSpec(stored json.RawMessage) (*gen.LayoutSpec, error) {
	var spec gen.LayoutSpec
	if err := json.Unmarshal(stored, &spec); err != nil {
		return nil, fmt.Errorf("stored layout document: %w", err)
	}
	return &spec, nil
}

func flowAsk(c *gen.FlowConditions, q *gen.FlowQuestions) service.FlowAsk {
	return service.FlowAsk{Conditions: flowConditions(c), Questions: q}
}

func flowConditions(c *gen.FlowConditions) file.FlowConditions {
	if c == nil {
		return file.FlowConditions{}
	}
	return *c
}

func layoutAsks(list *[]gen.OpenSetQuestions) []service.LayoutAsk {
	if list == nil {
		return nil
	}
	return views(*list, func(q gen.OpenSetQuestions) service.LayoutAsk {
		return service.LayoutAsk{Layout: q.LayoutId, Questions: q.Questions}
	})
}
