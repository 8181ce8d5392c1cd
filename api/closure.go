package api

import (
	"context"

	"rillturn.example/rillturn/api/gen"
)

// ClosureList lists closures.
func (a *API) ClosureList(ctx context.Context, r gen.ClosureListRequestObject) (gen.ClosureListResponseObject, error) {
	page, err := pageOf("closures", r.Params.Limit, r.Params.Cursor)
	if err != nil {
		return nil, err
	}
	rows, next, err := a.svc.Closures(ctx, principal(ctx), page)
	if err != nil {
		return nil, err
	}
	return gen.ClosureList200JSONResponse{Items: views(rows, closureView), NextCursor: nextCursor("closures", next)}, nil
}

// ClosureCreate records a closure.
func (a *API) ClosureCreate(ctx context.Context, r gen.ClosureCreateRequestObject) (gen.ClosureCreateResponseObject, error) {
	row, err := a.svc.CreateClosure(ctx, principal(ctx), closureValues(*r.Body))
	if err != nil {
		return nil, err
	}
	headers := gen.ClosureCreate201ResponseHeaders{ETag: strongETag(row.Revision), Location: location(r.Garden, "closures", row.ID)}
	return gen.ClosureCreate201JSONResponse{Body: closureView(row), Headers: headers}, nil
}

// ClosureGet reads a closure.
func (a *API) ClosureGet(ctx context.Context, r gen.ClosureGetRequestObject) (gen.ClosureGetResponseObject, error) {
	row, err := a.svc.Closure(ctx, principal(ctx), r.Closure)
	if err != nil {
		return nil, err
	}
	headers := gen.ClosureGet200ResponseHeaders{ETag: strongETag(row.Revision)}
	return gen.ClosureGet200JSONResponse{Body: closureView(row), Headers: headers}, nil
}

// ClosureReplace replaces a closure.
func (a *API) ClosureReplace(ctx context.Context, r gen.ClosureReplaceRequestObject) (gen.ClosureReplaceResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	row, err := a.svc.ReplaceClosure(ctx, principal(ctx), r.Closure, match, closureValues(*r.Body))
	if err != nil {
		return nil, err
	}
	headers := gen.ClosureReplace200ResponseHeaders{ETag: strongETag(row.Revision)}
	return gen.ClosureReplace200JSONResponse{Body: closureView(row), Headers: headers}, nil
}

// ClosureDelete deletes a closure.
func (a *API) ClosureDelete(ctx context.Context, r gen.ClosureDeleteRequestObject) (gen.ClosureDeleteResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	if err := a.svc.DeleteClosure(ctx, principal(ctx), r.Closure, match); err != nil {
		return nil, err
	}
	return gen.ClosureDelete204Response{}, nil
}
