package postgres

import (
	"database/sql/driver"
	"encoding/binary"
	"fmt"

	"github.com/jackc/pgx/v5/pgtype"

	"shoalbook/domain"
)

// Identifiers, quantities, names and pointers to them pass as they are: the driver
// looks through a named type to what it is made of. A date is the exception: in
// the program it is a number of days.

// registerTypes teaches a connection about domain.Date.
func registerTypes(m *pgtype.Map) {
	date := &pgtype.Type{Name: "date", OID: pgtype.DateOID, Codec: dateCodec{}}
	m.RegisterType(date)
	m.RegisterType(&pgtype.Type{Name: "_date", OID: pgtype.DateArrayOID, Codec: &pgtype.ArrayCodec{ElementType: date}})
}

// epoch is the day that the wire format of a date counts from: 2000-01-01.
var epoch = domain.NewDate(2000, 1, 1)

// dateCodec reads and writes a date column as domain.Date, in binary only, and
// knows neither infinity nor any other type.
type dateCodec struct{}

func (dateCodec) FormatSupported(format int16) bool { return format == pgtype.BinaryFormatCode }
func (dateCodec) PreferredFormat() int16            { return pgtype.BinaryFormatCode }

func (dateCodec) PlanEncode(_ *pgtype.Map, _ uint32, format int16, value any) pgtype.EncodePlan {
	if _, ok := value.(domain.Date); ok && format == pgtype.BinaryFormatCode {
		return datePlan{}
	}
	return nil
}

func (dateCodec) PlanScan(_ *pgtype.Map, _ uint32, format int16, target any) pgtype.ScanPlan {
	if _, ok := target.(*domain.Date); ok && format == pgtype.BinaryFormatCode {
		return datePlan{}
	}
	return nil
}

func (c dateCodec) DecodeDatabaseSQLValue(m *pgtype.Map, oid uint32, format int16, src []byte) (driver.Value, error) {
	return c.DecodeValue(m, oid, format, src)
}

func (dateCodec) DecodeValue(_ *pgtype.Map, _ uint32, _ int16, src []byte) (any, error) {
	if src == nil {
		return nil, nil
	}
	var d domain.Date
	err := datePlan{}.Scan(src, &d)
	return d, err
}

type datePlan struct{}

func (datePlan) Encode(value any, buf []byte) ([]byte, error) {
	return binary.BigEndian.AppendUint32(buf, uint32(value.(domain.Date)-epoch)), nil
}

func (datePlan) Scan(src []byte, target any) error {
	if len(src) != 4 {
		return fmt.Errorf("a date of %d bytes cannot be read, null included", len(src))
	}
	*target.(*domain.Date) = domain.Date(int32(binary.BigEndian.Uint32(src))) + epoch
	return nil
}
