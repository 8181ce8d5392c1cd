// Package service is the use cases: who may do what, in which transaction, in what order. It knows no HTTP and no SQL;
// times and randomness come in through its fields.
package service

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/hook"
)

// EngineVersion names the arithmetic: a rotation stored with it can be computed again to the byte by the same version.
const EngineVersion = "0.1.0"

// Service serves all gardens of one installation.
type Service struct {
	pool     *pgxpool.Pool // of the application role
	now      func() time.Time
	newID    func() uuid.UUID
	jobs     *river.Client[pgx.Tx] // to hand jobs to the queue; StartJobs works them
	hooks    *hook.Client          // sends events to webhooks
	planning sync.Map              // gardens for which a rotation is being planned while its caller waits
}

// New returns the service on a pool of the application role. now is the clock.
func New(pool *pgxpool.Pool, now func() time.Time) *Service {
	jobs, err := river.NewClient(riverpgxv5.New(pool), &river.Config{Schema: repo.JobSchema})
	if err != nil {
		panic(err) // the configuration is fixed: it is wrong in this program, or never
	}
	return &Service{pool: pool, now: now, jobs: jobs, hooks: hook.NewClient(false), newID: func() uuid.UUID { return uuid.Must(uuid.NewV7()) }}
}

// WithIDs returns the service with another maker of ids: the demo's are the same on every machine.
func (s *Service) WithIDs(newID func() uuid.UUID) *Service {
	return &Service{pool: s.pool, now: s.now, jobs: s.jobs, hooks: s.hooks, newID: newID}
}

// WithLocalHooks returns the service with webhooks that may also be on this machine, over http: the receivers of tests.
func (s *Service) WithLocalHooks() *Service {
	return &Service{pool: s.pool, now: s.now, jobs: s.jobs, hooks: hook.NewClient(true), newID: s.newID}
}

// Ping asks the database whether it answers.
func (s *Service) Ping(ctx context.Context) error { return s.pool.Ping(ctx) }

// read returns the queries of one garden for single statements: one round trip each.
func (s *Service) read(p Principal) *repo.Queries { return repo.New(repo.Read(s.pool, p.Garden)) }

// change is one writing transaction in the principal's garden. effect says what else moves with it.
func (s *Service) change(ctx context.Context, p Principal, e effect, fn func(q *repo.Queries) error) error {
	err := repo.InTenant(ctx, s.pool, p.Garden, func(tx pgx.Tx) error {
		q := repo.New(tx)
		if err := fn(q); err != nil {
			return err
		}
		return s.followUp(ctx, q, p, e)
	})
	return explain(err, e)
}

// effect describes a change: for the audit, for the messages, and for what follows from it.
type effect struct {
	action   string // create, replace, delete, submit, publish …
	entity   string // plot, water source …
	id       uuid.UUID
	planning bool // it changes what plans are made from
	schedule bool // it changes what a pull of the schedule shows
}

func (s *Service) followUp(ctx context.Context, q *repo.Queries, p Principal, e effect) error {
	if e.planning {
		if err := q.GardenPlanTouch(ctx, p.Garden); err != nil {
			return err
		}
	}
	if e.schedule {
		if err := q.GardenScheduleTouch(ctx, p.Garden); err != nil {
			return err
		}
	}
	return q.AuditEntryInsert(ctx, repo.AuditEntryValues{
		GardenID: p.Garden, ID: s.newID(), Actor: p.Name, Action: e.action, Entity: e.entity, EntityID: e.id.String(),
	})
}

// create inserts one record under a new id. With an Idempotency-Key in the context it happens once: the record is kept
// beside the key in the same transaction, and the same request gets it again.
func create[R any](ctx context.Context, s *Service, p Principal, e effect, insert func(q *repo.Queries, id uuid.UUID) (R, error)) (R, error) {
	idem, once := idempotencyOf(ctx)
	var made R
	work := func(q *repo.Queries) error {
		if once {
			if done, err := replay(ctx, q, p, idem, &made); done || err != nil {
				return err
			}
		}
		e.id = s.newID()
		var err error
		if made, err = insert(q, e.id); err != nil {
			return err
		}
		if err := s.followUp(ctx, q, p, e); err != nil || !once {
			return err
		}
		kept, err := json.Marshal(made)
		if err != nil {
			return fmt.Errorf("keep the answer of %s %s: %w", e.action, e.entity, err)
		}
		return q.IdempotencyKeyInsert(ctx, repo.IdempotencyKeyValues{
			GardenID: p.Garden, TokenID: p.Token, Key: idem.Key, Fingerprint: idem.Fingerprint[:], Result: kept,
		})
	}
	run := func() error {
		return repo.InTenant(ctx, s.pool, p.Garden, func(tx pgx.Tx) error { return work(repo.New(tx)) })
	}
	err := run()
	var rule *repo.ConstraintError
	if once && errors.As(err, &rule) { // the same request may have won the race a moment ago: then give its answer
		err = run()
	}
	return made, explain(err, e)
}

