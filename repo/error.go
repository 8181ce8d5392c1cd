package repo

import (
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// The refusals of the database that a caller may meet in the ordinary course. They leave the doors InTenant and Read;
// inside a transaction the driver's own errors are seen.
var (
	// ErrNotFound says that a single row was asked for and there is none. It is pgx.ErrNoRows, too.
	ErrNotFound = fmt.Errorf("no such row in the garden: %w", pgx.ErrNoRows)
	// ErrConflict says that the transaction met another one and was rolled back: it may be tried again.
	ErrConflict = errors.New("the transaction met another one")
	// ErrOverflow says that a number or a time is larger than its column can hold.
	ErrOverflow = errors.New("a value is larger than its column can hold")
	// ErrText says that a text has characters that the database can't store: NUL, or bytes that are not UTF-8.
	ErrText = errors.New("a text has characters that can't be stored")
)

// ConstraintKind is what sort of rule a row broke.
type ConstraintKind string

// The kinds of rules.
const (
	Unique     ConstraintKind = "unique"
	ForeignKey ConstraintKind = "foreign key"
	Check      ConstraintKind = "check"
	Exclusion  ConstraintKind = "exclusion"
	NotNull    ConstraintKind = "not null"
)

// ConstraintError says which rule of the schema a row broke. Constraint is its name, for NotNull the column's; Table is
// the table that has the rule: for a foreign key the one that refers, also when the row referred to was to be deleted.
type ConstraintError struct {
	Kind       ConstraintKind
	Table      string
	Constraint string
	cause      error
}

func (e *ConstraintError) Error() string {
	return fmt.Sprintf("%s %s of %s: %v", e.Kind, e.Constraint, e.Table, e.cause)
}

func (e *ConstraintError) Unwrap() error { return e.cause }

var constraintKinds = map[string]ConstraintKind{
	"23505": Unique, "23503": ForeignKey, "23514": Check, "23P01": Exclusion, "23502": NotNull,
}

var stateErrors = map[string]error{
	"40001": ErrConflict, "40P01": ErrConflict, "55P03": ErrConflict, // serialization, deadlock, lock not available
	"22003": ErrOverflow, "22008": ErrOverflow, // numeric, datetime
	"22021": ErrText, "22P05": ErrText, // not in the encoding; not convertible, as \u0000 in a JSON document
}

// leaving gives an error the shape in which it leaves a door. The cause stays inside.
func leaving(err error) error {
	if err == nil || errors.Is(err, ErrNotFound) {
		return err
	}
	if errors.Is(err, pgx.ErrNoRows) {
		return fmt.Errorf("%w (%w)", ErrNotFound, err)
	}
	var pg *pgconn.PgError
	var known *ConstraintError
	if !errors.As(err, &pg) || errors.As(err, &known) {
		return err
	}
	if kind, ok := constraintKinds[pg.Code]; ok {
		name := pg.ConstraintName
		if kind == NotNull {
			name = pg.ColumnName
		}
		return &ConstraintError{Kind: kind, Table: pg.TableName, Constraint: name, cause: err}
	}
	if sentinel, ok := stateErrors[pg.Code]; ok {
		return fmt.Errorf("%w: %w", sentinel, err)
	}
	return err
}
