// Package repotest gives tests a real Postgres: one server per test binary, a migrated template in it once, and for each
// test either a transaction that is rolled back or a clone of the template. Tests work as the application role.
//
//	func TestMain(m *testing.M) { repotest.Main(m) }
//
//	func TestPlot(t *testing.T) {
//		t.Parallel()
//		tx := repotest.Tx(t)
//		garden := repotest.Garden(t, tx)
//		plot := repotest.Plot(t, tx, garden.GardenID)
//		…
//	}
package repotest

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"rillturn.example/rillturn/repo"
)

// cluster is what the tests of this binary share. It is made when the first test asks for it.
type cluster struct {
	server  server
	prefix  string // of every database, so that several binaries may share a server
	shared  *pgxpool.Pool
	count   atomic.Int64
	perTest sync.Map // testing.TB → *testDatabase
}

var (
	once    sync.Once
	current *cluster
	failure error
)

// Main runs the tests and ends the server.
func Main(m *testing.M) {
	code := m.Run()
	if current != nil {
		if err := current.close(); err != nil {
			fmt.Fprintln(os.Stderr, "repotest: end the server:", err)
			code = max(code, 1)
		}
	}
	os.Exit(code)
}

func open(t testing.TB) *cluster {
	t.Helper()
	once.Do(func() {
		if current, failure = start(context.Background()); failure != nil && current != nil {
			failure = errors.Join(failure, current.close())
			current = nil
		}
	})
	if failure != nil {
		t.Fatal(failure)
	}
	return current
}

func start(ctx context.Context) (*cluster, error) {
	s, err := startServer(ctx)
	if err != nil {
		return nil, err
	}
	fmt.Fprintln(os.Stderr, "repotest: Postgres from", s.from)
	random := make([]byte, 5)
	_, _ = rand.Read(random) // never fails
	c := &cluster{server: s, prefix: "rillturn_test_" + hex.EncodeToString(random)}
	if err := c.command(ctx, `CREATE DATABASE `+c.template()); err != nil {
		return c, err
	}
	if err := repo.Migrate(ctx, s.url(c.template()), ""); err != nil {
		return c, err
	}
	if err := c.clone(ctx, c.sharedName()); err != nil {
		return c, err
	}
	c.shared, err = repo.Open(ctx, asApp(s.url(c.sharedName())))
	return c, err
}

func (c *cluster) template() string   { return c.prefix + "_template" }
func (c *cluster) sharedName() string { return c.prefix + "_shared" }

// command runs one statement as the owner, outside any test's database.
func (c *cluster) command(ctx context.Context, sql string) error {
	conn, err := pgx.Connect(ctx, c.server.url(c.server.first))
	if err != nil {
		return fmt.Errorf("connect as owner: %w", err)
	}
	_, err = conn.Exec(ctx, sql)
	return errors.Join(err, conn.Close(ctx))
}

func (c *cluster) clone(ctx context.Context, name string) error {
	return c.command(ctx, `CREATE DATABASE `+name+` TEMPLATE `+c.template())
}

func (c *cluster) drop(ctx context.Context, name string) error {
	return c.command(ctx, `DROP DATABASE IF EXISTS `+name+` WITH (FORCE)`)
}

func (c *cluster) close() error {
	if c.shared != nil {
		c.shared.Close()
	}
	if c.server.stop != nil { // a server of our own goes with everything in it
		return c.server.stop()
	}
	ctx := context.Background()
	return errors.Join(c.drop(ctx, c.sharedName()), c.drop(ctx, c.template()))
}

// Tx returns a transaction of the application role that is rolled back at the end of the test. It has entered no garden
// yet: see Garden and Enter.
func Tx(t testing.TB) pgx.Tx {
	t.Helper()
	tx, err := open(t).shared.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := tx.Rollback(context.Background()); err != nil && !errors.Is(err, pgx.ErrTxClosed) {
			t.Error(err)
		}
	})
	return tx
}

// testDatabase is the clone that belongs to one test.
type testDatabase struct {
	name string
	pool *pgxpool.Pool
}

// database makes the test's own database when it is first asked for.
func database(t testing.TB, empty bool) *testDatabase {
	t.Helper()
	c := open(t)
	if d, ok := c.perTest.Load(t); ok {
		return d.(*testDatabase)
	}
	d := &testDatabase{name: fmt.Sprintf("%s_%d", c.prefix, c.count.Add(1))}
	var err error
	if empty {
		err = c.command(t.Context(), `CREATE DATABASE `+d.name)
	} else {
		err = c.clone(t.Context(), d.name)
	}
	if err != nil {
		t.Fatal(err)
	}
	c.perTest.Store(t, d)
	t.Cleanup(func() {
		c.perTest.Delete(t)
		if d.pool != nil {
			d.pool.Close()
		}
		if err := c.drop(context.Background(), d.name); err != nil {
			t.Error(err)
		}
	})
	return d
}

// Pool returns a pool of the application role on a migrated database of the test's own, for tests about commits, locks or
// several connections. Asked again, a test gets the same pool.
func Pool(t testing.TB) *pgxpool.Pool {
	t.Helper()
	d := database(t, false)
	if d.pool == nil {
		pool, err := repo.Open(t.Context(), asApp(open(t).server.url(d.name)))
		if err != nil {
			t.Fatal(err)
		}
		d.pool = pool
	}
	return d.pool
}

// Database returns the name of the test's own database, which no other on the server has.
func Database(t testing.TB) string {
	t.Helper()
	return database(t, false).name
}

// OwnerURL returns the owner's address of the test's own database, the one that Pool opens.
func OwnerURL(t testing.TB) string {
	t.Helper()
	return open(t).server.url(database(t, false).name)
}

// AppURL returns the application role's address of the test's own database.
func AppURL(t testing.TB) string {
	t.Helper()
	return asApp(OwnerURL(t))
}

// EmptyURL returns the owner's address of a database of the test's own in which nothing is, not even a schema. A test
// takes either this or Pool, OwnerURL and AppURL.
func EmptyURL(t testing.TB) string {
	t.Helper()
	return open(t).server.url(database(t, true).name)
}