// replay fills made with the record that an earlier request with this key created, if there was one.
func replay[R any](ctx context.Context, q *repo.Queries, p Principal, idem Idempotency, made *R) (bool, error) {
	kept, err := q.IdempotencyKeyByKey(ctx, p.Garden, p.Token, idem.Key)
	if errors.Is(err, pgx.ErrNoRows) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	if string(kept.Fingerprint) != string(idem.Fingerprint[:]) {
		return false, refuse(Reused, "The Idempotency-Key %q was used for another request; take a new key for a new request.", idem.Key)
	}
	return true, json.Unmarshal(kept.Result, made)
}

// versioned is what stands behind If-Match: how to read the current revision of a record.
type versioned func(q *repo.Queries) (revision int64, err error)

// matched turns "no row had this id and revision" into the reason: gone, or changed by somebody else.
func matched(err error, e effect, match int64, current versioned, q *repo.Queries) error {
	if !errors.Is(err, pgx.ErrNoRows) {
		return err
	}
	rev, err := current(q)
	if err != nil {
		return err
	}
	return refuse(Stale, "The %s is at revision %d, not at %d: read it again before changing it.", e.entity, rev, match)
}

// replace writes a whole record over its revision match.
func replace[R any](ctx context.Context, s *Service, p Principal, e effect, match int64, update func(q *repo.Queries) (R, error), current versioned) (R, error) {
	var made R
	err := s.change(ctx, p, e, func(q *repo.Queries) error {
		var err error
		made, err = update(q)
		return matched(err, e, match, current, q)
	})
	return made, err
}

// remove deletes a record at its revision match.
func (s *Service) remove(ctx context.Context, p Principal, e effect, match int64, del func(q *repo.Queries) (int64, error), current versioned) error {
	return s.change(ctx, p, e, func(q *repo.Queries) error {
		n, err := del(q)
		if err == nil && n == 0 {
			err = pgx.ErrNoRows
		}
		return matched(err, e, match, current, q)
	})
}

// Page asks for a part of a list: at most Limit records after the one with this key and id.
type Page struct {
	AfterKey string
	AfterID  uuid.UUID
	Limit    int
}

// Cursor names the last record of a page; the next page begins after it.
type Cursor struct {
	Key string
	ID  uuid.UUID
}

// page cuts what a query for one record more than asked returned, and names the cursor of the next page if there is one.
func page[R any](rows []R, err error, want Page, e string, at func(R) Cursor) ([]R, *Cursor, error) {
	if err != nil {
		return nil, nil, explain(err, effect{action: "list", entity: e})
	}
	if len(rows) <= want.Limit {
		return rows, nil, nil
	}
	rows = rows[:want.Limit]
	next := at(rows[len(rows)-1])
	return rows, &next, nil
}

// one explains the error of a read by id.
func one[R any](row R, err error, entity string) (R, error) {
	return row, explain(err, effect{action: "read", entity: entity})
}

// afterTime reads the key of a page that is ordered by time; the first page begins before all time.
func (p Page) afterTime() (time.Time, error) {
	if p.AfterKey == "" {
		return time.Unix(0, 0).UTC(), nil
	}
	t, err := time.Parse(time.RFC3339Nano, p.AfterKey)
	if err != nil {
		return time.Time{}, invalid(Field{"#query/cursor", "is not a cursor of this list"})
	}
	return t, nil
}

// before reads the key of a page of a list that goes back in time; its first page begins after all time.
func (p Page) before() (time.Time, uuid.UUID, error) {
	if p.AfterKey == "" {
		return repo.EndOfTime, uuid.Max, nil
	}
	t, err := p.afterTime()
	return t, p.AfterID, err
}

func timeCursor(t time.Time, id uuid.UUID) Cursor {
	return Cursor{Key: t.UTC().Format(time.RFC3339Nano), ID: id}
}
