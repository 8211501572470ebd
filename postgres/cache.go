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

type foldedSite struct {
	version int64
	state   *domain.Site
}

// get returns a copy of the state of a site at a version, to be folded on.
func (f *folded) get(key siteKey, version int64) *domain.Site {
	f.mu.Lock()
	defer f.mu.Unlock()
	s, ok := f.sites[key]
	if !ok || s.version != version {
		return nil
	}
	return copied(s.state)
}

// put remembers a state, which nobody may change any more.
func (f *folded) put(key siteKey, version int64, state *domain.Site) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.sites == nil {
		f.sites = map[siteKey]foldedSite{}
	}
	if old, ok := f.sites[key]; ok && old.version > version {
		return
	}
	if len(f.sites) >= maxFolded {
		for k := range f.sites { // any one will do
			delete(f.sites, k)
			break
		}
	}
	f.sites[key] = foldedSite{version, state}
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
