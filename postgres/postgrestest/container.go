package postgrestest

import (
	"context"
	"errors"
	"fmt"
	"os"

	"github.com/testcontainers/testcontainers-go"
	"github.com/testcontainers/testcontainers-go/modules/postgres"
)

// startContainer starts a server in a container. The engine is found by
// testcontainers, which reads its own environment variables.
func startContainer(ctx context.Context) (address string, stop func() error, err error) {
	image := os.Getenv("TEST_DATABASE_IMAGE")
	if image == "" {
		image = "postgres:15"
	}
	container, err := postgres.Run(ctx, image, postgres.BasicWaitStrategies(), testcontainers.WithCmdArgs("-c", "max_connections=200"))
	stop = func() error { return testcontainers.TerminateContainer(container) }
	if err != nil {
		return "", nil, errors.Join(fmt.Errorf("container of %s: %w", image, err), stop())
	}
	if address, err = container.ConnectionString(ctx, "sslmode=disable"); err != nil {
		return "", nil, errors.Join(fmt.Errorf("container of %s: %w", image, err), stop())
	}
	return address, stop, nil
}
