package main

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/repo/pglaunch"
)

// appRole is the role that the service connects as. It owns nothing and bypasses nothing.
const appRole = "rillturn_app"

// database is a migrated database, given or private.
type database struct {
	owner, app string // addresses
	stop       func() error
}

// privateDatabase starts a Postgres of our own in a kept folder and brings it to this version's schema.
func privateDatabase(ctx context.Context, std streams, dir string, install bool) (*database, error) {
	if _, err := pglaunch.Find(0); errors.Is(err, pglaunch.ErrMissing) && install && pglaunch.CanInstall() {
		fmt.Fprintln(std.err, "No PostgreSQL server is installed: installing the distribution's package with apt-get.")
		if err := pglaunch.InstallDebian(ctx, std.err); err != nil {
			return nil, err
		}
	}
	server, err := pglaunch.Start(ctx, pglaunch.Options{Dir: dir})
	if err != nil {
		return nil, err
	}
	const name = "rillturn"
	if err := server.CreateDatabase(ctx, name); err != nil {
		return nil, errors.Join(err, server.Stop())
	}
	owner := server.URL(pglaunch.Owner, name)
	if err := repo.Migrate(ctx, owner, ""); err != nil {
		return nil, errors.Join(err, server.Stop())
	}
	return &database{owner: owner, app: server.URL(appRole, name), stop: server.Stop}, nil
}

// givenDatabase brings a database to this version's schema as its owner, and lets the service's role in with a fresh
// password that is kept nowhere.
func givenDatabase(ctx context.Context, owner string) (*database, error) {
	secret := make([]byte, 24)
	_, _ = rand.Read(secret) // never fails: the program ends when the system has no randomness
	password := hex.EncodeToString(secret)
	if err := repo.Migrate(ctx, owner, password); err != nil {
		return nil, err
	}
	app, err := asRole(owner, appRole, password)
	return &database{owner: owner, app: app, stop: func() error { return nil }}, err
}

// asRole returns a database address for another role.
func asRole(address, role, password string) (string, error) {
	u, err := url.Parse(address)
	if err != nil || u.Scheme == "" {
		return "", errors.New("the database address must be a URL such as postgres://owner@host:5432/rillturn")
	}
	query := u.Query()
	query.Del("user")
	query.Del("password")
	u.User, u.RawQuery = url.UserPassword(role, password), query.Encode()
	return u.String(), nil
}

// dataDir is where a private database is kept when no folder is named: the account's cache, for root a folder of the
// system, since the account that runs the server then may not enter root's home.
func dataDir() (string, error) {
	if os.Geteuid() == 0 {
		return "/var/lib/rillturn/postgres", nil
	}
	base, err := os.UserCacheDir()
	if err != nil {
		return "", fmt.Errorf("no folder to keep the database in, name one with --data: %w", err)
	}
	return filepath.Join(base, "rillturn", "postgres"), nil
}
