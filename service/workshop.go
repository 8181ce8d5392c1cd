package service

import (
	"context"
	"encoding/json"
	"fmt"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/file"
)

// Workshop reads what the garden's workshop works with, at its revision.
func (s *Service) Workshop(ctx context.Context, p Principal) (file.Workshop, int64, error) {
	if err := p.may(ReadPeople); err != nil {
		return file.Workshop{}, 0, err
	}
	g, err := s.read(p).GardenByID(ctx, p.Garden)
	if err != nil {
		return file.Workshop{}, 0, explain(err, effect{entity: "garden"})
	}
	w, err := workshopOf(g)
	return w, g.WorkshopRevision, err
}

func workshopOf(g repo.Garden) (file.Workshop, error) {
	var w file.Workshop
	if err := json.Unmarshal(g.Workshop, &w); err != nil {
		return w, fmt.Errorf("stored workshop: %w", err)
	}
	return w, nil
}

// ReplaceWorkshop writes the workshop anew over its revision match.
func (s *Service) ReplaceWorkshop(ctx context.Context, p Principal, match int64, w file.Workshop) (file.Workshop, int64, error) {
	if err := p.may(Administer); err != nil {
		return w, 0, err
	}
	if fields := fieldsOf(w.Validate()); len(fields) > 0 {
		return w, 0, invalid(fields...)
	}
	document, err := json.Marshal(w)
	if err != nil {
		return w, 0, err
	}
	e := effect{action: "replace", entity: "workshop", id: p.Garden}
	g, err := replace(ctx, s, p, e, match, func(q *repo.Queries) (repo.Garden, error) {
		return q.WorkshopUpdate(ctx, document, p.Garden, match)
	}, func(q *repo.Queries) (int64, error) {
		row, err := q.GardenByID(ctx, p.Garden)
		return row.WorkshopRevision, err
	})
	return w, g.WorkshopRevision, err
}
