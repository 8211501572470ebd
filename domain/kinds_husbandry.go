package domain

// Water is a reading of the water of a unit, any part of it.
type Water struct {
	Unit          UnitID
	TemperatureC  *Thousandths
	OxygenMgL     *Thousandths
	PH            *Thousandths
	TANMgL        *Thousandths // ammonia and ammonium together
	TANBasis      *string      // what it is the weight of: n, nh3, nh4
	NO2MgL        *Thousandths // of the ion, as kits print it
	NO3MgL        *Thousandths // of the ion, as kits print it
	AlkalinityMgL *Thousandths // as CaCO3
	SalinityPPT   *Thousandths
	LitresAdded   *Thousandths
}

// Treatment is medicine given to the fish of a batch, and how long they must not be
// eaten after it: both by days and by degree-days, whichever is later. A product is
// taken from the store if the quantity is given.
type Treatment struct {
	Batch                BatchID
	Product              *ProductID
	Quantity             *Quantity
	What                 *string // if it is no product
	Dose                 string
	Reason               string
	PrescribedBy         *string
	WithdrawalDays       *Days
	WithdrawalDegreeDays *DegreeDays
}

// Visit is what an adviser or coordinator found at a site, and advised.
type Visit struct {
	Findings string
	Advice   *string
	Unit     *UnitID
	Batch    *BatchID
	NextOn   *Date
}

func (Water) Kind() string     { return "water" }
func (Treatment) Kind() string { return "treatment" }
func (Visit) Kind() string     { return "visit" }

func (Water) rank() rank     { return rankOther }
func (Treatment) rank() rank { return rankTreatment }
func (Visit) rank() rank     { return rankOther }

func (b Water) Refs() Refs     { return Refs{Unit: &b.Unit} }
func (b Treatment) Refs() Refs { return Refs{Batch: &b.Batch, Product: b.Product} }
func (b Visit) Refs() Refs     { return Refs{Unit: b.Unit, Batch: b.Batch} }

func (b Water) check(c *checker) {
	c.require(b.LitresAdded != nil || b.reads(), "", "give at least one reading")
	if t := b.TemperatureC; t != nil && (*t < 0 || *t > 45_000) {
		if *t >= 68_000 && *t <= 100_000 {
			c.add("/temperature_c", "must be between 0 and 45 °C: is this a reading in Fahrenheit?")
		} else {
			c.add("/temperature_c", "must be between 0 and 45 °C")
		}
	}
	if o := b.OxygenMgL; o != nil && (*o < 0 || *o > 25_000) {
		if *o >= 40_000 && *o <= 120_000 {
			c.add("/oxygen_mg_l", "must be between 0 and 25 mg/L: is this a reading in % saturation?")
		} else {
			c.add("/oxygen_mg_l", "must be between 0 and 25 mg/L")
		}
	}
	if ph := b.PH; ph != nil && (*ph < 2000 || *ph > 12_000) {
		if *ph >= 20_000 && *ph <= 120_000 {
			c.add("/ph", "must be between 2 and 12: is the decimal point missing?")
		} else {
			c.add("/ph", "must be between 2 and 12")
		}
	}
	c.require((b.TANMgL == nil) == (b.TANBasis == nil), "/tan_basis", "say what the kit prints ammonia as: n (nitrogen), nh3 or nh4; and a basis needs a reading")
	c.optionalOf(b.TANBasis, "/tan_basis", "n", "nh3", "nh4")
	c.within(b.TANMgL, "/tan_mg_l", 100, "mg/L")
	c.within(b.NO2MgL, "/no2_mg_l", 100, "mg/L")
	c.within(b.NO3MgL, "/no3_mg_l", 3000, "mg/L")
	c.within(b.AlkalinityMgL, "/alkalinity_mg_l", 2000, "mg/L") // common practice, no source
	c.within(b.SalinityPPT, "/salinity_ppt", 45, "g/kg")        // common practice, no source: the sea has 35
	c.require(b.LitresAdded == nil || *b.LitresAdded >= 0, "/litres_added", "must not be negative")
}

