package api

import (
	"context"

	"rillturn.example/rillturn/api/gen"
)

// ClimateNormalsGet reads the mean days of the twelve months.
func (a *API) ClimateNormalsGet(ctx context.Context, _ gen.ClimateNormalsGetRequestObject) (gen.ClimateNormalsGetResponseObject, error) {
	months, revision, err := a.svc.ClimateNormals(ctx, principal(ctx))
	if err != nil {
		return nil, err
	}
	return gen.ClimateNormalsGet200JSONResponse{
		Body: gen.ClimateNormals{Months: views(months, monthNormalsView)}, Headers: gen.ClimateNormalsGet200ResponseHeaders{ETag: strongETag(revision)},
	}, nil
}

// ClimateNormalsReplace replaces the mean days of the twelve months.
func (a *API) ClimateNormalsReplace(ctx context.Context, r gen.ClimateNormalsReplaceRequestObject) (gen.ClimateNormalsReplaceResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	revision, err := a.svc.ReplaceClimateNormals(ctx, principal(ctx), match, views(r.Body.Months, monthNormals))
	if err != nil {
		return nil, err
	}
	headers := gen.ClimateNormalsReplace200ResponseHeaders{ETag: strongETag(revision)}
	return gen.ClimateNormalsReplace200JSONResponse{Body: *r.Body, Headers: headers}, nil
}

// WeatherStationsGet reads the weather stations.
func (a *API) WeatherStationsGet(ctx context.Context, _ gen.WeatherStationsGetRequestObject) (gen.WeatherStationsGetResponseObject, error) {
	stations, revision, err := a.svc.WeatherStations(ctx, principal(ctx))
	if err != nil {
		return nil, err
	}
	return gen.WeatherStationsGet200JSONResponse{
		Body: gen.WeatherStations{Stations: stations}, Headers: gen.WeatherStationsGet200ResponseHeaders{ETag: strongETag(revision)},
	}, nil
}

// WeatherStationsReplace replaces the weather stations.
func (a *API) WeatherStationsReplace(ctx context.Context, r gen.WeatherStationsReplaceRequestObject) (gen.WeatherStationsReplaceResponseObject, error) {
	match, err := matched(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	revision, err := a.svc.ReplaceWeatherStations(ctx, principal(ctx), match, r.Body.Stations)
	if err != nil {
		return nil, err
	}
	headers := gen.WeatherStationsReplace200ResponseHeaders{ETag: strongETag(revision)}
	return gen.WeatherStationsReplace200JSONResponse{Body: *r.Body, Headers: headers}, nil
}
