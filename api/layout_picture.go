package api

import (
	"bytes"
	"context"
	"fmt"
	"strconv"
	"strings"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/svg"
	sentence "rillturn.example/rillturn/api/render/words"
	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/service"
	"rillturn.example/rillturn/service/file"
)

// LayoutDrawingSvgGet draws the latest revision of a layout to scale.
func (a *API) LayoutDrawingSvgGet(ctx context.Context, r gen.LayoutDrawingSvgGetRequestObject) (gen.LayoutDrawingSvgGetResponseObject, error) {
	picture, err := a.svc.LayoutPicture(ctx, principal(ctx), r.Layout)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := svg.Drawing(&b, layoutDrawing(&picture)); err != nil {
		return nil, err
	}
	return gen.LayoutDrawingSvgGet200ImagesvgXmlResponse{Body: &b, ContentLength: int64(b.Len())}, nil
}

// LayoutProfileSvgGet draws the head along each lateral of the latest revision of a layout.
func (a *API) LayoutProfileSvgGet(ctx context.Context, r gen.LayoutProfileSvgGetRequestObject) (gen.LayoutProfileSvgGetResponseObject, error) {
	picture, err := a.svc.LayoutPicture(ctx, principal(ctx), r.Layout)
	if err != nil {
		return nil, err
	}
	profile := headProfile(&picture)
	if len(profile.Laterals) == 0 {
		return nil, &service.Error{Kind: service.Conflict, Detail: fmt.Sprintf("No open outlet of %s has holes: there is no head to draw.", picture.Layout.Name)}
	}
	var b bytes.Buffer
	if err := svg.Profile(&b, profile); err != nil {
		return nil, err
	}
	return gen.LayoutProfileSvgGet200ImagesvgXmlResponse{Body: &b, ContentLength: int64(b.Len())}, nil
}

// OpenSetCreate computes what layouts of a source get when they are open together.
func (a *API) OpenSetCreate(ctx context.Context, r gen.OpenSetCreateRequestObject) (gen.OpenSetCreateResponseObject, error) {
	result, err := a.svc.OpenSet(ctx, principal(ctx), r.Source, r.Body.Layouts, flowConditions(r.Body.Conditions), layoutAsks(r.Body.Questions))
	if err != nil {
		return nil, err
	}
	return gen.OpenSetCreate200JSONResponse(result), nil
}

// layoutDrawing is the view of a layout from above. The document does not say to which side a lateral leaves: of two at
// one place, the two sides of a cross, the second is drawn to the left.
func layoutDrawing(p *service.LayoutPicture) render.LayoutDrawing {
	manifold := &p.Spec.Manifold
	d := render.LayoutDrawing{
		GardenName: p.Garden.Name, PlotName: p.Plot.Label, LayoutName: p.Layout.Name, Revision: p.Revision,
		Units: render.Units(p.Garden.Units), Language: p.Garden.Language,
		ManifoldM: manifold.LengthM, ManifoldPipe: pipeName(p, manifold.Pipe), FeedAtM: manifold.FeedAtM,
	}
	flows := map[int]*file.LateralResult{}
	for i := range p.Flow.Laterals {
		flows[p.Flow.Laterals[i].Outlet] = &p.Flow.Laterals[i]
	}
	taken := map[float64]bool{}
	for i := range manifold.Outlets {
		o := &manifold.Outlets[i]
		drawn := render.DrawnOutlet{AtM: o.AtM}
		if flow, ok := flows[i]; ok && o.Lateral != nil {
			drawn.Lateral, drawn.ToLeft = drawnLateral(p, i, o.Lateral, flow), taken[o.AtM]
			taken[o.AtM] = true
		}
		d.Outlets = append(d.Outlets, drawn)
	}
	return d
}

func drawnLateral(p *service.LayoutPicture, outlet int, l *file.LayoutLateral, flow *file.LateralResult) *render.DrawnLateral {
	d := &render.DrawnLateral{Name: lateralName(outlet, l), Pipe: pipeName(p, l.Pieces[0].Pipe)}
	for i := range l.Pieces {
		d.LengthM += l.Pieces[i].LengthM
	}
	for _, s := range flow.HoleSets {
		d.HoleSets = append(d.HoleSets, render.DrawnHoles{
			AtM: s.AtM, FlowLPerH: s.FlowLPerH, Unreliable: s.Holes > 0 && s.HeadM < hydraulics.ReliableHead, Plugged: s.Holes == 0,
		})
	}
	return d
}

// headProfile is the head along each lateral that has holes.
func headProfile(p *service.LayoutPicture) render.HeadProfile {
	h := render.HeadProfile{
		LayoutName: p.Layout.Name, PlotName: p.Plot.Label, Units: render.Units(p.Garden.Units), Language: p.Garden.Language,
		LeastHeadM: hydraulics.ReliableHead,
	}
	for i := range p.Flow.Laterals {
		flow := &p.Flow.Laterals[i]
		l := render.LateralProfile{Name: lateralName(flow.Outlet, p.Spec.Manifold.Outlets[flow.Outlet].Lateral)}
		for _, s := range flow.HoleSets {
			l.Points = append(l.Points, render.HeadPoint{DistanceM: s.AtM, HeadM: s.HeadM})
		}
		if len(l.Points) > 0 {
			h.Laterals = append(h.Laterals, l)
		}
	}
	return h
}

// lateralName is the number of its outlet as people count, with the labels of its pieces.
func lateralName(outlet int, l *file.LayoutLateral) string {
	name := strconv.Itoa(outlet + 1)
	var labels []string
	for i := range l.Pieces {
		if l.Pieces[i].Label != "" {
			labels = append(labels, l.Pieces[i].Label)
		}
	}
	if len(labels) > 0 {
		name += " " + strings.Join(labels, "+")
	}
	return name
}

// pipeName is the trade size and wall of a pipe, or its measured inside diameter where it has none.
func pipeName(p *service.LayoutPicture, pipe file.LayoutPipe) string {
	if pipe.Size == "" {
		words := sentence.New(p.Garden.Language, render.Units(p.Garden.Units), nil)
		return words.HoleDiameter(unit.Millimeters(pipe.InsideDiameterMM)).String()
	}
	return strings.TrimSpace(pipe.Size + " " + pipe.Wall)
}
