package service

import (
	"context"
	"time"

	"rillturn.example/rillturn/engine/waterneed"
	"rillturn.example/rillturn/service/file"
)

// ReferenceET is the weather of a stretch of days as the water need is worked out from it: evapotranspiration with what it
// stands on, and rain where anybody measured it. Without a first day it ends yesterday.
func (s *Service) ReferenceET(ctx context.Context, p Principal, first *time.Time, days int) ([]file.SeriesDayResult, error) {
	if err := p.may(ReadWeather); err != nil {
		return nil, err
	}
	if first == nil {
		garden, err := s.read(p).GardenByID(ctx, p.Garden)
		if err != nil {
			return nil, explain(err, effect{entity: "garden"})
		}
		today, err := s.today(garden)
		if err != nil {
			return nil, err
		}
		week := today.AddDate(0, 0, -days)
		first = &week
	}
	input, err := s.needInput(ctx, p, *first, days)
	if err != nil {
		return nil, err
	}
	climate, err := input.Climate()
	if err != nil {
		return nil, needRefusal(err)
	}
	year, month, day := first.Date()
	series, err := climate.Series(waterneed.Date{Year: year, Month: int(month), Day: day}, days)
	if err != nil {
		return nil, needRefusal(err)
	}
	return file.SeriesOf(series), nil
}
