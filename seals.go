package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"log/slog"
	"math"
	"os"
	"time"

	"shoalbook/domain"
	"shoalbook/postgres"
)

type sealCommands struct {
	Make    sealsMake    `cmd:"" help:"Seal what has been recorded since the last seal."`
	Print   sealsPrint   `cmd:"" help:"Print the seals, to be kept elsewhere."`
	Records sealsRecords `cmd:"" help:"Print what the seals are over: canonical JSON, a line for each record."`
	Check   sealsCheck   `cmd:"" help:"Hold seals against records, both as they were printed; it needs no database."`
}

type ofCoop struct {
	Coop domain.CoopID `arg:"" help:"The co-operative."`
}

// inspect reads the seals of the co-operative.
func (c ofCoop) inspect(ctx context.Context, s *Settings, f func(*postgres.Tx, []domain.Seal) error) error {
	store, _, err := open(ctx, s)
	if err != nil {
		return err
	}
	defer store.Close()
	return store.Inspect(ctx, c.Coop, func(tx *postgres.Tx) error {
		if _, err := postgres.Coops.Get(ctx, tx, c.Coop); err != nil {
			return err
		}
		seals, _, err := tx.Seals(ctx, 0, math.MaxInt32-1)
		if err != nil {
			return err
		}
		return f(tx, seals)
	})
}

type sealsMake struct{ ofCoop }

// Run seals, and prints the last seal.
func (c sealsMake) Run(ctx context.Context, s *Settings, out io.Writer) error {
	store, _, err := open(ctx, s)
	if err != nil {
		return err
	}
	defer store.Close()
	err = store.Inspect(ctx, c.Coop, func(tx *postgres.Tx) (err error) {
		_, err = postgres.Coops.Get(ctx, tx, c.Coop)
		return err
	})
	if err != nil {
		return err
	}
	last, err := store.Seal(ctx, c.Coop)
	if err != nil {
		return err
	}
	return json.NewEncoder(out).Encode(last)
}

type sealsPrint struct{ ofCoop }

// Run prints the seals as /v1/seals answers.
func (c sealsPrint) Run(ctx context.Context, s *Settings, out io.Writer) error {
	return c.inspect(ctx, s, func(_ *postgres.Tx, seals []domain.Seal) error {
		return json.NewEncoder(out).Encode(sealList{seals})
	})
}

type sealsRecords struct{ ofCoop }

// Run prints the text of each record.
func (c sealsRecords) Run(ctx context.Context, s *Settings, out io.Writer) error {
	to := bufio.NewWriter(out)
	err := c.inspect(ctx, s, func(tx *postgres.Tx, seals []domain.Seal) error {
		return tx.SealedTexts(ctx, seals, func(text []byte) error {
			_, err := fmt.Fprintf(to, "%s\n", text)
			return err
		})
	})
	return errors.Join(err, to.Flush())
}

type sealsCheck struct {
	Seals   string `arg:"" help:"The file with the seals."`
	Records string `arg:"" help:"The file with the records of all of them."`
}

// Run prints what is wrong, and fails if anything is.
func (c sealsCheck) Run(out io.Writer) error {
	seals, err := readSeals(c.Seals)
	if err != nil {
		return err
	}
	wrong, err := checkRecords(seals, c.Records)
	if err != nil {
		return err
	}
	for _, w := range wrong {
		if _, err := fmt.Fprintln(out, w); err != nil {
			return err
		}
	}
	if len(wrong) > 0 {
		return errors.New("the records are not what was sealed")
	}
	last := seals[len(seals)-1]
	_, err = fmt.Fprintf(out, "all is as it was sealed, through %s: seal %d, %s\n", last.Through.Format(time.RFC3339Nano), last.Number, last.Hash)
	return err
}

// checkRecords holds seals against the records in a file.
func checkRecords(seals []domain.Seal, name string) ([]string, error) {
	file, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	wrong := domain.CheckSeals(seals, linesOf(bufio.NewReader(file), &err))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return wrong, nil
}

// linesOf returns the lines of a text, without their ends.
func linesOf(r *bufio.Reader, failed *error) iter.Seq[[]byte] {
	return func(yield func([]byte) bool) {
		for {
			line, err := r.ReadBytes('\n')
			if n := len(line); n > 0 && line[n-1] == '\n' {
				line = line[:n-1]
			}
			if err != nil && !errors.Is(err, io.EOF) {
				*failed = err
				return
			}
			if len(line) > 0 && !yield(line) || err != nil {
				return
			}
		}
	}
}

// sealRegularly seals what was recorded through this program, until the context ends.
func sealRegularly(ctx context.Context, store *postgres.Store, every time.Duration, log *slog.Logger) {
	for tick := time.Tick(every); ; {
		select {
		case <-ctx.Done():
			return
		case <-tick:
		}
		if err := store.SealMet(ctx); err != nil && ctx.Err() == nil {
			log.ErrorContext(ctx, "sealing", slog.Any("error", err))
		}
	}
}
