package service

import (
	"context"
	"encoding/json"
	"errors"
	"strconv"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/file"
)

// Layouts lists layouts by name, without their documents.
func (s *Service) Layouts(ctx context.Context, p Principal, f repo.LayoutFilter, at Page) ([]repo.Layout, *Cursor, error) {
	if err := p.may(ReadPeople); err != nil {
		return nil, nil, err
	}
	rows, err := s.read(p).LayoutListPage(ctx, p.Garden, f, at.AfterKey, at.AfterID, int32(at.Limit+1))
	return page(rows, err, at, "layout", func(r repo.Layout) Cursor { return Cursor{r.Name, r.ID} })
}

// Layout reads a layout with the document of its latest revision.
func (s *Service) Layout(ctx context.Context, p Principal, id uuid.UUID) (repo.LayoutDocument, error) {
	if err := p.may(ReadPeople); err != nil {
		return repo.LayoutDocument{}, err
	}
	row, err := s.read(p).LayoutLatest(ctx, p.Garden, id)
	return one(row, err, "layout")
}

// LayoutRevisions lists the revisions of a layout, the first one first.
func (s *Service) LayoutRevisions(ctx context.Context, p Principal, id uuid.UUID, at Page) ([]repo.LayoutRevision, *Cursor, error) {
	if err := p.may(ReadPeople); err != nil {
		return nil, nil, err
	}
	var after int64
	if at.AfterKey != "" {
		var err error
		if after, err = strconv.ParseInt(at.AfterKey, 10, 32); err != nil {
			return nil, nil, invalid(Field{"#query/cursor", "is not a cursor of this list"})
		}
	}
	rows, err := s.read(p).LayoutRevisionListPage(ctx, p.Garden, id, int32(after), int32(at.Limit+1))
	if len(rows) == 0 && err == nil && after == 0 { // every layout has a revision
		err = repo.ErrNotFound
	}
	if err != nil {
		return nil, nil, explain(err, effect{entity: "layout"})
	}
	return page(rows, nil, at, "layout", func(r repo.LayoutRevision) Cursor { return Cursor{Key: strconv.Itoa(int(r.Number))} })
}

// LayoutRevision reads one revision of a layout with its document.
func (s *Service) LayoutRevision(ctx context.Context, p Principal, id uuid.UUID, number int32) (repo.LayoutRevision, error) {
	if err := p.may(ReadPeople); err != nil {
		return repo.LayoutRevision{}, err
	}
	row, err := s.read(p).LayoutRevisionByNumber(ctx, p.Garden, id, number)
	return one(row, err, "layout revision")
}

// CreateLayout stores a new layout as a draft.
func (s *Service) CreateLayout(ctx context.Context, p Principal, v repo.LayoutValues, spec file.Layout) (repo.LayoutDocument, error) {
	if err := p.may(DrawLayout); err != nil {
		return repo.LayoutDocument{}, err
	}
	document, err := layoutDocument(spec)
	if err != nil {
		return repo.LayoutDocument{}, err
	}
	e := effect{action: "create", entity: "layout"}
	return create(ctx, s, p, e, func(q *repo.Queries, id uuid.UUID) (repo.LayoutDocument, error) {
		var made repo.LayoutDocument
		if err := s.checkPlace(ctx, q, p, v); err != nil {
			return made, err
		}
		v.GardenID, v.ID, v.Revision, v.Status, v.LatestNumber = p.Garden, id, 1, draft, 1
		var err error
		if made.Layout, err = q.LayoutInsert(ctx, v); err != nil {
			return made, err
		}
		made.LayoutRevision, err = q.LayoutRevisionInsert(ctx, repo.LayoutRevisionValues{
			Status: draft, Spec: document, Author: p.Name, GardenID: p.Garden, LayoutID: id, Number: 1,
		})
		return made, err
	})
}

// The states of a layout and its revisions.
const (
	draft      = "draft"
	submitted  = "submitted"
	accepted   = "accepted"
	returned   = "returned"
	retired    = "retired"
	superseded = "superseded"
)

