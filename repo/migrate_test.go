package repo_test

import (
	"context"
	"crypto/hmac"
	"crypto/pbkdf2"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"strconv"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"

	"rillturn.example/rillturn/migrations"
	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/repo/repotest"
)

// objects describes everything in a database that migrations make, for comparing.
func objects(t *testing.T, ownerURL string) []string {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), ownerURL)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background()) //nolint:errcheck // the answer is there
	rows, err := conn.Query(t.Context(), `
		SELECT x FROM (
			SELECT 'table ' || n.nspname || '.' || c.relname || ' ' || coalesce(c.relacl::text, '') AS x
				FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace WHERE c.relkind IN ('r', 'p', 'v', 'S')
			UNION ALL SELECT 'column ' || a.attrelid::regclass || '.' || a.attname || ' ' || a.atttypid::regtype || ' ' || a.attnotnull
				FROM pg_attribute a JOIN pg_class c ON c.oid = a.attrelid AND c.relkind = 'r' WHERE a.attnum > 0 AND NOT a.attisdropped
			UNION ALL SELECT 'rule ' || conrelid::regclass || ' ' || conname || ' ' || pg_get_constraintdef(oid) FROM pg_constraint
			UNION ALL SELECT 'index ' || indexdef FROM pg_indexes
			UNION ALL SELECT 'policy ' || tablename || ' ' || policyname FROM pg_policies
			UNION ALL SELECT 'function ' || p.oid::regprocedure FROM pg_proc p
			UNION ALL SELECT 'type ' || t.oid::regtype FROM pg_type t
			UNION ALL SELECT 'extension ' || extname FROM pg_extension
		) AS everything
		WHERE x NOT LIKE '%pg_catalog.%' AND x NOT LIKE '%information_schema.%' ORDER BY x`)
	if err != nil {
		t.Fatal(err)
	}
	all, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func difference(a, b []string) []string {
	in := map[string]bool{}
	for _, x := range b {
		in[x] = true
	}
	var only []string
	for _, x := range a {
		if !in[x] {
			only = append(only, x)
		}
	}
	return only
}

func TestMigrate_upDownUp(t *testing.T) {
	t.Parallel()
	owner := repotest.EmptyURL(t)
	migrate := func(run func(context.Context, string) error) []string {
		if err := run(t.Context(), owner); err != nil {
			t.Fatal(err)
		}
		return objects(t, owner)
	}
	up := func(ctx context.Context, url string) error { return repo.Migrate(ctx, url, "") }
	before := objects(t, owner)
	first := migrate(up)
	again := migrate(up)
	down := migrate(repo.MigrateDown)
	second := migrate(up)

	if extra := difference(first, before); len(extra) < 100 {
		t.Errorf("migrations made %d objects, want at least 100", len(extra))
	}
	if d := append(difference(first, again), difference(again, first)...); len(d) > 0 {
		t.Errorf("migrating a migrated database changed %v", d)
	}
	for _, left := range difference(down, before) {
		if !strings.Contains(left, "schema_migrations") { // golang-migrate's own table
			t.Errorf("down leaves %s", left)
		}
	}
	if lost := difference(before, down); len(lost) > 0 {
		t.Errorf("down took %v with it", lost)
	}
	if d := append(difference(first, second), difference(second, first)...); len(d) > 0 {
		t.Errorf("up, down, up differs from up: %v", d)
	}
}

func TestMigrate_severalAtOnce(t *testing.T) {
	t.Parallel()
	owner := repotest.EmptyURL(t)
	const starters = 3
	done := make(chan error, starters)
	for range starters {
		go func() { done <- repo.Migrate(t.Context(), owner, "") }()
	}
	for range starters {
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
}

func TestLatest_isTheNewestStep(t *testing.T) {
	t.Parallel()
	conn, err := pgx.Connect(t.Context(), repotest.OwnerURL(t))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background()) //nolint:errcheck // the answer is there
	var reached int64
	if err := conn.QueryRow(t.Context(), `SELECT version FROM schema_migrations`).Scan(&reached); err != nil {
		t.Fatal(err)
	}
	if latest, err := migrations.Latest(); err != nil || latest != reached {
		t.Errorf("newest step %d, %v; the database reached %d", latest, err, reached)
	}
}

type gardenJob struct{ Garden string }

func (gardenJob) Kind() string { return "garden_job" }

