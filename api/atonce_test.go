package api

import (
	"sync/atomic"
	"testing"
)

func TestAtOnce(t *testing.T) {
	t.Parallel()
	for _, n := range []int{0, 1, 1000} {
		calls := make([]atomic.Int64, n)
		atOnce(n, func(i int) { calls[i].Add(1) })()
		for i := range calls {
			if got := calls[i].Load(); got != 1 {
				t.Errorf("of %d, %d is called %d times", n, i, got)
			}
		}
	}
	defer func() {
		if v := recover(); v != "the pond is dry" {
			t.Errorf("it panics with %v", v)
		}
	}()
	atOnce(100, func(i int) {
		if i == 40 {
			panic("the pond is dry")
		}
	})()
}
