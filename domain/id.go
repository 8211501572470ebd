package domain

import (
	"encoding/hex"
	"errors"
)

// ID identifies a T: sixteen bytes, written as a UUID (RFC 9562). The type
// parameter only keeps the identifiers of different things apart.
type ID[T any] [16]byte

// The identifiers of the things a co-operative has.
type (
	CoopID      = ID[Coop]
	SiteID      = ID[SiteFacts]
	UnitID      = ID[Unit]
	LoopID      = ID[Loop]
	PartyID     = ID[Party]
	ProductID   = ID[Product]
	EquipmentID = ID[Equipment]
	BatchID     = ID[Batch]
	EntryID     = ID[Entry]
	MemberID    = ID[Member]
	TokenID     = ID[Token]
	PeriodID    = ID[Period]
	LimitID     = ID[WaterLimit]
	QuestionID  = ID[Question]
	RoundID     = ID[Round]
	RequestID   = ID[Request]
	QuoteID     = ID[Quote]
	OrderID     = ID[Order]
	DepositID   = ID[Deposit]
	DeliveryID  = ID[Delivery]
	ClaimID     = ID[DropClaim]
	GrantID     = ID[Grant]
	GrantCostID = ID[GrantCost]
	IndicatorID = ID[Indicator]
	FactorID    = ID[OwnFactor]
	ReportID    = ID[Report]
	LinkID      = ID[ReportLink]
)

var errID = errors.New("not a UUID such as 0190b2a4-5f3e-7c1a-9d2b-3f4e5a6b7c8d")

// ParseID reads the 36-character form of a UUID. It refuses the nil and the
// max UUID, which identify nothing.
func ParseID[T any](s string) (ID[T], error) {
	var id ID[T]
	if len(s) != 36 || s[8] != '-' || s[13] != '-' || s[18] != '-' || s[23] != '-' {
		return id, errID
	}
	var digits [32]byte
	copy(digits[:], s[:8])
	copy(digits[8:], s[9:13])
	copy(digits[12:], s[14:18])
	copy(digits[16:], s[19:23])
	copy(digits[20:], s[24:])
	if _, err := hex.Decode(id[:], digits[:]); err != nil {
		return ID[T]{}, errID
	}
	if id == (ID[T]{}) || id == maxID[T]() {
		return ID[T]{}, errID
	}
	return id, nil
}

func maxID[T any]() ID[T] {
	var id ID[T]
	for i := range id {
		id[i] = 0xff
	}
	return id
}

// String returns the 36-character form.
func (id ID[T]) String() string {
	b, _ := id.MarshalText()
	return string(b)
}

// IsZero reports whether id identifies nothing.
func (id ID[T]) IsZero() bool { return id == ID[T]{} }

// Compare orders identifiers by their bytes.
func (id ID[T]) Compare(other ID[T]) int {
	for i := range id {
		if id[i] != other[i] {
			return int(id[i]) - int(other[i])
		}
	}
	return 0
}

// MarshalText returns the 36-character form.
func (id ID[T]) MarshalText() ([]byte, error) {
	b := make([]byte, 36)
	hex.Encode(b, id[:4])
	hex.Encode(b[9:], id[4:6])
	hex.Encode(b[14:], id[6:8])
	hex.Encode(b[19:], id[8:10])
	hex.Encode(b[24:], id[10:])
	b[8], b[13], b[18], b[23] = '-', '-', '-', '-'
	return b, nil
}

// UnmarshalText reads the 36-character form.
func (id *ID[T]) UnmarshalText(b []byte) error {
	v, err := ParseID[T](string(b))
	if err == nil {
		*id = v
	}
	return err
}
