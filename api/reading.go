package api

import (
	"encoding/json"
	"errors"

	"shoalbook/domain"
)

// A reading turns members of a request into what they say, and gathers every one
// that says nothing. Numbers come as their literal text, so that nothing is lost.
type reading struct {
	currency domain.Currency
	bad      []domain.FieldError
	unclear  bool // one of them is not merely too precise
}

// decimal reads a number of up to three decimals, if there is one.
func (r *reading) decimal(n *json.Number, pointer string) *domain.Thousandths {
	if n == nil {
		return nil
	}
	v, err := domain.ParseThousandths(n.String())
	r.note(err, pointer)
	return &v
}

// whole reads a number that the contract says is whole and not large.
func (r *reading) whole(n json.Number, pointer string) int32 {
	v, err := domain.ParseThousandths(n.String())
	r.note(err, pointer)
	return int32(v / 1000)
}

// count reads a whole number of any size, or what stands for none.
func (r *reading) count(n *json.Number, pointer string, otherwise int64) int64 {
	if n == nil {
		return otherwise
	}
	v, err := domain.ParseThousandths(n.String())
	r.note(err, pointer)
	return int64(v) / 1000
}

// price reads a unit price in the currency of the co-operative.
func (r *reading) price(s, pointer string) domain.UnitPrice {
	v, err := r.currency.ParsePrice(s)
	r.note(err, pointer)
	return v
}

// money reads an amount in the currency of the co-operative.
func (r *reading) money(s, pointer string) domain.Money {
	v, err := r.currency.Parse(s)
	r.note(err, pointer)
	return v
}

// optionalMoney is money, or nothing.
func (r *reading) optionalMoney(s *string, pointer string) domain.Money {
	if s == nil {
		return 0
	}
	return r.money(*s, pointer)
}

func (r *reading) note(err error, pointer string) {
	if err == nil {
		return
	}
	if _, precise := errors.AsType[domain.TooPrecise](err); !precise {
		r.unclear = true
	}
	r.bad = append(r.bad, domain.FieldError{Pointer: pointer, Detail: err.Error()})
}

// refusal returns all that could not be read as one answer, or nil.
func (r *reading) refusal() error {
	switch {
	case len(r.bad) == 0:
		return nil
	case r.unclear:
		return &domain.Error{Kind: domain.Invalid, Code: "invalid_request", Detail: "not every number can be read", Fields: r.bad}
	}
	return &domain.Error{Kind: domain.Invalid, Code: "too_precise", Detail: "there are more decimals than are kept; nothing is rounded behind your back", Fields: r.bad}
}

// decimal writes a quantity of up to three decimals, if there is one.
func decimal[T ~int64](v *T) *json.Number {
	if v == nil {
		return nil
	}
	n := json.Number(domain.Thousandths(*v).Format())
	return &n
}
