package postgres

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"shoalbook/domain"
)

// ReportCopy is an issued report in one of its forms.
type ReportCopy struct {
	Format    string // json, html, pdf, xlsx, csv, xml
	MediaType string
	Content   []byte
	SHA256    []byte
}

// DraftDocument works a report out as it would be if it were issued now.
func (tx *Tx) DraftDocument(ctx context.Context, id domain.ReportID) (domain.ReportDocument, error) {
	r, err := Reports.Get(ctx, tx, id)
	if err != nil {
		return domain.ReportDocument{}, err
	}
	actor, err := tx.Actor(ctx)
	if err != nil {
		return domain.ReportDocument{}, err
	}
	return tx.document(ctx, r, actor.At)
}

// document works a report out by what is known now, which is at the moment that is given.
func (tx *Tx) document(ctx context.Context, r domain.Report, now time.Time) (domain.ReportDocument, error) {
	var none domain.ReportDocument
	in, err := tx.reportInput(ctx, r, now)
	if err != nil {
		return none, err
	}
	frame := in.Frame()
	if r.Restates != nil { // by the same definitions, so that what differs is in the books
		was, _, err := tx.stored(ctx, *r.Restates)
		if err != nil {
			return none, err
		}
		frame.Definitions, frame.Factors = was.Definitions, was.Factors
	}
	books, err := tx.books(ctx, in.Grant.SitesOf(), r.Period(), now)
	if err != nil {
		return none, err
	}
	d, err := tx.compose(ctx, frame, books, now)
	if err != nil || r.Restates == nil {
		return d, err
	}
	d.Restates, err = tx.restates(ctx, r, d, now)
	return d, err
}

// reportInput reads what a report is framed by.
func (tx *Tx) reportInput(ctx context.Context, r domain.Report, known time.Time) (domain.ReportInput, error) {
	in := domain.ReportInput{Report: r, KnownAt: known, SiteNames: map[domain.SiteID]string{}}
	var err error
	if in.Grant, err = Grants.Get(ctx, tx, r.Grant); err != nil {
		return in, err
	}
	codes := make([]string, len(in.Grant.Measures))
	for i, m := range in.Grant.Measures {
		codes[i] = m.Code
	}
	if in.Definitions, err = tx.definitions(ctx, codes); err != nil {
		return in, err
	}
	if in.Factors, err = tx.factorsOn(ctx, r.EndsOn); err != nil {
		return in, err
	}
	var coop []domain.Coop
	var names []struct {
		ID   domain.SiteID
		Name string
	}
	var funder []struct{ Name string }
	later(tx, &coop, `select `+Coops.columns("n", "n")+` from coop n where n.coop_id = $1`, tx.coop)
	later(tx, &names, `select id, name from site where coop_id = $1 and own_site(id) and id = any($2)`, tx.coop, in.Grant.SitesOf())
	later(tx, &funder, `select name from party where coop_id = $1 and id = $2`, tx.coop, in.Grant.Funder)
	later(tx, &in.Costs, `select `+GrantCosts.columns("n", "n")+` from grant_cost n where n.coop_id = $1 and own_site(null) and n.grant_id = $2 and not n.archived order by n.id`, tx.coop, r.Grant)
	if err := tx.flush(ctx); err != nil {
		return in, err
	}
	in.Coop, in.Funder = coop[0], funder[0].Name
	for _, n := range names {
		in.SiteNames[n.ID] = n.Name
	}
	return in, nil
}

// compose works out a report from books that were read before.
func (tx *Tx) compose(ctx context.Context, f domain.ReportFrame, books map[domain.SiteID]*domain.SiteBooks, known time.Time) (domain.ReportDocument, error) {
	factors, err := f.FactorsOf()
	if err != nil {
		return domain.ReportDocument{}, err
	}
	spent, err := tx.spent(ctx, f.Grant.Charged, known)
	if err != nil {
		return domain.ReportDocument{}, err
	}
	sums := make([]domain.SiteSums, 0, len(books))
	for _, s := range f.Grant.Sites {
		books[s.ID].SupportUntil = s.SupportUntil
		sums = append(sums, books[s.ID].Sums(domain.Span{From: f.From, To: f.To}, factors))
	}
	return domain.Compose(f, sums, spent)
}

