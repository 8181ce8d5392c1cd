package service

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/file"
)

// StoredPipes lists the pipes in the store by what is written on them.
func (s *Service) StoredPipes(ctx context.Context, p Principal, f repo.StoredPipeFilter, at Page) ([]repo.StoredPipe, *Cursor, error) {
	if err := p.may(ReadPeople); err != nil {
		return nil, nil, err
	}
	rows, err := s.read(p).StoredPipeListPage(ctx, p.Garden, f, at.AfterKey, at.AfterID, int32(at.Limit+1))
	return page(rows, err, at, "stored pipe", func(r repo.StoredPipe) Cursor { return Cursor{r.Label, r.ID} })
}

// StoredPipe reads one stored pipe.
func (s *Service) StoredPipe(ctx context.Context, p Principal, id uuid.UUID) (repo.StoredPipe, error) {
	if err := p.may(ReadPeople); err != nil {
		return repo.StoredPipe{}, err
	}
	row, err := s.read(p).StoredPipeByID(ctx, p.Garden, id)
	return one(row, err, "stored pipe")
}

// CreateStoredPipe puts a pipe into the store. A gardener keeps pipes of the gardener's own.
func (s *Service) CreateStoredPipe(ctx context.Context, p Principal, v repo.StoredPipeValues, spec file.StoredPipe) (repo.StoredPipe, error) {
	if err := p.may(DrawLayout); err != nil {
		return repo.StoredPipe{}, err
	}
	if err := storePipe(p, &v, spec); err != nil {
		return repo.StoredPipe{}, err
	}
	e := effect{action: "create", entity: "stored pipe"}
	return create(ctx, s, p, e, func(q *repo.Queries, id uuid.UUID) (repo.StoredPipe, error) {
		v.GardenID, v.ID, v.Revision = p.Garden, id, 1
		return q.StoredPipeInsert(ctx, v)
	})
}

// ReplaceStoredPipe writes a stored pipe anew over its revision match.
func (s *Service) ReplaceStoredPipe(ctx context.Context, p Principal, id uuid.UUID, match int64, v repo.StoredPipeValues, spec file.StoredPipe) (repo.StoredPipe, error) {
	if err := p.may(DrawLayout); err != nil {
		return repo.StoredPipe{}, err
	}
	if err := storePipe(p, &v, spec); err != nil {
		return repo.StoredPipe{}, err
	}
	v.GardenID, v.ID, v.Revision = p.Garden, id, match
	e := effect{action: "replace", entity: "stored pipe", id: id}
	return replace(ctx, s, p, e, match, func(q *repo.Queries) (repo.StoredPipe, error) {
		if err := ownsPipe(ctx, q, p, id); err != nil {
			return repo.StoredPipe{}, err
		}
		return q.StoredPipeUpdate(ctx, v)
	}, storedPipeRevision(ctx, p, id))
}

// DeleteStoredPipe takes a pipe out of the store.
func (s *Service) DeleteStoredPipe(ctx context.Context, p Principal, id uuid.UUID, match int64) error {
	if err := p.may(DrawLayout); err != nil {
		return err
	}
	e := effect{action: "delete", entity: "stored pipe", id: id}
	return s.remove(ctx, p, e, match, func(q *repo.Queries) (int64, error) {
		if err := ownsPipe(ctx, q, p, id); err != nil {
			return 0, err
		}
		return q.StoredPipeDelete(ctx, p.Garden, id, match)
	}, storedPipeRevision(ctx, p, id))
}

func storedPipeRevision(ctx context.Context, p Principal, id uuid.UUID) versioned {
	return func(q *repo.Queries) (int64, error) {
		row, err := q.StoredPipeByID(ctx, p.Garden, id)
		return row.Revision, err
	}
}

// storePipe checks a pipe and writes its documents into the record's values.
func storePipe(p Principal, v *repo.StoredPipeValues, spec file.StoredPipe) error {
	if err := keeps(p, v.OwnerID); err != nil {
		return err
	}
	if fields := fieldsOf(spec.Validate()); len(fields) > 0 {
		return invalid(fields...)
	}
	return writePipe(v, spec)
}

