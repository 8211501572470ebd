package simulate

import (
	"math"
	"slices"
	"testing"

	"shoalbook/domain"
	"shoalbook/domain/husbandry"
)

// TestTruthAndBook: on every day with an entry, the fish that are really alive
// and those gone without an entry are the fish of the book, less what counts
// have shown to be missing. Only where the number of harvested fish was
// estimated does the book say something else.
func TestTruthAndBook(t *testing.T) {
	t.Parallel()
	eachWorld(t, func(t *testing.T, o Options, c *Coop) {
		compared, missing := 0, domain.Fish(0)
		states := fold(t, c, func(s *Site, state *domain.Site, day domain.Day) {
			for id := range day.Batches {
				b, truth := state.Batches[id], c.Truth.Batches[id]
				i, ok := truth.On(day.On)
				if !ok || b.HarvestGuessed > 0 {
					continue
				}
				compared++
				if book := truth.Alive[i] + truth.Unrecorded[i] - b.Unaccounted; book != b.OnHand() {
					t.Fatalf("%s, %s: %d alive, %d gone unrecorded, %d unaccounted, but %d in the book", s.Facts.Name, day.On, truth.Alive[i], truth.Unrecorded[i], b.Unaccounted, b.OnHand())
				}
			}
		})
		for _, state := range states {
			for id, b := range state.Batches {
				truth := c.Truth.Batches[id]
				if last := truth.Alive[len(truth.Alive)-1]; b.Closed() != (last == 0) {
					t.Errorf("closed %t, but %d fish are alive", b.Closed(), last)
				}
				if b.Closed() {
					missing += b.Unaccounted
				}
			}
		}
		if compared < 20*o.Sites || missing <= 0 && o.Sites > 12 {
			t.Errorf("only %d days were compared, %d fish are unaccounted for", compared, missing)
		}
	})
}

// TestBalances: what is bought is in the stores, in the fish, in the cost of
// the site or on its way, to the last minor unit and gram.
func TestBalances(t *testing.T) {
	t.Parallel()
	eachWorld(t, func(t *testing.T, _ Options, c *Coop) {
		shared := map[domain.SiteID]domain.Money{}
		states := fold(t, c, func(s *Site, _ *domain.Site, day domain.Day) {
			for _, cost := range day.Shared {
				if cost.Category < domain.Unpaid {
					shared[s.Facts.ID] += cost.Amount
				}
			}
		})
		fixed := map[domain.EntryID]*domain.Consignment{}
		owed := map[domain.PartyID]domain.Money{}
		for i, state := range states {
			s := &c.Sites[i]
			entries := Standing(s.Entries)
			fix(entries, fixed)
			if err := domain.NewSite(s.Facts.ID, c.FactsOf(s)).Fold(entries, nil); err != nil {
				t.Fatal(err)
			}
			keepFixed(entries, fixed)
			var spent, sent domain.Money
			for _, e := range entries {
				if r := e.Body.Refs(); r.Party != nil {
					owed[*r.Party] += r.Owed
				}
				switch b := e.Body.(type) {
				case domain.Expense:
					spent += b.Amount
				case domain.Labour:
					if b.Amount != nil {
						spent += *b.Amount
					}
				case domain.Received:
					spent += e.Fixed.Value
				case domain.Sent:
					sent += e.Fixed.Value
				}
			}
			kept := sent + shared[s.Facts.ID]
			for _, st := range state.Stores {
				spent += st.Spent
				kept += st.Value + st.Revaluation
				if in, out := st.Received+st.Arrived, st.Balance+st.Fed+st.Used+st.Sent+st.Lost; in != out {
					t.Errorf("%s: %d came into a store, %d are accounted for", s.Facts.Name, in, out)
				}
			}
			for _, b := range state.Batches {
				spent += b.Cost[domain.Fingerlings]
				kept += b.Direct()
				if gone := b.SoldG + b.EatenG + b.GivenG + b.DiscardedG; gone != b.HarvestedG {
					t.Errorf("%s: %d g were harvested, %d g sold, eaten, given or thrown away", s.Facts.Name, b.HarvestedG, gone)
				}
			}
			if spent != kept {
				t.Errorf("%s: %d spent, %d accounted for", s.Facts.Name, spent, kept)
			}
		}
		for _, p := range c.Parties {
			buyer := slices.Contains(p.Roles, "buyer")
			if m := owed[p.ID]; buyer && m < 0 || !buyer && m > 0 {
				t.Errorf("%s: paid %d too much", p.Name, m)
			}
		}
	})
}

