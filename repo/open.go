package repo

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"
	"github.com/jackc/pgx/v5/pgxpool"
	pgxuuid "github.com/vgarvardt/pgx-google-uuid/v5"

	"rillturn.example/rillturn/migrations"
)

// Open returns a pool of the application role. It refuses a role that row security would not bind, and a database whose
// schema is older than this program.
func Open(ctx context.Context, url string) (*pgxpool.Pool, error) {
	config, err := pgxpool.ParseConfig(url)
	if err != nil {
		return nil, fmt.Errorf("database address: %w", err)
	}
	config.AfterConnect = registerTypes
	pool, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return nil, fmt.Errorf("open database: %w", err)
	}
	err = pool.Ping(ctx)
	if err != nil {
		err = fmt.Errorf("reach database: %w", err)
	} else {
		err = errors.Join(checkRole(ctx, pool), checkSchema(ctx, pool))
	}
	if err != nil {
		pool.Close()
		return nil, err
	}
	return pool, nil
}

// registerTypes reads uuid as uuid.UUID and gives every timestamp in UTC, whatever the zone of the machine.
func registerTypes(_ context.Context, conn *pgx.Conn) error {
	types := conn.TypeMap()
	pgxuuid.Register(types)
	types.RegisterType(&pgtype.Type{
		Name: "timestamptz", OID: pgtype.TimestamptzOID, Codec: &pgtype.TimestamptzCodec{ScanLocation: time.UTC},
	})
	return nil
}

func checkRole(ctx context.Context, pool *pgxpool.Pool) error {
	var name string
	var super, bypass, owner bool
	err := pool.QueryRow(ctx, `
		SELECT rolname, rolsuper, rolbypassrls, EXISTS (
			SELECT FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace
			WHERE n.nspname = 'public' AND c.relkind IN ('r', 'p') AND pg_has_role(r.oid, c.relowner, 'MEMBER'))
		FROM pg_roles r WHERE rolname = current_user`).Scan(&name, &super, &bypass, &owner)
	switch {
	case err != nil:
		return fmt.Errorf("read the database role: %w", err)
	case super:
		return fmt.Errorf("the database role %s is a superuser, so the gardens would see each other: connect as rillturn_app", name)
	case bypass:
		return fmt.Errorf("the database role %s bypasses row security, so the gardens would see each other: connect as rillturn_app", name)
	case owner:
		return fmt.Errorf("the database role %s owns the tables and could lift row security: connect as rillturn_app", name)
	}
	return nil
}

// checkSchema asks for a schema at least as new as this program; a newer one serves the previous release, too.
func checkSchema(ctx context.Context, pool *pgxpool.Pool) error {
	var have int64
	var dirty bool
	err := pool.QueryRow(ctx, `SELECT version, dirty FROM public.schema_migrations`).Scan(&have, &dirty)
	if err != nil {
		return fmt.Errorf("the database has no schema of rillturn yet, run `rillturn migrate`: %w", err)
	}
	want, err := migrations.Latest()
	if err != nil {
		return err
	}
	if dirty {
		return fmt.Errorf("a migration of the database stopped half-way at step %d: look at its error, then mend it", have)
	}
	if have < want {
		return fmt.Errorf("the database's schema is at step %d and this program needs %d: run `rillturn migrate`", have, want)
	}
	return nil
}
