package postgres

import (
	"context"
	"encoding/json"
	"time"

	"shoalbook/domain"
)

// Question is something a person should look at.
type Question struct {
	Code   string         // held, store_below_zero, or what is asked about an entry
	SiteID domain.SiteID  //
	RefID  domain.EntryID // of the held entry, the product or the question

	// Of what is held, and of a store.
	Product   string
	Entry     []byte
	Problem   string // why it is held: the code
	Detail    string
	SinceDate *domain.Date

	// Of what is asked about an entry.
	EntryID    *domain.EntryID
	Text       string
	Figures    []byte
	State      string // open, confirmed, reversed
	Since      time.Time
	AnsweredAt *time.Time
	AnsweredBy *string
	Reason     *string
}

// QuestionFilter chooses questions.
type QuestionFilter struct {
	State string         // open, confirmed, reversed
	Site  *domain.SiteID // nil: all
	After *Question      // only those behind its code, site and reference
	Limit int
}

// reversedQuestion is whether the entry is reversed that question q is about.
const reversedQuestion = `exists (
	select from entry r
	where r.coop_id = q.coop_id and own_site(r.site_id) and r.reverses_id = q.entry_id)`

// A question about an entry that was reversed is answered by that.
const askedQuestions = `
	select q.code, q.site_id, q.id as ref_id, '' as product, ''::bytea as entry, '' as problem, '' as detail, null::date as since_date,
		q.entry_id, q.text, convert_to(q.figures::text, 'UTF8') as figures,
		case when r.id is not null then 'reversed' when q.answered_at is not null then 'confirmed' else 'open' end as state, q.raised_at as since,
		coalesce(r.recorded_at, q.answered_at) as answered_at, coalesce(r.recorded_by, q.answered_by) as answered_by, coalesce(r.body ->> 'reason', q.reason) as reason
	from question q
	left join entry r on r.coop_id = q.coop_id and own_site(r.site_id) and r.reverses_id = q.entry_id
	where q.coop_id = $1 and own_site(q.site_id)`

// Questions lists questions by code, site and what they are about, and reports whether
// there are more.
func (tx *Tx) Questions(ctx context.Context, f QuestionFilter) ([]Question, bool, error) {
	after := Question{}
	if f.After != nil {
		after = *f.After
	}
	const none = `null::uuid, '', ''::bytea, 'open'`
	const sql = `
		select * from (
			` + askedQuestions + `
			union all
			select 'held', site_id, id, '', convert_to(entry::text, 'UTF8'), code, detail, null, ` + none + `, recorded_at, null, null, null
			from held where coop_id = $1 and own_site(site_id)
			union all
			select 'store_below_zero', s.id, p.id, p.name, ''::bytea, '', '', d.below_since, ` + none + `, d.below_since::timestamptz, null, null, null
			from site s cross join ` + latestStore + `
			where s.coop_id = $1 and own_site(s.id) and p.coop_id = $1 and d.below_since is not null) q
		where (code, site_id, ref_id) > ($2, $3, $4) and state = $6 and ($7::uuid is null or site_id = $7)
		order by code, site_id, ref_id limit $5`
	found, err := all[Question](ctx, tx, sql, tx.coop, after.Code, after.SiteID, after.RefID, f.Limit+1, f.State, f.Site)
	return found[:min(len(found), f.Limit)], len(found) > f.Limit, err
}

// Answer confirms that an entry is right that a question was asked about, and returns
// the question.
func (tx *Tx) Answer(ctx context.Context, id domain.QuestionID, reason string) (Question, error) {
	const locked = `select from question where coop_id = $1 and own_site(site_id) and id = $2 for no key update`
	tx.queue(locked, tx.coop, id)
	found, err := all[Question](ctx, tx, askedQuestions+` and q.id = $2`, tx.coop, id)
	switch {
	case err != nil:
		return Question{}, err
	case len(found) == 0:
		return Question{}, domain.Missing("question")
	case found[0].State != "open":
		return Question{}, domain.Refuse("already_answered", "this was answered already: %s by %s", found[0].State, *found[0].AnsweredBy)
	}
	const sql = `
		update question set answered_at = clock_timestamp(), answered_by = current_actor(), reason = $3
		where coop_id = $1 and own_site(site_id) and id = $2`
	tx.queue(sql, tx.coop, id, reason)
	return one[Question](ctx, tx, askedQuestions+` and q.id = $2`, tx.coop, id)
}

