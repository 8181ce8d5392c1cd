package service

import (
	"context"
	"errors"
	"strings"

	"github.com/google/uuid"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/file"
)

// FlowAsk is what somebody wants to know of one layout: under which conditions, and what beside the usual answers.
type FlowAsk struct {
	Conditions file.FlowConditions
	Questions  *file.FlowQuestions
}

// LayoutAsk is what somebody wants to know of one layout of an open set.
type LayoutAsk struct {
	Layout    uuid.UUID
	Questions file.FlowQuestions
}

// answer runs one layout on the source of a flow file.
func (a FlowAsk) answer(flow file.Flow, layout file.NamedLayout) (file.FlowResult, error) {
	layout.Questions = a.Questions
	flow.Layouts = []file.NamedLayout{layout}
	result, err := file.RunFlow(flow.Under(a.Conditions))
	return result, placed(err, map[string]string{file.Point("layouts", 0, "questions"): "/questions"})
}

// inConditions is where the parts of a flow file that are conditions stand in a request.
var inConditions = map[string]string{
	"/options": "/conditions/options", "/source/elsewhere_l_per_min": "/conditions/elsewhere_l_per_min",
	"/source/common_feed": "/conditions/common_feed", "/open_hose": "/conditions/open_hose",
}

// placed gives the faults of a flow file their place in the request that it was made from. questions says where the
// questions about each layout stand in it.
func placed(err error, questions map[string]string) error {
	fields := fieldsOf(err)
	if len(fields) == 0 {
		return err
	}
	for i := range fields {
		for _, places := range []map[string]string{inConditions, questions} {
			for was, is := range places {
				if rest, ok := strings.CutPrefix(fields[i].Pointer, was); ok && (rest == "" || rest[0] == '/') {
					fields[i].Pointer = is + rest
				}
			}
		}
	}
	return invalid(fields...)
}

// PreviewLayout computes a layout that is not stored, behind a source of the garden.
func (s *Service) PreviewLayout(ctx context.Context, p Principal, source uuid.UUID, spec file.Layout, ask FlowAsk) (file.FlowResult, error) {
	if err := p.may(DrawLayout); err != nil {
		return file.FlowResult{}, err
	}
	if fields := fieldsOf(spec.Validate("/spec")); len(fields) > 0 {
		return file.FlowResult{}, invalid(fields...)
	}
	flow, err := s.flowOf(ctx, p, source)
	if err != nil {
		return file.FlowResult{}, fieldIfMissing(err, Field{"/water_source_id", "names no water source of this garden"})
	}
	return ask.answer(flow, file.NamedLayout{ID: "preview", Layout: spec})
}

// OpenSet computes what layouts of a source get when they are open together, by their latest revisions. Each layout that
// is asked about is answered as if alone on the source.
func (s *Service) OpenSet(ctx context.Context, p Principal, source uuid.UUID, layouts []uuid.UUID, conditions file.FlowConditions, asks []LayoutAsk) (file.FlowResult, error) {
	if err := p.may(ReadPeople); err != nil {
		return file.FlowResult{}, err
	}
	flow, err := s.flowOf(ctx, p, source)
	if err != nil {
		return file.FlowResult{}, err
	}
	if err := s.openLayouts(ctx, p, source, layouts, &flow); err != nil {
		return file.FlowResult{}, err
	}
	questions, err := putQuestions(&flow, asks)
	if err != nil {
		return file.FlowResult{}, err
	}
	result, err := file.RunFlowAsked(flow.Under(conditions))
	return result, placed(err, questions)
}

// openLayouts puts layouts into a flow file as one open set.
func (s *Service) openLayouts(ctx context.Context, p Principal, source uuid.UUID, layouts []uuid.UUID, flow *file.Flow) error {
	var fields []Field
	var set []string
	for i, id := range layouts {
		named, doc, err := s.latest(ctx, p, id)
		at := file.Point("layouts", i)
		switch {
		case errors.Is(err, repo.ErrNotFound):
			fields = append(fields, Field{at, "names no layout of this garden"})
			continue
		case err != nil:
			return err
		case doc.Layout.WaterSourceID != source:
			fields = append(fields, Field{at, "lies on another water source"})
		}
		flow.Layouts, set = append(flow.Layouts, named), append(set, named.ID)
	}
	if len(fields) > 0 {
		return invalid(fields...)
	}
	flow.Open = [][]string{set}
	return nil
}

// putQuestions hands each layout of a flow file what is asked about it, and returns where that stood.
func putQuestions(flow *file.Flow, asks []LayoutAsk) (places map[string]string, err error) {
	places = map[string]string{}
	var fields []Field
	for i := range asks {
		at := file.Point("questions", i)
		found := false
		for j := range flow.Layouts {
			l := &flow.Layouts[j]
			if l.ID != asks[i].Layout.String() {
				continue
			}
			found = true
			if l.Questions != nil {
				fields = append(fields, Field{at + "/layout_id", "stands here twice"})
			}
			l.Questions, places[file.Point("layouts", j, "questions")] = &asks[i].Questions, at+"/questions"
		}
		if !found {
			fields = append(fields, Field{at + "/layout_id", "names none of the open layouts"})
		}
	}
	if len(fields) > 0 {
		return nil, invalid(fields...)
	}
	return places, nil
}
