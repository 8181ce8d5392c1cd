package repo_test

import (
	"context"
	"slices"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/repo/repotest"
)

// outside names what lies outside row security, and why. Everything else must be closed by it.
var outside = map[string]string{
	"public.garden_directory":  "which gardens exist; nothing else about them",
	"public.operator_token":    "belongs to the installation",
	"public.schema_migrations": "the schema's own step",
}

func names(t *testing.T, tx pgx.Tx, sql string) []string {
	t.Helper()
	rows, err := tx.Query(t.Context(), sql)
	if err != nil {
		t.Fatal(err)
	}
	all, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func TestCatalogue_rowSecurityClosesEveryTable(t *testing.T) {
	t.Parallel()
	tx := repotest.Tx(t)
	open := names(t, tx, `
		SELECT n.nspname || '.' || c.relname FROM pg_class c
		JOIN pg_namespace n ON n.oid = c.relnamespace
		WHERE c.relkind IN ('r', 'p', 'm', 'f') AND n.nspname NOT IN ('pg_catalog', 'information_schema', 'river')
			AND NOT (c.relrowsecurity AND c.relforcerowsecurity AND EXISTS (
				SELECT FROM pg_policy p WHERE p.polrelid = c.oid AND p.polcmd = '*' AND p.polpermissive AND p.polroles = '{0}'
					AND pg_get_expr(p.polqual, c.oid) LIKE '%garden_id = (NULLIF(current_setting(''app.garden_id''%'
					AND pg_get_expr(p.polwithcheck, c.oid) = pg_get_expr(p.polqual, c.oid)))
		ORDER BY 1`)
	for _, table := range open {
		if outside[table] == "" {
			t.Errorf("%s is not closed by row security", table)
		}
	}
	for table := range outside {
		if !slices.Contains(open, table) {
			t.Errorf("%s is named as outside row security and isn't", table)
		}
	}
	closed := names(t, tx, `SELECT relname FROM pg_class WHERE relrowsecurity AND relnamespace = 'public'::regnamespace`)
	if len(closed) < 20 {
		t.Errorf("%d tables are closed, want at least 20", len(closed))
	}
	extra := names(t, tx, `SELECT polname FROM pg_policy GROUP BY polrelid, polname HAVING count(*) > 1
		UNION ALL SELECT min(polname) FROM pg_policy GROUP BY polrelid HAVING count(*) > 1`)
	if len(extra) > 0 {
		t.Errorf("%v: a second permissive policy would open a table again", extra)
	}
	views := names(t, tx, `SELECT relname FROM pg_class WHERE relkind = 'v' AND relnamespace = 'public'::regnamespace`)
	if len(views) > 0 {
		t.Errorf("views %v would show their tables with their owner's eyes", views)
	}
}

// Keys lead with the garden: foreign-key and unique checks ignore row security, so a key without it would let a garden
// probe another's rows; and every look-up is by garden.
func TestCatalogue_keysLeadWithTheGarden(t *testing.T) {
	t.Parallel()
	tx := repotest.Tx(t)
	keys := names(t, tx, `
		SELECT c.relname || ' ' || i.relname FROM pg_index x
		JOIN pg_class c ON c.oid = x.indrelid JOIN pg_class i ON i.oid = x.indexrelid
		WHERE c.relrowsecurity AND c.relnamespace = 'public'::regnamespace AND x.indkey[0] <> (
			SELECT a.attnum FROM pg_attribute a WHERE a.attrelid = c.oid AND a.attname = 'garden_id')`)
	if len(keys) > 0 {
		t.Errorf("these don't lead with garden_id: %v", keys)
	}
	foreign := names(t, tx, `
		SELECT k.conname FROM pg_constraint k
		JOIN pg_class c ON c.oid = k.conrelid JOIN pg_class r ON r.oid = k.confrelid
		JOIN pg_attribute here ON here.attrelid = c.oid AND here.attnum = k.conkey[1]
		JOIN pg_attribute there ON there.attrelid = r.oid AND there.attnum = k.confkey[1]
		WHERE k.contype = 'f' AND c.relrowsecurity AND (here.attname <> 'garden_id' OR there.attname <> 'garden_id')`)
	if len(foreign) > 0 {
		t.Errorf("these refer to other rows than the garden's own: %v", foreign)
	}
}

func TestCatalogue_rulesHaveNamesToTranslate(t *testing.T) {
	t.Parallel()
	seen := map[string]string{}
	for _, c := range repotest.Constraints(t, repotest.Tx(t)) {
		if other := seen[c.Name]; other != "" {
			t.Errorf("%s is a rule of %s and of %s: an error's name must say which", c.Name, other, c.Table)
		}
		seen[c.Name] = c.Table
		if c.Kind == repo.Check && strings.HasSuffix(c.Name, "_check") {
			t.Errorf("%s of %s was named by the database: give it a name that says what it asks", c.Name, c.Table)
		}
		if c.Kind == repo.Check && len(c.Columns) == 0 {
			t.Errorf("%s of %s reads no column", c.Name, c.Table)
		}
	}
	for _, name := range []string{"plot_label_unique", "turn_one_per_source", "layout_plot_fkey", "water_hours_order", "plot_pkey"} {
		if seen[name] == "" {
			t.Errorf("%s is not in the list", name)
		}
	}
}

func TestAppRole_ownsNothingAndMayLittle(t *testing.T) {
	t.Parallel()
	pool := repotest.Pool(t)
	err := pgx.BeginFunc(t.Context(), pool, func(tx pgx.Tx) error {
		if who := names(t, tx, `SELECT current_user`); who[0] != repo.AppRole {
			t.Errorf("tests run as %v", who)
		}
		if owned := names(t, tx, `
			SELECT c.relname FROM pg_class c WHERE pg_get_userbyid(c.relowner) = current_user
			UNION ALL SELECT proname FROM pg_proc WHERE pg_get_userbyid(proowner) = current_user
			UNION ALL SELECT nspname FROM pg_namespace WHERE pg_get_userbyid(nspowner) = current_user
			UNION ALL SELECT datname FROM pg_database WHERE pg_get_userbyid(datdba) = current_user`); len(owned) > 0 {
			t.Errorf("the application role owns %v", owned)
		}
		if roles := names(t, tx, `
			SELECT r.rolname FROM pg_auth_members m JOIN pg_roles r ON r.oid = m.roleid JOIN pg_roles u ON u.oid = m.member
			WHERE u.rolname = current_user`); len(roles) > 0 {
			t.Errorf("the application role is a member of %v", roles)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, sql := range []string{
		`ALTER TABLE plot NO FORCE ROW LEVEL SECURITY`,
		`DROP POLICY plot_tenant ON plot`,
		`TRUNCATE audit_entry`,
		`DELETE FROM audit_entry`,
		`UPDATE turn_report SET note = ''`,
		`DELETE FROM layout_revision`,
		`UPDATE rotation_document SET input = ''`,
		`DELETE FROM garden_directory`,
		`INSERT INTO operator_token (id, label, secret_sha256) VALUES (gen_random_uuid(), 'mine', sha256('x'))`,
		`CREATE TABLE mine (n integer)`,
		`UPDATE schema_migrations SET version = 0`,
		`DELETE FROM river.river_migration`,
	} {
		_, err := pool.Exec(context.Background(), sql)
		if err == nil || !strings.Contains(err.Error(), "42501") {
			t.Errorf("%s: %v, want it to be forbidden (42501)", sql, err)
		}
	}
}
