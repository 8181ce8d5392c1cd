package api

import (
	"context"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service"
)

// WaterOffList lists when the water was off.
func (a *API) WaterOffList(ctx context.Context, r gen.WaterOffListRequestObject) (gen.WaterOffListResponseObject, error) {
	page, err := pageOf("water-offs", r.Params.Limit, r.Params.Cursor)
	if err != nil {
		return nil, err
	}
	rows, next, err := a.svc.WaterOffs(ctx, principal(ctx), page)
	if err != nil {
		return nil, err
	}
	return gen.WaterOffList200JSONResponse{Items: views(rows, waterOffView), NextCursor: nextCursor("water-offs", next)}, nil
}

// WaterSourceClose turns the water off at a source.
func (a *API) WaterSourceClose(ctx context.Context, r gen.WaterSourceCloseRequestObject) (gen.WaterSourceCloseResponseObject, error) {
	v := waterOffValues(*r.Body)
	v.WaterSourceID = &r.Source
	done, err := a.svc.TurnWaterOff(ctx, principal(ctx), v)
	return gen.WaterSourceClose200JSONResponse(waterOffDoneView(done)), err
}

// WaterSourceReopen turns the water on again at a source.
func (a *API) WaterSourceReopen(ctx context.Context, r gen.WaterSourceReopenRequestObject) (gen.WaterSourceReopenResponseObject, error) {
	done, err := a.svc.TurnWaterOn(ctx, principal(ctx), &r.Source, nil)
	return gen.WaterSourceReopen200JSONResponse(waterOnDoneView(done)), err
}

// ServiceLineClose turns the water off at every source of a service line.
func (a *API) ServiceLineClose(ctx context.Context, r gen.ServiceLineCloseRequestObject) (gen.ServiceLineCloseResponseObject, error) {
	v := waterOffValues(*r.Body)
	v.ServiceLineID = &r.Line
	done, err := a.svc.TurnWaterOff(ctx, principal(ctx), v)
	return gen.ServiceLineClose200JSONResponse(waterOffDoneView(done)), err
}

// ServiceLineReopen turns the water on again at a service line.
func (a *API) ServiceLineReopen(ctx context.Context, r gen.ServiceLineReopenRequestObject) (gen.ServiceLineReopenResponseObject, error) {
	done, err := a.svc.TurnWaterOn(ctx, principal(ctx), nil, &r.Line)
	return gen.ServiceLineReopen200JSONResponse(waterOnDoneView(done)), err
}

func waterOffValues(b gen.WaterOffCreate) repo.WaterOffValues {
	return repo.WaterOffValues{Reason: b.Reason, ExpectedUntil: b.ExpectedUntil}
}

func waterOffView(r repo.WaterOff) gen.WaterOff {
	return gen.WaterOff{
		Id: r.ID, WaterSourceId: r.WaterSourceID, ServiceLineId: r.ServiceLineID, OffAt: r.OffAt, ExpectedUntil: r.ExpectedUntil, OnAt: r.OnAt,
		Reason: r.Reason, Revision: r.Revision, CreatedAt: r.CreatedAt,
	}
}

func waterOffDoneView(w service.WaterOff) gen.WaterOffDone {
	return gen.WaterOffDone{WaterOff: waterOffView(w.WaterOff), Cancelled: int32(w.Cancelled), CutShort: int32(w.CutShort)}
}

func waterOnDoneView(w service.WaterOn) gen.WaterOnDone {
	return gen.WaterOnDone{WaterOff: waterOffView(w.WaterOff), Restored: int32(w.Restored)}
}
