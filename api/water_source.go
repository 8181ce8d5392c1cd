package api

import (
	"context"

	"rillturn.example/rillturn/api/gen"
)

// WaterSourceList lists water sources.
func (a *API) WaterSourceList(ctx context.Context, r gen.WaterSourceListRequestObject) (gen.WaterSourceListResponseObject, error) {
	page, err := pageOf("water-sources", r.Params.Limit, r.Params.Cursor)
	if err != nil {
		return nil, err
	}
	rows, next, err := a.svc.WaterSources(ctx, principal(ctx), page)
	if err != nil {
		return nil, err
	}
	return gen.WaterSourceList200JSONResponse{Items: views(rows, waterSourceView), NextCursor: nextCursor("water-sources", next)}, nil
}

// WaterSourceCreate records a water source.
func (a *API) WaterSourceCreate(ctx context.Context, r gen.WaterSourceCreateRequestObject) (gen.WaterSourceCreateResponseObject, error) {
	row, err := a.svc.CreateWaterSource(ctx, principal(ctx), waterSourceValues(*r.Body))
	if err != nil {
		return nil, err
	}
	headers := gen.WaterSourceCreate201ResponseHeaders{ETag: strongETag(row.Revision), Location: location(r.Garden, "water-sources", row.ID)}
	return gen.WaterSourceCreate201JSONResponse{Body: waterSourceView(row), Headers: headers}, nil
}

// WaterSourceGet reads a water source.
func (a *API) WaterSourceGet(ctx context.Context, r gen.WaterSourceGetRequestObject) (gen.WaterSourceGetResponseObject, error) {
	row, err := a.svc.WaterSource(ctx, principal(ctx), r.Source)
	if err != nil {
		return nil, err
	}
	headers := gen.WaterSourceGet200ResponseHeaders{ETag: strongETag(row.Revision)}
	return gen.WaterSourceGet200JSONResponse{Body: waterSourceView(row), Headers: headers}, nil
}

// WaterSourceReplace replaces a water source.
func (a *API) WaterSourceReplace(ctx context.Context, r gen.WaterSourceReplaceRequestObject) (gen.WaterSourceReplaceResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	row, err := a.svc.ReplaceWaterSource(ctx, principal(ctx), r.Source, match, waterSourceValues(*r.Body))
	if err != nil {
		return nil, err
	}
	headers := gen.WaterSourceReplace200ResponseHeaders{ETag: strongETag(row.Revision)}
	return gen.WaterSourceReplace200JSONResponse{Body: waterSourceView(row), Headers: headers}, nil
}

// WaterSourceDelete deletes a water source.
func (a *API) WaterSourceDelete(ctx context.Context, r gen.WaterSourceDeleteRequestObject) (gen.WaterSourceDeleteResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	if err := a.svc.DeleteWaterSource(ctx, principal(ctx), r.Source, match); err != nil {
		return nil, err
	}
	return gen.WaterSourceDelete204Response{}, nil
}
