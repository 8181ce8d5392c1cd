package api

import (
	"context"

	"rillturn.example/rillturn/api/gen"
)

// DigCreate records what somebody saw when digging.
func (a *API) DigCreate(ctx context.Context, r gen.DigCreateRequestObject) (gen.DigCreateResponseObject, error) {
	row, err := a.svc.CreateDig(ctx, principal(ctx), digValues(*r.Body))
	if err != nil {
		return nil, err
	}
	headers := gen.DigCreate201ResponseHeaders{ETag: strongETag(row.Revision), Location: location(r.Garden, "digs", row.ID)}
	return gen.DigCreate201JSONResponse{Body: digView(row), Headers: headers}, nil
}

// DigGet reads a dig.
func (a *API) DigGet(ctx context.Context, r gen.DigGetRequestObject) (gen.DigGetResponseObject, error) {
	row, err := a.svc.Dig(ctx, principal(ctx), r.Dig)
	if err != nil {
		return nil, err
	}
	return gen.DigGet200JSONResponse{Body: digView(row), Headers: gen.DigGet200ResponseHeaders{ETag: strongETag(row.Revision)}}, nil
}

// DigList lists digs.
func (a *API) DigList(ctx context.Context, r gen.DigListRequestObject) (gen.DigListResponseObject, error) {
	page, err := pageOf("digs", r.Params.Limit, r.Params.Cursor)
	if err != nil {
		return nil, err
	}
	rows, next, err := a.svc.Digs(ctx, principal(ctx), r.Params.Plot, page)
	if err != nil {
		return nil, err
	}
	return gen.DigList200JSONResponse{Items: views(rows, digView), NextCursor: nextCursor("digs", next)}, nil
}

// DigDelete deletes a dig.
func (a *API) DigDelete(ctx context.Context, r gen.DigDeleteRequestObject) (gen.DigDeleteResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	if err := a.svc.DeleteDig(ctx, principal(ctx), r.Dig, match); err != nil {
		return nil, err
	}
	return gen.DigDelete204Response{}, nil
}
