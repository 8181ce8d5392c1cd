package service

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"rillturn.example/rillturn/engine/waterneed"
	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/file"
)

// ListedCrop is a crop that a planting may name, with all its constants.
type ListedCrop struct {
	Crop file.Crop
	Own  *uuid.UUID // the id of one of the garden's own; nil for a published crop
}

// Crops lists by code what a planting may name: the published library, with the garden's own crops beside and in place of
// published ones.
func (s *Service) Crops(ctx context.Context, p Principal, at Page) ([]ListedCrop, *Cursor, error) {
	if err := p.may(ReadSite); err != nil {
		return nil, nil, err
	}
	own, err := s.read(p).OwnCropList(ctx, p.Garden)
	if err != nil {
		return nil, nil, explain(err, effect{action: "list", entity: "crop"})
	}
	ids := map[string]uuid.UUID{}
	crops := make([]file.Crop, len(own))
	codes := []string{}
	for i, r := range own {
		if crops[i], err = ownCropFile(r); err != nil {
			return nil, nil, err
		}
		ids[r.Code] = r.ID
		codes = append(codes, r.Code)
	}
	for _, c := range waterneed.Crops() {
		if _, replaced := ids[c.Code]; !replaced {
			codes = append(codes, c.Code)
		}
	}
	slices.Sort(codes)
	rows := []ListedCrop{}
	for _, code := range codes {
		if code <= at.AfterKey || len(rows) > at.Limit {
			continue
		}
		crop, err := file.CopyCrop(code, crops, "")
		if err != nil {
			return nil, nil, fmt.Errorf("crop %s: %w", code, err)
		}
		listed := ListedCrop{Crop: crop}
		if id, mine := ids[code]; mine {
			listed.Own = &id
		}
		rows = append(rows, listed)
	}
	return page(rows, nil, at, "crop", func(c ListedCrop) Cursor { return Cursor{Key: c.Crop.Code} })
}

// OwnCrops lists the garden's own crops by code.
func (s *Service) OwnCrops(ctx context.Context, p Principal, at Page) ([]repo.OwnCrop, *Cursor, error) {
	if err := p.may(ReadSite); err != nil {
		return nil, nil, err
	}
	rows, err := s.read(p).OwnCropListPage(ctx, p.Garden, at.AfterKey, int32(at.Limit+1))
	return page(rows, err, at, "crop", func(r repo.OwnCrop) Cursor { return Cursor{Key: r.Code} })
}

// OwnCrop reads one of the garden's own crops.
func (s *Service) OwnCrop(ctx context.Context, p Principal, id uuid.UUID) (repo.OwnCrop, error) {
	if err := p.may(ReadSite); err != nil {
		return repo.OwnCrop{}, err
	}
	row, err := s.read(p).OwnCropByID(ctx, p.Garden, id)
	return one(row, err, "crop")
}

// CreateOwnCrop adds a crop beside the published library; one with the code of a published crop takes its place in this
// garden and gives only the values that differ.
func (s *Service) CreateOwnCrop(ctx context.Context, p Principal, c file.Crop) (repo.OwnCrop, error) {
	if err := p.may(Administer); err != nil {
		return repo.OwnCrop{}, err
	}
	v, err := ownCropValues(p, c)
	if err != nil {
		return repo.OwnCrop{}, err
	}
	e := effect{action: "create", entity: "crop", planning: true}
	return create(ctx, s, p, e, func(q *repo.Queries, id uuid.UUID) (repo.OwnCrop, error) {
		v.ID, v.Revision = id, 1
		return q.OwnCropInsert(ctx, v)
	})
}

// ReplaceOwnCrop writes a crop anew over its revision match. Plantings keep the constants that they were planted with.
func (s *Service) ReplaceOwnCrop(ctx context.Context, p Principal, id uuid.UUID, match int64, c file.Crop) (repo.OwnCrop, error) {
	if err := p.may(Administer); err != nil {
		return repo.OwnCrop{}, err
	}
	v, err := ownCropValues(p, c)
	if err != nil {
		return repo.OwnCrop{}, err
	}
	v.ID, v.Revision = id, match
	e := effect{action: "replace", entity: "crop", id: id, planning: true}
	return replace(ctx, s, p, e, match, func(q *repo.Queries) (repo.OwnCrop, error) { return q.OwnCropUpdate(ctx, v) }, ownCropRevision(ctx, p, id))
}

// DeleteOwnCrop removes a crop. Plantings keep the constants that they were planted with.
func (s *Service) DeleteOwnCrop(ctx context.Context, p Principal, id uuid.UUID, match int64) error {
	if err := p.may(Administer); err != nil {
		return err
	}
	e := effect{action: "delete", entity: "crop", id: id, planning: true}
	return s.remove(ctx, p, e, match, func(q *repo.Queries) (int64, error) {
		return q.OwnCropDelete(ctx, p.Garden, id, match)
	}, ownCropRevision(ctx, p, id))
}

func ownCropRevision(ctx context.Context, p Principal, id uuid.UUID) versioned {
	return func(q *repo.Queries) (int64, error) {
		row, err := q.OwnCropByID(ctx, p.Garden, id)
		return row.Revision, err
	}
}

// ownCropValues checks a crop and returns its record.
func ownCropValues(p Principal, c file.Crop) (repo.OwnCropValues, error) {
	if _, err := c.Constants(); err != nil {
		return repo.OwnCropValues{}, cmp.Or(error(invalid(fieldsOf(err)...)), err)
	}
	constants, err := json.Marshal(c)
	return repo.OwnCropValues{Code: c.Code, Constants: constants, GardenID: p.Garden}, err
}

func ownCropFile(r repo.OwnCrop) (file.Crop, error) {
	var c file.Crop
	if err := json.Unmarshal(r.Constants, &c); err != nil {
		return c, fmt.Errorf("stored constants of crop %s: %w", r.Code, err)
	}
	return c, nil
}

// ownCrops reads the garden's own crops by code.
func ownCrops(ctx context.Context, q *repo.Queries, garden uuid.UUID) ([]file.Crop, error) {
	rows, err := q.OwnCropList(ctx, garden)
	if err != nil {
		return nil, err
	}
	var crops []file.Crop
	for _, r := range rows {
		c, err := ownCropFile(r)
		if err != nil {
			return nil, err
		}
		crops = append(crops, c)
	}
	return crops, nil
}
