package service

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/file"
)

// GardenSheet is what sheets of layouts of a garden are made from.
type GardenSheet struct {
	Garden  file.Garden // with the layouts that Layouts names, and maybe others
	Layouts []SheetRevision
	Sheet   file.Sheet // its layouts are those of Layouts, in their order
}

// SheetRevision is a revision that a sheet is made of. Decided is when it was accepted or, before that, last handed on.
type SheetRevision struct {
	ID      string
	Number  int
	Decided time.Time
}

// LayoutSheet reads what the sheet of one layout is made from: its accepted revision, or the one named.
func (s *Service) LayoutSheet(ctx context.Context, p Principal, layout uuid.UUID, number *int32) (GardenSheet, error) {
	if err := p.mayOpen(LayoutSheetDocument, &layout, ReadPeople); err != nil {
		return GardenSheet{}, err
	}
	return s.sheet(ctx, p, func(q *repo.Queries, out *GardenSheet) error {
		return addRevision(ctx, q, p, out, layout, number)
	})
}

// GardenSheet reads what the sheets of all layouts in use are made from, by their accepted revisions. They are built
// together: they share sticks and off-cuts.
func (s *Service) GardenSheet(ctx context.Context, p Principal) (GardenSheet, error) {
	if err := p.may(ReadPeople); err != nil {
		return GardenSheet{}, err
	}
	return s.sheet(ctx, p, func(q *repo.Queries, out *GardenSheet) error {
		rows, err := q.LayoutListAccepted(ctx, p.Garden)
		if err == nil && len(rows) == 0 {
			return refuse(Conflict, "No layout of this garden is accepted yet: there is nothing to build.")
		}
		for _, l := range rows {
			out.Layouts = append(out.Layouts, sheetRevision(l.LayoutRevision))
		}
		return err
	})
}

// sheet reads the garden in one transaction and lets choose name the layouts.
func (s *Service) sheet(ctx context.Context, p Principal, choose func(*repo.Queries, *GardenSheet) error) (GardenSheet, error) {
	var out GardenSheet
	err := repo.InTenant(ctx, s.pool, p.Garden, func(tx pgx.Tx) error {
		q := repo.New(tx)
		return s.readSheet(ctx, q, p, &out, func() error { return choose(q, &out) })
	})
	return out, explain(err, effect{action: "read", entity: "layout"})
}

// readSheet reads the garden, lets choose name the layouts, and makes their sheet.
func (s *Service) readSheet(ctx context.Context, q *repo.Queries, p Principal, out *GardenSheet, choose func() error) error {
	g, err := q.GardenByID(ctx, p.Garden)
	if err != nil {
		return err
	}
	today, err := s.today(g)
	if err != nil {
		return err
	}
	read := &snapping{q: q, garden: p.Garden}
	for _, step := range []func(context.Context, *file.Garden) error{
		read.settings, read.people, read.water, read.ground, read.holders, read.shed,
	} {
		if err := step(ctx, &out.Garden); err != nil {
			return err
		}
	}
	if err := choose(); err != nil {
		return err
	}
	ids := make([]string, len(out.Layouts))
	for i, l := range out.Layouts {
		ids[i] = l.ID
	}
	out.Sheet = out.Garden.Sheet(file.Day{Time: today}, ids...)
	return nil
}

// addRevision takes a revision of a layout for the sheet, in place of the accepted one that the garden was read with.
func addRevision(ctx context.Context, q *repo.Queries, p Principal, out *GardenSheet, id uuid.UUID, number *int32) error {
	l, err := q.LayoutByID(ctx, p.Garden, id)
	if err != nil {
		return err
	}
	if number == nil {
		if number = l.AcceptedNumber; number == nil {
			return refuse(Conflict, "No revision of %s is accepted yet. Name a revision to see the sheet of a draft: ?revision=%d.", l.Name, l.LatestNumber)
		}
	}
	revision, err := q.LayoutRevisionByNumber(ctx, p.Garden, id, *number)
	if errors.Is(err, pgx.ErrNoRows) {
		return missing(err, "layout revision")
	} else if err != nil {
		return err
	}
	of := layoutFile(l)
	if err := json.Unmarshal(revision.Spec, &of.Spec); err != nil {
		return fmt.Errorf("document of layout %s: %w", of.ID, err)
	}
	others := slices.DeleteFunc(out.Garden.Layouts, func(o file.LayoutOnPlot) bool { return o.ID == of.ID })
	out.Garden.Layouts = append(others, of)
	out.Layouts = []SheetRevision{sheetRevision(revision)}
	return nil
}

func sheetRevision(r repo.LayoutRevision) SheetRevision {
	out := SheetRevision{ID: r.LayoutID.String(), Number: int(r.Number), Decided: r.CreatedAt}
	for _, t := range []*time.Time{r.SubmittedAt, r.DecidedAt} {
		if t != nil {
			out.Decided = *t
		}
	}
	return out
}

// SheetRefusal says what keeps a sheet from being worked out. The pointers of the faults lead into the sheet, which the
// caller has never seen, so a sentence names them instead.
func SheetRefusal(err error) error {
	var faults file.Faults
	if !errors.As(err, &faults) {
		return err
	}
	reasons := make([]string, len(faults))
	for i, f := range faults {
		reasons[i] = strings.TrimPrefix(f.Pointer, "/") + ": " + f.Reason
	}
	refused := refuse(Conflict, "The sheet can't be worked out: %s.", strings.Join(reasons, "; "))
	refused.cause = err
	return refused
}

// holders notes on the plots who holds them.
func (s *snapping) holders(ctx context.Context, out *file.Garden) error {
	rows, err := s.q.PlotHolderList(ctx, s.garden)
	for _, h := range rows {
		i := slices.IndexFunc(out.Plots, func(p file.Plot) bool { return p.ID == h.PlotID.String() })
		out.Plots[i].Holders = append(out.Plots[i].Holders, file.Holder{
			MemberID: h.MemberID.String(), HeldFrom: file.Day{Time: h.HeldFrom}, HeldTo: dayPointer(h.HeldTo),
		})
	}
	return err
}
