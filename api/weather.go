package api

import (
	"context"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
)

// WeatherDayList lists weather days.
func (a *API) WeatherDayList(ctx context.Context, r gen.WeatherDayListRequestObject) (gen.WeatherDayListResponseObject, error) {
	page, err := pageOf("weather-days", r.Params.Limit, r.Params.Cursor)
	if err != nil {
		return nil, err
	}
	filter := repo.WeatherFilter{First: dayOf(r.Params.From), Last: dayOf(r.Params.To), Station: r.Params.Station}
	rows, next, err := a.svc.WeatherDays(ctx, principal(ctx), filter, page)
	if err != nil {
		return nil, err
	}
	return gen.WeatherDayList200JSONResponse{Items: views(rows, weatherDayView), NextCursor: nextCursor("weather-days", next)}, nil
}

// WeatherDayStore stores weather days.
func (a *API) WeatherDayStore(ctx context.Context, r gen.WeatherDayStoreRequestObject) (gen.WeatherDayStoreResponseObject, error) {
	if err := a.svc.StoreWeather(ctx, principal(ctx), views(r.Body.Days, weatherDay)); err != nil {
		return nil, err
	}
	return gen.WeatherDayStore200JSONResponse{Stored: int32(len(r.Body.Days))}, nil
}

// ReferenceEtList reads reference evapotranspiration by day.
func (a *API) ReferenceEtList(ctx context.Context, r gen.ReferenceEtListRequestObject) (gen.ReferenceEtListResponseObject, error) {
	days := 7
	if r.Params.Days != nil {
		days = int(*r.Params.Days)
	}
	series, err := a.svc.ReferenceET(ctx, principal(ctx), dayOf(r.Params.From), days)
	if err != nil {
		return nil, err
	}
	return gen.ReferenceEtList200JSONResponse{Days: views(series, referenceEtDay)}, nil
}
