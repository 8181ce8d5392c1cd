package repotest

import (
	"testing"

	"github.com/jackc/pgx/v5"

	"rillturn.example/rillturn/repo"
)

// Constraint is a rule of the schema, by the name with which a repo.ConstraintError reports it. A test of who translates
// these errors walks them all, so that a new rule can't come without its sentence.
type Constraint struct {
	Kind    repo.ConstraintKind
	Table   string
	Name    string
	Columns []string // that the rule reads, garden_id left out
	Refers  string   // of a foreign key: the table referred to
}

// Constraints lists every rule of the schema except NOT NULL, by table and name. Primary keys count as unique.
func Constraints(t testing.TB, tx pgx.Tx) []Constraint {
	t.Helper()
	rows, err := tx.Query(t.Context(), `
		SELECT CASE c.contype WHEN 'c' THEN 'check' WHEN 'f' THEN 'foreign key' WHEN 'x' THEN 'exclusion' ELSE 'unique' END AS kind,
			t.relname AS table, c.conname AS name,
			ARRAY(SELECT a.attname::text FROM unnest(c.conkey) WITH ORDINALITY AS k (num, place)
				JOIN pg_attribute a ON a.attrelid = c.conrelid AND a.attnum = k.num
				WHERE a.attname <> 'garden_id' ORDER BY k.place) AS columns,
			coalesce(r.relname, '') AS refers
		FROM pg_constraint c
		JOIN pg_class t ON t.oid = c.conrelid
		JOIN pg_namespace n ON n.oid = t.relnamespace
		LEFT JOIN pg_class r ON r.oid = c.confrelid
		WHERE n.nspname = 'public' AND t.relname <> 'schema_migrations' AND c.contype IN ('c', 'f', 'u', 'p', 'x')
		ORDER BY t.relname, c.conname`)
	if err != nil {
		t.Fatal(err)
	}
	all, err := pgx.CollectRows(rows, pgx.RowToStructByName[Constraint])
	if err != nil {
		t.Fatal(err)
	}
	return all
}
