package api

import (
	"context"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service"
)

// LayoutList lists layouts, without their documents.
func (a *API) LayoutList(ctx context.Context, r gen.LayoutListRequestObject) (gen.LayoutListResponseObject, error) {
	page, err := pageOf("layouts", r.Params.Limit, r.Params.Cursor)
	if err != nil {
		return nil, err
	}
	rows, next, err := a.svc.Layouts(ctx, principal(ctx), repo.LayoutFilter{PlotID: r.Params.Plot, Status: text(r.Params.Status)}, page)
	if err != nil {
		return nil, err
	}
	return gen.LayoutList200JSONResponse{Items: views(rows, layoutView), NextCursor: nextCursor("layouts", next)}, nil
}

// LayoutCreate records a layout as a draft.
func (a *API) LayoutCreate(ctx context.Context, r gen.LayoutCreateRequestObject) (gen.LayoutCreateResponseObject, error) {
	row, err := a.svc.CreateLayout(ctx, principal(ctx), layoutValues(*r.Body), r.Body.Spec)
	if err != nil {
		return nil, err
	}
	body, err := layoutDocumentView(row)
	headers := gen.LayoutCreate201ResponseHeaders{ETag: strongETag(body.Revision), Location: location(r.Garden, "layouts", body.Id)}
	return gen.LayoutCreate201JSONResponse{Body: body, Headers: headers}, err
}

// LayoutGet reads a layout with its latest document.
func (a *API) LayoutGet(ctx context.Context, r gen.LayoutGetRequestObject) (gen.LayoutGetResponseObject, error) {
	row, err := a.svc.Layout(ctx, principal(ctx), r.Layout)
	if err != nil {
		return nil, err
	}
	body, err := layoutDocumentView(row)
	headers := gen.LayoutGet200ResponseHeaders{ETag: strongETag(body.Revision)}
	return gen.LayoutGet200JSONResponse{Body: body, Headers: headers}, err
}

// LayoutReplace changes the draft of a layout, or begins a new one.
func (a *API) LayoutReplace(ctx context.Context, r gen.LayoutReplaceRequestObject) (gen.LayoutReplaceResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	row, err := a.svc.ReplaceLayout(ctx, principal(ctx), r.Layout, match, layoutValues(*r.Body), r.Body.Spec)
	if err != nil {
		return nil, err
	}
	body, err := layoutDocumentView(row)
	headers := gen.LayoutReplace200ResponseHeaders{ETag: strongETag(body.Revision)}
	return gen.LayoutReplace200JSONResponse{Body: body, Headers: headers}, err
}

// LayoutSubmit hands in the latest revision for review.
func (a *API) LayoutSubmit(ctx context.Context, r gen.LayoutSubmitRequestObject) (gen.LayoutSubmitResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	row, err := a.svc.SubmitLayout(ctx, principal(ctx), r.Layout, match)
	if err != nil {
		return nil, err
	}
	body, err := layoutDocumentView(row)
	headers := gen.LayoutSubmit200ResponseHeaders{ETag: strongETag(body.Revision)}
	return gen.LayoutSubmit200JSONResponse{Body: body, Headers: headers}, err
}

// LayoutAccept accepts the submitted revision.
func (a *API) LayoutAccept(ctx context.Context, r gen.LayoutAcceptRequestObject) (gen.LayoutAcceptResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	row, err := a.svc.AcceptLayout(ctx, principal(ctx), r.Layout, match)
	if err != nil {
		return nil, err
	}
	body, err := layoutDocumentView(row)
	headers := gen.LayoutAccept200ResponseHeaders{ETag: strongETag(body.Revision)}
	return gen.LayoutAccept200JSONResponse{Body: body, Headers: headers}, err
}

// LayoutReturn returns the submitted revision with a comment.
func (a *API) LayoutReturn(ctx context.Context, r gen.LayoutReturnRequestObject) (gen.LayoutReturnResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	row, err := a.svc.ReturnLayout(ctx, principal(ctx), r.Layout, match, r.Body.Comment)
	if err != nil {
		return nil, err
	}
	body, err := layoutDocumentView(row)
	headers := gen.LayoutReturn200ResponseHeaders{ETag: strongETag(body.Revision)}
	return gen.LayoutReturn200JSONResponse{Body: body, Headers: headers}, err
}

