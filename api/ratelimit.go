package api

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"sync"
	"time"

	"github.com/gin-gonic/gin"
	"golang.org/x/time/rate"

	"shoalbook/domain"
)

// Rates say how many requests are taken a minute, on this instance; 0 is any number.
// Up to a minute's worth may come at once.
type Rates struct {
	PerToken int // with one token
	PerCoop  int // of one co-operative, with all its tokens
	Wrong    int // that were turned away for their token, from one address
	AtOnce   int // of one co-operative that are worked on at the same moment; others wait
}

// limits holds the buckets that requests are taken from. What is limited by a token
// that was not looked up yet cannot be used against its owner: a bucket of a
// co-operative is charged only for requests that were let in.
type limits struct {
	tokens, coops, wrong *buckets
	atOnce               turnstiles
	now                  func() time.Time
}

func newLimits(r Rates, now func() time.Time) *limits {
	return &limits{newBuckets(r.PerToken), newBuckets(r.PerCoop), newBuckets(r.Wrong), turnstiles{most: r.AtOnce}, now}
}

// strangers turns an address away from which too many wrong tokens came, before
// another one is looked at.
func (l *limits) strangers(c *gin.Context) {
	now, address := l.now(), c.ClientIP()
	if wait := l.wrong.wait(address, now); wait > 0 && !requestOf(c).operation.public {
		tooMany(c, wait, "too many wrong tokens came from your address")
		return
	}
	c.Next()
	if c.Writer.Status() == http.StatusUnauthorized {
		l.wrong.take(address, now)
	}
}

// limit turns requests away that are over a limit, and says in every answer how much
// is left.
func (l *limits) limit(c *gin.Context) {
	r := requestOf(c)
	if r.operation.public {
		c.Next()
		return
	}
	now := l.now()
	token, coop := string(r.credential.TokenHash[:]), string(r.credential.Coop[:])
	if wait := l.coops.wait(coop, now); wait > 0 {
		l.tell(c, "coop", l.coops, coop, now)
		tooMany(c, wait, "your co-operative has sent more requests than are taken at a time")
		return
	}
	if wait := l.tokens.take(token, now); wait > 0 {
		l.tell(c, "token", l.tokens, token, now)
		tooMany(c, wait, "this token has sent more requests than are taken at a time")
		return
	}
	l.tell(c, "token", l.tokens, token, now)
	leave, err := l.atOnce.enter(c.Request.Context(), r.credential.Coop)
	if err != nil {
		writeProblem(c, err)
		return
	}
	defer leave()
	c.Next()
	if c.Writer.Status() != http.StatusUnauthorized {
		l.coops.take(coop, now)
	}
}

// tell writes the headers of the draft for rate limits (draft-ietf-httpapi-ratelimit-headers,
// of 23 September 2025): the policy, and what is left of it.
func (l *limits) tell(c *gin.Context, name string, b *buckets, key string, now time.Time) {
	if b == nil {
		return
	}
	left := b.left(key, now)
	h := c.Writer.Header()
	h.Set("RateLimit-Policy", fmt.Sprintf(`"%s";q=%d;w=60`, name, b.burst))
	h.Set("RateLimit", fmt.Sprintf(`"%s";r=%d;t=%d`, name, max(0, int(left)), int(math.Ceil((float64(b.burst)-left)/float64(b.rate)))))
}

func tooMany(c *gin.Context, wait time.Duration, detail string) {
	c.Header("Retry-After", fmt.Sprint(int(math.Ceil(wait.Seconds()))))
	writeProblem(c, domain.Errorf(domain.TooMany, "too_many_requests", "%s: wait a little, then send the same again", detail))
}

// turnstiles let only so many requests of a co-operative in at a time, so that a greedy
// one waits for itself and not others for it.
type turnstiles struct {
	most   int
	mu     sync.Mutex
	byCoop map[domain.CoopID]*turnstile
}

type turnstile struct {
	inside chan struct{}
	here   int // inside or waiting
}

func (t *turnstiles) enter(ctx context.Context, coop domain.CoopID) (leave func(), err error) {
	if t.most <= 0 {
		return func() {}, nil
	}
	t.mu.Lock()
	if t.byCoop == nil {
		t.byCoop = map[domain.CoopID]*turnstile{}
	}
	s := t.byCoop[coop]
	if s == nil {
		s = &turnstile{inside: make(chan struct{}, t.most)}
		t.byCoop[coop] = s
	}
	s.here++
	t.mu.Unlock()
	gone := func() {
		t.mu.Lock()
		defer t.mu.Unlock()
		if s.here--; s.here == 0 {
			delete(t.byCoop, coop)
		}
	}
	out := func() { <-s.inside; gone() }
	select { // who need not wait is let in, whatever else
	case s.inside <- struct{}{}:
		return out, nil
	default:
	}
	select {
	case s.inside <- struct{}{}:
		return out, nil
	case <-ctx.Done():
		gone()
		return nil, domain.Errorf(domain.Unavailable, "unavailable", "your co-operative has many requests under way; it is safe to send this one again")
	}
}

// buckets are token buckets by key, of which those that are full are forgotten.
type buckets struct {
	rate  rate.Limit
	burst int

	mu    sync.Mutex
	byKey map[string]*rate.Limiter
	swept time.Time
}

// newBuckets returns nil, which never limits, for no limit.
func newBuckets(perMinute int) *buckets {
	if perMinute <= 0 {
		return nil
	}
	return &buckets{rate: rate.Limit(float64(perMinute) / 60), burst: perMinute, byKey: map[string]*rate.Limiter{}}
}

// take takes one from the bucket of a key, or says how long to wait for it.
func (b *buckets) take(key string, now time.Time) time.Duration {
	if b == nil {
		return 0
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	l := b.byKey[key]
	if l == nil {
		b.sweep(now)
		l = rate.NewLimiter(b.rate, b.burst)
		b.byKey[key] = l
	}
	if l.AllowN(now, 1) {
		return 0
	}
	return b.until(l, now)
}

// wait says how long to wait until there is one in the bucket, and takes none.
func (b *buckets) wait(key string, now time.Time) time.Duration {
	if b == nil {
		return 0
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	l := b.byKey[key]
	if l == nil || l.TokensAt(now) >= 1 {
		return 0
	}
	return b.until(l, now)
}

func (b *buckets) until(l *rate.Limiter, now time.Time) time.Duration {
	return max(time.Millisecond, time.Duration((1-l.TokensAt(now))/float64(b.rate)*float64(time.Second)))
}

// left returns how many are in the bucket of a key.
func (b *buckets) left(key string, now time.Time) float64 {
	b.mu.Lock()
	defer b.mu.Unlock()
	if l := b.byKey[key]; l != nil {
		return l.TokensAt(now)
	}
	return float64(b.burst)
}

// mostBuckets bounds what made-up keys can fill.
const mostBuckets = 100_000

// sweep forgets the buckets that are full again, once a minute or when there are too
// many; and if there are too many still, a good part of them, whichever they are, so
// that it need not be done again for each new one.
func (b *buckets) sweep(now time.Time) {
	if now.Sub(b.swept) < time.Minute && len(b.byKey) < mostBuckets {
		return
	}
	b.swept = now
	for key, l := range b.byKey {
		if l.TokensAt(now) >= float64(b.burst) {
			delete(b.byKey, key)
		}
	}
	if len(b.byKey) < mostBuckets {
		return
	}
	for key := range b.byKey {
		if len(b.byKey) <= mostBuckets/2 {
			break
		}
		delete(b.byKey, key)
	}
}
