package service

import (
	"context"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"rillturn.example/rillturn/repo"
)

// PublishRotation puts a proposal into force. Turns that have begun stay; later turns of the rotations before it are
// released first, and those that go on keep their ids and get a higher sequence. A proposal whose garden has changed since
// it was planned is refused unless allowStale.
func (s *Service) PublishRotation(ctx context.Context, p Principal, id uuid.UUID, match int64, allowStale bool) (repo.Rotation, error) {
	if err := p.may(Administer); err != nil {
		return repo.Rotation{}, err
	}
	e := effect{action: "publish", entity: "rotation", id: id, schedule: true}
	var row repo.Rotation
	err := s.change(ctx, p, e, func(q *repo.Queries) error {
		g, err := q.GardenLock(ctx, p.Garden)
		if err != nil {
			return err
		}
		if row, err = q.RotationByID(ctx, p.Garden, id); err != nil {
			return err
		}
		if err := publishable(g, row, match, allowStale, s.now()); err != nil {
			return err
		}
		if err := s.release(ctx, q, row); err != nil {
			return err
		}
		if row, err = q.RotationPublish(ctx, s.now(), p.Garden, id, match); err != nil {
			return err
		}
		return s.announcePublished(ctx, q, p, row)
	})
	return row, err
}

func publishable(g repo.Garden, r repo.Rotation, match int64, allowStale bool, now time.Time) error {
	switch {
	case r.Revision != match:
		return refuse(Stale, "The rotation is at revision %d, not at %d: read it again before publishing it.", r.Revision, match)
	case r.Status != "proposed":
		return refuse(Conflict, "Only a proposed rotation can be published; this one is %s.", r.Status)
	case !r.EndsAt.After(now):
		return refuse(Conflict, "The rotation ended at %s; propose a new one.", r.EndsAt.Format(time.RFC3339))
	case r.PlanRevision != g.PlanRevision && !allowStale:
		return refuse(Conflict, "The garden has changed since this rotation was planned (plan revision %d, now %d): propose a new one, or publish it all the same with allow_stale.", r.PlanRevision, g.PlanRevision)
	}
	return nil
}

// release makes room for a rotation: published ones that reach into it end, their turns that have not begun are
// cancelled, and the proposal's turns take the ids of those that they continue. Turns of the proposal that should have
// begun by now are dropped.
func (s *Service) release(ctx context.Context, q *repo.Queries, r repo.Rotation) error {
	old, err := q.RotationListPublishedIn(ctx, r.GardenID, r.StartsAt, r.EndsAt)
	if err != nil {
		return err
	}
	planned, err := q.TurnListPlannedIn(ctx, r.GardenID, r.StartsAt, repo.EndOfTime)
	if err != nil {
		return err
	}
	from := s.now()
	for _, t := range planned { // a turn that runs is not cut: the new ones begin after it
		if t.StartsAt.Before(s.now()) && t.EndsAt.After(from) {
			from = t.EndsAt
		}
	}
	for _, o := range old {
		if _, err := q.TurnCancelFrom(ctx, r.GardenID, o.ID, from); err != nil {
			return err
		}
	}
	if _, err := q.RotationCut(ctx, r.StartsAt, r.GardenID); err != nil {
		return err
	}
	if _, err := q.RotationSupersede(ctx, s.now(), r.GardenID, r.StartsAt, r.EndsAt); err != nil {
		return err
	}
	released := slices.DeleteFunc(planned, func(t repo.Turn) bool {
		return t.StartsAt.Before(from) || !slices.ContainsFunc(old, func(o repo.Rotation) bool { return o.ID == t.RotationID })
	})
	return takeOver(ctx, q, r, released, from)
}