// LayoutRetire takes a layout out of use.
func (a *API) LayoutRetire(ctx context.Context, r gen.LayoutRetireRequestObject) (gen.LayoutRetireResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	row, err := a.svc.RetireLayout(ctx, principal(ctx), r.Layout, match)
	if err != nil {
		return nil, err
	}
	body, err := layoutDocumentView(row)
	headers := gen.LayoutRetire200ResponseHeaders{ETag: strongETag(body.Revision)}
	return gen.LayoutRetire200JSONResponse{Body: body, Headers: headers}, err
}

// LayoutRevisionList lists the revisions of a layout, without their documents.
func (a *API) LayoutRevisionList(ctx context.Context, r gen.LayoutRevisionListRequestObject) (gen.LayoutRevisionListResponseObject, error) {
	page, err := pageOf("revisions", r.Params.Limit, r.Params.Cursor)
	if err != nil {
		return nil, err
	}
	rows, next, err := a.svc.LayoutRevisions(ctx, principal(ctx), r.Layout, page)
	if err != nil {
		return nil, err
	}
	return gen.LayoutRevisionList200JSONResponse{Items: views(rows, layoutRevisionView), NextCursor: nextCursor("revisions", next)}, nil
}

// LayoutRevisionGet reads one revision with its document.
func (a *API) LayoutRevisionGet(ctx context.Context, r gen.LayoutRevisionGetRequestObject) (gen.LayoutRevisionGetResponseObject, error) {
	row, err := a.svc.LayoutRevision(ctx, principal(ctx), r.Layout, r.Number)
	if err != nil {
		return nil, err
	}
	body := layoutRevisionView(row)
	body.Spec, err = layoutSpec(row.Spec)
	return gen.LayoutRevisionGet200JSONResponse(body), err
}

// LayoutCheckGet computes what comes out of every hole of the latest revision.
func (a *API) LayoutCheckGet(ctx context.Context, r gen.LayoutCheckGetRequestObject) (gen.LayoutCheckGetResponseObject, error) {
	check, err := a.svc.CheckLayout(ctx, principal(ctx), r.Layout, service.FlowAsk{})
	if err != nil {
		return nil, err
	}
	return gen.LayoutCheckGet200JSONResponse(check), nil
}

// LayoutCheckCreate computes the same under conditions, and answers questions about it.
func (a *API) LayoutCheckCreate(ctx context.Context, r gen.LayoutCheckCreateRequestObject) (gen.LayoutCheckCreateResponseObject, error) {
	check, err := a.svc.CheckLayout(ctx, principal(ctx), r.Layout, flowAsk(r.Body.Conditions, r.Body.Questions))
	if err != nil {
		return nil, err
	}
	return gen.LayoutCheckCreate200JSONResponse(check), nil
}

// LayoutPreviewCreate computes what comes out of every hole of a layout that is not stored.
func (a *API) LayoutPreviewCreate(ctx context.Context, r gen.LayoutPreviewCreateRequestObject) (gen.LayoutPreviewCreateResponseObject, error) {
	check, err := a.svc.PreviewLayout(ctx, principal(ctx), r.Body.WaterSourceId, r.Body.Spec, flowAsk(r.Body.Conditions, r.Body.Questions))
	if err != nil {
		return nil, err
	}
	return gen.LayoutPreviewCreate200JSONResponse(check), nil
}

// SupplyCurveGet reads the curve fitted to the flow tests of a source.
func (a *API) SupplyCurveGet(ctx context.Context, r gen.SupplyCurveGetRequestObject) (gen.SupplyCurveGetResponseObject, error) {
	curve, err := a.svc.SupplyCurve(ctx, principal(ctx), r.Source)
	if err != nil {
		return nil, err
	}
	return gen.SupplyCurveGet200JSONResponse(curve), nil
}