// keepQuestion queues the keeping of a question about an entry of a site. Who feeds more
// than the table has does so every day: that is asked about a batch once in a week, as
// long as nobody has answered.
func (tx *Tx) keepQuestion(site domain.SiteID, q domain.Question) {
	const sql = `
		insert into question (coop_id, site_id, entry_id, code, text, figures)
		select $1, case when own_site($2) then $2::uuid end, e.id, $4, $5, $6
		from entry e
		where e.coop_id = $1 and own_site($2) and e.site_id = $2 and e.id = $3
		and not ($4 = 'feed_rate' and exists (
			select from question q
			join entry other on other.coop_id = q.coop_id and own_site($2) and other.site_id = $2 and other.id = q.entry_id
			where q.coop_id = $1 and own_site($2) and q.site_id = $2 and q.code = 'feed_rate' and q.answered_at is null
			and other.batch_id = e.batch_id and other.occurred_on > e.occurred_on - 7 and other.occurred_on < e.occurred_on + 7))
		on conflict on constraint question_once do nothing`
	tx.queue(sql, tx.coop, site, q.Entry, q.Code, q.Text, figures(q.Figures))
}

// figures writes numbers as JSON, with six decimals at most.
func figures(list []domain.NamedValue) json.RawMessage {
	type figure struct {
		Name  string      `json:"name"`
		Value json.Number `json:"value"`
	}
	out := make([]figure, len(list))
	for i, f := range list {
		out[i] = figure{f.Name, json.Number(f.Text())}
	}
	text, _ := json.Marshal(out) // of names and numbers it always can
	return text
}

// SaidQuestion is what a line of the audit trail says of a question.
type SaidQuestion struct {
	ID         domain.QuestionID
	SiteID     domain.SiteID
	EntryID    domain.EntryID
	Code       string
	Text       string
	AnsweredBy *string
	Reason     *string
}

// SaidOfQuestions returns what lines of the audit trail say of questions.
func (tx *Tx) SaidOfQuestions(ctx context.Context, lines []LineID) ([]Said[SaidQuestion], error) {
	return said[SaidQuestion](ctx, tx, "question", "own_site(n.site_id)", `d.id, d.site_id, d.entry_id, d.code, d.text, d.answered_by, d.reason`, lines)
}

// pricesBefore queues the reading of the prices that those of the entries are held
// against.
func (r *recorder) pricesBefore() *[]pricedRow {
	found := new([]pricedRow)
	var kinds []string
	var products []domain.ProductID
	var from, to domain.Date
	for i := range r.Entries {
		e := &r.Entries[i]
		if _, _, ok := domain.PriceOf(e.Body, ""); !ok {
			continue
		}
		if kinds == nil {
			from, to = e.On, e.On
		}
		from, to = min(from, e.On), max(to, e.On)
		kinds = append(kinds, e.Body.Kind())
		if p := e.Body.Refs().Product; p != nil {
			products = append(products, *p)
		}
	}
	if kinds == nil {
		return found
	}
	const sql = `
		select e.kind, e.occurred_on, coalesce(b.species, '') as species, e.body
		from entry e
		left join batch b on b.coop_id = e.coop_id and own_site(b.site_id) and b.id = e.batch_id
		where e.coop_id = $1 and own_site(e.site_id) and e.kind = any($2) and e.kind in ('stocking', 'receipt', 'sale')
		and e.occurred_on > $3 and e.occurred_on <= $4 and (e.kind <> 'receipt' or e.product_id = any($5))
		and not exists (select from entry r where r.coop_id = e.coop_id and own_site(r.site_id) and r.reverses_id = e.id)
		order by e.occurred_on desc limit 300`
	later(r.tx, found, sql, r.tx.coop, kinds, from-domain.PriceDays, to, products)
	return found
}

// pricedRow is an entry with a price.
type pricedRow struct {
	Kind       string
	OccurredOn domain.Date
	Species    string
	Body       []byte
}

func (r *recorder) takePrices(rows []pricedRow) error {
	for _, row := range rows {
		body, err := domain.DecodeBody(row.Kind, row.Body, r.currency)
		if err != nil {
			return err
		}
		if of, price, ok := domain.PriceOf(body, row.Species); ok {
			if r.prices == nil {
				r.prices = map[string][]domain.Priced{}
			}
			r.prices[of] = append(r.prices[of], domain.Priced{On: row.OccurredOn, Price: price})
		}
	}
	return nil
}