// ReplaceLayout changes a layout over its revision match. A draft's document is changed in place; any other revision
// stays as it is and a new draft comes after it, while plans go on with the revision that was accepted last.
func (s *Service) ReplaceLayout(ctx context.Context, p Principal, id uuid.UUID, match int64, v repo.LayoutValues, spec file.Layout) (repo.LayoutDocument, error) {
	document, err := layoutDocument(spec)
	if err != nil {
		return repo.LayoutDocument{}, err
	}
	return s.editLayout(ctx, p, id, match, DrawLayout, "replace", func(q *repo.Queries, l *repo.LayoutDocument) error {
		if l.Layout.Status == retired {
			return refuse(Conflict, "The layout is retired; draw a new one.")
		}
		if v.PlotID != l.Layout.PlotID {
			return invalid(Field{"/plot_id", "a layout stays on its plot; draw a new one for another plot"})
		}
		if l.Layout.AcceptedNumber != nil && v.WaterSourceID != l.Layout.WaterSourceID && p.Role != Coordinator {
			return invalid(Field{"/water_source_id", "a coordinator moves an accepted layout to another water source"})
		}
		if err := s.checkPlace(ctx, q, p, v); err != nil {
			return err
		}
		l.Layout.WaterSourceID, l.Layout.Name, l.Layout.OwnValve, l.Layout.MeasuredDu = v.WaterSourceID, v.Name, v.OwnValve, v.MeasuredDu
		if l.LayoutRevision.Status != draft {
			if l.LayoutRevision.Status == submitted {
				if err := s.mark(ctx, q, &l.LayoutRevision, superseded); err != nil {
					return err
				}
			}
			l.Layout.LatestNumber++
			l.LayoutRevision, err = q.LayoutRevisionInsert(ctx, repo.LayoutRevisionValues{
				Status: draft, Spec: document, Author: p.Name, GardenID: p.Garden, LayoutID: id, Number: l.Layout.LatestNumber,
			})
			l.Layout.Status = draft
			return err
		}
		l.LayoutRevision.Spec = document
		return s.mark(ctx, q, &l.LayoutRevision, draft)
	})
}

// SubmitLayout hands the draft to the coordinators.
func (s *Service) SubmitLayout(ctx context.Context, p Principal, id uuid.UUID, match int64) (repo.LayoutDocument, error) {
	return s.editLayout(ctx, p, id, match, DrawLayout, "submit", func(q *repo.Queries, l *repo.LayoutDocument) error {
		if l.Layout.Status != draft {
			return refuse(Conflict, "Only a draft can be submitted; the layout is %s.", l.Layout.Status)
		}
		now := s.now()
		l.Layout.Status, l.LayoutRevision.SubmittedAt = submitted, &now
		return s.mark(ctx, q, &l.LayoutRevision, submitted)
	})
}

// AcceptLayout takes the submitted revision into planning; it never changes from then on.
func (s *Service) AcceptLayout(ctx context.Context, p Principal, id uuid.UUID, match int64) (repo.LayoutDocument, error) {
	return s.editLayout(ctx, p, id, match, Administer, "accept", func(q *repo.Queries, l *repo.LayoutDocument) error {
		number := l.Layout.LatestNumber
		if l.Layout.Status != submitted {
			return refuse(Conflict, "Only a submitted layout can be accepted; this one is %s.", l.Layout.Status)
		}
		if old := l.Layout.AcceptedNumber; old != nil {
			before, err := q.LayoutRevisionByNumber(ctx, p.Garden, id, *old)
			if err != nil {
				return err
			}
			if err := s.mark(ctx, q, &before, superseded); err != nil {
				return err
			}
		}
		l.Layout.Status, l.Layout.AcceptedNumber = accepted, &number
		s.decide(p, l)
		return s.mark(ctx, q, &l.LayoutRevision, accepted)
	})
}

// ReturnLayout gives the submitted revision back to its author with a comment.
func (s *Service) ReturnLayout(ctx context.Context, p Principal, id uuid.UUID, match int64, comment string) (repo.LayoutDocument, error) {
	return s.editLayout(ctx, p, id, match, Administer, "return", func(q *repo.Queries, l *repo.LayoutDocument) error {
		if l.Layout.Status != submitted {
			return refuse(Conflict, "Only a submitted layout can be returned; this one is %s.", l.Layout.Status)
		}
		l.Layout.Status, l.LayoutRevision.Comment = returned, comment
		s.decide(p, l)
		return s.mark(ctx, q, &l.LayoutRevision, returned)
	})
}

