// Package migrations embeds the schema of the database: zero-padded pairs for golang-migrate.
package migrations

import "embed"

// Files holds the migrations.
//
//go:embed *.sql
var Files embed.FS