// TestPlausible: batches come out as growers tell of them: catfish of 0.6 to 1 kg
// and tilapia of 250 to 400 g after 6 to 8 months, feed conversion 1.1 to 2.2,
// survival 60 to 95 % (common practice, no source). Single batches may be worse.
func TestPlausible(t *testing.T) {
	t.Parallel()
	weights, conversion, survival := map[string][]float64{}, []float64(nil), []float64(nil)
	for seed := range uint64(3) {
		c := New(Options{Seed: 20 + seed, Today: today})
		for i, state := range fold(t, c, nil) {
			for _, facts := range c.Sites[i].Batches {
				b := state.Batches[facts.ID]
				if !b.Closed() {
					continue
				}
				in := b.Stocked + b.MovedIn
				survival = append(survival, float64(b.Harvested+b.MovedOut)/float64(in))
				if b.Harvested == 0 || b.Unweighed > 0 || b.MovedUnweighed > 0 {
					continue
				}
				weights[facts.Species] = append(weights[facts.Species], b.HarvestedG.Kilograms()/float64(b.Harvested))
				gain := b.HarvestedG.Milligrams() + b.MovedOutMg - b.StockedMg - b.MovedInMg
				conversion = append(conversion, b.FedG.Kilograms()/gain.Kilograms())
			}
		}
	}
	for _, c := range []struct {
		what                   string
		values                 []float64
		least, low, high, most float64 // all within least and most, the middle 80 % within low and high
	}{
		{"kg of a catfish", weights["CLZ"], 0.40, 0.55, 1.00, 1.15},
		{"kg of a tilapia", weights["TLN"], 0.18, 0.22, 0.42, 0.50},
		{"feed conversion", conversion, 0.80, 1.10, 2.20, 2.80},
		{"survival", survival, 0.58, 0.66, 0.98, 1.10},
	} {
		slices.Sort(c.values)
		n := len(c.values)
		if n < 50 {
			t.Fatalf("%s: only %d batches", c.what, n)
		}
		least, low, middle, high, most := c.values[0], c.values[n/10], c.values[n/2], c.values[n-1-n/10], c.values[n-1]
		t.Logf("%s: %.3f, %.3f, %.3f, %.3f, %.3f (least, 10 %%, median, 90 %%, most) of %d", c.what, least, low, middle, high, most, n)
		if least < c.least || low < c.low || high > c.high || most > c.most {
			t.Errorf("%s is out of bounds", c.what)
		}
	}
}

// TestDeathsCluster: batches differ in survival far more than single fish dying
// each on its own would make them.
func TestDeathsCluster(t *testing.T) {
	t.Parallel()
	c := New(Options{Seed: 31, Sites: 60, Today: today})
	var alive, of, chi float64
	type batch struct{ alive, of float64 }
	var batches []batch
	for i, state := range fold(t, c, nil) {
		for _, facts := range c.Sites[i].Batches {
			if b := state.Batches[facts.ID]; b.Closed() && b.MovedIn+b.MovedOut == 0 {
				batches = append(batches, batch{float64(b.Harvested), float64(b.Stocked)})
				alive, of = alive+float64(b.Harvested), of+float64(b.Stocked)
			}
		}
	}
	p := alive / of
	for _, b := range batches {
		chi += (b.alive - b.of*p) * (b.alive - b.of*p) / (b.of * p * (1 - p))
	}
	if spread := chi / float64(len(batches)-1); spread < 4 { // 1 if they died one by one
		t.Errorf("overdispersion %.1f of %d batches", spread, len(batches))
	}
}