// RetireLayout takes the layout out of planning for good.
func (s *Service) RetireLayout(ctx context.Context, p Principal, id uuid.UUID, match int64) (repo.LayoutDocument, error) {
	return s.editLayout(ctx, p, id, match, DrawLayout, "retire", func(_ *repo.Queries, l *repo.LayoutDocument) error {
		if l.Layout.Status == retired {
			return refuse(Conflict, "The layout is retired already.")
		}
		l.Layout.Status = retired
		return nil
	})
}

func (s *Service) decide(p Principal, l *repo.LayoutDocument) {
	now := s.now()
	l.LayoutRevision.DecidedAt, l.LayoutRevision.DecidedBy = &now, &p.Name
}

// mark writes a revision with a new status.
func (s *Service) mark(ctx context.Context, q *repo.Queries, r *repo.LayoutRevision, status string) error {
	var err error
	*r, err = q.LayoutRevisionUpdate(ctx, repo.LayoutRevisionValues{
		Status: status, Spec: r.Spec, Comment: r.Comment, Author: r.Author, SubmittedAt: r.SubmittedAt, DecidedAt: r.DecidedAt,
		DecidedBy: r.DecidedBy, GardenID: r.GardenID, LayoutID: r.LayoutID, Number: r.Number,
	})
	return err
}

// editLayout reads a layout with its latest revision, lets change alter both, and writes the layout over its revision
// match. Plans are touched when an accepted revision stands behind the layout before or after.
func (s *Service) editLayout(ctx context.Context, p Principal, id uuid.UUID, match int64, need Action, action string, change func(*repo.Queries, *repo.LayoutDocument) error) (repo.LayoutDocument, error) {
	if err := p.may(need); err != nil {
		return repo.LayoutDocument{}, err
	}
	var l repo.LayoutDocument
	e := effect{action: action, entity: "layout", id: id, planning: true}
	err := s.change(ctx, p, e, func(q *repo.Queries) error {
		var err error
		if l, err = q.LayoutLatest(ctx, p.Garden, id); err != nil {
			return err
		}
		if err := s.holds(ctx, q, p, l.Layout.PlotID); err != nil {
			return err
		}
		if l.Layout.Revision != match {
			return refuse(Stale, "The layout is at revision %d, not at %d: read it again before changing it.", l.Layout.Revision, match)
		}
		if err := change(q, &l); err != nil {
			return err
		}
		v := l.Layout
		l.Layout, err = q.LayoutUpdate(ctx, repo.LayoutValues{
			PlotID: v.PlotID, WaterSourceID: v.WaterSourceID, Name: v.Name, Status: v.Status, OwnValve: v.OwnValve, MeasuredDu: v.MeasuredDu,
			LatestNumber: v.LatestNumber, AcceptedNumber: v.AcceptedNumber, GardenID: p.Garden, ID: id, Revision: match,
		})
		return err
	})
	return l, err
}

// layoutDocument checks a layout document and returns it as it is stored.
func layoutDocument(spec file.Layout) (json.RawMessage, error) {
	if fields := fieldsOf(spec.Validate("/spec")); len(fields) > 0 {
		return nil, invalid(fields...)
	}
	return json.Marshal(spec)
}

// checkPlace holds a layout's plot and source against the garden.
func (s *Service) checkPlace(ctx context.Context, q *repo.Queries, p Principal, v repo.LayoutValues) error {
	var faults []Field
	plot, err := q.PlotByID(ctx, p.Garden, v.PlotID)
	switch {
	case errors.Is(err, pgx.ErrNoRows):
		faults = append(faults, Field{"/plot_id", "names no plot of this garden"})
	case err != nil:
		return err
	case plot.Method != "layout":
		faults = append(faults, Field{"/plot_id", "the plot is watered by " + plot.Method + "; change its method to layout first"})
	}
	if _, err := q.WaterSourceByID(ctx, p.Garden, v.WaterSourceID); errors.Is(err, pgx.ErrNoRows) {
		faults = append(faults, Field{"/water_source_id", "names no water source of this garden"})
	} else if err != nil {
		return err
	}
	if len(faults) > 0 {
		return invalid(faults...)
	}
	return s.holds(ctx, q, p, v.PlotID)
}
