package main

import (
	"context"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"shoalbook/domain"
	"shoalbook/domain/simulate"
	"shoalbook/postgres"
)

// buy has the schools buy together, as their coordinator would: feed in a round that is
// settled, and fingerlings in one that is open, with what some ask for and hatcheries
// offer.
func buy(ctx context.Context, tx *postgres.Tx, coop *simulate.Coop) error {
	today, err := tx.Today(ctx)
	if err != nil {
		return err
	}
	b := &buyer{tx: tx, coop: coop, today: today, sites: coop.Sites[:min(6, len(coop.Sites))]}
	if err := b.feed(ctx); err != nil {
		return fmt.Errorf("buy feed: %w", err)
	}
	if err := b.fingerlings(ctx); err != nil {
		return fmt.Errorf("ask for fingerlings: %w", err)
	}
	return nil
}

type buyer struct {
	tx    *postgres.Tx
	coop  *simulate.Coop
	today domain.Date
	sites []simulate.Site
}

func made[T any]() (domain.ID[T], error) {
	id, err := uuid.NewV7()
	return domain.ID[T](id), err
}

// suppliers returns those who have a role.
func (b *buyer) suppliers(role string) []domain.Party {
	return slices.DeleteFunc(slices.Clone(b.coop.Parties), func(p domain.Party) bool { return !slices.Contains(p.Roles, role) })
}

// stops is the way along all schools that take part.
func (b *buyer) stops(apart domain.Thousandths) []domain.Stop {
	var stops []domain.Stop
	for i, s := range b.sites {
		stops = append(stops, domain.Stop{Site: s.Facts.ID, Km: 8_000 + apart*domain.Thousandths(i)})
	}
	return stops
}

func (b *buyer) open(ctx context.Context, r domain.Round) (domain.Round, error) {
	var err error
	if r.ID, err = made[domain.Round](); err != nil {
		return r, err
	}
	r.Need, r.FeesBy, r.State = domain.NeedArrival, domain.FeesByCount, domain.RoundOpen
	return postgres.Rounds.Create(ctx, b.tx, r)
}

func (b *buyer) ask(ctx context.Context, r *domain.Round, q domain.Request) (domain.Request, error) {
	var err error
	if q.ID, err = made[domain.Request](); err != nil {
		return q, err
	}
	q.Complete(r)
	return postgres.Requests.Create(ctx, b.tx, q)
}

func (b *buyer) quote(ctx context.Context, r *domain.Round, q domain.Quote) error {
	var err error
	if q.ID, err = made[domain.Quote](); err != nil {
		return err
	}
	q.Round, q.Earliest, q.Latest = r.ID, r.WindowFrom, r.WindowTo
	q.StepsApply, q.Pack, q.SpeedKmH, q.ValidUntil = domain.StepsAllUnits, max(1, q.Pack), domain.DefaultSpeed, b.today+30
	_, err = postgres.Quotes.Create(ctx, b.tx, q)
	return err
}

// feed buys starter feed, from the call to what each school is to pay. It comes on the last
// day of the window: a settled round has no days of delivery ahead.
func (b *buyer) feed(ctx context.Context) error {
	product := b.coop.Products[0].ID
	round, err := b.open(ctx, domain.Round{Name: "Starter feed for all", Product: &product, Deadline: (b.today - 8).Time(), WindowFrom: b.today - 6, WindowTo: b.today})
	if err != nil {
		return err
	}
	for i, s := range b.sites {
		kg := domain.Pieces(40 + 15*(i%4))
		if _, err := b.ask(ctx, &round, domain.Request{Site: s.Facts.ID, Quantity: kg, Least: kg / 2, Most: kg + 25}); err != nil {
			return err
		}
	}
	for i, p := range b.suppliers("feed_seller") {
		price := domain.UnitPrice(20_500_0000 - 700_0000*int64(i))
		err := b.quote(ctx, &round, domain.Quote{Party: p.ID, Steps: []domain.PriceStep{{From: 1, UnitPrice: price}, {From: 200, UnitPrice: price * 9 / 10}}, Pack: 5, Most: 4000,
			FeeOrder: 50_000, FeeDrop: 15_000, FeePerKm: 3500_0000, Stops: b.stops(4_000 + 1_500*domain.Thousandths(i)), DepositPercent: 20_000, ExpiresOn: new(b.today + 200)})
		if err != nil {
			return err
		}
	}
	if err := b.order(ctx, &round); err != nil {
		return err
	}
	orders, err := b.tx.Orders(ctx, round.ID)
	if err != nil {
		return err
	}
	for _, o := range orders {
		if err := b.receive(ctx, &o); err != nil {
			return err
		}
	}
	if round, err = b.tx.StepRound(ctx, round.ID, domain.RoundSettled, nil); err != nil {
		return err
	}
	_, err = b.tx.Settle(ctx, &round, made[domain.Entry], nil)
	return err
}

