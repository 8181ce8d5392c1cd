package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"time"

	"rillturn.example/rillturn/api"
	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service"
)

type serveCmd struct {
	DatabaseURL string `env:"RILLTURN_DATABASE_URL" help:"Address of a migrated database for the role rillturn_app. Left out: a private Postgres."`
	Data        string `help:"Folder of the private Postgres." type:"path"`
	NoInstall   bool   `help:"Never install PostgreSQL, even as root on a system with apt-get."`
	Listen      string `env:"RILLTURN_LISTEN" default:"127.0.0.1:8080" help:"Address to listen on."`
}

// Run serves the API until the context ends.
func (c serveCmd) Run(ctx context.Context, std streams) error {
	log := slog.New(slog.NewJSONHandler(std.err, nil))
	app := c.DatabaseURL
	if app == "" {
		dir, err := folder(c.Data)
		if err != nil {
			return err
		}
		db, err := privateDatabase(ctx, std, dir, !c.NoInstall)
		if err != nil {
			return err
		}
		defer func() { _ = db.stop() }()
		app = db.app
	}
	pool, err := repo.Open(ctx, app)
	if err != nil {
		return err
	}
	defer pool.Close()
	svc := service.New(pool, time.Now)
	jobs, err := svc.StartJobs(ctx, log)
	if err != nil {
		return err
	}
	listener, err := (&net.ListenConfig{}).Listen(ctx, "tcp", c.Listen)
	if err != nil {
		return errors.Join(err, jobs())
	}
	fmt.Fprintf(std.out, "Rillturn serves http://%s/v1\n", listener.Addr())
	return errors.Join(serveHTTP(ctx, listener, svc, log), jobs())
}

func folder(named string) (string, error) {
	if named != "" {
		return named, nil
	}
	return dataDir()
}

// The server's limits on slow clients, and how long it lets running requests end.
const (
	headerTimeout = 10 * time.Second
	readTimeout   = 30 * time.Second
	idleTimeout   = 2 * time.Minute
	graceTimeout  = 10 * time.Second
)

// serveHTTP answers requests until the context ends, then lets those under way finish.
func serveHTTP(ctx context.Context, l net.Listener, svc *service.Service, log *slog.Logger) error {
	handler, err := api.New(svc, api.Options{Log: log})
	if err != nil {
		return err
	}
	server := &http.Server{Handler: handler, ReadHeaderTimeout: headerTimeout, ReadTimeout: readTimeout, IdleTimeout: idleTimeout}
	done := make(chan error, 1)
	go func() { done <- server.Serve(l) }()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
	}
	grace, cancel := context.WithTimeout(context.WithoutCancel(ctx), graceTimeout)
	defer cancel()
	return server.Shutdown(grace)
}

type migrateCmd struct {
	DatabaseURL string `env:"RILLTURN_OWNER_URL" required:"" help:"Address of the database for its owner."`
	AppPassword string `env:"RILLTURN_APP_PASSWORD" help:"Password to give the role rillturn_app. Left out: it keeps the one it has."`
}

// Run brings the database to this version's schema.
func (c migrateCmd) Run(ctx context.Context, std streams) error {
	if err := repo.Migrate(ctx, c.DatabaseURL, c.AppPassword); err != nil {
		return err
	}
	_, err := fmt.Fprintln(std.out, "The database has this version's schema.")
	return err
}
