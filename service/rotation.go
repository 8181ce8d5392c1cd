package service

import (
	"context"
	"crypto/sha256"
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

// Proposal asks for a rotation. Without a first day it begins tomorrow on the garden's calendar.
type Proposal struct {
	FirstDay *file.Day
	Days     int
	Effort   string
	Seed     int64
}

// ProposeRotation plans a rotation and stores it as a proposal, with its whole input. Planning runs between a short
// reading and a short writing transaction; the proposal keeps the plan revision that it read.
func (s *Service) ProposeRotation(ctx context.Context, p Principal, ask Proposal) (repo.Rotation, error) {
	if err := p.may(Administer); err != nil {
		return repo.Rotation{}, err
	}
	if _, running := s.planning.LoadOrStore(p.Garden, true); running {
		return repo.Rotation{}, refuse(Conflict, "A rotation of this garden is being planned at this moment; wait for it.")
	}
	defer s.planning.Delete(p.Garden)
	input, read, err := s.planInput(ctx, p, ask)
	if err != nil {
		return repo.Rotation{}, err
	}
	made, err := PlanGarden(input, func() bool { return ctx.Err() != nil })
	if err == nil {
		err = ctx.Err() // a plan that was cut short is not kept
	}
	if err != nil {
		return repo.Rotation{}, planRefusal(err)
	}
	return s.storeProposal(ctx, p, read, input, made)
}

func (s *Service) planInput(ctx context.Context, p Principal, ask Proposal) (file.Garden, repo.Garden, error) {
	var input file.Garden
	var g repo.Garden
	err := repo.InTenant(ctx, s.pool, p.Garden, func(tx pgx.Tx) error {
		var err error
		if g, err = repo.New(tx).GardenByID(ctx, p.Garden); err != nil {
			return err
		}
		h := file.Horizon{Days: ask.Days, Effort: ask.Effort, Seed: ask.Seed}
		if ask.FirstDay != nil {
			h.FirstDay = *ask.FirstDay
		} else {
			today, err := s.today(g)
			if err != nil {
				return err
			}
			h.FirstDay = file.Day{Time: today.AddDate(0, 0, 1)}
		}
		input, err = snapshot(ctx, tx, p.Garden, h)
		return err
	})
	return input, g, explain(err, effect{entity: "garden"})
}

// planRefusal says what keeps a garden from being planned. The pointers lead into the stored input, so the sentence names
// the thing instead.
func planRefusal(err error) error {
	var faults file.Faults
	if !errors.As(err, &faults) {
		return err
	}
	var reasons []string
	for _, f := range faults {
		reasons = append(reasons, strings.TrimPrefix(f.Pointer, "/")+": "+f.Reason)
	}
	refused := refuse(Conflict, "The garden can't be planned yet: %s.", strings.Join(reasons, "; "))
	refused.cause = err
	return refused
}

func (s *Service) storeProposal(ctx context.Context, p Principal, read repo.Garden, input file.Garden, made file.GardenPlan) (repo.Rotation, error) {
	in, err := json.Marshal(input)
	if err != nil {
		return repo.Rotation{}, err
	}
	out, err := json.Marshal(made)
	if err != nil {
		return repo.Rotation{}, err
	}
	hash := sha256.Sum256(in)
	return create(ctx, s, p, effect{action: "propose", entity: "rotation"}, func(q *repo.Queries, id uuid.UUID) (repo.Rotation, error) {
		row, err := q.RotationInsert(ctx, repo.RotationValues{
			Status: "proposed", StartsAt: made.StartsAt, EndsAt: made.EndsAt, FirstDay: input.Horizon.FirstDay.Time, Days: int32(input.Horizon.Days),
			PlanRevision: read.PlanRevision, EngineVersion: EngineVersion, Effort: input.Horizon.Effort, Seed: input.Horizon.Seed,
			InputSha256: hash[:], GardenID: p.Garden, ID: id, Revision: 1,
		})
		if err != nil {
			return row, err
		}
		if err := q.RotationDocumentInsert(ctx, p.Garden, id, in, out); err != nil {
			return row, err
		}
		turns, members, err := s.turnRows(p.Garden, id, made)
		if err != nil {
			return row, err
		}
		if err := q.TurnPut(ctx, turns); err != nil {
			return row, err
		}
		return row, q.TurnMemberInsert(ctx, members)
	})
}

// turnRows gives the turns of a plan their ids. Units carry the ids of plots and layouts.
func (s *Service) turnRows(garden, rotation uuid.UUID, made file.GardenPlan) ([]repo.Turn, []repo.TurnMember, error) {
	units := map[string]file.UnitPlan{}
	for _, u := range made.Units {
		units[u.ID] = u
	}
	zones := map[string]file.ZonePlan{}
	for _, z := range made.Zones {
		zones[z.ID] = z
	}
	var turns []repo.Turn
	var members []repo.TurnMember
	for _, t := range made.Turns {
		z := zones[t.Zone]
		source, err := uuid.Parse(z.SourceID)
		if err != nil {
			return nil, nil, fmt.Errorf("source of zone %s: %w", z.ID, err)
		}
		turn := repo.Turn{
			GardenID: garden, ID: s.newID(), RotationID: rotation, WaterSourceID: source, Zone: z.Name, Kind: z.Kind, StartsAt: t.StartsAt,
			EndsAt: t.EndsAt, FlowLPerMin: z.FlowLPerMin, Status: "proposed",
		}
		for _, m := range t.Members {
			row := repo.TurnMember{GardenID: garden, TurnID: turn.ID, VolumeL: m.VolumeL, ClosesAt: m.ClosesAt}
			if row.PlotID, err = uuid.Parse(units[m.Unit].PlotID); err != nil {
				return nil, nil, fmt.Errorf("plot of unit %s: %w", m.Unit, err)
			}
			if of := units[m.Unit].LayoutID; of != nil {
				layout, err := uuid.Parse(*of)
				if err != nil {
					return nil, nil, fmt.Errorf("layout of unit %s: %w", m.Unit, err)
				}
				row.LayoutID = &layout
			}
			members = append(members, row)
		}
		turns = append(turns, turn)
	}
	return turns, members, nil
}

// Rotations lists rotations, the newest first.
func (s *Service) Rotations(ctx context.Context, p Principal, at Page) ([]repo.Rotation, *Cursor, error) {
	if err := p.may(ReadSchedule); err != nil {
		return nil, nil, err
	}
	before, beforeID, err := at.before()
	if err != nil {
		return nil, nil, err
	}
	rows, err := s.read(p).RotationListPage(ctx, p.Garden, before, beforeID, int32(at.Limit+1))
	return page(rows, err, at, "rotation", func(r repo.Rotation) Cursor { return timeCursor(r.CreatedAt, r.ID) })
}

// Rotation reads one rotation without its documents.
func (s *Service) Rotation(ctx context.Context, p Principal, id uuid.UUID) (repo.Rotation, error) {
	if err := p.may(ReadSchedule); err != nil {
		return repo.Rotation{}, err
	}
	row, err := s.read(p).RotationByID(ctx, p.Garden, id)
	return one(row, err, "rotation")
}

// RotationInput reads the garden file that a rotation was planned from, as stored, with its SHA-256.
func (s *Service) RotationInput(ctx context.Context, p Principal, id uuid.UUID) (input, hash []byte, err error) {
	if err := p.may(Administer); err != nil {
		return nil, nil, err
	}
	row, err := s.Rotation(ctx, p, id)
	if err != nil {
		return nil, nil, err
	}
	input, err = s.read(p).RotationInput(ctx, p.Garden, id)
	return input, row.InputSha256, explain(err, effect{entity: "rotation"})
}

// RotationPlan reads the plan of a rotation with its working, as stored, with its SHA-256.
func (s *Service) RotationPlan(ctx context.Context, p Principal, id uuid.UUID) (output, hash []byte, err error) {
	if err := p.may(ReadSchedule); err != nil {
		return nil, nil, err
	}
	output, err = s.read(p).RotationOutput(ctx, p.Garden, id)
	if err != nil {
		return nil, nil, explain(err, effect{entity: "rotation"})
	}
	sum := sha256.Sum256(output)
	return output, sum[:], nil
}

// RotationDocuments reads the garden file that a rotation was planned from and its plan, for documents that say what the
// plan rests on. The garden file itself is for coordinators only.
func (s *Service) RotationDocuments(ctx context.Context, p Principal, id uuid.UUID) (input file.Garden, plan file.GardenPlan, err error) {
	if err := p.may(ReadSchedule); err != nil {
		return input, plan, err
	}
	q := s.read(p)
	for _, document := range []struct {
		read func(context.Context, uuid.UUID, uuid.UUID) ([]byte, error)
		into any
	}{{q.RotationInput, &input}, {q.RotationOutput, &plan}} {
		text, err := document.read(ctx, p.Garden, id)
		if err != nil {
			return input, plan, explain(err, effect{entity: "rotation"})
		}
		if err := json.Unmarshal(text, document.into); err != nil {
			return input, plan, fmt.Errorf("stored document of rotation %s: %w", id, err)
		}
	}
	return input, plan, nil
}

// CurrentRotation reads the rotation in force now or, when there is none, the next to come.
func (s *Service) CurrentRotation(ctx context.Context, p Principal) (repo.Rotation, error) {
	if err := p.may(ReadSchedule); err != nil {
		return repo.Rotation{}, err
	}
	row, err := s.read(p).RotationPublishedNext(ctx, p.Garden, s.now())
	return one(row, err, "published rotation")
}

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
		row, err = q.RotationPublish(ctx, s.now(), p.Garden, id, match)
		return err
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

// takeOver publishes the turns of r that begin at from or later. One that waters the same plots from the same source on
// the same day as a released turn is that turn, changed: it keeps the id and its sequence rises.
func takeOver(ctx context.Context, q *repo.Queries, r repo.Rotation, released []repo.Turn, from time.Time) error {
	turns, err := q.TurnListByRotation(ctx, r.GardenID, r.ID)
	if err != nil {
		return err
	}
	members, err := membersOf(ctx, q, r.GardenID, append(slices.Clone(turns), released...))
	if err != nil {
		return err
	}
	var drop []uuid.UUID
	var put []repo.Turn
	var rows []repo.TurnMember
	var replaced []uuid.UUID
	for _, t := range turns {
		if t.StartsAt.Before(from) {
			drop = append(drop, t.ID)
			continue
		}
		i := slices.IndexFunc(released, func(o repo.Turn) bool { return continues(o, t, members) })
		if i < 0 {
			t.Status = "planned"
			put = append(put, t)
			continue
		}
		before := released[i]
		released = slices.Delete(released, i, i+1)
		drop, replaced = append(drop, t.ID), append(replaced, before.ID)
		for _, m := range members[t.ID] {
			m.TurnID = before.ID
			rows = append(rows, m)
		}
		t.ID, t.Status, t.OpenerID = before.ID, "planned", before.OpenerID
		t.Sequence = before.Sequence + 1
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

// continues says that turn b is turn a, perhaps at another hour.
func continues(a, b repo.Turn, members map[uuid.UUID][]repo.TurnMember) bool {
	const sameDay = 12 * time.Hour
	who := func(t repo.Turn) string {
		var out strings.Builder
		for _, m := range members[t.ID] {
			out.WriteString(m.PlotID.String())
			if m.LayoutID != nil {
				out.WriteString(m.LayoutID.String())
			}
		}
		return out.String()
	}
	return a.WaterSourceID == b.WaterSourceID && a.Kind == b.Kind && a.StartsAt.Sub(b.StartsAt).Abs() < sameDay && who(a) == who(b)
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
