package postgres_test

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"

	"shoalbook/domain"
	"shoalbook/postgres"
)

// once adds a party under a key, or replays the answer.
func (f farm) once(ctx context.Context, c postgres.Credential, key, body string) (answer postgres.Answer, replayed bool, err error) {
	err = f.store.Update(ctx, c, func(tx *postgres.Tx) error {
		stored, err := tx.ClaimKey(ctx, key, "/v1/parties", sha256.Sum256([]byte(body)))
		if err != nil {
			return err
		}
		if replayed = stored != nil; replayed {
			answer = *stored
			return nil
		}
		party, err := postgres.Parties.Create(ctx, tx, domain.Party{ID: newID[domain.Party](), Name: body})
		if err != nil {
			return err
		}
		answer = postgres.Answer{Status: 201, Header: map[string]string{"Location": "/v1/parties/" + party.ID.String()}, Body: []byte(party.Name)}
		return tx.StoreAnswer(key, answer)
	})
	return answer, replayed, err
}

func TestHundredTimesTheSame(t *testing.T) {
	t.Parallel()
	f := newFarm(t, open(t))
	var work atomic.Int32
	var wg sync.WaitGroup
	answers := make([]postgres.Answer, 100)
	for i := range answers {
		wg.Go(func() {
			answer, replayed, err := f.once(t.Context(), f.all, "key", "Kisumu Buyers")
			if err != nil {
				t.Error(err)
			}
			if !replayed {
				work.Add(1)
			}
			answers[i] = answer
		})
	}
	wg.Wait()
	if work.Load() != 1 {
		t.Errorf("the work was done %d times", work.Load())
	}
	for _, a := range answers {
		if fmt.Sprint(a) != fmt.Sprint(answers[0]) || a.Status != 201 || string(a.Body) != "Kisumu Buyers" {
			t.Errorf("one answer is %+v, another %+v", answers[0], a)
		}
	}
	f.view(t, func(ctx context.Context, tx *postgres.Tx) error {
		parties, _, err := postgres.Parties.List(ctx, tx, postgres.Filter[domain.PartyID]{Limit: 10})
		if len(parties) != 1 {
			t.Errorf("there are %d parties", len(parties))
		}
		return err
	})
}

func TestKeyBelongsToRequest(t *testing.T) {
	t.Parallel()
	f := newFarm(t, open(t))
	if _, _, err := f.once(t.Context(), f.all, "key", "one"); err != nil {
		t.Fatal(err)
	}
	_, _, err := f.once(t.Context(), f.all, "key", "two")
	wantCode(t, err, domain.Refused, "idempotency_key_reused")
	err = f.store.Update(t.Context(), f.all, func(tx *postgres.Tx) error {
		_, err := tx.ClaimKey(t.Context(), "key", "/v1/products", sha256.Sum256([]byte("one")))
		return err
	})
	wantCode(t, err, domain.Refused, "idempotency_key_reused")
	other := f.token(t, domain.Coordinator, nil)
	if _, replayed, err := f.once(t.Context(), other, "key", "two"); err != nil || replayed {
		t.Errorf("another token cannot use the same key: replayed %v, %v", replayed, err)
	}
}

// Work that is not kept gives its key back.
func TestKeyOfFailedWork(t *testing.T) {
	t.Parallel()
	f := newFarm(t, open(t))
	if _, _, err := f.once(t.Context(), f.all, "key", ""); err == nil {
		t.Fatal("a party without a name was made")
	}
	if _, replayed, err := f.once(t.Context(), f.all, "key", "one"); err != nil || replayed {
		t.Errorf("replayed %v, %v", replayed, err)
	}
	no := errors.New("no")
	err := f.store.Update(t.Context(), f.all, func(tx *postgres.Tx) error {
		if _, err := tx.ClaimKey(t.Context(), "another", "/v1/parties", [32]byte{}); err != nil {
			return err
		}
		if err := tx.StoreAnswer("another", postgres.Answer{Status: 201}); err != nil {
			return err
		}
		return no
	})
	if !errors.Is(err, no) {
		t.Fatal(err)
	}
	if _, replayed, err := f.once(t.Context(), f.all, "another", "two"); err != nil || replayed {
		t.Errorf("replayed %v, %v", replayed, err)
	}
	err = f.store.Update(t.Context(), f.all, func(tx *postgres.Tx) error {
		return tx.StoreAnswer("unclaimed", postgres.Answer{Status: 201})
	})
	if err == nil {
		t.Error("an answer was kept under a key that nobody has claimed")
	}
}
