package api

import (
	"context"

	"rillturn.example/rillturn/api/gen"
)

// HolderList lists the holders of a plot.
func (a *API) HolderList(ctx context.Context, r gen.HolderListRequestObject) (gen.HolderListResponseObject, error) {
	page, err := pageOf("holders", r.Params.Limit, r.Params.Cursor)
	if err != nil {
		return nil, err
	}
	rows, next, err := a.svc.Holders(ctx, principal(ctx), r.Plot, page)
	if err != nil {
		return nil, err
	}
	return gen.HolderList200JSONResponse{Items: views(rows, holderView), NextCursor: nextCursor("holders", next)}, nil
}

// HolderCreate records a holder of a plot.
func (a *API) HolderCreate(ctx context.Context, r gen.HolderCreateRequestObject) (gen.HolderCreateResponseObject, error) {
	values := holderValues(*r.Body)
	values.PlotID = r.Plot
	row, err := a.svc.CreateHolder(ctx, principal(ctx), values)
	if err != nil {
		return nil, err
	}
	headers := gen.HolderCreate201ResponseHeaders{ETag: strongETag(row.Revision), Location: location(r.Garden, "plots", r.Plot, "holders", row.ID)}
	return gen.HolderCreate201JSONResponse{Body: holderView(row), Headers: headers}, nil
}

// HolderGet reads a holder of a plot.
func (a *API) HolderGet(ctx context.Context, r gen.HolderGetRequestObject) (gen.HolderGetResponseObject, error) {
	row, err := a.svc.Holder(ctx, principal(ctx), r.Plot, r.Holder)
	if err != nil {
		return nil, err
	}
	headers := gen.HolderGet200ResponseHeaders{ETag: strongETag(row.Revision)}
	return gen.HolderGet200JSONResponse{Body: holderView(row), Headers: headers}, nil
}

// HolderReplace replaces a holder of a plot.
func (a *API) HolderReplace(ctx context.Context, r gen.HolderReplaceRequestObject) (gen.HolderReplaceResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	values := holderValues(*r.Body)
	values.PlotID = r.Plot
	row, err := a.svc.ReplaceHolder(ctx, principal(ctx), r.Holder, match, values)
	if err != nil {
		return nil, err
	}
	headers := gen.HolderReplace200ResponseHeaders{ETag: strongETag(row.Revision)}
	return gen.HolderReplace200JSONResponse{Body: holderView(row), Headers: headers}, nil
}

// HolderDelete deletes a holder of a plot.
func (a *API) HolderDelete(ctx context.Context, r gen.HolderDeleteRequestObject) (gen.HolderDeleteResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	if err := a.svc.DeleteHolder(ctx, principal(ctx), r.Plot, r.Holder, match); err != nil {
		return nil, err
	}
	return gen.HolderDelete204Response{}, nil
}
