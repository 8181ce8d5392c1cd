package api

import (
	"context"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service"
)

// StoredPipeList lists the pipes in the store.
func (a *API) StoredPipeList(ctx context.Context, r gen.StoredPipeListRequestObject) (gen.StoredPipeListResponseObject, error) {
	page, err := pageOf("stored pipes", r.Params.Limit, r.Params.Cursor)
	if err != nil {
		return nil, err
	}
	filter := repo.StoredPipeFilter{OwnerID: r.Params.Owner, ReservedLayoutID: r.Params.ReservedFor}
	rows, next, err := a.svc.StoredPipes(ctx, principal(ctx), filter, page)
	if err != nil {
		return nil, err
	}
	items, err := storedPipeViews(rows)
	return gen.StoredPipeList200JSONResponse{Items: items, NextCursor: nextCursor("stored pipes", next)}, err
}

// StoredPipeCreate puts a pipe into the store.
func (a *API) StoredPipeCreate(ctx context.Context, r gen.StoredPipeCreateRequestObject) (gen.StoredPipeCreateResponseObject, error) {
	row, err := a.svc.CreateStoredPipe(ctx, principal(ctx), storedPipeValues(*r.Body), storedPipeSpec(*r.Body))
	if err != nil {
		return nil, err
	}
	body, err := storedPipeView(row)
	headers := gen.StoredPipeCreate201ResponseHeaders{ETag: strongETag(row.Revision), Location: location(r.Garden, "stored-pipes", row.ID)}
	return gen.StoredPipeCreate201JSONResponse{Body: body, Headers: headers}, err
}

// StoredPipeGet reads a stored pipe.
func (a *API) StoredPipeGet(ctx context.Context, r gen.StoredPipeGetRequestObject) (gen.StoredPipeGetResponseObject, error) {
	row, err := a.svc.StoredPipe(ctx, principal(ctx), r.Pipe)
	if err != nil {
		return nil, err
	}
	body, err := storedPipeView(row)
	headers := gen.StoredPipeGet200ResponseHeaders{ETag: strongETag(row.Revision)}
	return gen.StoredPipeGet200JSONResponse{Body: body, Headers: headers}, err
}

// StoredPipeReplace replaces a stored pipe.
func (a *API) StoredPipeReplace(ctx context.Context, r gen.StoredPipeReplaceRequestObject) (gen.StoredPipeReplaceResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	row, err := a.svc.ReplaceStoredPipe(ctx, principal(ctx), r.Pipe, match, storedPipeValues(*r.Body), storedPipeSpec(*r.Body))
	if err != nil {
		return nil, err
	}
	body, err := storedPipeView(row)
	headers := gen.StoredPipeReplace200ResponseHeaders{ETag: strongETag(row.Revision)}
	return gen.StoredPipeReplace200JSONResponse{Body: body, Headers: headers}, err
}

// StoredPipeDelete takes a pipe out of the store.
func (a *API) StoredPipeDelete(ctx context.Context, r gen.StoredPipeDeleteRequestObject) (gen.StoredPipeDeleteResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	if err := a.svc.DeleteStoredPipe(ctx, principal(ctx), r.Pipe, match); err != nil {
		return nil, err
	}
	return gen.StoredPipeDelete204Response{}, nil
}

// LayoutReservationStore sets aside for a layout the stored pipes that its sheet takes.
func (a *API) LayoutReservationStore(ctx context.Context, r gen.LayoutReservationStoreRequestObject) (gen.LayoutReservationStoreResponseObject, error) {
	rows, err := a.svc.ReservePipes(ctx, principal(ctx), r.Layout)
	if err != nil {
		return nil, err
	}
	items, err := storedPipeViews(rows)
	return gen.LayoutReservationStore200JSONResponse{Items: items}, err
}

// LayoutReservationDelete frees the stored pipes that are set aside for a layout.
func (a *API) LayoutReservationDelete(ctx context.Context, r gen.LayoutReservationDeleteRequestObject) (gen.LayoutReservationDeleteResponseObject, error) {
	if err := a.svc.ReleasePipes(ctx, principal(ctx), r.Layout); err != nil {
		return nil, err
	}
	return gen.LayoutReservationDelete204Response{}, nil
}

// LayoutPipesStore takes the laterals of a layout apart into the store.
func (a *API) LayoutPipesStore(ctx context.Context, r gen.LayoutPipesStoreRequestObject) (gen.LayoutPipesStoreResponseObject, error) {
	in := service.TakeIn{OwnerID: r.Body.OwnerId, Condition: string(r.Body.Condition), Note: r.Body.Note}
	rows, err := a.svc.StorePipes(ctx, principal(ctx), r.Layout, in)
	if err != nil {
		return nil, err
	}
	items, err := storedPipeViews(rows)
	return gen.LayoutPipesStore200JSONResponse{Items: items}, err
}

// WorkshopGet reads what the garden's workshop works with.
func (a *API) WorkshopGet(ctx context.Context, _ gen.WorkshopGetRequestObject) (gen.WorkshopGetResponseObject, error) {
	w, revision, err := a.svc.Workshop(ctx, principal(ctx))
	headers := gen.WorkshopGet200ResponseHeaders{ETag: strongETag(revision)}
	return gen.WorkshopGet200JSONResponse{Body: w, Headers: headers}, err
}

// WorkshopReplace replaces what the garden's workshop works with.
func (a *API) WorkshopReplace(ctx context.Context, r gen.WorkshopReplaceRequestObject) (gen.WorkshopReplaceResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	w, revision, err := a.svc.ReplaceWorkshop(ctx, principal(ctx), match, *r.Body)
	headers := gen.WorkshopReplace200ResponseHeaders{ETag: strongETag(revision)}
	return gen.WorkshopReplace200JSONResponse{Body: w, Headers: headers}, err
}

// SeasonCreate takes the garden into a new season.
func (a *API) SeasonCreate(ctx context.Context, r gen.SeasonCreateRequestObject) (gen.SeasonCreateResponseObject, error) {
	s, err := a.svc.OpenSeason(ctx, principal(ctx), r.Body.WaterOn.Time, r.Body.WaterOff.Time)
	if err != nil {
		return nil, err
	}
	body, err := seasonView(s)
	return gen.SeasonCreate201JSONResponse{Body: body, Headers: gen.SeasonCreate201ResponseHeaders{Location: location(r.Garden)}}, err
}
