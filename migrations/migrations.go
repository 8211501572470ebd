// Package migrations holds the database schema as numbered pairs of SQL files, up
// and down, which run in the order of their numbers.
package migrations

import "embed"

// FS holds the SQL files.
//
//go:embed *.sql
var FS embed.FS
