package service

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

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
	supply, assumed, err := flow.Source.Supply("/source")
	return flow.Source.SupplyOf(supply, assumed), err
}

// CheckLayout computes what comes out of every hole of a layout's latest revision while it alone is open, and answers
// what else is asked of it.
func (s *Service) CheckLayout(ctx context.Context, p Principal, id uuid.UUID, ask FlowAsk) (file.FlowResult, error) {
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
	return ask.answer(flow, named)
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
	result, err := file.RunFlowAsked(flow)
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

// flowOf returns a flow file with the source of the garden, as plans know it, and nothing behind it.
func (s *Service) flowOf(ctx context.Context, p Principal, source uuid.UUID) (file.Flow, error) {
	var g file.Garden
	read := &snapping{q: s.read(p), garden: p.Garden}
	for _, step := range []func(context.Context, *file.Garden) error{read.settings, read.water} {
		if err := step(ctx, &g); err != nil {
			return file.Flow{}, err
		}
	}
	i := slices.IndexFunc(g.WaterSources, func(w file.WaterSource) bool { return w.ID == source.String() })
	if i < 0 {
		return file.Flow{}, missing(pgx.ErrNoRows, "water source")
	}
	flow := file.Flow{Source: g.FlowSource(g.WaterSources[i])}
	if _, _, err := flow.Source.Supply("/source"); err != nil {
		return flow, noSupply(g.WaterSources[i].Name, err)
	}
	return flow, nil
}

// noSupply says why there is no supply curve of a source, and which measurement would give one.
func noSupply(source string, err error) error {
	refused := refuse(Conflict, "What %s can give is not known yet: record a bucket test of it (volume and seconds), and if you can its static pressure.", source)
	if fields := fieldsOf(err); len(fields) > 0 && fields[0].Pointer == "/source/elsewhere_l_per_min" {
		refused.Detail = fmt.Sprintf("What is drawn elsewhere on the service line of %s %s.", source, fields[0].Reason)
	} else if len(fields) > 0 && len(fields[0].Pointer) > len("/source") {
		refused.Detail = fmt.Sprintf("The flow tests of %s give no supply curve: %s %s.", source, strings.TrimPrefix(fields[0].Pointer, "/source/"), fields[0].Reason)
	}
	refused.cause = err
	return refused
}

// checkTests refuses the newest flow test of a source when the tests give no supply curve with it.
func checkTests(source repo.WaterSource, tests []repo.FlowTest, newest uuid.UUID) error {
	curve := file.Garden{}.FlowSource(waterSourceFile(source, tests)) // whatever the hours: the tests fit together or they don't
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
