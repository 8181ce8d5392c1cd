package api

import (
	"context"

	"rillturn.example/rillturn/api/gen"
)

// CropList lists the crops that a planting may name.
func (a *API) CropList(ctx context.Context, r gen.CropListRequestObject) (gen.CropListResponseObject, error) {
	page, err := pageOf("crops", r.Params.Limit, r.Params.Cursor)
	if err != nil {
		return nil, err
	}
	rows, next, err := a.svc.Crops(ctx, principal(ctx), page)
	if err != nil {
		return nil, err
	}
	return gen.CropList200JSONResponse{Items: views(rows, listedCropView), NextCursor: nextCursor("crops", next)}, nil
}

// OwnCropList lists the garden's own crops.
func (a *API) OwnCropList(ctx context.Context, r gen.OwnCropListRequestObject) (gen.OwnCropListResponseObject, error) {
	page, err := pageOf("own-crops", r.Params.Limit, r.Params.Cursor)
	if err != nil {
		return nil, err
	}
	rows, next, err := a.svc.OwnCrops(ctx, principal(ctx), page)
	if err != nil {
		return nil, err
	}
	items := make([]gen.OwnCrop, len(rows))
	for i, row := range rows {
		if items[i], err = ownCropView(row); err != nil {
			return nil, err
		}
	}
	return gen.OwnCropList200JSONResponse{Items: items, NextCursor: nextCursor("own-crops", next)}, nil
}

// OwnCropCreate adds a crop of the garden's own.
func (a *API) OwnCropCreate(ctx context.Context, r gen.OwnCropCreateRequestObject) (gen.OwnCropCreateResponseObject, error) {
	row, err := a.svc.CreateOwnCrop(ctx, principal(ctx), *r.Body)
	if err != nil {
		return nil, err
	}
	body, err := ownCropView(row)
	headers := gen.OwnCropCreate201ResponseHeaders{ETag: strongETag(row.Revision), Location: location(r.Garden, "own-crops", row.ID)}
	return gen.OwnCropCreate201JSONResponse{Body: body, Headers: headers}, err
}

// OwnCropGet reads one of the garden's own crops.
func (a *API) OwnCropGet(ctx context.Context, r gen.OwnCropGetRequestObject) (gen.OwnCropGetResponseObject, error) {
	row, err := a.svc.OwnCrop(ctx, principal(ctx), r.Crop)
	if err != nil {
		return nil, err
	}
	body, err := ownCropView(row)
	return gen.OwnCropGet200JSONResponse{Body: body, Headers: gen.OwnCropGet200ResponseHeaders{ETag: strongETag(row.Revision)}}, err
}

// OwnCropReplace replaces one of the garden's own crops.
func (a *API) OwnCropReplace(ctx context.Context, r gen.OwnCropReplaceRequestObject) (gen.OwnCropReplaceResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	row, err := a.svc.ReplaceOwnCrop(ctx, principal(ctx), r.Crop, match, *r.Body)
	if err != nil {
		return nil, err
	}
	body, err := ownCropView(row)
	return gen.OwnCropReplace200JSONResponse{Body: body, Headers: gen.OwnCropReplace200ResponseHeaders{ETag: strongETag(row.Revision)}}, err
}

// OwnCropDelete deletes one of the garden's own crops.
func (a *API) OwnCropDelete(ctx context.Context, r gen.OwnCropDeleteRequestObject) (gen.OwnCropDeleteResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	if err := a.svc.DeleteOwnCrop(ctx, principal(ctx), r.Crop, match); err != nil {
		return nil, err
	}
	return gen.OwnCropDelete204Response{}, nil
}