// writePipe writes the documents of a pipe into the record's values.
func writePipe(v *repo.StoredPipeValues, spec file.StoredPipe) error {
	var err error
	if v.Piece, err = json.Marshal(spec.Piece); err != nil {
		return err
	}
	v.Plugged, err = json.Marshal(append([]file.StoredPlug{}, spec.Plugged...))
	return err
}

// keeps refuses a gardener who would keep pipes of the garden or of somebody else.
func keeps(p Principal, owner *uuid.UUID) error {
	if p.Role == Coordinator || owner != nil && p.Member != nil && *owner == *p.Member {
		return nil
	}
	return refuse(Forbidden, "A gardener keeps pipes of the gardener's own (owner_id); the garden's and those of others are a coordinator's.")
}

func ownsPipe(ctx context.Context, q *repo.Queries, p Principal, id uuid.UUID) error {
	old, err := q.StoredPipeByID(ctx, p.Garden, id)
	if err != nil {
		return err
	}
	return keeps(p, old.OwnerID)
}

// ReservePipes sets stored pipes aside for a layout: those that its sheet takes. What was set aside for it before and is not
// needed is free again. It returns the pipes that are set aside now.
func (s *Service) ReservePipes(ctx context.Context, p Principal, layout uuid.UUID) ([]repo.StoredPipe, error) {
	var out []repo.StoredPipe
	err := s.withSheet(ctx, p, layout, "reserve", func(q *repo.Queries, sheet GardenSheet) error {
		work, err := file.WorkSheet(sheet.Sheet)
		if err != nil {
			return SheetRefusal(err)
		}
		taken := work.Taken()
		if _, err := q.StoredPipeRelease(ctx, p.Garden, &layout, taken); err != nil {
			return err
		}
		if _, err := q.StoredPipeReserve(ctx, &layout, p.Garden, taken); err != nil {
			return err
		}
		out, err = reservedFor(ctx, q, p, layout)
		return err
	})
	return out, err
}

// ReleasePipes frees what is set aside for a layout.
func (s *Service) ReleasePipes(ctx context.Context, p Principal, layout uuid.UUID) error {
	if err := p.may(DrawLayout); err != nil {
		return err
	}
	return s.change(ctx, p, effect{action: "release", entity: "layout", id: layout}, func(q *repo.Queries) error {
		l, err := q.LayoutByID(ctx, p.Garden, layout)
		if err != nil {
			return err
		}
		if err := s.holds(ctx, q, p, l.PlotID); err != nil {
			return err
		}
		_, err = q.StoredPipeRelease(ctx, p.Garden, &layout, []string{})
		return err
	})
}

func reservedFor(ctx context.Context, q *repo.Queries, p Principal, layout uuid.UUID) ([]repo.StoredPipe, error) {
	rows, err := q.StoredPipeList(ctx, p.Garden)
	return slices.DeleteFunc(rows, func(r repo.StoredPipe) bool { return r.ReservedLayoutID == nil || *r.ReservedLayoutID != layout }), err
}

// TakeIn says how the pipes of a layout go into the store.
type TakeIn struct {
	OwnerID   *uuid.UUID // nil: the garden's
	Condition string
	Note      string
}

