package service

import (
	"cmp"
	"context"
	"encoding/json"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/file"
)

// Comparison is what publishing a proposal now would change.
type Comparison struct {
	Proposal  repo.Rotation
	Published repo.Rotation // the one in force in the proposal's days, the last one where there are several
	ToCome    int           // published turns that have not begun
	Kept      int
	Changed   []TurnChange // in the order of time
	Part      float64      // moved, added (while the published rotation lasts) and cancelled turns to those to come
	Shares    []ShareChange
	// Forced names the limits that ask for more changes than a quarter of the turns to come.
	Forced []file.ForcedChangePlan
}

// TurnChange is a turn that becomes another. Was is nil for an added turn, Now for a cancelled one.
type TurnChange struct {
	Kind     string // resized, moved, added, cancelled
	Was, Now *repo.ScheduledTurn
}

// ShareChange is the share served of a layout or hand-watered plot, before and after. A share is nil where it is in no
// rotation.
type ShareChange struct {
	PlotID   uuid.UUID
	LayoutID *uuid.UUID
	Was, Now *float64
}

const (
	turnAdded     = "added"
	turnCancelled = "cancelled"
)

// CompareRotation holds a proposal against the published rotation, as if it were published at this moment.
func (s *Service) CompareRotation(ctx context.Context, p Principal, id uuid.UUID) (Comparison, error) {
	if err := p.may(ReadSchedule); err != nil {
		return Comparison{}, err
	}
	var c Comparison
	err := repo.InTenant(ctx, s.pool, p.Garden, func(tx pgx.Tx) error {
		q := repo.New(tx)
		var err error
		if c.Proposal, err = q.RotationByID(ctx, p.Garden, id); err != nil {
			return err
		}
		if c.Proposal.Status != "proposed" {
			return refuse(Conflict, "Only a proposed rotation is compared with the published one; this one is %s.", c.Proposal.Status)
		}
		published, err := q.RotationListPublishedIn(ctx, p.Garden, c.Proposal.StartsAt, c.Proposal.EndsAt)
		if err != nil {
			return err
		}
		if len(published) == 0 {
			return refuse(Conflict, "Nothing is published in the days of this rotation; there is nothing to compare it with.")
		}
		c.Published = published[len(published)-1]
		if err := c.plans(ctx, q); err != nil {
			return err
		}
		return c.turns(ctx, q, s.now())
	})
	return c, explain(err, effect{entity: "rotation"})
}

// plans compares what was planned for everybody.
func (c *Comparison) plans(ctx context.Context, q *repo.Queries) error {
	var plans [2]file.GardenPlan
	for i, r := range []repo.Rotation{c.Published, c.Proposal} {
		output, err := q.RotationOutput(ctx, r.GardenID, r.ID)
		if err != nil {
			return err
		}
		if err := json.Unmarshal(output, &plans[i]); err != nil {
			return err
		}
	}
	if changes := plans[1].Changes; changes != nil {
		c.Forced = changes.Forced
	}
	var err error
	c.Shares, err = shareChanges(plans[0], plans[1])
	return err
}

// shareChanges pairs the units of two plans, in the order of the second; those that are only in the first come last.
func shareChanges(was, now file.GardenPlan) ([]ShareChange, error) {
	before := map[string]float64{}
	for _, u := range was.Units {
		before[u.ID] = u.Share
	}
	out := []ShareChange{}
	add := func(u file.UnitPlan, was, now *float64) error {
		c := ShareChange{Was: was, Now: now}
		var err error
		if c.PlotID, err = uuid.Parse(u.PlotID); err != nil || u.LayoutID == nil {
			out = append(out, c)
			return err
		}
		layout, err := uuid.Parse(*u.LayoutID)
		c.LayoutID = &layout
		out = append(out, c)
		return err
	}
	for _, u := range now.Units {
		var old *float64
		if share, known := before[u.ID]; known {
			old = &share
			delete(before, u.ID)
		}
		if err := add(u, old, &u.Share); err != nil {
			return nil, err
		}
	}
	for _, u := range was.Units {
		if _, gone := before[u.ID]; gone {
			if err := add(u, &u.Share, nil); err != nil {
				return nil, err
			}
		}
	}
	return out, nil
}

