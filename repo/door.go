package repo

import (
	"context"
	"errors"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// Beginner begins transactions: a pool in production, an open transaction in tests.
type Beginner interface {
	Begin(ctx context.Context) (pgx.Tx, error)
}

// Sender sends batches: a pool in production, an open transaction in tests.
type Sender interface {
	SendBatch(ctx context.Context, b *pgx.Batch) pgx.BatchResults
}

var errNoGarden = errors.New("no garden was named")

const enterGarden = `SELECT set_config('app.garden_id', $1, true)`

// InTenant runs fn in a transaction that sees only the garden's rows. It commits when fn returns nil.
func InTenant(ctx context.Context, db Beginner, garden uuid.UUID, fn func(pgx.Tx) error) error {
	if garden == uuid.Nil {
		return errNoGarden
	}
	return leaving(pgx.BeginFunc(ctx, db, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, enterGarden, garden.String()); err != nil {
			return fmt.Errorf("enter garden %s: %w", garden, err)
		}
		return fn(tx)
	}))
}

// Read returns the door for reads of one statement. Each is sent with the garden's name as one batch, which is one
// implicit transaction and one round trip; it is read-only, so a statement that writes is refused by the database.
func Read(db Sender, garden uuid.UUID) *Reader { return &Reader{db: db, garden: garden} }

// Reader is the read door into one garden.
type Reader struct {
	db     Sender
	garden uuid.UUID
}

const enterGardenReading = `SELECT set_config('app.garden_id', $1, true), set_config('transaction_read_only', 'on', true)`

// Exec is refused: this door is for reading.
func (r *Reader) Exec(context.Context, string, ...any) (pgconn.CommandTag, error) {
	return pgconn.CommandTag{}, errors.New("the read door executes no commands: use InTenant")
}

// Query runs one statement in the garden. Closing the rows gives the connection back.
func (r *Reader) Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error) {
	if r.garden == uuid.Nil {
		return nil, errNoGarden
	}
	batch := &pgx.Batch{}
	batch.Queue(enterGardenReading, r.garden.String())
	batch.Queue(sql, args...)
	results := r.db.SendBatch(ctx, batch)
	if _, err := results.Exec(); err != nil {
		return nil, leaving(errors.Join(fmt.Errorf("enter garden %s: %w", r.garden, err), ignoreSame(results.Close(), err)))
	}
	rows, err := results.Query()
	if err != nil {
		return nil, leaving(errors.Join(err, ignoreSame(results.Close(), err)))
	}
	return &readerRows{Rows: rows, results: results}, nil
}

// ignoreSame drops an error that was reported already: closing a failed batch repeats its failure.
func ignoreSame(err, reported error) error {
	if errors.Is(err, reported) {
		return nil
	}
	return err
}

// QueryRow runs one statement in the garden and takes its first row.
func (r *Reader) QueryRow(ctx context.Context, sql string, args ...any) pgx.Row {
	rows, err := r.Query(ctx, sql, args...)
	return &readerRow{rows: rows, err: err}
}

type readerRows struct {
	pgx.Rows
	results pgx.BatchResults
	closing error
	closed  bool
}

func (r *readerRows) Close() {
	if r.closed {
		return
	}
	r.closed = true
	r.Rows.Close()
	r.closing = r.results.Close()
}

// Err reports the failure of the statement or, once closed, of the batch around it.
func (r *readerRows) Err() error {
	if err := r.Rows.Err(); err != nil {
		return leaving(err)
	}
	return leaving(r.closing)
}

// Next closes at the end, as the rows of a plain query do.
func (r *readerRows) Next() bool {
	if r.Rows.Next() {
		return true
	}
	r.Close()
	return false
}

type readerRow struct {
	rows pgx.Rows
	err  error
}

func (r *readerRow) Scan(dest ...any) error {
	if r.err != nil {
		return r.err
	}
	defer r.rows.Close()
	if !r.rows.Next() {
		if err := r.rows.Err(); err != nil {
			return err
		}
		return ErrNotFound
	}
	if err := r.rows.Scan(dest...); err != nil {
		return leaving(err)
	}
	r.rows.Close()
	return r.rows.Err()
}