// takeOver publishes the turns of r that begin at from or later. One that goes on from a released turn is that turn: it
// keeps the id, the opener and the lock, and its sequence rises when anything about it changed. What goes on from a turn
// that has begun meanwhile is dropped.
func takeOver(ctx context.Context, q *repo.Queries, r repo.Rotation, released []repo.Turn, from time.Time) error {
	turns, err := q.TurnListByRotation(ctx, r.GardenID, r.ID)
	if err != nil {
		return err
	}
	members, err := membersOf(ctx, q, r.GardenID, append(slices.Clone(turns), released...))
	if err != nil {
		return err
	}
	free := map[uuid.UUID]repo.Turn{}
	for _, o := range released {
		free[o.ID] = o
	}
	var drop, replaced []uuid.UUID
	var put []repo.Turn
	var rows []repo.TurnMember
	for _, t := range turns {
		before, goesOn := goingOn(t, released, free, members)
		if t.StartsAt.Before(from) || t.Follows != nil && !goesOn {
			drop = append(drop, t.ID)
			continue
		}
		t.Follows = nil
		if !goesOn {
			t.Status = "planned"
			put = append(put, t)
			continue
		}
		delete(free, before.ID)
		drop, replaced = append(drop, t.ID), append(replaced, before.ID)
		same := unchanged(before, t, members)
		for _, m := range members[t.ID] {
			m.TurnID = before.ID
			rows = append(rows, m)
		}
		t.ID, t.Status, t.OpenerID, t.Locked, t.Sequence = before.ID, "planned", before.OpenerID, before.Locked, before.Sequence
		if !same {
			t.Sequence++
		}
		put = append(put, t)
	}
	if _, err := q.TurnDelete(ctx, r.GardenID, drop); err != nil {
		return err
	}
	if err := q.TurnPut(ctx, put); err != nil {
		return err
	}
	if _, err := q.TurnMemberDeleteByTurns(ctx, r.GardenID, replaced); err != nil {
		return err
	}
	return q.TurnMemberInsert(ctx, rows)
}

// goingOn finds the released turn that t goes on from: the one that it was planned from, or, for a plan that looked at no
// published rotation, one that waters the same plots from the same source on the same day.
func goingOn(t repo.Turn, released []repo.Turn, free map[uuid.UUID]repo.Turn, members map[uuid.UUID][]repo.TurnMember) (repo.Turn, bool) {
	if t.Follows != nil {
		before, known := free[*t.Follows]
		return before, known
	}
	for _, o := range released {
		if _, left := free[o.ID]; left && continues(o, t, members) {
			return o, true
		}
	}
	return repo.Turn{}, false
}

// unchanged tells whether people see no difference between a turn and what it was before.
func unchanged(before, t repo.Turn, members map[uuid.UUID][]repo.TurnMember) bool {
	closings := func(t repo.Turn) string {
		out := who(t, members)
		for _, m := range members[t.ID] {
			if m.ClosesAt != nil {
				out += m.ClosesAt.UTC().Format(time.RFC3339Nano)
			}
			out += ";"
		}
		return out
	}
	return before.StartsAt.Equal(t.StartsAt) && before.EndsAt.Equal(t.EndsAt) && before.WaterSourceID == t.WaterSourceID &&
		before.Zone == t.Zone && before.Kind == t.Kind && closings(before) == closings(t)
}

// continues says that turn b is turn a, perhaps at another hour.
func continues(a, b repo.Turn, members map[uuid.UUID][]repo.TurnMember) bool {
	const sameDay = 12 * time.Hour
	return a.WaterSourceID == b.WaterSourceID && a.Kind == b.Kind && a.StartsAt.Sub(b.StartsAt).Abs() < sameDay && who(a, members) == who(b, members)
}

// who names the members of a turn.
func who(t repo.Turn, members map[uuid.UUID][]repo.TurnMember) string {
	var out strings.Builder
	for _, m := range members[t.ID] {
		out.WriteString(m.PlotID.String())
		if m.LayoutID != nil {
			out.WriteString(m.LayoutID.String())
		}
	}
	return out.String()
}

func membersOf(ctx context.Context, q *repo.Queries, garden uuid.UUID, turns []repo.Turn) (map[uuid.UUID][]repo.TurnMember, error) {
	ids := make([]uuid.UUID, len(turns))
	for i, t := range turns {
		ids[i] = t.ID
	}
	rows, err := q.TurnMemberListByTurns(ctx, garden, ids)
	out := map[uuid.UUID][]repo.TurnMember{}
	for _, m := range rows {
		out[m.TurnID] = append(out[m.TurnID], m)
	}
	return out, err
}
