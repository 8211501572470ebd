package postgres

import "github.com/jackc/pgx/v5/pgxpool"

// Pool is for tests that look at a connection behind the doors.
func (s *Store) Pool() *pgxpool.Pool { return s.pool }

// Violations are the constraints whose breach has a meaning to callers.
func Violations() []string {
	var names []string
	for name := range violations {
		names = append(names, name)
	}
	return names
}
