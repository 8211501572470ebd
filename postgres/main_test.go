package postgres_test

import (
	"testing"

	"shoalbook/postgres/postgrestest"
)

func TestMain(m *testing.M) { postgrestest.Main(m) }
