// Package migrations embeds the schema of the database: zero-padded pairs for golang-migrate.
package migrations

import (
	"embed"
	"fmt"
)

// Files holds the migrations.
//
//go:embed *.sql
var Files embed.FS

// Latest returns the number of the newest migration.
func Latest() (int64, error) {
	entries, err := Files.ReadDir(".")
	if err != nil {
		return 0, fmt.Errorf("embedded migrations: %w", err)
	}
	var latest int64
	for _, e := range entries {
		var n int64
		if _, err := fmt.Sscanf(e.Name(), "%d_", &n); err != nil {
			return 0, fmt.Errorf("migration %s has no number: %w", e.Name(), err)
		}
		latest = max(latest, n)
	}
	return latest, nil
}
