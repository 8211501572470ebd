package domain

import (
	"cmp"
	"iter"
	"slices"

	"shoalbook/domain/stats"
)

// ComparedBy are the ways in which batches are grouped, by their names on the wire.
var ComparedBy = []string{"site", "unit_kind", "supplier", "feed", "species", "season", "tag"}

// Likeness are what batches can be made comparable by: each is held against those that
// are like it in all that are named.
var Likeness = []string{"species", "size", "unit_kind", "temperature"}

// FewestGroups is how many groups there must be before one is called different: of
// fewer, nobody can tell how far groups lie apart (common practice, no source).
const FewestGroups = 10

// The verdicts on a group.
const (
	NoDifference = "no_difference_shown" // within the 95 % limits
	WorthALook   = "worth_a_look"        // outside them: one group in twenty is by chance
	Different    = "different"           // outside the 99.8 % limits: one in five hundred is
)

// CompareQuestion says what is compared.
type CompareQuestion struct {
	Measure     *Yardstick
	By          string            // of [ComparedBy]
	Growing     bool              // batches that still grow too
	From, To    *Date             // by the day on which a batch was closed, or the day asked for
	Species     string            // only these; empty: all
	Standardise []string          // of [Likeness]
	Names       map[string]string // of groups, by key

	// Multiplicative has groups that differ widen the limits of the funnel by a factor, and
	// not by a term.
	Multiplicative bool
}

// Comparison is groups of batches beside each other.
type Comparison struct {
	All         GroupSum
	Groups      []ComparedGroup // by name
	Dispersion  stats.Dispersion
	Sigma2      float64 // how single batches vary around their group, on the scale
	Batches     int64   // asked for
	LeftOut     []LeftOut
	NoVerdicts  string // why there are none
	NoIntervals string // why groups have no standard error
}

// GroupSum is the ratio of the sums of some batches.
type GroupSum struct {
	Batches   int64
	Num, Den  float64
	Value     *float64
	Interval  *[2]float64 // 95 %
	NoValue   string
	NoIntl    string // why there is no interval
	LeftOut   []LeftOut
	Records   Records
	estimated stats.Ratio
}

// ComparedGroup is one group, beside the others.
type ComparedGroup struct {
	Key         string // an id, or a word
	Name        string
	Shrunk      *float64
	Best, Worst *float64    // chance to be in the best and the worst third
	In95, In998 *[2]float64 // the limits of the funnel for a group like this
	Worth       *float64    // how many batches of one size would say as much
	Verdict     string      // empty: none
	Better      bool        // than the co-operative; of any verdict
	GroupSum
	y, s float64
	odd  bool // outside the 99.8 % limits
}

// LeftOut is how many batches are left out for one reason.
type LeftOut struct {
	Reason  string
	Batches int64
}

// asks reports whether a batch is asked for.
func (q *CompareQuestion) asks(b *ComparedBatch) bool {
	on := b.AsOf
	if b.ClosedOn != nil {
		on = *b.ClosedOn
	} else if !q.Growing {
		return false
	}
	return (q.From == nil || on >= *q.From) && (q.To == nil || on <= *q.To) && (q.Species == "" || b.Species == q.Species)
}

// keys appends the groups that a batch is in, or says why it is in none.
func (q *CompareQuestion) keys(b *ComparedBatch, keys []string) (_ []string, reason string) {
	key := ""
	switch q.By {
	case "site":
		key = b.site
	case "unit_kind":
		key = b.UnitKind
	case "species":
		key = b.Species
	case "season":
		if key = b.Season; key == "" {
			reason = "it is of no season"
		}
	case "supplier":
		if key = b.supplier; b.mixed {
			reason = "its fish are of more than one supplier"
		} else if key == "" {
			reason = "the supplier of its fish is not known"
		}
	case "feed":
		if key = b.feed; key == "" {
			reason = "no one feed was more than half of what it got"
		}
	case "tag":
		if len(b.Tags) == 0 {
			reason = "neither it nor its site has a tag"
		}
		return append(keys, b.Tags...), reason
	}
	if reason != "" {
		return keys, reason
	}
	return append(keys, key), ""
}

// stratum returns what a batch is like, in all that it is made comparable by.
func (q *CompareQuestion) stratum(b *ComparedBatch) (like [4]string) {
	for i, by := range q.Standardise {
		switch by {
		case "species":
			like[i] = b.Species
		case "size":
			like[i] = b.Size
		case "unit_kind":
			like[i] = b.UnitKind
		case "temperature":
			like[i] = b.Warmth
		}
	}
	return like
}

