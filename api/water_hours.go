package api

import (
	"context"

	"rillturn.example/rillturn/api/gen"
)

// WaterHoursList lists water hours.
func (a *API) WaterHoursList(ctx context.Context, r gen.WaterHoursListRequestObject) (gen.WaterHoursListResponseObject, error) {
	page, err := pageOf("water-hours", r.Params.Limit, r.Params.Cursor)
	if err != nil {
		return nil, err
	}
	rows, next, err := a.svc.WaterHoursList(ctx, principal(ctx), page)
	if err != nil {
		return nil, err
	}
	return gen.WaterHoursList200JSONResponse{Items: views(rows, waterHoursView), NextCursor: nextCursor("water-hours", next)}, nil
}

// WaterHoursCreate records an entry of water hours.
func (a *API) WaterHoursCreate(ctx context.Context, r gen.WaterHoursCreateRequestObject) (gen.WaterHoursCreateResponseObject, error) {
	row, err := a.svc.CreateWaterHours(ctx, principal(ctx), waterHoursValues(*r.Body))
	if err != nil {
		return nil, err
	}
	headers := gen.WaterHoursCreate201ResponseHeaders{ETag: strongETag(row.Revision), Location: location(r.Garden, "water-hours", row.ID)}
	return gen.WaterHoursCreate201JSONResponse{Body: waterHoursView(row), Headers: headers}, nil
}

// WaterHoursGet reads an entry of water hours.
func (a *API) WaterHoursGet(ctx context.Context, r gen.WaterHoursGetRequestObject) (gen.WaterHoursGetResponseObject, error) {
	row, err := a.svc.WaterHours(ctx, principal(ctx), r.Hours)
	if err != nil {
		return nil, err
	}
	headers := gen.WaterHoursGet200ResponseHeaders{ETag: strongETag(row.Revision)}
	return gen.WaterHoursGet200JSONResponse{Body: waterHoursView(row), Headers: headers}, nil
}

// WaterHoursReplace replaces an entry of water hours.
func (a *API) WaterHoursReplace(ctx context.Context, r gen.WaterHoursReplaceRequestObject) (gen.WaterHoursReplaceResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	row, err := a.svc.ReplaceWaterHours(ctx, principal(ctx), r.Hours, match, waterHoursValues(*r.Body))
	if err != nil {
		return nil, err
	}
	headers := gen.WaterHoursReplace200ResponseHeaders{ETag: strongETag(row.Revision)}
	return gen.WaterHoursReplace200JSONResponse{Body: waterHoursView(row), Headers: headers}, nil
}

// WaterHoursDelete deletes an entry of water hours.
func (a *API) WaterHoursDelete(ctx context.Context, r gen.WaterHoursDeleteRequestObject) (gen.WaterHoursDeleteResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	if err := a.svc.DeleteWaterHours(ctx, principal(ctx), r.Hours, match); err != nil {
		return nil, err
	}
	return gen.WaterHoursDelete204Response{}, nil
}