// within judges a reading that cannot be below 0 or above a bound.
func (c *checker) within(v *Thousandths, pointer string, most Thousandths, unit string) {
	c.require(v == nil || *v >= 0 && *v <= most*1000, pointer, "must be between 0 and "+formatDecimal(int64(most), 0, 0)+" "+unit)
}

// Longest withdrawals that are believed (common practice, no source).
const (
	mostWithdrawalDays       = 365
	mostWithdrawalDegreeDays = 10_000
)

func (b Treatment) check(c *checker) {
	c.require((b.Product == nil) != (b.What == nil), "/product_id", "say what was given: the product or, if it is none of the list, what it was; one of the two")
	c.require(b.Quantity == nil || b.Product != nil, "/quantity", "only of a product: without one, say in the dose how much was given")
	c.require(b.Quantity == nil || *b.Quantity > 0, "/quantity", "must be more than 0")
	c.require(b.What == nil || fits(*b.What, 200), "/what", "must be 1 to 200 characters")
	c.require(fits(b.Dose, 200), "/dose", "say how much was given and how, in 1 to 200 characters")
	c.require(fits(b.Reason, 500), "/reason", "say what it was given for, in 1 to 500 characters")
	c.require(b.PrescribedBy == nil || fits(*b.PrescribedBy, 200), "/prescribed_by", "must be 1 to 200 characters")
	days, heat := b.WithdrawalDays, b.WithdrawalDegreeDays
	c.require(days != nil || heat != nil, "/withdrawal_days", "say how long the fish must not be eaten, in days or degree-days, as the label and the veterinarian say; 0 where there is no withdrawal")
	c.require(days == nil || *days >= 0 && *days <= mostWithdrawalDays, "/withdrawal_days", "must be between 0 and 365 days")
	c.require(heat == nil || *heat >= 0 && *heat <= mostWithdrawalDegreeDays, "/withdrawal_degree_days", "must be between 0 and 10000 degree-days")
}

func (b Visit) check(c *checker) {
	c.require(fits(b.Findings, 2000), "/findings", "say what was found, in 1 to 2000 characters")
	c.require(b.Advice == nil || fits(*b.Advice, 2000), "/advice", "must be 1 to 2000 characters")
	c.require(b.NextOn == nil || *b.NextOn >= earliest && *b.NextOn <= latest, "/next_on", "must be after 1990")
}

func (b Water) post(s *Site, e *Entry) error {
	if err := s.unit(b.Unit, "/unit_id"); err != nil {
		return err
	}
	if b.LitresAdded != nil {
		s.count(countWaterAdded, int64(*b.LitresAdded))
	}
	if !b.reads() {
		return nil
	}
	u := s.Units[b.Unit]
	if u == nil {
		u = &UnitState{}
		s.Units[b.Unit] = u
	}
	s.today.Units[b.Unit] = true
	u.take(b, e.On)
	if b.TemperatureC == nil {
		return nil
	}
	if u.TemperatureOn != nil && *u.TemperatureOn == e.On {
		u.TemperatureSum += *b.TemperatureC
		u.Readings++
		return nil
	}
	for id, st := range s.Batches {
		if st.Unit == b.Unit && st.FirstOn != nil && !st.Closed() {
			st.heatTo(s.on, u)
			s.today.Batches[id] = true
		}
	}
	u.TemperatureOn, u.TemperatureSum, u.Readings = s.on, *b.TemperatureC, 1
	return nil
}

func (b Visit) post(s *Site, _ *Entry) error {
	if b.Unit != nil {
		if err := s.unit(*b.Unit, "/unit_id"); err != nil {
			return err
		}
	}
	if b.Batch != nil {
		if _, err := s.batch(*b.Batch); err != nil {
			return err
		}
	}
	return nil
}