// order closes and plans a round, and orders what was planned.
func (b *buyer) order(ctx context.Context, round *domain.Round) error {
	if _, err := b.tx.StepRound(ctx, round.ID, domain.RoundClosed, nil); err != nil {
		return err
	}
	ask, err := b.tx.PlanAsk(ctx, round, round.Need)
	if err != nil {
		return err
	}
	plan, err := domain.PlanRound(ask)
	if err != nil {
		return err
	}
	kept, err := b.tx.KeepPlan(ctx, round.ID, plan)
	if err != nil {
		return err
	}
	return b.tx.PlaceOrders(ctx, round.ID, kept.Version, made[domain.Order])
}

// receive records that an order came as it was ordered, and its deposit.
func (b *buyer) receive(ctx context.Context, o *postgres.OrderView) error {
	if o.Sums.Deposit > 0 {
		id, err := made[domain.Deposit]()
		if err != nil {
			return err
		}
		if err := b.tx.PayDeposit(ctx, domain.Deposit{ID: id, Order: o.ID, Amount: o.Sums.Deposit, PaidOn: b.today}); err != nil {
			return err
		}
	}
	drops := postgres.Drops{Order: o.ID}
	for _, l := range o.Lines {
		id, err := made[domain.Delivery]()
		if err != nil {
			return err
		}
		drops.Deliveries = append(drops.Deliveries, domain.Delivery{ID: id, Request: l.Request, On: b.today, ReceivedBy: "the keeper", Drop: domain.Drop{Counted: &l.Quantity}})
	}
	_, err := b.tx.Receive(ctx, drops)
	return err
}

// fingerlings calls for catfish: the schools ask for their first tank, and the hatcheries
// have answered.
func (b *buyer) fingerlings(ctx context.Context) error {
	round, err := b.open(ctx, domain.Round{Name: "Catfish for the next season", Species: new("CLZ"), Deadline: (b.today + 14).Time(), WindowFrom: b.today + 21, WindowTo: b.today + 35})
	if err != nil {
		return err
	}
	for _, s := range b.sites {
		i := slices.IndexFunc(s.Units, func(u domain.Unit) bool { return u.Kind != "bed" && u.WaterVolumeL != nil })
		if i < 0 {
			continue
		}
		u := s.Units[i]
		fish := min(400, max(50, domain.Pieces(*u.WaterVolumeL/1_000_000)*40/10*10))
		q := domain.Request{Site: s.Facts.ID, Unit: &u.ID, Quantity: fish, Least: fish / 2, Most: fish + fish/10, SizeFrom: new(domain.Milligrams(2_000)), SizeTo: new(domain.Milligrams(10_000))}
		if _, err := b.ask(ctx, &round, q); err != nil {
			return err
		}
	}
	for i, p := range b.suppliers("hatchery") {
		price := domain.UnitPrice(1_200_0000 - 150_0000*int64(i))
		err := b.quote(ctx, &round, domain.Quote{Party: p.ID, MeanWeight: new(domain.Milligrams(5_000 - 1_000*int64(i))), WeightCVPercent: new(domain.Thousandths(18_000 + 4_000*int64(i))),
			Steps: []domain.PriceStep{{From: 1, UnitPrice: price}, {From: 500, UnitPrice: price * 9 / 10}, {From: 2000, UnitPrice: price * 8 / 10}}, LeastOrder: 200, Pack: 50, Most: 20_000,
			FeeOrder: 100_000, FeeDrop: 20_000, FeePerKm: 4_000_0000, Stops: b.stops(5_000), CarriedIn: new(domain.CarriedInBag), Litres: new(domain.Thousandths(20_000)),
			TemperatureC: new(domain.Thousandths(26_000)), DeathsPercent: 1_000 * domain.Thousandths(1+i), ShortPercent: 1_000, DepositPercent: 30_000})
		if err != nil {
			return err
		}
	}
	return nil
}
