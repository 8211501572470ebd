package postgres

import (
	"maps"
	"sync"

	"shoalbook/domain"
)

// maxFolded is how many sites are remembered; each takes some ten kilobytes.
const maxFolded = 2000

// folded remembers the state of sites as of their last entry, so that an entry that
// comes in time needs no reading. A state is used only if the version of the site,
// which is read under its lock, is the one it belongs to: what another instance
// writes is never missed.
type folded struct {
	mu    sync.Mutex
	sites map[siteKey]foldedSite
}

type siteKey struct {
	coop domain.CoopID
	site domain.SiteID
}

// A version says which state of a site something belongs to. It grows with every
// change of what the figures of the site depend on, in its journal or the registry.
type foldedSite struct {
	version  int64
	state    *domain.Site // nil: not known
	standing *Standing    // the last one asked for, of this version
	compared *comparedSite
}

// get returns a copy of the state of a site at a version, to be folded on.
func (f *folded) get(key siteKey, version int64) *domain.Site {
	f.mu.Lock()
	defer f.mu.Unlock()
	s, ok := f.sites[key]
	if !ok || s.version != version || s.state == nil {
		return nil
	}
	return copied(s.state)
}

// standing returns how the batches of a site stand at the end of a day, if that was
// asked for before at this version. It must not be changed.
func (f *folded) standing(key siteKey, version int64, asOf domain.Date) *Standing {
	f.mu.Lock()
	defer f.mu.Unlock()
	s, ok := f.sites[key]
	if !ok || s.version != version || s.standing == nil || s.standing.AsOf != asOf {
		return nil
	}
	return s.standing
}

// comparison returns what the batches of a site give to comparisons at the end of a day,
// if that was asked for before at this version. It must not be changed.
func (f *folded) comparison(key siteKey, version int64, asOf domain.Date) *comparedSite {
	f.mu.Lock()
	defer f.mu.Unlock()
	s, ok := f.sites[key]
	if !ok || s.version != version || s.compared == nil || s.compared.asOf != asOf {
		return nil
	}
	return s.compared
}

// putComparison remembers what the batches of a site give to comparisons.
func (f *folded) putComparison(key siteKey, version int64, compared *comparedSite) {
	f.keep(key, version, func(s *foldedSite) { s.compared = compared })
}

// put remembers a state, which nobody may change any more.
func (f *folded) put(key siteKey, version int64, state *domain.Site) {
	f.keep(key, version, func(s *foldedSite) { s.state = state })
}

// putStanding remembers how the batches of a site stand.
func (f *folded) putStanding(key siteKey, version int64, standing *Standing) {
	f.keep(key, version, func(s *foldedSite) { s.standing = standing })
}

func (f *folded) keep(key siteKey, version int64, set func(*foldedSite)) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.sites == nil {
		f.sites = map[siteKey]foldedSite{}
	}
	s, ok := f.sites[key]
	switch {
	case ok && s.version > version:
		return
	case !ok || s.version < version:
		s = foldedSite{version: version}
	}
	set(&s)
	if !ok && len(f.sites) >= maxFolded {
		for k := range f.sites { // any one will do
			delete(f.sites, k)
			break
		}
	}
	f.sites[key] = s
}

// copied returns a site with states of its own. What the states share with the
// others is never changed in place.
func copied(s *domain.Site) *domain.Site {
	out := domain.NewSite(s.ID, s.Facts)
	out.Batches, out.Stores, out.Units = copies(s.Batches), copies(s.Stores), copies(s.Units)
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
