package service

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/google/uuid"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/file"
)

// Plantings lists the plantings of one plot, or of the whole garden when plot is nil.
func (s *Service) Plantings(ctx context.Context, p Principal, plot *uuid.UUID, at Page) ([]repo.Planting, *Cursor, error) {
	if err := p.may(ReadPeople); err != nil {
		return nil, nil, err
	}
	after, err := at.afterTime()
	if err != nil {
		return nil, nil, err
	}
	rows, err := s.read(p).PlantingListPage(ctx, p.Garden, plot, after, at.AfterID, int32(at.Limit+1))
	return page(rows, err, at, "planting", func(r repo.Planting) Cursor { return timeCursor(r.CreatedAt, r.ID) })
}

// Planting reads one planting.
func (s *Service) Planting(ctx context.Context, p Principal, id uuid.UUID) (repo.Planting, error) {
	if err := p.may(ReadPeople); err != nil {
		return repo.Planting{}, err
	}
	row, err := s.read(p).PlantingByID(ctx, p.Garden, id)
	return one(row, err, "planting")
}

// CreatePlanting plants a crop on a plot; the crop's constants are copied unless others are given, so that a later change
// of the library changes no ledger.
func (s *Service) CreatePlanting(ctx context.Context, p Principal, v repo.PlantingValues) (repo.Planting, error) {
	if err := p.may(DrawLayout); err != nil {
		return repo.Planting{}, err
	}
	if err := completeConstants(&v); err != nil {
		return repo.Planting{}, err
	}
	e := effect{action: "create", entity: "planting", planning: true}
	return create(ctx, s, p, e, func(q *repo.Queries, id uuid.UUID) (repo.Planting, error) {
		v.GardenID, v.ID, v.Revision = p.Garden, id, 1
		if err := s.checkPlanting(ctx, q, p, &v); err != nil {
			return repo.Planting{}, err
		}
		return usablePlanting(q.PlantingInsert(ctx, v))
	})
}

// ReplacePlanting writes a planting anew over its revision match. Constants that are not given stay, and are copied anew
// when the crop changes.
func (s *Service) ReplacePlanting(ctx context.Context, p Principal, id uuid.UUID, match int64, v repo.PlantingValues) (repo.Planting, error) {
	if err := p.may(DrawLayout); err != nil {
		return repo.Planting{}, err
	}
	if err := completeConstants(&v); err != nil {
		return repo.Planting{}, err
	}
	v.GardenID, v.ID, v.Revision = p.Garden, id, match
	e := effect{action: "replace", entity: "planting", id: id, planning: true}
	return replace(ctx, s, p, e, match, func(q *repo.Queries) (repo.Planting, error) {
		old, err := q.PlantingByID(ctx, p.Garden, id)
		if err != nil {
			return old, err
		}
		if err := s.holds(ctx, q, p, old.PlotID); err != nil {
			return old, err
		}
		if v.CropConstants == nil && v.Crop == old.Crop {
			v.CropConstants = old.CropConstants
		}
		if err := s.checkPlanting(ctx, q, p, &v); err != nil {
			return old, err
		}
		return usablePlanting(q.PlantingUpdate(ctx, v))
	}, plantingRevision(ctx, p, id))
}

// DeletePlanting removes a planting that was entered by mistake; one that ended gets a last day instead.
func (s *Service) DeletePlanting(ctx context.Context, p Principal, id uuid.UUID, match int64) error {
	if err := p.may(DrawLayout); err != nil {
		return err
	}
	e := effect{action: "delete", entity: "planting", id: id, planning: true}
	return s.remove(ctx, p, e, match, func(q *repo.Queries) (int64, error) {
		old, err := q.PlantingByID(ctx, p.Garden, id)
		if err != nil {
			return 0, err
		}
		if err := s.holds(ctx, q, p, old.PlotID); err != nil {
			return 0, err
		}
		return q.PlantingDelete(ctx, p.Garden, id, match)
	}, plantingRevision(ctx, p, id))
}

func plantingRevision(ctx context.Context, p Principal, id uuid.UUID) versioned {
	return func(q *repo.Queries) (int64, error) {
		row, err := q.PlantingByID(ctx, p.Garden, id)
		return row.Revision, err
	}
}

