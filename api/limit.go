package api

import (
	"container/list"
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// maxBuckets bounds the memory of a limiter. The bucket that was idle longest makes room: when it was idle long enough
// to be full again, forgetting it changes nothing.
const maxBuckets = 10_000

// limiter holds one token bucket per key.
type limiter struct {
	limit rate.Limit
	burst int

	mu      sync.Mutex
	buckets map[string]*list.Element // of *bucket
	recent  *list.List               // front: used last
}

type bucket struct {
	key string
	lim *rate.Limiter
}

func newLimiter(perSecond float64, burst int) *limiter {
	return &limiter{limit: rate.Limit(perSecond), burst: burst, buckets: map[string]*list.Element{}, recent: list.New()}
}

func (l *limiter) bucket(key string) *rate.Limiter {
	l.mu.Lock()
	defer l.mu.Unlock()
	if e, ok := l.buckets[key]; ok {
		l.recent.MoveToFront(e)
		return e.Value.(*bucket).lim
	}
	if l.recent.Len() >= maxBuckets {
		oldest := l.recent.Back()
		delete(l.buckets, l.recent.Remove(oldest).(*bucket).key)
	}
	b := &bucket{key: key, lim: rate.NewLimiter(l.limit, l.burst)}
	l.buckets[key] = l.recent.PushFront(b)
	return b.lim
}

// take takes one from the key's bucket, or says how long to wait for the next.
func (l *limiter) take(key string, now time.Time) (wait time.Duration, ok bool) {
	r := l.bucket(key).ReserveN(now, 1)
	if wait := r.DelayFrom(now); wait > 0 {
		r.CancelAt(now)
		return wait, false
	}
	return 0, true
}

// empty reports whether nothing is left in the key's bucket, and for how long, without taking anything.
func (l *limiter) empty(key string, now time.Time) (wait time.Duration, empty bool) {
	tokens := l.bucket(key).TokensAt(now)
	if tokens >= 1 {
		return 0, false
	}
	return time.Duration((1 - tokens) / float64(l.limit) * float64(time.Second)), true
}
