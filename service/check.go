package service

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"github.com/google/uuid"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/file"
)

// SupplyCurve fits the supply curve of a source to its flow tests, with what was assumed where they are few.
func (s *Service) SupplyCurve(ctx context.Context, p Principal, source uuid.UUID) (file.SupplyResult, error) {
	if err := p.may(ReadSite); err != nil {
		return file.SupplyResult{}, err
	}
	flow, err := s.flowOf(ctx, p, source)
	if err != nil {
		return file.SupplyResult{}, err
	}
	result, err := file.RunFlow(flow)
	return result.Supply, err
}

// CheckLayout computes what comes out of every hole of a layout's latest revision while it alone is open.
func (s *Service) CheckLayout(ctx context.Context, p Principal, id uuid.UUID) (file.FlowResult, error) {
	if err := p.may(ReadPeople); err != nil {
		return file.FlowResult{}, err
	}
	named, doc, err := s.latest(ctx, p, id)
	if err != nil {
		return file.FlowResult{}, explain(err, effect{entity: "layout"})
	}
	flow, err := s.flowOf(ctx, p, doc.Layout.WaterSourceID)
	if err != nil {
		return file.FlowResult{}, err
	}
	flow.Layouts = []file.NamedLayout{named}
	return file.RunFlow(flow)
}

// LayoutPicture is what a picture of a layout shows: its latest revision, and what comes out of its holes.
type LayoutPicture struct {
	Garden   repo.Garden
	Plot     repo.Plot
	Layout   repo.Layout
	Revision int
	Spec     file.Layout
	Flow     file.LayoutFlowResult
}

// LayoutPicture computes what a picture of a layout's latest revision shows while it alone is open.
func (s *Service) LayoutPicture(ctx context.Context, p Principal, id uuid.UUID) (LayoutPicture, error) {
	if err := p.may(ReadPeople); err != nil {
		return LayoutPicture{}, err
	}
	q := s.read(p)
	named, doc, err := s.latest(ctx, p, id)
	if err != nil {
		return LayoutPicture{}, explain(err, effect{entity: "layout"})
	}
	picture := LayoutPicture{Layout: doc.Layout, Revision: int(doc.LayoutRevision.Number), Spec: named.Layout}
	if picture.Garden, err = q.GardenByID(ctx, p.Garden); err != nil {
		return picture, err
	}
	if picture.Plot, err = q.PlotByID(ctx, p.Garden, doc.Layout.PlotID); err != nil {
		return picture, err
	}
	flow, err := s.flowOf(ctx, p, doc.Layout.WaterSourceID)
	if err != nil {
		return picture, err
	}
	flow.Layouts = []file.NamedLayout{named}
	result, err := file.RunFlowSets(flow)
	if err != nil {
		return picture, err
	}
	if result.Sets[0].Infeasible {
		return picture, refuse(Conflict, "The regulated outlets of %s ask for more than its source gives: there is no flow to draw.", doc.Layout.Name)
	}
	picture.Flow = result.Sets[0].Layouts[0]
	return picture, nil
}

// latest reads the latest revision of a layout as the flow file names it.
func (s *Service) latest(ctx context.Context, p Principal, id uuid.UUID) (file.NamedLayout, repo.LayoutDocument, error) {
	named := file.NamedLayout{ID: id.String()}
	doc, err := s.read(p).LayoutLatest(ctx, p.Garden, id)
	if err != nil {
		return named, doc, err
	}
	if err := json.Unmarshal(doc.LayoutRevision.Spec, &named.Layout); err != nil {
		return named, doc, fmt.Errorf("stored layout document: %w", err)
	}
	return named, doc, nil
}

// OpenSet computes what layouts of a source get when they are open together, by their latest revisions.
func (s *Service) OpenSet(ctx context.Context, p Principal, source uuid.UUID, layouts []uuid.UUID) (file.FlowResult, error) {
	if err := p.may(ReadPeople); err != nil {
		return file.FlowResult{}, err
	}
	flow, err := s.flowOf(ctx, p, source)
	if err != nil {
		return file.FlowResult{}, err
	}
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
			return file.FlowResult{}, err
		case doc.Layout.WaterSourceID != source:
			fields = append(fields, Field{at, "lies on another water source"})
		}
		flow.Layouts, set = append(flow.Layouts, named), append(set, named.ID)
	}
	if len(fields) > 0 {
		return file.FlowResult{}, invalid(fields...)
	}
	flow.Open = [][]string{set}
	return file.RunFlowSets(flow)
}

// PreviewLayout computes a layout that is not stored, behind a source of the garden.
func (s *Service) PreviewLayout(ctx context.Context, p Principal, source uuid.UUID, spec file.Layout) (file.FlowResult, error) {
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
	flow.Layouts = []file.NamedLayout{{ID: "preview", Layout: spec}}
	return file.RunFlow(flow)
}

// flowOf returns a flow file with the source of the garden and nothing behind it.
func (s *Service) flowOf(ctx context.Context, p Principal, source uuid.UUID) (file.Flow, error) {
	q := s.read(p)
	row, err := q.WaterSourceByID(ctx, p.Garden, source)
	if err != nil {
		return file.Flow{}, explain(err, effect{entity: "water source"})
	}
	tests, err := q.FlowTestListBySource(ctx, p.Garden, source)
	if err != nil {
		return file.Flow{}, err
	}
	flow := file.Flow{Source: waterSourceFile(row, tests).FlowSource()}
	if _, _, err := flow.Source.Supply("/source"); err != nil {
		return flow, noSupply(row.Name, err)
	}
	return flow, nil
}

// noSupply says why there is no supply curve of a source, and which measurement would give one.
func noSupply(source string, err error) error {
	refused := refuse(Conflict, "What %s can give is not known yet: record a bucket test of it (volume and seconds), and if you can its static pressure.", source)
	if fields := fieldsOf(err); len(fields) > 0 && len(fields[0].Pointer) > len("/source") {
		refused.Detail = fmt.Sprintf("The flow tests of %s give no supply curve: %s %s.", source, strings.TrimPrefix(fields[0].Pointer, "/source/"), fields[0].Reason)
	}
	refused.cause = err
	return refused
}

// checkTests refuses the newest flow test of a source when the tests give no supply curve with it.
func checkTests(source repo.WaterSource, tests []repo.FlowTest, newest uuid.UUID) error {
	curve := waterSourceFile(source, tests).FlowSource()
	if len(curve.FlowTests) == 0 {
		return nil // a tank feeds by its level
	}
	static := true
	for _, t := range tests {
		static = static && t.Kind == "static"
	}
	if static {
		return nil // a curve needs a flow, which may come later
	}
	_, _, err := curve.Supply("")
	var fields []Field
	for _, f := range fieldsOf(err) {
		own := -1
		for i, t := range tests {
			if t.ID == newest {
				own = i
			}
		}
		f.Pointer = strings.TrimPrefix(f.Pointer, file.Point("flow_tests", own))
		if strings.HasPrefix(f.Pointer, "/flow_tests") || strings.HasPrefix(f.Pointer, "/hose") {
			f = Field{"", "together with the other flow tests and the working hose of this source: " + f.Reason}
		}
		fields = append(fields, f)
	}
	if len(fields) > 0 {
		return invalid(fields...)
	}
	return err
}