// checkPlanting holds a planting against its plot, its layout and the crop library, and fills in the crop's constants.
func (s *Service) checkPlanting(ctx context.Context, q *repo.Queries, p Principal, v *repo.PlantingValues) error {
	plot, err := q.PlotByID(ctx, p.Garden, v.PlotID)
	if err != nil {
		return fieldIfMissing(err, Field{"/plot_id", "names no plot of this garden"})
	}
	if err := s.holds(ctx, q, p, plot.ID); err != nil {
		return err
	}
	var faults []Field
	if v.AreaM2 > plot.AreaM2*(1+1e-9) {
		faults = append(faults, Field{"/area_m2", "is larger than the plot, which has " + number(plot.AreaM2) + " m²"})
	}
	if v.LayoutID != nil {
		l, err := q.LayoutByID(ctx, p.Garden, *v.LayoutID)
		if err != nil {
			return fieldIfMissing(err, Field{"/layout_id", "names no layout of this garden"})
		}
		if l.PlotID != v.PlotID {
			faults = append(faults, Field{"/layout_id", "names a layout of another plot"})
		}
		more, err := outletFaults(ctx, q, p, v)
		if err != nil {
			return err
		}
		faults = append(faults, more...)
	}
	own, err := ownCrops(ctx, q, p.Garden)
	if err != nil {
		return err
	}
	if v.CropConstants == nil {
		if v.CropConstants, err = copyCrop(v.Crop, own, "/crop", &faults); err != nil {
			return err
		}
	}
	if v.Companions, err = withConstants(v.Companions, own, &faults); err != nil {
		return err
	}
	if len(faults) > 0 {
		return invalid(faults...)
	}
	return nil
}

// completeConstants fills in what given constants leave out, so that no later change of the library reaches them.
func completeConstants(v *repo.PlantingValues) error {
	if v.CropConstants == nil {
		return nil
	}
	var given file.Crop
	if err := json.Unmarshal(v.CropConstants, &given); err != nil {
		return err
	}
	whole, err := given.Complete("/crop_constants")
	if fields := fieldsOf(err); len(fields) > 0 {
		return invalid(fields...)
	}
	if err == nil {
		v.CropConstants, err = json.Marshal(whole)
	}
	return err
}

// copyCrop returns the constants of a crop as a planting keeps them; at is the field that names it.
func copyCrop(code string, own []file.Crop, at string, faults *[]Field) (json.RawMessage, error) {
	crop, err := file.CopyCrop(code, own, "")
	if fields := fieldsOf(err); len(fields) > 0 {
		*faults = append(*faults, Field{at, "is neither a published crop nor one of the garden's own; GET …/crops lists the codes"})
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return json.Marshal(crop)
}

// withConstants copies constants into companions that bring none of their own.
func withConstants(stored json.RawMessage, own []file.Crop, faults *[]Field) (json.RawMessage, error) {
	companions := []file.PlantingCompanion{}
	if stored != nil {
		if err := json.Unmarshal(stored, &companions); err != nil {
			return nil, err
		}
	}
	for i, c := range companions {
		if c.CropConstants != nil {
			continue
		}
		constants, err := copyCrop(c.Crop, own, file.Point("companions", i, "crop"), faults)
		if err != nil {
			return nil, err
		}
		if constants == nil { // the fault is noted; the next companion may have one too
			continue
		}
		if err := json.Unmarshal(constants, &companions[i].CropConstants); err != nil {
			return nil, err
		}
	}
	return json.Marshal(companions)
}

// usablePlanting refuses a planting that the engine can't reckon with, in the transaction that wrote it.
func usablePlanting(row repo.Planting, err error) (repo.Planting, error) {
	if err != nil {
		return row, err
	}
	planting, err := plantingFile(row)
	if err != nil {
		return row, err
	}
	if _, err := planting.Engine(nil, ""); err != nil {
		if fields := fieldsOf(err); len(fields) > 0 {
			return row, invalid(fields...)
		}
		return row, err
	}
	return row, nil
}

// outletFaults holds the outlets of a planting against the latest revision of its layout.
func outletFaults(ctx context.Context, q *repo.Queries, p Principal, v *repo.PlantingValues) ([]Field, error) {
	if len(v.Outlets) == 0 {
		return nil, nil
	}
	l, err := q.LayoutLatest(ctx, p.Garden, *v.LayoutID)
	if err != nil {
		return nil, err
	}
	var spec file.Layout
	if err := json.Unmarshal(l.LayoutRevision.Spec, &spec); err != nil {
		return nil, fmt.Errorf("stored layout document: %w", err)
	}
	var faults []Field
	for i, o := range v.Outlets {
		if int(o) >= len(spec.Manifold.Outlets) {
			faults = append(faults, Field{file.Point("outlets", i), fmt.Sprintf("is %d, but the layout has %d outlets, counted from 0", o, len(spec.Manifold.Outlets))})
		}
	}
	return faults, nil
}
