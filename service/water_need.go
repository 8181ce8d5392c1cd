package service

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/file"
)

// leastHorizon is the fewest days that a need is worked out for.
const leastHorizon = 7

// AskedNeed is a stretch of days whose water need is asked for.
type AskedNeed struct {
	Garden repo.Garden
	First  time.Time
	Days   int
}

// AskNeed finds the days whose water need is asked for: a week from today unless others are named. A need far ahead would
// rest on nothing but the climate, so it begins within a year of today.
func (s *Service) AskNeed(ctx context.Context, p Principal, first *time.Time, days *int) (AskedNeed, error) {
	out := AskedNeed{Days: leastHorizon}
	if err := p.may(ReadPeople); err != nil {
		return out, err
	}
	var err error
	if out.Garden, err = s.read(p).GardenByID(ctx, p.Garden); err != nil {
		return out, explain(err, effect{entity: "garden"})
	}
	today, err := s.today(out.Garden)
	if err != nil {
		return out, err
	}
	out.First = today
	if first != nil {
		out.First = *first
	}
	if days != nil {
		out.Days = *days
	}
	if out.First.Before(today.AddDate(-1, 0, 0)) || out.First.After(today.AddDate(1, 0, 0)) {
		return out, invalid(Field{"#query/from", "must lie within a year of today, " + today.Format(time.DateOnly)})
	}
	return out, nil
}

// NeedOf is what a garden needs, with what it was worked out from.
type NeedOf struct {
	AskedNeed
	Input file.Garden
	Need  file.GardenNeed
}

// WaterNeeds works out what every layout and hand-watered plot needs, and what its soil takes.
func (s *Service) WaterNeeds(ctx context.Context, p Principal, asked AskedNeed) (NeedOf, error) {
	out := NeedOf{AskedNeed: asked}
	if err := p.may(ReadPeople); err != nil {
		return out, err
	}
	var err error
	if out.Input, err = s.needInput(ctx, p, asked.First, asked.Days); err != nil {
		return out, err
	}
	out.Need, err = NeedGarden(out.Input)
	return out, needRefusal(err)
}

// needInput reads a garden as its water need depends on it.
func (s *Service) needInput(ctx context.Context, p Principal, first time.Time, days int) (file.Garden, error) {
	var input file.Garden
	err := repo.InTenant(ctx, s.pool, p.Garden, func(tx pgx.Tx) error {
		var err error
		input, err = snapshot(ctx, tx, p.Garden, file.Horizon{FirstDay: file.Day{Time: first}, Days: days}, time.Time{})
		return err
	})
	return input, explain(err, effect{entity: "garden"})
}

// needRefusal says what keeps a water need from being worked out.
func needRefusal(err error) error { return fileRefusal(err, "The water need can't be worked out yet") }
