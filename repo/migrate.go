package repo

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/golang-migrate/migrate/v4"
	migratepgx "github.com/golang-migrate/migrate/v4/database/pgx/v5"
	"github.com/golang-migrate/migrate/v4/source/iofs"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/rivermigrate"

	"rillturn.example/rillturn/migrations"
)

const (
	// AppRole is the role that the service connects as.
	AppRole = "rillturn_app"
	// JobSchema is where the job queue keeps its tables.
	JobSchema = "river"
	// migrationLock keeps two migrations of one database apart; any number that nothing else uses.
	migrationLock = 0x72696c6c7475726e
)

// Migrate brings a database to the newest schema, the job queue's included, as its owner. The owner must be allowed to
// create roles. A password that is not empty becomes the application role's. Any number may start at once: they wait
// for each other.
func Migrate(ctx context.Context, ownerURL, appPassword string) error {
	return locked(ctx, ownerURL, func(conn *pgx.Conn) error {
		if err := step(ownerURL, (*migrate.Migrate).Up); err != nil {
			return err
		}
		if err := migrateJobs(ctx, ownerURL, rivermigrate.DirectionUp); err != nil {
			return err
		}
		if err := grantJobs(ctx, conn); err != nil {
			return err
		}
		return setAppPassword(ctx, conn, appPassword)
	})
}

// MigrateDown takes the whole schema away, with everything that is stored. The application role belongs to the cluster
// and stays.
func MigrateDown(ctx context.Context, ownerURL string) error {
	return locked(ctx, ownerURL, func(conn *pgx.Conn) error {
		if err := migrateJobs(ctx, ownerURL, rivermigrate.DirectionDown); err != nil {
			return err
		}
		if _, err := conn.Exec(ctx, `DROP SCHEMA IF EXISTS `+JobSchema+` CASCADE`); err != nil {
			return fmt.Errorf("drop the job queue's schema: %w", err)
		}
		return step(ownerURL, (*migrate.Migrate).Down)
	})
}

// locked runs fn while it holds the migration lock of the database. The lock ends with its connection.
func locked(ctx context.Context, ownerURL string, fn func(*pgx.Conn) error) (err error) {
	conn, err := pgx.Connect(ctx, ownerURL)
	if err != nil {
		return fmt.Errorf("connect as owner: %w", err)
	}
	defer func() { err = errors.Join(err, conn.Close(context.WithoutCancel(ctx))) }()
	if _, err := conn.Exec(ctx, `SELECT pg_advisory_lock($1)`, int64(migrationLock)); err != nil {
		return fmt.Errorf("wait for another migration: %w", err)
	}
	return fn(conn)
}

// step runs golang-migrate over the embedded files. It is closed as a whole: a lock connection left open would keep the
// database from serving as a template.
func step(ownerURL string, run func(*migrate.Migrate) error) (err error) {
	config, err := pgx.ParseConfig(ownerURL)
	if err != nil {
		return fmt.Errorf("database address: %w", err)
	}
	source, err := iofs.New(migrations.Files, ".")
	if err != nil {
		return fmt.Errorf("embedded migrations: %w", err)
	}
	db := stdlib.OpenDB(*config)
	driver, err := migratepgx.WithInstance(db, &migratepgx.Config{})
	if err != nil {
		return errors.Join(fmt.Errorf("prepare migrations: %w", err), db.Close())
	}
	m, err := migrate.NewWithInstance("embedded", source, config.Database, driver)
	if err != nil {
		return errors.Join(fmt.Errorf("prepare migrations: %w", err), driver.Close())
	}
	m.LockTimeout = time.Minute
	defer func() {
		fromSource, fromDatabase := m.Close()
		err = errors.Join(err, fromSource, fromDatabase)
	}()
	if err := run(m); err != nil && !errors.Is(err, migrate.ErrNoChange) {
		return fmt.Errorf("migrate: %w", err)
	}
	return nil
}

func migrateJobs(ctx context.Context, ownerURL string, direction rivermigrate.Direction) error {
	pool, err := pgxpool.New(ctx, ownerURL)
	if err != nil {
		return fmt.Errorf("connect as owner: %w", err)
	}
	defer pool.Close()
	if _, err := pool.Exec(ctx, `CREATE SCHEMA IF NOT EXISTS `+JobSchema); err != nil {
		return fmt.Errorf("create the job queue's schema: %w", err)
	}
	migrator, err := rivermigrate.New(riverpgxv5.New(pool), &rivermigrate.Config{Schema: JobSchema})
	if err != nil {
		return fmt.Errorf("prepare the job queue's migrations: %w", err)
	}
	opts := &rivermigrate.MigrateOpts{}
	if direction == rivermigrate.DirectionDown {
		opts.TargetVersion = -1
	}
	if _, err := migrator.Migrate(ctx, direction, opts); err != nil {
		return fmt.Errorf("migrate the job queue: %w", err)
	}
	return nil
}

func grantJobs(ctx context.Context, conn *pgx.Conn) error {
	_, err := conn.Exec(ctx, `
		GRANT USAGE ON SCHEMA river TO rillturn_app;
		GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA river TO rillturn_app;
		REVOKE INSERT, UPDATE, DELETE ON river.river_migration FROM rillturn_app;
		GRANT USAGE ON ALL SEQUENCES IN SCHEMA river TO rillturn_app;
		GRANT SELECT ON public.schema_migrations TO rillturn_app`)
	if err != nil {
		return fmt.Errorf("grant the job queue to %s: %w", AppRole, err)
	}
	return nil
}

// setAppPassword passes the password as a setting, so that no statement text, and so no log, has it. The role belongs to
// the cluster: another database's migration may be changing it at this moment, which Postgres answers with XX000.
func setAppPassword(ctx context.Context, conn *pgx.Conn, password string) error {
	if password == "" {
		return nil
	}
	const tries = 20
	var err error
	for range tries {
		err = pgx.BeginFunc(ctx, conn, func(tx pgx.Tx) error {
			if _, err := tx.Exec(ctx, `SELECT set_config('rillturn.password', $1, true)`, password); err != nil {
				return err
			}
			_, err := tx.Exec(ctx, `DO $$ BEGIN
				EXECUTE format('ALTER ROLE rillturn_app PASSWORD %L', current_setting('rillturn.password'));
			END $$`)
			return err
		})
		var pg *pgconn.PgError
		if !errors.As(err, &pg) || pg.Code != "XX000" {
			break
		}
		time.Sleep(50 * time.Millisecond)
	}
	if err != nil {
		return fmt.Errorf("set the password of %s: %w", AppRole, err)
	}
	return nil
}
