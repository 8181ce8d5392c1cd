package api

import (
	"context"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
)

// RainReadingCreate records the rain that somebody read from a gauge.
func (a *API) RainReadingCreate(ctx context.Context, r gen.RainReadingCreateRequestObject) (gen.RainReadingCreateResponseObject, error) {
	row, err := a.svc.CreateRainReading(ctx, principal(ctx), rainReadingValues(*r.Body))
	if err != nil {
		return nil, err
	}
	headers := gen.RainReadingCreate201ResponseHeaders{ETag: strongETag(row.Revision), Location: location(r.Garden, "rain-readings", row.ID)}
	return gen.RainReadingCreate201JSONResponse{Body: rainReadingView(row), Headers: headers}, nil
}

// RainReadingGet reads a rain reading.
func (a *API) RainReadingGet(ctx context.Context, r gen.RainReadingGetRequestObject) (gen.RainReadingGetResponseObject, error) {
	row, err := a.svc.RainReading(ctx, principal(ctx), r.Reading)
	if err != nil {
		return nil, err
	}
	headers := gen.RainReadingGet200ResponseHeaders{ETag: strongETag(row.Revision)}
	return gen.RainReadingGet200JSONResponse{Body: rainReadingView(row), Headers: headers}, nil
}

// RainReadingList lists rain readings.
func (a *API) RainReadingList(ctx context.Context, r gen.RainReadingListRequestObject) (gen.RainReadingListResponseObject, error) {
	page, err := pageOf("rain-readings", r.Params.Limit, r.Params.Cursor)
	if err != nil {
		return nil, err
	}
	rows, next, err := a.svc.RainReadings(ctx, principal(ctx), r.Params.Plot, page)
	if err != nil {
		return nil, err
	}
	return gen.RainReadingList200JSONResponse{Items: views(rows, rainReadingView), NextCursor: nextCursor("rain-readings", next)}, nil
}

// RainReadingDelete deletes a rain reading.
func (a *API) RainReadingDelete(ctx context.Context, r gen.RainReadingDeleteRequestObject) (gen.RainReadingDeleteResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	if err := a.svc.DeleteRainReading(ctx, principal(ctx), r.Reading, match); err != nil {
		return nil, err
	}
	return gen.RainReadingDelete204Response{}, nil
}

func rainReadingValues(b gen.RainReadingValues) repo.RainReadingValues {
	return repo.RainReadingValues{PlotID: b.PlotId, Day: b.Day.Time, RainMm: b.RainMm, Note: b.Note}
}

func rainReadingView(r repo.RainReading) gen.RainReading {
	return gen.RainReading{
		Id: r.ID, PlotId: r.PlotID, Day: date(r.Day), RainMm: r.RainMm, Note: r.Note, Reporter: r.Reporter, Revision: r.Revision,
		CreatedAt: r.CreatedAt,
	}
}
