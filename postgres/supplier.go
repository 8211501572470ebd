package postgres

import (
	"context"

	"github.com/jackc/pgx/v5"

	"shoalbook/domain"
)

// SupplierRecords returns what is known of every supplier from whom something came to the
// sites of the token, and how far it can be believed.
func (tx *Tx) SupplierRecords(ctx context.Context) (map[domain.PartyID][]domain.SupplierFigure, error) {
	today, err := tx.Today(ctx)
	if err != nil {
		return nil, err
	}
	const delivered = `
		select o.party_id as supplier, l.quantity, a.allotted, d.counted as came, d.dead, d.cv_percent, d.batch_id
		from delivery d
		join purchase_order o on o.coop_id = d.coop_id and o.id = d.order_id
		join round r on r.coop_id = o.coop_id and r.id = o.round_id and r.species is not null
		join order_line l on l.coop_id = d.coop_id and own_site(l.site_id) and l.order_id = d.order_id and l.version = o.version and l.request_id = d.request_id
		left join allotment a on a.coop_id = d.coop_id and own_site(a.site_id) and a.order_id = d.order_id and a.request_id = d.request_id
		where d.coop_id = $1 and own_site(d.site_id) and d.reversed_at is null`
	var came []struct {
		Supplier  domain.PartyID
		Quantity  domain.Pieces
		Allotted  *domain.Pieces
		Came      domain.Pieces
		Dead      domain.Pieces
		CVPercent *domain.Thousandths
		BatchID   *domain.BatchID
	}
	later(tx, &came, delivered, tx.coop)
	grown, err := tx.lots(ctx)
	if err != nil {
		return nil, err
	}
	var lots []domain.Lot
	for _, c := range came {
		l := lineRow{Quantity: c.Quantity, Allotted: c.Allotted}
		lot := domain.Lot{Supplier: c.Supplier, Delivered: &domain.LotDelivered{Due: l.due(), Came: c.Came, Dead: c.Dead, CVPercent: c.CVPercent}}
		if g := grown[deref(c.BatchID)]; g != nil && c.BatchID != nil {
			lot.Grown = domain.GrownLot(&g.BatchState, today)
			delete(grown, *c.BatchID)
		}
		lots = append(lots, lot)
	}
	for _, g := range grown {
		lots = append(lots, domain.Lot{Supplier: g.Supplier, Grown: domain.GrownLot(&g.BatchState, today)})
	}
	return domain.SupplierRecords(lots), nil
}

// PlanLosses returns what is to be expected of the fish of each supplier whose record can
// be drawn to those of others.
func (tx *Tx) PlanLosses(ctx context.Context) (map[domain.PartyID]domain.PlanLosses, error) {
	records, err := tx.SupplierRecords(ctx)
	losses := map[domain.PartyID]domain.PlanLosses{}
	for id, r := range records {
		if l, ok := domain.ExpectedLosses(r); ok {
			losses[id] = l
		}
	}
	return losses, err
}

// lotRow is a batch that has fish of one supplier and no others.
type lotRow struct {
	BatchID  domain.BatchID
	Supplier domain.PartyID
	domain.BatchState
}

// lotColumns are those of the state of a batch that a supplier is judged by.
const lotColumns = `first_on, closed_on, stocked, weigh_on, weigh_mg, weigh_fish, weigh_heat, weigh_heat_days,
	risk_on, at_risk, risk_dead, survival_before, survival_at`

// lots reads the batches of which every fish was stocked from the same supplier.
func (tx *Tx) lots(ctx context.Context) (map[domain.BatchID]*lotRow, error) {
	found := map[domain.BatchID]*lotRow{}
	tx.queue(`
		with lot as (
			select e.batch_id, (array_agg(e.party_id))[1] as supplier
			from entry e
			where e.coop_id = $1 and own_site(e.site_id) and e.kind = 'stocking'
			and not exists (select from entry r where r.coop_id = e.coop_id and own_site(r.site_id) and r.reverses_id = e.id)
			group by e.batch_id having count(*) = count(e.party_id) and count(distinct e.party_id) = 1
		)
		select d.batch_id, lot.supplier, `+columnsOf("d", lotColumns)+`
		from lot join batch_sum d on d.coop_id = $1 and own_site(d.site_id) and d.batch_id = lot.batch_id
		where d.first_on is not null and d.moved_in = 0
		order by d.batch_id`, tx.coop).Query(func(rows pgx.Rows) error {
		lots, err := pgx.CollectRows(rows, pgx.RowToAddrOfStructByNameLax[lotRow])
		for _, l := range lots {
			found[l.BatchID] = l
		}
		return err
	})
	return found, tx.flush(ctx)
}
