package api

import (
	"context"

	"rillturn.example/rillturn/api/gen"
)

// PlotList lists plots.
func (a *API) PlotList(ctx context.Context, r gen.PlotListRequestObject) (gen.PlotListResponseObject, error) {
	page, err := pageOf("plots", r.Params.Limit, r.Params.Cursor)
	if err != nil {
		return nil, err
	}
	rows, next, err := a.svc.Plots(ctx, principal(ctx), page)
	if err != nil {
		return nil, err
	}
	return gen.PlotList200JSONResponse{Items: views(rows, plotView), NextCursor: nextCursor("plots", next)}, nil
}

// PlotCreate records a plot.
func (a *API) PlotCreate(ctx context.Context, r gen.PlotCreateRequestObject) (gen.PlotCreateResponseObject, error) {
	row, err := a.svc.CreatePlot(ctx, principal(ctx), plotValues(*r.Body))
	if err != nil {
		return nil, err
	}
	headers := gen.PlotCreate201ResponseHeaders{ETag: strongETag(row.Revision), Location: location(r.Garden, "plots", row.ID)}
	return gen.PlotCreate201JSONResponse{Body: plotView(row), Headers: headers}, nil
}

// PlotGet reads a plot.
func (a *API) PlotGet(ctx context.Context, r gen.PlotGetRequestObject) (gen.PlotGetResponseObject, error) {
	row, err := a.svc.Plot(ctx, principal(ctx), r.Plot)
	if err != nil {
		return nil, err
	}
	headers := gen.PlotGet200ResponseHeaders{ETag: strongETag(row.Revision)}
	return gen.PlotGet200JSONResponse{Body: plotView(row), Headers: headers}, nil
}

// PlotReplace replaces a plot.
func (a *API) PlotReplace(ctx context.Context, r gen.PlotReplaceRequestObject) (gen.PlotReplaceResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	row, err := a.svc.ReplacePlot(ctx, principal(ctx), r.Plot, match, plotValues(*r.Body))
	if err != nil {
		return nil, err
	}
	headers := gen.PlotReplace200ResponseHeaders{ETag: strongETag(row.Revision)}
	return gen.PlotReplace200JSONResponse{Body: plotView(row), Headers: headers}, nil
}

// PlotDelete deletes a plot.
func (a *API) PlotDelete(ctx context.Context, r gen.PlotDeleteRequestObject) (gen.PlotDeleteResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	if err := a.svc.DeletePlot(ctx, principal(ctx), r.Plot, match); err != nil {
		return nil, err
	}
	return gen.PlotDelete204Response{}, nil
}
