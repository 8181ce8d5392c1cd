// Package repo turns rows into records and back. It speaks SQL, knows the two doors through which a garden's rows are
// reached, and keeps the schema: opening, migrating, testing.
package repo
