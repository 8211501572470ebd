package postgres

import (
	"maps"
	"sync"

	"shoalbook/domain"
)

// mostRemembered is of how many batches one kind of thing is remembered. Each takes one
// to two kilobytes.
const mostRemembered = 40_000

// remembered is what was worked out of sites: the states as of the last entry, so that an
// entry that comes in time needs no reading; how the batches stand; what they give to
// comparisons. It is used only if the version of the site, which is read in the same
// transaction, is the one it belongs to: what another instance writes is never missed.
// What is remembered must not be changed.
type remembered[V any] struct {
	mu      sync.Mutex
	sites   map[siteKey]rememberedSite[V]
	batches int // of all of them
}

type siteKey struct {
	coop domain.CoopID
	site domain.SiteID
}

// A version says which state of a site something belongs to. It grows with every
// change of what the figures of the site depend on, in its journal or the registry.
type rememberedSite[V any] struct {
	version int64
	batches int
	value   V
}

// get returns what belongs to a version of a site, if it is known.
func (r *remembered[V]) get(key siteKey, version int64) (V, bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	s, ok := r.sites[key]
	if !ok || s.version != version {
		return *new(V), false
	}
	return s.value, true
}

// put remembers what belongs to a version of a site, with so many batches. Where that is
// too much, any other sites are forgotten.
func (r *remembered[V]) put(key siteKey, version int64, batches int, value V) {
	r.mu.Lock()
	defer r.mu.Unlock()
	batches++ // a site without any is something, too
	old, ok := r.sites[key]
	if ok && old.version > version || batches > mostRemembered {
		return
	}
	if r.sites == nil {
		r.sites = map[siteKey]rememberedSite[V]{}
	}
	delete(r.sites, key)
	r.batches += batches - old.batches
	for k, s := range r.sites {
		if r.batches <= mostRemembered {
			break
		}
		delete(r.sites, k)
		r.batches -= s.batches
	}
	r.sites[key] = rememberedSite[V]{version, batches, value}
}

// copied returns a site with states of its own. What the states share with the
// others is never changed in place.
func copied(s *domain.Site) *domain.Site {
	out := domain.NewSite(s.ID, s.Facts)
	out.Batches, out.Stores, out.Units, out.Own = copies(s.Batches), copies(s.Stores), copies(s.Units), s.Own
	return out
}

func copies[K comparable, V any](m map[K]*V) map[K]*V {
	out := maps.Clone(m)
	for k, v := range m {
		c := *v
		out[k] = &c
	}
	return out
}