// The service's role queues jobs in the transaction of its garden.
func TestMigrate_grantsTheJobQueue(t *testing.T) {
	t.Parallel()
	pool := repotest.Pool(t)
	garden := repotest.Garden(t, pool).GardenID
	jobs, err := river.NewClient(riverpgxv5.New(pool), &river.Config{Schema: repo.JobSchema})
	if err != nil {
		t.Fatal(err)
	}
	err = repo.InTenant(t.Context(), pool, garden, func(tx pgx.Tx) error {
		_, err := jobs.InsertTx(t.Context(), tx, gardenJob{garden.String()}, nil)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	var queued int
	if err := pool.QueryRow(t.Context(), `SELECT count(*) FROM river.river_job WHERE kind = 'garden_job'`).Scan(&queued); err != nil || queued != 1 {
		t.Errorf("%d jobs queued, %v; want 1", queued, err)
	}
}

// Roles belong to the whole server, so what it had is given back. The test looks at what is stored, since a server may
// trust its socket and ask nobody for a password.
func TestMigrate_givesTheRoleItsPassword(t *testing.T) {
	t.Parallel()
	owner := repotest.OwnerURL(t)
	conn, err := pgx.Connect(t.Context(), owner)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background()) //nolint:errcheck // the test is over
	stored := func() (verifier *string) {
		if err := conn.QueryRow(t.Context(), `SELECT rolpassword FROM pg_authid WHERE rolname = $1`, repo.AppRole).Scan(&verifier); err != nil {
			t.Fatal(err)
		}
		return verifier
	}
	before := stored()
	const password = `it's "a" \password$$`
	if err := repo.Migrate(t.Context(), owner, password); err != nil {
		t.Fatal(err)
	}
	after := stored()
	if err := repo.Migrate(t.Context(), owner, ""); err != nil {
		t.Fatal(err)
	}
	if again := stored(); after == nil || again == nil || *again != *after {
		t.Errorf("migrating without a password changed it from %v to %v", after, again)
	}
	if after != nil && !verifies(t, *after, password) {
		t.Errorf("%s is not the password's", *after)
	}
	if after != nil && verifies(t, *after, "another") {
		t.Errorf("%s is another password's, too", *after)
	}
	back := `ALTER ROLE ` + repo.AppRole + ` PASSWORD NULL`
	if before != nil {
		back = `ALTER ROLE ` + repo.AppRole + ` PASSWORD '` + *before + `'`
	}
	if _, err := conn.Exec(t.Context(), back); err != nil {
		t.Error(err)
	}
}

// verifies says whether a stored SCRAM-SHA-256 verifier is that of a password: RFC 5802 section 3 with RFC 7677, in the
// form SCRAM-SHA-256$iterations:salt$StoredKey:ServerKey.
func verifies(t *testing.T, verifier, password string) bool {
	t.Helper()
	parts := strings.FieldsFunc(verifier, func(r rune) bool { return r == '$' || r == ':' })
	if len(parts) != 5 || parts[0] != "SCRAM-SHA-256" {
		t.Fatalf("%s is no SCRAM-SHA-256 verifier", verifier)
	}
	iterations, err := strconv.Atoi(parts[1])
	salt, saltErr := base64.StdEncoding.DecodeString(parts[2])
	salted, keyErr := pbkdf2.Key(sha256.New, password, salt, iterations, sha256.Size)
	if err := errors.Join(err, saltErr, keyErr); err != nil {
		t.Fatal(err)
	}
	mac := hmac.New(sha256.New, salted)
	mac.Write([]byte("Client Key"))
	key := sha256.Sum256(mac.Sum(nil))
	return base64.StdEncoding.EncodeToString(key[:]) == parts[3]
}

func TestOpen_refuses(t *testing.T) {
	t.Parallel()
	owner := repotest.OwnerURL(t)
	conn, err := pgx.Connect(t.Context(), owner)
	if err != nil {
		t.Fatal(err)
	}
	suffix := strings.ReplaceAll(repotest.Database(t), "rillturn_test_", "")
	bypasser, member := "rillturn_bypass_"+suffix, "rillturn_member_"+suffix
	t.Cleanup(func() {
		defer conn.Close(context.Background()) //nolint:errcheck // the test is over
		for _, role := range []string{bypasser, member} {
			if _, err := conn.Exec(context.Background(), `DROP OWNED BY `+role+`; DROP ROLE `+role); err != nil {
				t.Error(err)
			}
		}
	})
	_, err = conn.Exec(t.Context(), `CREATE ROLE `+bypasser+` BYPASSRLS; CREATE ROLE `+member+`;
		DO $$ BEGIN EXECUTE format('GRANT %I TO `+member+`', current_user); END $$`)
	if err != nil {
		t.Fatal(err)
	}
	as := func(role string) string {
		return strings.Replace(repotest.AppURL(t), "role="+repo.AppRole, "role="+role, 1)
	}
	for name, c := range map[string]struct{ url, says string }{
		"a superuser":            {owner, "superuser"},
		"a role beyond policies": {as(bypasser), "bypasses row security"},
		"a member of the owner":  {as(member), "owns the tables"},
		"no address":             {"postgres://localhost:1/x?connect_timeout=1", "reach database"},
		"a malformed address":    {"postgres://%zz", "database address"},
	} {
		pool, err := repo.Open(t.Context(), c.url)
		if err == nil {
			pool.Close()
		}
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want a refusal that says %q", name, err, c.says)
		}
	}
}

func TestOpen_refusesAnOldSchema(t *testing.T) {
	t.Parallel()
	owner := repotest.OwnerURL(t)
	conn, err := pgx.Connect(t.Context(), owner)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background()) //nolint:errcheck // the test is over
	for _, c := range []struct{ sql, says string }{
		{`UPDATE schema_migrations SET version = 1`, "is at step 1"},
		{`UPDATE schema_migrations SET dirty = true`, "stopped half-way"},
		{`UPDATE schema_migrations SET version = 999, dirty = false`, ""}, // a newer one serves this program, too
		{`DROP TABLE schema_migrations`, "rillturn migrate"},
	} {
		if _, err := conn.Exec(t.Context(), c.sql); err != nil {
			t.Fatal(err)
		}
		pool, err := repo.Open(t.Context(), repotest.AppURL(t))
		if err == nil {
			pool.Close()
		}
		if (err == nil) != (c.says == "") || err != nil && !strings.Contains(err.Error(), c.says) {
			t.Errorf("after %s: %v, want %q", c.sql, err, c.says)
		}
	}
}
