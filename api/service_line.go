package api

import (
	"context"

	"rillturn.example/rillturn/api/gen"
)

// ServiceLineList lists service lines.
func (a *API) ServiceLineList(ctx context.Context, r gen.ServiceLineListRequestObject) (gen.ServiceLineListResponseObject, error) {
	page, err := pageOf("service-lines", r.Params.Limit, r.Params.Cursor)
	if err != nil {
		return nil, err
	}
	rows, next, err := a.svc.ServiceLines(ctx, principal(ctx), page)
	if err != nil {
		return nil, err
	}
	return gen.ServiceLineList200JSONResponse{Items: views(rows, serviceLineView), NextCursor: nextCursor("service-lines", next)}, nil
}

// ServiceLineCreate records a service line.
func (a *API) ServiceLineCreate(ctx context.Context, r gen.ServiceLineCreateRequestObject) (gen.ServiceLineCreateResponseObject, error) {
	row, err := a.svc.CreateServiceLine(ctx, principal(ctx), serviceLineValues(*r.Body))
	if err != nil {
		return nil, err
	}
	headers := gen.ServiceLineCreate201ResponseHeaders{ETag: strongETag(row.Revision), Location: location(r.Garden, "service-lines", row.ID)}
	return gen.ServiceLineCreate201JSONResponse{Body: serviceLineView(row), Headers: headers}, nil
}

// ServiceLineGet reads a service line.
func (a *API) ServiceLineGet(ctx context.Context, r gen.ServiceLineGetRequestObject) (gen.ServiceLineGetResponseObject, error) {
	row, err := a.svc.ServiceLine(ctx, principal(ctx), r.Line)
	if err != nil {
		return nil, err
	}
	headers := gen.ServiceLineGet200ResponseHeaders{ETag: strongETag(row.Revision)}
	return gen.ServiceLineGet200JSONResponse{Body: serviceLineView(row), Headers: headers}, nil
}

// ServiceLineReplace replaces a service line.
func (a *API) ServiceLineReplace(ctx context.Context, r gen.ServiceLineReplaceRequestObject) (gen.ServiceLineReplaceResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	row, err := a.svc.ReplaceServiceLine(ctx, principal(ctx), r.Line, match, serviceLineValues(*r.Body))
	if err != nil {
		return nil, err
	}
	headers := gen.ServiceLineReplace200ResponseHeaders{ETag: strongETag(row.Revision)}
	return gen.ServiceLineReplace200JSONResponse{Body: serviceLineView(row), Headers: headers}, nil
}

// ServiceLineDelete deletes a service line.
func (a *API) ServiceLineDelete(ctx context.Context, r gen.ServiceLineDeleteRequestObject) (gen.ServiceLineDeleteResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	if err := a.svc.DeleteServiceLine(ctx, principal(ctx), r.Line, match); err != nil {
		return nil, err
	}
	return gen.ServiceLineDelete204Response{}, nil
}