// spent reads what was spent by what is charged, as it stood by what was known. In place of
// an entry that was reversed stands the one that replaced it, if there is one and it is not
// charged by itself.
func (tx *Tx) spent(ctx context.Context, charged []domain.ReportCharge, known time.Time) ([]domain.Spent, error) {
	if len(charged) == 0 {
		return nil, nil
	}
	currency, err := tx.Currency(ctx)
	if err != nil {
		return nil, err
	}
	entries, equipment := []domain.EntryID{}, []domain.EquipmentID{}
	for _, c := range charged {
		if c.Entry != nil {
			entries = append(entries, *c.Entry)
		} else {
			equipment = append(equipment, *c.Equipment)
		}
	}
	var rows []chargedRow
	const standing = `
		with recursive chain (charged, id) as (
			select id, id from entry e where coop_id = $1 and own_site(e.site_id) and id = any($2)
			union
			select c.charged, (r.body ->> 'replacement_id')::uuid from chain c
			join entry r on r.coop_id = $1 and own_site(r.site_id) and r.reverses_id = c.id and r.recorded_at <= $3
			where (r.body ->> 'replacement_id')::uuid <> all($2))
		select c.charged, e.id, e.site_id, e.kind, e.occurred_on, e.occurred_at, e.note, e.body, e.recorded_at, e.recorded_by
		from chain c join entry e on e.coop_id = $1 and own_site(e.site_id) and e.id = c.id
		where e.recorded_at <= $3
		and not exists (select from entry r where r.coop_id = e.coop_id and own_site(r.site_id) and r.reverses_id = e.id and r.recorded_at <= $3)`
	later(tx, &rows, standing, tx.coop, entries, known)
	var bought []struct {
		ID        domain.EquipmentID
		Cost      domain.Money
		InUseFrom domain.Date
	}
	const facts = `
		select distinct on (id) id, (facts ->> 'cost')::bigint as cost, (facts ->> 'in_use_from')::date as in_use_from from revision
		where coop_id = $1 and own_site(site_id) and noun = 'equipment' and id = any($2) and recorded_at <= $3
		order by id, valid_from desc nulls last, version desc`
	later(tx, &bought, facts, tx.coop, equipment, known)
	if err := tx.flush(ctx); err != nil {
		return nil, err
	}
	var spent []domain.Spent
	for _, c := range charged {
		part, err := domain.ParseThousandths(c.Percent)
		if err != nil {
			return nil, err
		}
		s := domain.Spent{Line: c.Line, Part: part}
		if c.Entry != nil {
			i := slices.IndexFunc(rows, func(r chargedRow) bool { return r.Charged == *c.Entry })
			if i < 0 {
				continue // reversed
			}
			e, err := rows[i].entry(currency)
			if err != nil {
				return nil, err
			}
			amount, ok := domain.CostOf(e.Body)
			if !ok {
				continue // what replaced it is no cost
			}
			s.What, s.ID, s.On, s.Amount = "entry", e.ID.String(), e.On, amount
		} else {
			i := slices.IndexFunc(bought, func(b struct {
				ID        domain.EquipmentID
				Cost      domain.Money
				InUseFrom domain.Date
			}) bool {
				return b.ID == *c.Equipment
			})
			if i < 0 {
				continue
			}
			s.What, s.ID, s.On, s.Amount = "equipment", c.Equipment.String(), bought[i].InUseFrom, bought[i].Cost
		}
		spent = append(spent, s)
	}
	return spent, nil
}

// chargedRow is an entry that is charged, or what replaced it.
type chargedRow struct {
	Charged domain.EntryID
	entryRow
}

// IssueReport freezes a draft by what is settled, see [Store.Settle]. Render makes the
// copies that are kept beside the canonical document.
func (tx *Tx) IssueReport(ctx context.Context, id domain.ReportID, render func(domain.ReportDocument) ([]ReportCopy, error)) (domain.Report, error) {
	known, err := tx.settledAt()
	if err != nil {
		return domain.Report{}, err
	}
	r, err := Reports.Hold(ctx, tx, id)
	if err != nil {
		return r, err
	}
	if r.State != domain.ReportDraft {
		return r, domain.Errorf(domain.Conflict, "report_issued", "the report was issued on %s by %s", r.KnownAt.UTC().Format(time.RFC3339), *r.IssuedBy)
	}
	if err := tx.over(ctx, r); err != nil {
		return r, err
	}
	d, err := tx.document(ctx, r, known)
	if err != nil {
		return r, err
	}
	seal, err := tx.Seal(ctx) // over all that the report can be worked out from
	if err != nil {
		return r, err
	}
	if seal.Number > 0 {
		d.Seal = &domain.ReportSeal{Number: seal.Number, Root: hex.EncodeToString(seal.Root[:]), Hash: hex.EncodeToString(seal.Hash[:])}
	}
	text, err := domain.CanonicalOf(d)
	if err != nil {
		return r, err
	}
	sum := sha256.Sum256(text)
	actor, err := tx.Actor(ctx)
	if err != nil {
		return r, err
	}
	issued, err := Reports.Revise(ctx, tx, id, r.Version, nil, func(f *domain.Report) error {
		f.State, f.KnownAt, f.IssuedBy, f.SHA256 = domain.ReportIssued, &known, &actor.Name, sum[:]
		return nil
	})
	if err != nil {
		return issued, err
	}
	copies := []ReportCopy{{Format: "json", MediaType: "application/json", Content: text}}
	if render != nil {
		more, err := render(d)
		if err != nil {
			return issued, fmt.Errorf("render report %s: %w", id, err)
		}
		copies = append(copies, more...)
	}
	for _, c := range copies {
		const sql = `
			insert into report_copy (coop_id, report_id, format, media_type, content, sha256)
			select $1, $2, $3, $4, $5, $6 where own_site(null)`
		hash := sha256.Sum256(c.Content)
		tx.queue(sql, tx.coop, id, c.Format, c.MediaType, c.Content, hash[:])
	}
	return issued, tx.replaced(ctx, r)
}

