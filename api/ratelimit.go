package api

import (
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

// limits holds the buckets that requests are taken from.
type limits struct {
	tokens, coops, wrong *buckets
	atOnce               turnstiles
	bodies               bodies
	now                  func() time.Time
}

func newLimits(r Rates, now func() time.Time) *limits {
	return &limits{
		tokens: newBuckets(r.PerToken), coops: newBuckets(r.PerCoop), wrong: newBuckets(r.Wrong),
		atOnce: newTurnstiles(r.AtOnce, now), now: now,
	}
}

// limit turns requests away that are over a limit, and says in every answer how much
// is left.
func (l *limits) limit(c *gin.Context) {
	r := requestOf(c)
	if r.operation.public {
		secret, err := domain.TokenOfDigits(c.Param("link"))
		if err != nil { // there is none, or it is made up
			c.Next()
			return
		}
		r.credential.Coop, r.credential.TokenHash = secret.Coop, secret.Hash()
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
	c.Next()
	if status := c.Writer.Status(); status != http.StatusUnauthorized && !(r.operation.public && status == http.StatusNotFound) {
		l.coops.take(coop, now)
	}
}

// turn waits until it is the turn of a request of its co-operative. Its body is read
// by then, so that nobody waits for the slow line of somebody else.
func (l *limits) turn(c *gin.Context) {
	r := requestOf(c)
	if r.credential.Coop.IsZero() {
		c.Next()
		return
	}
	leave, err := l.atOnce.enter(c.Request.Context(), r.credential.Coop)
	if err != nil {
		writeProblem(c, err)
		return
	}
	defer leave()
	c.Next()
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
