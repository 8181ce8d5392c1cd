package api

import (
	"context"

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
