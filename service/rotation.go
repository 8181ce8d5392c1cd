package service

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
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
	Fresh    bool // as if nothing was published: zones and times are free
}

// planAtOnce is up to how many layouts and hand-watered plots a fast plan is made while the caller waits.
const planAtOnce = 60

// ProposeRotation plans a rotation and stores it as a proposal, with its whole input, which holds the published rotation
// that it changes as little as it can. Planning runs between a short reading and a short writing transaction; the proposal
// keeps the plan revision that it read. A large garden or a full search is planned by a job: the rotation that is returned
// is planning then.
func (s *Service) ProposeRotation(ctx context.Context, p Principal, ask Proposal) (repo.Rotation, error) {
	if err := p.may(Administer); err != nil {
		return repo.Rotation{}, err
	}
	if _, running := s.planning.LoadOrStore(p.Garden, true); running {
		return repo.Rotation{}, refuse(Conflict, "A rotation of this garden is being planned at this moment; wait for it.")
	}
	defer s.planning.Delete(p.Garden)
	if err := s.freeToPlan(ctx, p); err != nil {
		return repo.Rotation{}, err
	}
	input, read, err := s.planInput(ctx, p, ask)
	if err != nil {
		return repo.Rotation{}, err
	}
	if ask.Effort == "full" || takers(input) > planAtOnce {
		return s.queuePlan(ctx, p, read, input)
	}
	made, err := PlanGarden(input, func() bool { return ctx.Err() != nil })
	if err == nil {
		err = ctx.Err() // a plan that was cut short is not kept
	}
	if err != nil {
		return repo.Rotation{}, planRefusal(err)
	}
	return s.storeProposal(ctx, p, read, input, made, origin{status: "proposed"})
}

// takers counts what may take turns.
func takers(g file.Garden) int {
	n := len(g.Layouts)
	for _, p := range g.Plots {
		if p.Method == "hose" || p.Method == "can" {
			n++
		}
	}
	return n
}

