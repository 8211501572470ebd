package api

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// atOnce calls f for each number below n, on all processors, and returns what waits
// until that is done. If f panics, what waits does.
func atOnce(n int, f func(int)) (wait func()) {
	var next atomic.Int64
	var workers sync.WaitGroup
	var panicked atomic.Value
	work := func() {
		defer workers.Done()
		defer func() { // in a goroutine of its own it would end the program
			if v := recover(); v != nil {
				panicked.Store(&v)
			}
		}()
		for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
			f(i)
		}
	}
	for range min(runtime.GOMAXPROCS(0), n) {
		workers.Add(1)
		go work()
	}
	return func() {
		workers.Wait()
		if v, ok := panicked.Load().(*any); ok {
			panic(*v)
		}
	}
}
