package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"time"

	"rillturn.example/rillturn/repo"
)

type doctorCmd struct {
	DatabaseURL string `env:"RILLTURN_DATABASE_URL" help:"Address of the database for the role rillturn_app."`
	Server      string `help:"Address of a running server, such as http://127.0.0.1:8080."`
}

// doctorTimeout is how long one check may take: a network that answers within it is healthy enough to serve people.
const doctorTimeout = 5 * time.Second

// Validate asks for something to check, so that a forgotten setting doesn't look like health.
func (c doctorCmd) Validate() error {
	if c.DatabaseURL == "" && c.Server == "" {
		return errors.New("nothing to check: give --database-url, --server or both")
	}
	return nil
}

// Run prints one line for each check and fails when one of them does.
func (c doctorCmd) Run(ctx context.Context, std streams) error {
	failed := 0
	for _, check := range []struct {
		address, name, good string
		do                  func(context.Context, string) error
	}{
		{c.DatabaseURL, "database", "row security binds the role, the schema is current", checkDatabase},
		{c.Server, "server", "it is ready, database included", checkServer},
	} {
		if check.address == "" {
			continue
		}
		within, cancel := context.WithTimeout(ctx, doctorTimeout)
		err := check.do(within, check.address)
		cancel()
		verdict, words := "good", check.good
		if err != nil {
			failed++
			verdict, words = "FAILED", strings.ReplaceAll(err.Error(), "\n", "; ")
		}
		if _, err := fmt.Fprintf(std.out, "%-8s  %-6s  %s\n", check.name, verdict, words); err != nil {
			return err
		}
	}
	if failed > 0 {
		return fmt.Errorf("checks that failed: %d", failed)
	}
	return nil
}

// checkDatabase opens the database as the server does, with its refusals.
func checkDatabase(ctx context.Context, address string) error {
	pool, err := repo.Open(ctx, address)
	if err != nil {
		return err
	}
	pool.Close()
	return nil
}

// checkServer asks a server whether it can answer requests. The address may end with /v1, as the server prints it.
func checkServer(ctx context.Context, address string) error {
	u, err := url.Parse(address)
	if err != nil || u.Host == "" || (u.Scheme != "http" && u.Scheme != "https") {
		return errors.New("the address of the server must be a URL such as http://127.0.0.1:8080")
	}
	u.Path = strings.TrimSuffix(strings.TrimSuffix(u.Path, "/"), "/v1")
	q, err := http.NewRequestWithContext(ctx, http.MethodGet, u.JoinPath("readyz").String(), nil)
	if err != nil {
		return err
	}
	answer, err := http.DefaultClient.Do(q)
	if err != nil {
		return err // names the address, without a password
	}
	return errors.Join(readiness(answer), answer.Body.Close())
}

// readiness reads what a server says about itself. Another program's page is no readiness, whatever its status.
func readiness(answer *http.Response) error {
	const enough = 64 << 10
	text, err := io.ReadAll(io.LimitReader(answer.Body, enough))
	if err != nil {
		return fmt.Errorf("the server's answer breaks off: %w", err)
	}
	var said struct { // health, or a problem
		Status any
		Detail string
	}
	err = json.Unmarshal(text, &said)
	switch {
	case answer.StatusCode != http.StatusOK:
		return fmt.Errorf("the server answers %s", strings.TrimSpace(answer.Status+" "+said.Detail))
	case err != nil || said.Status != "ok":
		return errors.New("something answers there that is not Rillturn")
	}
	return nil
}
