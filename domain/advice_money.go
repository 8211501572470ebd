package domain

// overdueDays is after how many days a debt is overdue (common practice, no source).
const overdueDays = 30

// Debt is what is overdue between a party and the co-operative, whatever the site:
// payments are taken for the oldest debts first.
type Debt struct {
	Party  PartyID
	Name   string
	Phone  *string
	Ours   bool // the co-operative owes it to the party
	Amount Money
	From   Date // the oldest of the entries that are not paid for
}

// DebtsDue returns the last day whose debts are overdue as of a day.
func DebtsDue(day Date) Date { return day - overdueDays }

// Advise returns what to do about a debt.
func (d *Debt) Advise(t Tongue, c Currency, today Date) Advice {
	money := t.decimals(c.Format(d.Amount)) + " " + string(c)
	x := Advice{Code: "debt_overdue", Severity: Later, Party: &d.Party, Since: d.From,
		Figures: []NamedNumber{{"days", computed(float64(today-d.From), "days", "since the oldest of it")}, {"overdue_after_days", recorded(overdueDays, "days", "common practice, no source")}},
		Until:   t.say("a payment of %s", "un paiement de %s", money)}
	if d.Ours {
		x.Measure, x.Behind = "ours", Behind{Kinds: []string{"stocking", "receipt", "expense", "payment"}}
		x.Call = []Contact{{Name: d.Name, Phone: d.Phone, Who: "supplier"}}
		x.Why = t.say("The co-operative has owed %s %s since %s.", "La coopérative doit à %s %s depuis le %s.", d.Name, money, t.date(d.From))
		x.Do = t.say("Ask the treasurer whether it was paid and not recorded. If not, call %s, name a day for the payment, and keep it: who is not paid does not deliver feed or fingerlings.",
			"Demandez à la trésorerie si c'est payé sans être noté. Sinon, appelez %s, fixez un jour de paiement et tenez-le : qui n'est pas payé ne livre plus ni aliment ni alevins.", d.Name)
		x.SMS = sms([]string{d.Name}, t.say("we owe %s since %s. Was it paid and not recorded? If not, when can we pay?", "nous devons %s depuis le %s. Payé mais pas noté? Sinon, quand pouvons-nous payer?", money, t.date(d.From)))
		return x
	}
	x.Measure, x.Behind = "theirs", Behind{Kinds: []string{"sale", "payment"}}
	x.Call = []Contact{{Name: d.Name, Phone: d.Phone, Who: "buyer"}}
	x.Why = t.say("%s has owed %s since %s.", "%s doit %s depuis le %s.", d.Name, money, t.date(d.From))
	x.Do = t.say("Ask the school whether it was paid and not recorded. If not, call %s, agree on a day, and sell only for cash until then.",
		"Demandez à l'école si c'est payé sans être noté. Sinon, appelez %s, convenez d'un jour, et d'ici là ne vendez qu'au comptant.", d.Name)
	x.SMS = sms([]string{d.Name}, t.say("owes %s since %s. Was it paid and not recorded? If not, please ask for it and sell only for cash.", "doit %s depuis le %s. Payé mais pas noté? Sinon, relancez et ne vendez qu'au comptant.", money, t.date(d.From)))
	return x
}