// over refuses a report whose last day is not over yet.
func (tx *Tx) over(ctx context.Context, r domain.Report) error {
	today, err := tx.Today(ctx)
	if err == nil && r.EndsOn >= today {
		return domain.Refuse("not_over", "the period is not over: it ends on %s, and today is %s", r.EndsOn, today)
	}
	return err
}

// Copy reads an issued report in one of its forms.
func (tx *Tx) Copy(ctx context.Context, id domain.ReportID, format string) (ReportCopy, error) {
	const sql = `
		select format, media_type, content, sha256 from report_copy
		where coop_id = $1 and own_site(null) and report_id = $2 and format = $3`
	found, err := all[ReportCopy](ctx, tx, sql, tx.coop, id, format)
	if err != nil {
		return ReportCopy{}, err
	}
	if len(found) == 0 {
		return ReportCopy{}, domain.Errorf(domain.NotFound, "not_found", "the report was issued without %s: for IATI data its grant needs iati_activity and iati_reporter, and no rule of IATI may be broken; a draft says which is", format)
	}
	return found[0], nil
}

// stored reads the document of an issued report, and its hash.
func (tx *Tx) stored(ctx context.Context, id domain.ReportID) (d domain.ReportDocument, sum []byte, err error) {
	c, err := tx.Copy(ctx, id, "json")
	if err != nil {
		return d, nil, err
	}
	return d, c.SHA256, json.Unmarshal(c.Content, &d)
}

// ReportCheck is what came of working an issued report out again.
type ReportCheck struct {
	Stored, Computed [32]byte
	Differs          []string // codes of the figures that differ
}

// CheckReport works an issued report out again from the journal as it was known then.
func (tx *Tx) CheckReport(ctx context.Context, id domain.ReportID) (ReportCheck, error) {
	var check ReportCheck
	r, err := Reports.Get(ctx, tx, id)
	if err != nil {
		return check, err
	}
	if r.State == domain.ReportDraft {
		return check, domain.Errorf(domain.Conflict, "report_draft", "a draft changes with the journal: there is nothing to check before it is issued")
	}
	was, sum, err := tx.stored(ctx, id)
	if err != nil {
		return check, err
	}
	check.Stored = [32]byte(sum)
	known, err := was.Known()
	if err != nil {
		return check, err
	}
	sites := make([]domain.SiteID, len(was.Grant.Sites))
	for i, s := range was.Grant.Sites {
		sites[i] = s.ID
	}
	books, err := tx.booksKnown(ctx, sites, domain.Span{From: was.From, To: was.To}, known)
	if err != nil {
		return check, err
	}
	d, err := tx.compose(ctx, was.ReportFrame, books, known)
	if err != nil {
		return check, err
	}
	text, err := domain.CanonicalOf(d.SumsOf(was))
	if err != nil {
		return check, err
	}
	check.Computed = sha256.Sum256(text)
	check.Differs = was.Differs(d)
	return check, nil
}

// ofFunder is what a report must be to be seen by the member of a token: issued, of a grant
// of which it is a reader.
const ofFunder = `n.state <> 'draft' and exists (
	select from funding g
	join token t on t.coop_id = g.coop_id and own_site(null) and t.member_id = any(g.members)
	where g.coop_id = n.coop_id and own_site(null) and g.id = n.grant_id and t.id = current_token())`

// Reports lists the reports that are for the one who asks, and whether there are more.
func (tx *Tx) Reports(ctx context.Context, f Filter[domain.ReportID]) (found []domain.Report, more bool, err error) {
	actor, err := tx.Actor(ctx)
	if err != nil {
		return nil, false, err
	}
	if actor.Role != domain.Funder {
		return Reports.List(ctx, tx, f)
	}
	w := where(`n.coop_id = $`, tx.coop)
	if f.After != nil {
		w.and(`n.id > $`, *f.After)
	}
	if f.Archived != nil {
		w.and(`n.archived = $`, *f.Archived)
	}
	sql := fmt.Sprintf(`select %s from report n where %s and own_site(null) and %s order by n.id limit %s`, Reports.columns("n", "n"), w, ofFunder, w.arg(f.Limit+1))
	found, err = all[domain.Report](ctx, tx, sql, w.args...)
	return found[:min(len(found), f.Limit)], len(found) > f.Limit, err
}

// Report reads a report, if it is for the one who asks.
func (tx *Tx) Report(ctx context.Context, id domain.ReportID) (domain.Report, error) {
	actor, err := tx.Actor(ctx)
	if err != nil {
		return domain.Report{}, err
	}
	if actor.Role != domain.Funder {
		return Reports.Get(ctx, tx, id)
	}
	sql := fmt.Sprintf(`select %s from report n where n.coop_id = $1 and own_site(null) and n.id = $2 and %s`, Reports.columns("n", "n"), ofFunder)
	found, err := all[domain.Report](ctx, tx, sql, tx.coop, id)
	if err == nil && len(found) == 0 {
		return domain.Report{}, Reports.Missing()
	}
	if err != nil {
		return domain.Report{}, err
	}
	return found[0], nil
}