// gathered is a group while its batches come together.
type gathered struct {
	ComparedGroup
	members []entrant
	left    map[string]int64
}

type entrant struct {
	batch *ComparedBatch
	pair  stats.Pair
}

// Compare puts groups of batches beside each other. Ratios are of sums; the batch is
// the unit, since fish of one tank live and die together.
func (q *CompareQuestion) Compare(batches iter.Seq[*ComparedBatch]) Comparison {
	var out Comparison
	measure := slices.IndexFunc(Yardsticks, func(y Yardstick) bool { return y.Name == q.Measure.Name })
	groups := map[string]*gathered{}
	left := map[string]int64{}
	var all []entrant
	var keys []string
	for b := range batches {
		if b.Empty || !q.asks(b) {
			continue
		}
		out.Batches++
		var reason string
		keys, reason = q.keys(b, keys[:0])
		p := b.parts[measure]
		if reason == "" {
			reason = p.reason
		}
		if reason != "" {
			left[reason]++
		} else {
			all = append(all, entrant{b, p.Pair})
		}
		for _, k := range keys {
			g := groups[k]
			if g == nil {
				g = &gathered{ComparedGroup: ComparedGroup{Key: k, Name: cmp.Or(q.Names[k], k)}, left: map[string]int64{}}
				groups[k] = g
			}
			if reason != "" {
				g.left[reason]++
				continue
			}
			g.members = append(g.members, all[len(all)-1])
		}
	}
	if len(q.Standardise) > 0 {
		all = q.standardise(all, groups, left)
	}
	out.All = q.sum(all, left)
	out.LeftOut = out.All.LeftOut
	pairs := make([][]stats.Pair, 0, len(groups))
	for _, g := range groups {
		g.GroupSum = q.sum(g.members, g.left)
		out.Groups = append(out.Groups, g.ComparedGroup)
	}
	slices.SortFunc(out.Groups, func(a, b ComparedGroup) int { return cmp.Or(cmp.Compare(a.Name, b.Name), cmp.Compare(a.Key, b.Key)) })
	for i := range out.Groups {
		pairs = append(pairs, pairsOf(groups[out.Groups[i].Key].members))
	}
	out.spread(q, pairs, all)
	out.judge(q)
	return out
}

// nothingLike is why a batch cannot be made comparable.
const nothingLike = "no other group has a batch like it"

// standardise makes batches comparable (indirect standardisation): the denominator of
// each becomes what it would have to be if batches like it were as good as all are, so
// that the ratio of a group is the one of all × observed ÷ expected. Where the
// expected may be below nothing, the difference from it is taken in place of the ratio.
func (q *CompareQuestion) standardise(all []entrant, groups map[string]*gathered, left map[string]int64) []entrant {
	type stratum struct {
		stats.Pair
		groups map[string]bool
	}
	strata := map[[4]string]*stratum{}
	for key, g := range groups {
		for _, m := range g.members {
			like := q.stratum(m.batch)
			if strata[like] == nil {
				strata[like] = &stratum{groups: map[string]bool{}}
			}
			strata[like].groups[key] = true
		}
	}
	for _, m := range all {
		s := strata[q.stratum(m.batch)]
		s.Num += m.pair.Num
		s.Den += m.pair.Den
	}
	useful := func(m entrant) bool {
		s := strata[q.stratum(m.batch)]
		return len(s.groups) > 1 && s.Den > 0 && (q.Measure.Scale == Signed || s.Num > 0)
	}
	var total stats.Pair
	for _, m := range all {
		if useful(m) {
			total.Num += m.pair.Num
			total.Den += m.pair.Den
		} else {
			left[nothingLike]++
		}
	}
	whole := total.Num / total.Den
	apply := func(members []entrant, left map[string]int64) []entrant {
		kept := members[:0:0]
		for _, m := range members {
			if !useful(m) {
				if left != nil {
					left[nothingLike]++
				}
				continue
			}
			s := strata[q.stratum(m.batch)]
			like := s.Num / s.Den
			if q.Measure.Scale == Signed {
				m.pair.Num -= m.pair.Den * (like - whole)
			} else {
				m.pair.Den *= like / whole
			}
			kept = append(kept, m)
		}
		return kept
	}
	for _, g := range groups {
		g.members = apply(g.members, g.left)
	}
	return apply(all, nil)
}
