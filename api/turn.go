package api

import (
	"context"

	"github.com/google/uuid"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
)

// TurnList lists turns by time.
func (a *API) TurnList(ctx context.Context, r gen.TurnListRequestObject) (gen.TurnListResponseObject, error) {
	page, err := pageOf("turns", r.Params.Limit, r.Params.Cursor)
	if err != nil {
		return nil, err
	}
	filter := repo.TurnFilter{From: r.Params.From, To: r.Params.To, WaterSourceID: r.Params.Source, PlotID: r.Params.Plot}
	rows, next, err := a.svc.Turns(ctx, principal(ctx), filter, page)
	if err != nil {
		return nil, err
	}
	return gen.TurnList200JSONResponse{Items: views(rows, turnView), NextCursor: nextCursor("turns", next)}, nil
}

// TurnGet reads a turn.
func (a *API) TurnGet(ctx context.Context, r gen.TurnGetRequestObject) (gen.TurnGetResponseObject, error) {
	row, err := a.svc.Turn(ctx, principal(ctx), r.Turn)
	if err != nil {
		return nil, err
	}
	headers := gen.TurnGet200ResponseHeaders{ETag: strongETag(row.Revision)}
	return gen.TurnGet200JSONResponse{Body: turnView(row), Headers: headers}, nil
}

// TurnLock keeps a turn where it is.
func (a *API) TurnLock(ctx context.Context, r gen.TurnLockRequestObject) (gen.TurnLockResponseObject, error) {
	row, err := a.lockTurn(ctx, r.Turn, r.Params.IfMatch, true)
	if err != nil {
		return nil, err
	}
	return gen.TurnLock200JSONResponse{Body: turnView(row), Headers: gen.TurnLock200ResponseHeaders{ETag: strongETag(row.Revision)}}, nil
}

// TurnUnlock lets plans move a turn again.
func (a *API) TurnUnlock(ctx context.Context, r gen.TurnUnlockRequestObject) (gen.TurnUnlockResponseObject, error) {
	row, err := a.lockTurn(ctx, r.Turn, r.Params.IfMatch, false)
	if err != nil {
		return nil, err
	}
	return gen.TurnUnlock200JSONResponse{Body: turnView(row), Headers: gen.TurnUnlock200ResponseHeaders{ETag: strongETag(row.Revision)}}, nil
}

func (a *API) lockTurn(ctx context.Context, turn uuid.UUID, ifMatch *string, locked bool) (repo.ScheduledTurn, error) {
	match, err := matched(ifMatch)
	if err != nil {
		return repo.ScheduledTurn{}, err
	}
	return a.svc.LockTurn(ctx, principal(ctx), turn, match, locked)
}

// ReportList lists the reports of a turn.
func (a *API) ReportList(ctx context.Context, r gen.ReportListRequestObject) (gen.ReportListResponseObject, error) {
	page, err := pageOf("reports", r.Params.Limit, r.Params.Cursor)
	if err != nil {
		return nil, err
	}
	rows, next, err := a.svc.Reports(ctx, principal(ctx), r.Turn, page)
	if err != nil {
		return nil, err
	}
	return gen.ReportList200JSONResponse{Items: views(rows, turnReportView), NextCursor: nextCursor("reports", next)}, nil
}

// ReportCreate records what became of a turn.
func (a *API) ReportCreate(ctx context.Context, r gen.ReportCreateRequestObject) (gen.ReportCreateResponseObject, error) {
	values := turnReportValues(*r.Body)
	values.TurnID = r.Turn
	row, err := a.svc.CreateReport(ctx, principal(ctx), values)
	if err != nil {
		return nil, err
	}
	headers := gen.ReportCreate201ResponseHeaders{Location: location(r.Garden, "turns", r.Turn, "reports", row.ID)}
	return gen.ReportCreate201JSONResponse{Body: turnReportView(row), Headers: headers}, nil
}

// ReportGet reads a report.
func (a *API) ReportGet(ctx context.Context, r gen.ReportGetRequestObject) (gen.ReportGetResponseObject, error) {
	row, err := a.svc.Report(ctx, principal(ctx), r.Turn, r.Report)
	if err != nil {
		return nil, err
	}
	return gen.ReportGet200JSONResponse(turnReportView(row)), nil
}
