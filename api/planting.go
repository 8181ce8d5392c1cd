package api

import (
	"context"

	"rillturn.example/rillturn/api/gen"
)

// PlantingCreate records a planting.
func (a *API) PlantingCreate(ctx context.Context, r gen.PlantingCreateRequestObject) (gen.PlantingCreateResponseObject, error) {
	values, err := plantingValues(*r.Body)
	if err != nil {
		return nil, err
	}
	row, err := a.svc.CreatePlanting(ctx, principal(ctx), values)
	if err != nil {
		return nil, err
	}
	body, err := plantingView(row)
	headers := gen.PlantingCreate201ResponseHeaders{ETag: strongETag(row.Revision), Location: location(r.Garden, "plantings", row.ID)}
	return gen.PlantingCreate201JSONResponse{Body: body, Headers: headers}, err
}

// PlantingGet reads a planting.
func (a *API) PlantingGet(ctx context.Context, r gen.PlantingGetRequestObject) (gen.PlantingGetResponseObject, error) {
	row, err := a.svc.Planting(ctx, principal(ctx), r.Planting)
	if err != nil {
		return nil, err
	}
	body, err := plantingView(row)
	headers := gen.PlantingGet200ResponseHeaders{ETag: strongETag(row.Revision)}
	return gen.PlantingGet200JSONResponse{Body: body, Headers: headers}, err
}

// PlantingReplace replaces a planting.
func (a *API) PlantingReplace(ctx context.Context, r gen.PlantingReplaceRequestObject) (gen.PlantingReplaceResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	values, err := plantingValues(*r.Body)
	if err != nil {
		return nil, err
	}
	row, err := a.svc.ReplacePlanting(ctx, principal(ctx), r.Planting, match, values)
	if err != nil {
		return nil, err
	}
	body, err := plantingView(row)
	headers := gen.PlantingReplace200ResponseHeaders{ETag: strongETag(row.Revision)}
	return gen.PlantingReplace200JSONResponse{Body: body, Headers: headers}, err
}

// PlantingDelete deletes a planting.
func (a *API) PlantingDelete(ctx context.Context, r gen.PlantingDeleteRequestObject) (gen.PlantingDeleteResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	if err := a.svc.DeletePlanting(ctx, principal(ctx), r.Planting, match); err != nil {
		return nil, err
	}
	return gen.PlantingDelete204Response{}, nil
}

// PlantingList lists plantings.
func (a *API) PlantingList(ctx context.Context, r gen.PlantingListRequestObject) (gen.PlantingListResponseObject, error) {
	page, err := pageOf("plantings", r.Params.Limit, r.Params.Cursor)
	if err != nil {
		return nil, err
	}
	rows, next, err := a.svc.Plantings(ctx, principal(ctx), r.Params.Plot, page)
	if err != nil {
		return nil, err
	}
	items := make([]gen.Planting, len(rows))
	for i, row := range rows {
		if items[i], err = plantingView(row); err != nil {
			return nil, err
		}
	}
	return gen.PlantingList200JSONResponse{Items: items, NextCursor: nextCursor("plantings", next)}, nil
}
