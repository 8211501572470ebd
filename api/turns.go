package api

import (
	"context"
	"runtime"
	"sync"
	"time"

	"shoalbook/domain"
)

// turnstiles let only so many requests of a co-operative in at a time, so that a greedy
// one waits for itself and not others for it. While others ask as well, those inside take
// turns on half of the processors: the other half is free when somebody else comes. One
// that takes long lets the next one have its turn.
type turnstiles struct {
	most   int // of a co-operative at a time
	turns  int // of these while others ask
	now    func() time.Time
	mu     sync.Mutex
	byCoop map[domain.CoopID]*turnstile
	latest [2]visit // of two different co-operatives
}

type turnstile struct {
	inside, turn chan struct{}
	here         int // inside or waiting
}

type visit struct {
	coop domain.CoopID
	at   time.Time
}

const (
	longTurn = 250 * time.Millisecond // more than a thousand entries take
	company  = time.Second            // after which a co-operative that does not ask is forgotten
)

func newTurnstiles(most int, now func() time.Time) turnstiles {
	return turnstiles{most: most, turns: max(1, min(most, runtime.GOMAXPROCS(0)/2)), now: now}
}

// enter waits until a request of a co-operative may be worked on. The caller leaves
// when it is done.
func (t *turnstiles) enter(ctx context.Context, coop domain.CoopID) (leave func(), err error) {
	if t.most <= 0 {
		return func() {}, nil
	}
	s, alone := t.come(coop)
	if err := take(ctx, s.inside); err != nil {
		t.gone(coop, s)
		return nil, err
	}
	out := func() { <-s.inside; t.gone(coop, s) }
	if alone {
		return out, nil
	}
	if err := take(ctx, s.turn); err != nil {
		out()
		return nil, err
	}
	over := sync.OnceFunc(func() { <-s.turn })
	long := time.AfterFunc(longTurn, over)
	return func() { long.Stop(); over(); out() }, nil
}

// come returns the turnstile of a co-operative, and whether nobody else came lately.
func (t *turnstiles) come(coop domain.CoopID) (s *turnstile, alone bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.byCoop == nil {
		t.byCoop = map[domain.CoopID]*turnstile{}
	}
	if s = t.byCoop[coop]; s == nil {
		s = &turnstile{inside: make(chan struct{}, t.most), turn: make(chan struct{}, t.turns)}
		t.byCoop[coop] = s
	}
	s.here++
	now := t.now()
	if t.latest[0].coop != coop {
		t.latest[1] = t.latest[0]
	}
	t.latest[0] = visit{coop, now}
	return s, now.Sub(t.latest[1].at) > company
}

func (t *turnstiles) gone(coop domain.CoopID, s *turnstile) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if s.here--; s.here == 0 {
		delete(t.byCoop, coop)
	}
}

// take waits for a place. Who need not wait is let in, whatever else.
func take(ctx context.Context, places chan struct{}) error {
	select {
	case places <- struct{}{}:
		return nil
	default:
	}
	select {
	case places <- struct{}{}:
		return nil
	case <-ctx.Done():
		return domain.Errorf(domain.Unavailable, "unavailable", "your co-operative has many requests under way; it is safe to send this one again")
	}
}

// mostBodies is how many bytes of bodies of a co-operative are kept in memory at the
// same moment: three of the largest, or those of some fifty phones that send a week each.
const mostBodies = 16 << 20

// bodies counts what is in memory of the bodies of requests, by co-operative.
type bodies struct {
	mu     sync.Mutex
	byCoop map[domain.CoopID]int64
}

// keep adds so many bytes to those of a body. When that is too much, none of the body is
// counted any longer, so that the others, and be it the last three of a hundred, have room.
func (b *bodies) keep(coop domain.CoopID, size *int64, n int64) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.byCoop == nil {
		b.byCoop = map[domain.CoopID]int64{}
	}
	if b.byCoop[coop]+n > mostBodies {
		b.byCoop[coop] -= *size
		*size = 0
		return domain.Errorf(domain.TooMany, "too_many_requests", "your co-operative is sending very much at the same moment: wait a little, then send the same again")
	}
	b.byCoop[coop] += n
	*size += n
	return nil
}

func (b *bodies) drop(coop domain.CoopID, n int64) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.byCoop[coop] -= n; b.byCoop[coop] == 0 {
		delete(b.byCoop, coop)
	}
}
