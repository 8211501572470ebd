package api

import (
	"context"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"shoalbook/domain"
)

// Of a greedy co-operative only so many are let in; another one need not wait.
func TestTurnstiles(t *testing.T) {
	t.Parallel()
	gates := newTurnstiles(2, time.Now)
	greedy, small := domain.CoopID{1}, domain.CoopID{2}
	var leave []func()
	for range 2 {
		l, err := gates.enter(t.Context(), greedy)
		if err != nil {
			t.Fatal(err)
		}
		leave = append(leave, l)
	}
	over, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := gates.enter(over, greedy); err == nil {
		t.Fatal("a third one was let in")
	}
	l, err := gates.enter(over, small)
	if err != nil {
		t.Fatalf("another co-operative waits: %v", err)
	}
	l()
	leave[0]()
	if l, err = gates.enter(t.Context(), greedy); err != nil {
		t.Fatalf("after one has left: %v", err)
	}
	l()
	leave[1]()
	if len(gates.byCoop) != 0 {
		t.Errorf("%d gates are kept for nobody", len(gates.byCoop))
	}
}

// While another one asks as well, a co-operative takes turns on half of the processors;
// what takes long does not hold up what comes after it. Alone it has all its places.
func TestTurns(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		gates := newTurnstiles(3, time.Now)
		gates.turns = 1
		greedy, small := domain.CoopID{1}, domain.CoopID{2}
		var inside, most atomic.Int64
		work := func(coop domain.CoopID, takes time.Duration) {
			leave, err := gates.enter(t.Context(), coop)
			if err != nil {
				t.Error(err)
				return
			}
			most.Store(max(most.Load(), inside.Add(1)))
			time.Sleep(takes)
			inside.Add(-1)
			leave()
		}
		atOnce := func(n int, takes time.Duration) int64 {
			most.Store(0)
			for range n {
				go work(greedy, takes)
			}
			time.Sleep(time.Duration(n+1) * takes)
			return most.Load()
		}
		if got := atOnce(10, 10*time.Millisecond); got != 3 {
			t.Errorf("alone, %d are worked on at a time", got)
		}
		work(small, time.Millisecond)
		if got := atOnce(10, 10*time.Millisecond); got != 1 {
			t.Errorf("in company, %d are worked on at a time", got)
		}
		work(small, time.Millisecond)
		go work(greedy, time.Minute)
		synctest.Wait()
		start := time.Now()
		work(greedy, time.Millisecond)
		if took := time.Since(start); took != longTurn+time.Millisecond {
			t.Errorf("after a request that takes long, the next one took %v", took)
		}
		time.Sleep(time.Minute)
		if got := atOnce(10, 10*time.Millisecond); got != 3 {
			t.Errorf("alone again, %d are worked on at a time", got)
		}
	})
}

// Of the bodies of a co-operative only so much is kept at a time.
func TestBodiesAreCounted(t *testing.T) {
	t.Parallel()
	var kept bodies
	greedy, small := domain.CoopID{1}, domain.CoopID{2}
	var one, two, three, other int64
	for _, size := range []*int64{&one, &two, &three} {
		if err := kept.keep(greedy, size, mostBodies/3); err != nil {
			t.Error(err)
		}
	}
	if err := kept.keep(greedy, &one, 2); err == nil || one != 0 {
		t.Errorf("more was kept, or %d bytes are counted of what is sent away: %v", one, err)
	}
	if err := kept.keep(greedy, &two, mostBodies/3); err != nil {
		t.Errorf("who is left has no room: %v", err)
	}
	if err := kept.keep(small, &other, mostBodies); err != nil {
		t.Errorf("another co-operative: %v", err)
	}
	kept.drop(greedy, one)
	kept.drop(greedy, two)
	kept.drop(greedy, three)
	kept.drop(small, other)
	if len(kept.byCoop) != 0 {
		t.Errorf("%d are counted for nobody", len(kept.byCoop))
	}
}