// TestSamples: samples scatter around the true mean weight, by the size
// variation of the fish, to neither side.
func TestSamples(t *testing.T) {
	t.Parallel()
	c := New(Options{Seed: 40, Today: today})
	var n, sum, squares float64
	for i := range c.Sites {
		for _, e := range c.Sites[i].Entries {
			b, ok := e.Body.(domain.Sample)
			if !ok {
				continue
			}
			truth := c.Truth.Batches[b.Batch]
			at, _ := truth.On(e.On)
			grams := 0.0
			if b.WeightG != nil {
				grams = float64(*b.WeightG) / 1000
			} else {
				grams = float64(*b.Weight)
			}
			r := grams/float64(b.Count)/(float64(truth.Weight[at])/1000) - 1
			n, sum, squares = n+1, sum+r, squares+r*r
		}
	}
	mean, spread := sum/n, math.Sqrt(squares/n)
	t.Logf("%g samples: off by %.4f on average, spread %.4f", n, mean, spread)
	// A coefficient of variation of 14 to 30 % over 30 to 50 fish; on days of a
	// harvest the bigger ones had gone when the rest was weighed.
	if n < 500 || math.Abs(mean) > 0.01 || spread < 0.02 || spread > 0.06 {
		t.Errorf("%g samples: off by %.4f on average, spread %.4f", n, mean, spread)
	}
}

// TestNotThermal: the law of growth is not that of the thermal growth
// coefficient, which would be constant.
func TestNotThermal(t *testing.T) {
	t.Parallel()
	for _, k := range []*species{catfish, tilapia} {
		const celsius = 27.0
		w := k.fingerling
		coefficient := func(days int) float64 {
			from := w
			for range days {
				w += k.growth.Gain(w, celsius, k.growth.Appetite(w, celsius))
			}
			tgc, ok := husbandry.TGC(from, w, celsius*float64(days))
			if !ok {
				t.Fatalf("%s: no coefficient from %g to %g g", k.name, from, w)
			}
			return tgc
		}
		early := coefficient(60)
		coefficient(80)
		late := coefficient(60)
		if late > 0.8*early {
			t.Errorf("%s: the coefficient goes from %.3f to %.3f only", k.name, early, late)
		}
	}
}

func TestHungryFishLoseWeight(t *testing.T) {
	t.Parallel()
	g := catfish.growth
	full := g.Appetite(100, 27)
	if g.Gain(100, 27, 0) >= 0 {
		t.Error("a fish gains on an empty stomach")
	}
	if half, all := g.Gain(100, 27, full/2), g.Gain(100, 27, full); half <= all/2 || half >= all {
		t.Errorf("half a ration gains %.3f g, a full one %.3f g: more feed should do less and less", half, all)
	}
	if g.Gain(100, 27, 2*full) != g.Gain(100, 27, full) {
		t.Error("a fish grows on feed that it cannot eat")
	}
	if cold, best := g.Potential(100, 20), g.Potential(100, g.Best); cold > best/3 {
		t.Errorf("at 20 °C it grows %.2f g, at its best %.2f g", cold, best)
	}
}

// TestGrowing: the last season is under way at most sites, the one before is over.
func TestGrowing(t *testing.T) {
	t.Parallel()
	c := New(Options{Seed: 50, Today: today})
	growing := 0
	for i, state := range fold(t, c, nil) {
		s := &c.Sites[i]
		if slices.ContainsFunc(s.Batches, func(b domain.Batch) bool { return !state.Batches[b.ID].Closed() }) {
			growing++
		}
		for _, b := range s.Batches {
			if *b.Season == *s.Batches[0].Season && !state.Batches[b.ID].Closed() {
				t.Errorf("%s: %s is not closed", s.Facts.Name, b.Name)
			}
		}
	}
	if growing < 20 {
		t.Errorf("fish are growing at %d sites only", growing)
	}
}
