package api

import (
	"context"

	"rillturn.example/rillturn/api/gen"
)

// GardenCreate opens a garden.
func (a *API) GardenCreate(ctx context.Context, r gen.GardenCreateRequestObject) (gen.GardenCreateResponseObject, error) {
	made, err := a.svc.CreateGarden(ctx, principal(ctx), gardenValues(r.Body.Garden), r.Body.CoordinatorName)
	if err != nil {
		return nil, err
	}
	return gen.GardenCreate201JSONResponse{
		Body: gen.GardenCreated{
			Garden: gardenView(made.Garden), Coordinator: memberView(made.Coordinator), Token: tokenCreated(made.Token, made.Secret, ""),
		},
		Headers: gen.GardenCreate201ResponseHeaders{ETag: strongETag(made.Garden.Revision), Location: location(made.Garden.GardenID)},
	}, nil
}

// GardenGet reads the garden.
func (a *API) GardenGet(ctx context.Context, _ gen.GardenGetRequestObject) (gen.GardenGetResponseObject, error) {
	row, err := a.svc.Garden(ctx, principal(ctx))
	if err != nil {
		return nil, err
	}
	headers := gen.GardenGet200ResponseHeaders{ETag: strongETag(row.Revision)}
	return gen.GardenGet200JSONResponse{Body: gardenView(row), Headers: headers}, nil
}

// GardenReplace replaces the facts and choices of the garden.
func (a *API) GardenReplace(ctx context.Context, r gen.GardenReplaceRequestObject) (gen.GardenReplaceResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	row, err := a.svc.ReplaceGarden(ctx, principal(ctx), match, gardenValues(*r.Body))
	if err != nil {
		return nil, err
	}
	headers := gen.GardenReplace200ResponseHeaders{ETag: strongETag(row.Revision)}
	return gen.GardenReplace200JSONResponse{Body: gardenView(row), Headers: headers}, nil
}

// AuditEntryList lists who changed what.
func (a *API) AuditEntryList(ctx context.Context, r gen.AuditEntryListRequestObject) (gen.AuditEntryListResponseObject, error) {
	page, err := pageOf("audit-entries", r.Params.Limit, r.Params.Cursor)
	if err != nil {
		return nil, err
	}
	rows, next, err := a.svc.AuditEntries(ctx, principal(ctx), page)
	if err != nil {
		return nil, err
	}
	return gen.AuditEntryList200JSONResponse{Items: views(rows, auditEntryView), NextCursor: nextCursor("audit-entries", next)}, nil
}
