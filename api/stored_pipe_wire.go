package api

import (
	"encoding/json"
	"errors"
	"fmt"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service"
	"rillturn.example/rillturn/service/file"
)

func storedPipeValues(b gen.StoredPipeValues) repo.StoredPipeValues {
	return repo.StoredPipeValues{
		Label: b.Label, OwnerID: b.OwnerId, Condition: string(b.Condition), Note: b.Note, ReservedLayoutID: b.ReservedLayoutId,
		FromLayoutID: b.FromLayoutId,
	}
}

// storedPipeSpec is the pipe itself, which is stored as a document.
func storedPipeSpec(b gen.StoredPipeValues) file.StoredPipe {
	return file.StoredPipe{Label: b.Label, Piece: b.Piece, Plugged: b.Plugged}
}

func storedPipeView(r repo.StoredPipe) (gen.StoredPipe, error) {
	view := gen.StoredPipe{
		Id: r.ID, Label: r.Label, OwnerId: r.OwnerID, Condition: gen.PipeCondition(r.Condition), Note: r.Note,
		ReservedLayoutId: r.ReservedLayoutID, FromLayoutId: r.FromLayoutID, Revision: r.Revision, CreatedAt: r.CreatedAt, UpdatedAt: r.UpdatedAt,
	}
	if err := errors.Join(json.Unmarshal(r.Piece, &view.Piece), json.Unmarshal(r.Plugged, &view.Plugged)); err != nil {
		return view, fmt.Errorf("document of stored pipe %s: %w", r.ID, err)
	}
	return view, nil
}

func storedPipeViews(rows []repo.StoredPipe) ([]gen.StoredPipe, error) {
	items := make([]gen.StoredPipe, len(rows))
	for i, r := range rows {
		var err error
		if items[i], err = storedPipeView(r); err != nil {
			return nil, err
		}
	}
	return items, nil
}

func seasonView(s service.Season) (gen.Season, error) {
	view := gen.Season{
		WaterOn: date(*s.Garden.WaterOn), WaterOff: date(*s.Garden.WaterOff), Drafts: s.Drafts, Plantings: make([]gen.Planting, len(s.Plantings)),
	}
	for i, r := range s.Plantings {
		var err error
		if view.Plantings[i], err = plantingView(r); err != nil {
			return view, err
		}
	}
	return view, nil
}