// turns pairs the proposal's turns with the published ones that have not begun.
func (c *Comparison) turns(ctx context.Context, q *repo.Queries, now time.Time) error {
	garden := c.Proposal.GardenID
	proposed, err := q.TurnSchedule(ctx, garden, repo.TurnFilter{RotationID: &c.Proposal.ID})
	if err != nil {
		return err
	}
	begin := c.Proposal.StartsAt
	if now.After(begin) {
		begin = now
	}
	toCome, err := q.TurnSchedule(ctx, garden, repo.TurnFilter{From: &begin, Statuses: []string{"planned"}})
	if err != nil {
		return err
	}
	old, free := map[uuid.UUID]repo.ScheduledTurn{}, map[uuid.UUID]repo.Turn{}
	members := map[uuid.UUID][]repo.TurnMember{}
	var released []repo.Turn
	for _, t := range toCome {
		if t.StartsAt.Before(begin) {
			continue // it runs
		}
		old[t.ID], free[t.ID], members[t.ID] = t, t.Turn, membersOfScheduled(t)
		released = append(released, t.Turn)
	}
	c.ToCome = len(released)
	disturbed := 0
	for i := range proposed {
		t := &proposed[i]
		members[t.ID] = membersOfScheduled(*t)
		before, goesOn := goingOn(t.Turn, released, free, members)
		switch {
		case t.StartsAt.Before(begin) || t.Follows != nil && !goesOn:
			continue // publishing drops it
		case !goesOn:
			c.Changed = append(c.Changed, TurnChange{Kind: turnAdded, Now: t})
			if t.StartsAt.Before(c.Published.EndsAt) {
				disturbed++
			}
			continue
		}
		delete(free, before.ID)
		if unchanged(before, t.Turn, members) {
			c.Kept++
			continue
		}
		was, kind := old[before.ID], changeOf(before, t.Turn)
		if kind == string(plan.Moved) {
			disturbed++
		}
		c.Changed = append(c.Changed, TurnChange{Kind: kind, Was: &was, Now: t})
	}
	for _, t := range released {
		if _, left := free[t.ID]; left {
			was := old[t.ID]
			c.Changed = append(c.Changed, TurnChange{Kind: turnCancelled, Was: &was})
			disturbed++
		}
	}
	c.Part = float64(disturbed) / float64(max(1, c.ToCome))
	c.inOrder()
	return nil
}

// littleLater is the shift of a start up to which people come at the same time, as the planner has it.
const littleLater = 15 * time.Minute

func changeOf(was, now repo.Turn) string {
	if was.StartsAt.Sub(now.StartsAt).Abs() > littleLater {
		return string(plan.Moved)
	}
	return string(plan.Resized)
}

func membersOfScheduled(t repo.ScheduledTurn) []repo.TurnMember {
	out := make([]repo.TurnMember, len(t.Members))
	for i, m := range t.Members {
		out[i] = m.TurnMember
	}
	slices.SortFunc(out, compareMembers)
	return out
}

// compareMembers orders the members of a turn as the queries of turn members do.
func compareMembers(a, b repo.TurnMember) int {
	layout := func(m repo.TurnMember) string {
		if m.LayoutID == nil {
			return ""
		}
		return m.LayoutID.String()
	}
	return cmp.Or(cmp.Compare(a.PlotID.String(), b.PlotID.String()), cmp.Compare(layout(a), layout(b)))
}

// inOrder sorts the changes by the time at which people meet them.
func (c *Comparison) inOrder() {
	at := func(x TurnChange) time.Time {
		if x.Was == nil || x.Now != nil && x.Now.StartsAt.Before(x.Was.StartsAt) {
			return x.Now.StartsAt
		}
		return x.Was.StartsAt
	}
	slices.SortStableFunc(c.Changed, func(a, b TurnChange) int { return at(a).Compare(at(b)) })
}
