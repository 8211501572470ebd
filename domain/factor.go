package domain

import (
	"cmp"
	"slices"
)

// OwnFactor is what the co-operative takes to be eaten of a fish, in place of what is
// published. From a day on it can be another one.
type OwnFactor struct {
	ID      FactorID
	Species string // ASFIS code
	Form    string // fillet, dressed
	Yield   Thousandths
	Protein Thousandths
	Source  string // who says so
	Kept
}

// Check refuses a factor that cannot be.
func (f *OwnFactor) Check() error {
	c := &checker{}
	c.require(isCode(f.Species, 3), "/species", "must be an ASFIS code of three letters, such as CLZ")
	c.oneOf(f.Form, "/form", "fillet", "dressed")
	c.require(f.Yield > 0 && f.Yield <= 100_000, "/yield_percent", "must be more than 0 and at most 100 percent of the live weight")
	c.require(f.Protein >= 0 && f.Protein <= 50_000, "/protein_g_100g", "must be between 0 and 50 g in 100 g")
	c.require(fits(f.Source, 300), "/source", "say where it is from, in 1 to 300 characters")
	return c.refuse("the factor")
}

// Factor is what can be eaten of a fish in a form, and its protein.
type Factor struct {
	Species string      // ASFIS code
	Form    string      // fillet, dressed
	Yield   Thousandths // percent of the live weight
	Protein Thousandths // grams in 100 g of what can be eaten
	Source  string
}

// Factors are those of one form.
type Factors []Factor

// For returns the factor of a species.
func (f Factors) For(species string) (Factor, bool) {
	i := slices.IndexFunc(f, func(f Factor) bool { return f.Species == species })
	if i < 0 {
		return Factor{}, false
	}
	return f[i], true
}

// edible returns milligrams, half to even.
func (f Factor) edible(live Grams) Milligrams {
	return Milligrams(mulDiv(int64(live.Milligrams()), int64(f.Yield), 100_000))
}

func (f Factor) protein(edible Milligrams) Milligrams {
	return Milligrams(mulDiv(int64(edible), int64(f.Protein), 100_000))
}

// PublishedFactors returns the factors of a form that come with the service. Sources
// differ: fillets of Nile tilapia are given as 25 to 37 % of the live weight.
func PublishedFactors(form string) Factors {
	const clement = "Clement & Lovell 1994, Aquaculture 119:299–310"
	all := Factors{
		{"TLN", "fillet", 25_400, 20_300, clement},
		{"TLN", "dressed", 51_000, 20_300, clement + "; protein as of the fillet"},
		{"CLZ", "fillet", 30_900, 19_330, "yield of channel catfish, " + clement + ", for want of one of this species; protein of cultured fish, Taiwo et al."},
		{"CLZ", "dressed", 60_600, 19_330, "yield of channel catfish, " + clement + ", for want of one of this species; protein of cultured fish, Taiwo et al."},
	}
	return slices.DeleteFunc(slices.SortedFunc(slices.Values(all), func(a, b Factor) int { return cmp.Compare(a.Species, b.Species) }), func(f Factor) bool { return f.Form != form })
}

// In returns the factors of a form that are gone by where the co-operative has some of its
// own, which are those that hold on a day.
func (f Factors) In(form string, own []OwnFactor) Factors {
	out := slices.Clone(f)
	for _, o := range own {
		if o.Form != form {
			continue
		}
		out = slices.DeleteFunc(out, func(f Factor) bool { return f.Species == o.Species })
		out = append(out, Factor{o.Species, o.Form, o.Yield, o.Protein, o.Source})
	}
	slices.SortFunc(out, func(a, b Factor) int { return cmp.Compare(a.Species, b.Species) })
	return out
}
