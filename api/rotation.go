package api

import (
	"context"
	"encoding/hex"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
)

// RotationList lists rotations, without their results.
func (a *API) RotationList(ctx context.Context, r gen.RotationListRequestObject) (gen.RotationListResponseObject, error) {
	page, err := pageOf("rotations", r.Params.Limit, r.Params.Cursor)
	if err != nil {
		return nil, err
	}
	rows, next, err := a.svc.Rotations(ctx, principal(ctx), page)
	if err != nil {
		return nil, err
	}
	items, err := a.rotationViews(ctx, rows...)
	return gen.RotationList200JSONResponse{Items: items, NextCursor: nextCursor("rotations", next)}, err
}

// RotationCreate plans a rotation and stores it as a proposal.
func (a *API) RotationCreate(ctx context.Context, r gen.RotationCreateRequestObject) (gen.RotationCreateResponseObject, error) {
	made, err := a.svc.ProposeRotation(ctx, principal(ctx), proposal(*r.Body))
	if err != nil {
		return nil, err
	}
	body, at := rotationView(made, made.PlanRevision), location(r.Garden, "rotations", made.ID)
	if body.Status == gen.RotationStatusPlanning {
		headers := gen.RotationCreate202ResponseHeaders{ETag: strongETag(made.Revision), Location: at}
		return gen.RotationCreate202JSONResponse{Body: body, Headers: headers}, nil
	}
	headers := gen.RotationCreate201ResponseHeaders{ETag: strongETag(made.Revision), Location: at}
	return gen.RotationCreate201JSONResponse{Body: body, Headers: headers}, nil
}

// RotationCancel stops planning a rotation.
func (a *API) RotationCancel(ctx context.Context, r gen.RotationCancelRequestObject) (gen.RotationCancelResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	row, err := a.svc.CancelRotation(ctx, principal(ctx), r.Rotation, match)
	if err != nil {
		return nil, err
	}
	shown, err := a.rotationViews(ctx, row)
	if err != nil {
		return nil, err
	}
	return gen.RotationCancel200JSONResponse{Body: shown[0], Headers: gen.RotationCancel200ResponseHeaders{ETag: strongETag(row.Revision)}}, nil
}

// RotationComparisonGet compares a proposal with the published rotation.
func (a *API) RotationComparisonGet(ctx context.Context, r gen.RotationComparisonGetRequestObject) (gen.RotationComparisonGetResponseObject, error) {
	compared, err := a.svc.CompareRotation(ctx, principal(ctx), r.Rotation)
	if err != nil {
		return nil, err
	}
	garden, err := a.svc.Garden(ctx, principal(ctx))
	return gen.RotationComparisonGet200JSONResponse(comparisonView(compared, garden)), err
}

// RotationGet reads a rotation.
func (a *API) RotationGet(ctx context.Context, r gen.RotationGetRequestObject) (gen.RotationGetResponseObject, error) {
	row, err := a.svc.Rotation(ctx, principal(ctx), r.Rotation)
	if err != nil {
		return nil, err
	}
	shown, err := a.rotationViews(ctx, row)
	if err != nil {
		return nil, err
	}
	return gen.RotationGet200JSONResponse{Body: shown[0], Headers: gen.RotationGet200ResponseHeaders{ETag: strongETag(row.Revision)}}, nil
}

// RotationInputGet reads what a rotation was planned from, to the byte.
func (a *API) RotationInputGet(ctx context.Context, r gen.RotationInputGetRequestObject) (gen.RotationInputGetResponseObject, error) {
	input, hash, err := a.svc.RotationInput(ctx, principal(ctx), r.Rotation)
	if err != nil {
		return nil, err
	}
	return document{media: jsonMedia, etag: `"` + hex.EncodeToString(hash) + `"`, body: input}, nil
}

// RotationPlanGet reads what came out of planning, with its working.
func (a *API) RotationPlanGet(ctx context.Context, r gen.RotationPlanGetRequestObject) (gen.RotationPlanGetResponseObject, error) {
	output, hash, err := a.svc.RotationPlan(ctx, principal(ctx), r.Rotation)
	if err != nil {
		return nil, err
	}
	return document{media: jsonMedia, etag: `"` + hex.EncodeToString(hash) + `"`, body: output}, nil
}

// RotationPublish publishes a proposed rotation.
func (a *API) RotationPublish(ctx context.Context, r gen.RotationPublishRequestObject) (gen.RotationPublishResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	row, err := a.svc.PublishRotation(ctx, principal(ctx), r.Rotation, match, r.Body.AllowStale != nil && *r.Body.AllowStale)
	if err != nil {
		return nil, err
	}
	shown, err := a.rotationViews(ctx, row)
	if err != nil {
		return nil, err
	}
	return gen.RotationPublish200JSONResponse{Body: shown[0], Headers: gen.RotationPublish200ResponseHeaders{ETag: strongETag(row.Revision)}}, nil
}

// rotationViews shows rotations, each with whether the garden has changed since it was planned.
func (a *API) rotationViews(ctx context.Context, rows ...repo.Rotation) ([]gen.Rotation, error) {
	garden, err := a.svc.Garden(ctx, principal(ctx))
	if err != nil {
		return nil, err
	}
	return views(rows, func(r repo.Rotation) gen.Rotation { return rotationView(r, garden.PlanRevision) }), nil
}