// StorePipes takes the laterals of a layout, also of a retired one, apart into the store, by its accepted revision. Stored
// pipes that were set aside for it and are built in go in again as what they have become, and stay whose they were.
func (s *Service) StorePipes(ctx context.Context, p Principal, layout uuid.UUID, in TakeIn) ([]repo.StoredPipe, error) {
	if err := keeps(p, in.OwnerID); err != nil {
		return nil, err
	}
	out := []repo.StoredPipe{}
	err := s.withSheet(ctx, p, layout, "store", func(q *repo.Queries, sheet GardenSheet) error {
		stored, err := q.StoredPipeList(ctx, p.Garden)
		if err != nil {
			return err
		}
		for _, r := range stored {
			if r.FromLayoutID != nil && *r.FromLayoutID == layout && r.ReservedLayoutID == nil {
				return refuse(Conflict, "%s of this layout is in the store already. Set the layout's pipes aside when they are built in, or delete them there.", r.Label)
			}
		}
		sheet.onlyReserved(layout)
		work, err := file.WorkSheet(sheet.Sheet)
		if err != nil {
			return SheetRefusal(err)
		}
		if _, err := q.StoredPipeDeleteByLabel(ctx, p.Garden, work.Taken()); err != nil {
			return err
		}
		labels, owners := map[string]bool{}, map[string]*uuid.UUID{}
		for _, r := range stored {
			labels[r.Label], owners[r.Label] = !slices.Contains(work.Taken(), r.Label), r.OwnerID
		}
		for _, up := range work.Laterals(0, func(label string) bool { return labels[label] }) {
			v := repo.StoredPipeValues{
				Label: up.Pipe.Label, OwnerID: in.OwnerID, Condition: in.Condition, Note: in.Note, FromLayoutID: &layout, GardenID: p.Garden,
				ID: s.newID(), Revision: 1,
			}
			if up.Was != "" {
				v.OwnerID = owners[up.Was]
			}
			if err := writePipe(&v, up.Pipe); err != nil {
				return err
			}
			row, err := q.StoredPipeInsert(ctx, v)
			if err != nil {
				return err
			}
			out = append(out, row)
		}
		return nil
	})
	return out, err
}

// onlyReserved leaves in the sheet the stored pipes that are set aside for a layout: they are what was built in.
func (g *GardenSheet) onlyReserved(layout uuid.UUID) {
	reserved := func(label string) bool {
		return slices.ContainsFunc(g.Garden.StoredPipes, func(p file.StoredPipe) bool {
			return p.Label == label && p.ReservedLayoutID != nil && *p.ReservedLayoutID == layout.String()
		})
	}
	g.Sheet.StoredPipes = slices.DeleteFunc(g.Sheet.StoredPipes, func(p file.SheetStored) bool { return !reserved(p.ID) })
	g.Sheet.OffCuts = slices.DeleteFunc(g.Sheet.OffCuts, func(o file.SheetOffCut) bool { return !reserved(o.ID) })
}

// withSheet carries out a change that follows from the sheet of a layout's accepted revision, for who holds its plot.
func (s *Service) withSheet(ctx context.Context, p Principal, layout uuid.UUID, action string, fn func(*repo.Queries, GardenSheet) error) error {
	if err := p.may(DrawLayout); err != nil {
		return err
	}
	return s.change(ctx, p, effect{action: action, entity: "layout", id: layout}, func(q *repo.Queries) error {
		l, err := q.LayoutByID(ctx, p.Garden, layout)
		if err != nil {
			return err
		}
		if err := s.holds(ctx, q, p, l.PlotID); err != nil {
			return err
		}
		var sheet GardenSheet
		err = s.readSheet(ctx, q, p, &sheet, func() error { return addRevision(ctx, q, p, &sheet, layout, nil) })
		if err != nil {
			return err
		}
		return fn(q, sheet)
	})
}

// shed reads what is in the store, and the workshop.
func (s *snapping) shed(ctx context.Context, out *file.Garden) error {
	g, err := s.q.GardenByID(ctx, s.garden)
	if err != nil {
		return err
	}
	if out.Workshop, err = workshopOf(g); err != nil {
		return err
	}
	rows, err := s.q.StoredPipeList(ctx, s.garden)
	for _, r := range rows {
		of := file.StoredPipe{
			ID: r.ID.String(), Label: r.Label, OwnerID: idPointer(r.OwnerID), Condition: r.Condition, Note: r.Note,
			ReservedLayoutID: idPointer(r.ReservedLayoutID), FromLayoutID: idPointer(r.FromLayoutID),
		}
		if err := errors.Join(json.Unmarshal(r.Piece, &of.Piece), json.Unmarshal(r.Plugged, &of.Plugged)); err != nil {
			return fmt.Errorf("document of stored pipe %s: %w", of.ID, err)
		}
		out.StoredPipes = append(out.StoredPipes, of)
	}
	return err
}