func (s *Service) planInput(ctx context.Context, p Principal, ask Proposal) (file.Garden, repo.Garden, error) {
	var input file.Garden
	var g repo.Garden
	err := repo.InTenant(ctx, s.pool, p.Garden, func(tx pgx.Tx) error {
		q := repo.New(tx)
		var err error
		if g, err = q.GardenByID(ctx, p.Garden); err != nil {
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
		input, err = snapshot(ctx, tx, p.Garden, h, s.followed(ask.Fresh))
		return err
	})
	return input, g, explain(err, effect{entity: "garden"})
}

// followed is the moment from which the published rotation is followed; the zero time for not at all.
func (s *Service) followed(fresh bool) time.Time {
	if fresh {
		return time.Time{}
	}
	return s.now().UTC().Truncate(time.Second)
}

// planRefusal says what keeps a garden from being planned.
func planRefusal(err error) error { return fileRefusal(err, "The garden can't be planned yet") }

// fileRefusal says what is wrong with a garden that was read into a file. The pointers lead into that file, so the sentence
// names the thing instead.
func fileRefusal(err error, what string) error {
	var faults file.Faults
	if !errors.As(err, &faults) {
		return err
	}
	var reasons []string
	for _, f := range faults {
		reasons = append(reasons, strings.TrimPrefix(f.Pointer, "/")+": "+f.Reason)
	}
	refused := refuse(Conflict, "%s: %s.", what, strings.Join(reasons, "; "))
	refused.cause = err
	return refused
}

func (s *Service) storeProposal(ctx context.Context, p Principal, read repo.Garden, input file.Garden, made file.GardenPlan, o origin) (repo.Rotation, error) {
	return s.storeRotation(ctx, p, effect{action: "propose", entity: "rotation"}, read, input, o, func(q *repo.Queries, r repo.Rotation) error {
		return s.storePlan(ctx, q, p, r, made)
	})
}

// origin is how a rotation comes into being.
type origin struct {
	status  string
	trouble *string // why it failed
	nightly bool    // unasked: the proposals of earlier nights make way for it
}

// storeRotation stores a rotation with the input that it is planned from, and does what belongs to it.
func (s *Service) storeRotation(
	ctx context.Context, p Principal, e effect, read repo.Garden, input file.Garden, o origin, with func(q *repo.Queries, r repo.Rotation) error,
) (repo.Rotation, error) {
	row, in, err := rotationOf(p, read, input, o)
	if err != nil {
		return repo.Rotation{}, err
	}
	return create(ctx, s, p, e, func(q *repo.Queries, id uuid.UUID) (repo.Rotation, error) {
		if o.nightly {
			if _, err := q.RotationWithdrawNightly(ctx, s.now(), p.Garden); err != nil {
				return repo.Rotation{}, err
			}
		}
		row.ID = id
		stored, err := q.RotationInsert(ctx, row)
		if err != nil {
			return stored, err
		}
		if err := q.RotationDocumentInsert(ctx, p.Garden, id, in, nil); err != nil {
			return stored, err
		}
		return stored, with(q, stored)
	})
}

// rotationOf is the row of a rotation that is planned from an input, and the bytes of the input.
func rotationOf(p Principal, read repo.Garden, input file.Garden, o origin) (repo.RotationValues, []byte, error) {
	in, err := json.Marshal(input)
	if err != nil {
		return repo.RotationValues{}, nil, err
	}
	loc, err := time.LoadLocation(input.Garden.TimeZone)
	if err != nil {
		return repo.RotationValues{}, nil, err
	}
	hash := sha256.Sum256(in)
	first := input.Horizon.FirstDay
	return repo.RotationValues{
		Status: o.status, Nightly: o.nightly, Trouble: o.trouble, StartsAt: instant(first.Time, 0, loc), EndsAt: instant(first.AddDate(0, 0, input.Horizon.Days), 0, loc),
		FirstDay: first.Time, Days: int32(input.Horizon.Days), PlanRevision: read.PlanRevision, EngineVersion: EngineVersion,
		Effort: input.Horizon.Effort, Seed: input.Horizon.Seed, InputSha256: hash[:], GardenID: p.Garden, Revision: 1,
	}, in, nil
}

// storePlan writes what came out of planning, the document and the turns, and tells that a proposal waits.
func (s *Service) storePlan(ctx context.Context, q *repo.Queries, p Principal, r repo.Rotation, made file.GardenPlan) error {
	out, err := json.Marshal(made)
	if err != nil {
		return err
	}
	if _, err := q.RotationOutputPut(ctx, out, p.Garden, r.ID); err != nil {
		return err
	}
	turns, members, err := s.turnRows(p.Garden, r.ID, made)
	if err != nil {
		return err
	}
	if err := q.TurnPut(ctx, turns); err != nil {
		return err
	}
	if err := q.TurnMemberInsert(ctx, members); err != nil {
		return err
	}
	return s.announceProposed(ctx, q, p, r)
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
		if t.ID != "" {
			follows, err := uuid.Parse(t.ID)
			if err != nil {
				return nil, nil, fmt.Errorf("published turn of a planned one: %w", err)
			}
			turn.Follows = &follows
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
	if output == nil {
		return nil, nil, noPlan()
	}
	sum := sha256.Sum256(output)
	return output, sum[:], nil
}

// RotationDocuments reads the garden file that a rotation was planned from and its plan, for documents that say what the
// plan rests on. The garden file itself is for coordinators only.
func (s *Service) RotationDocuments(ctx context.Context, p Principal, id uuid.UUID) (input file.Garden, plan file.GardenPlan, err error) {
	if err := p.mayOpen(ScheduleDocument, nil, ReadSchedule); err != nil {
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
		if text == nil {
			return input, plan, noPlan()
		}
		if err := json.Unmarshal(text, document.into); err != nil {
			return input, plan, fmt.Errorf("stored document of rotation %s: %w", id, err)
		}
	}
	return input, plan, nil
}

func noPlan() error {
	return refuse(Conflict, "The rotation has no plan: it is still being planned, was cancelled, or failed; its status says which.")
}

// CurrentRotation reads the rotation in force now or, when there is none, the next to come.
func (s *Service) CurrentRotation(ctx context.Context, p Principal) (repo.Rotation, error) {
	if err := p.may(ReadSchedule); err != nil {
		return repo.Rotation{}, err
	}
	row, err := s.read(p).RotationPublishedNext(ctx, p.Garden, s.now())
	return one(row, err, "published rotation")
}
