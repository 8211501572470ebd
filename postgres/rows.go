package postgres

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"sync"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgtype"

	"shoalbook/domain"
)

// rowsTo reads rows as structs, by the names of the columns: every column has its field,
// and every field its column, unless they are for a part of the fields only. It reads
// what the wire has straight into the fields, by readers that are looked up once for a
// struct and the columns; the driver's own way looks at the type of each field again in
// every row, which takes longer than all else of a wide row.
func rowsTo[T any](rows pgx.Rows, part bool) ([]T, error) {
	defer rows.Close()
	list := []T{}
	var read []reader
	for rows.Next() {
		if read == nil {
			var err error
			if read, err = readersOf(reflect.TypeFor[T](), rows.FieldDescriptions(), part); err != nil {
				return nil, err
			}
		}
		if len(list) == cap(list) { // rows are wide
			list = slices.Grow(list, max(len(list), 4))
		}
		list = append(list, *new(T))
		row := reflect.ValueOf(&list[len(list)-1]).Elem()
		for i, raw := range rows.RawValues() {
			r := &read[i]
			field := row
			for _, n := range r.field {
				field = field.Field(n)
			}
			var err error
			if r.read == nil {
				d := &rows.FieldDescriptions()[i]
				err = rows.Conn().TypeMap().Scan(d.DataTypeOID, d.Format, raw, field.Addr().Interface())
			} else {
				err = r.read(field, raw)
			}
			if err != nil {
				return nil, fmt.Errorf("column %s: %w", rows.FieldDescriptions()[i].Name, err)
			}
		}
	}
	return list, rows.Err()
}

// reader reads a column into a field.
type reader struct {
	field []int
	read  func(field reflect.Value, raw []byte) error // nil: as the driver does it
}

// readersKey is what readers depend on: the struct, and the columns with their types.
type readersKey struct {
	of      reflect.Type
	columns string
}

var knownReaders sync.Map // readersKey to []reader

func readersOf(t reflect.Type, columns []pgconn.FieldDescription, part bool) ([]reader, error) {
	var signature strings.Builder
	for _, c := range columns {
		fmt.Fprintf(&signature, "%s %d %d,", c.Name, c.DataTypeOID, c.Format)
	}
	key := readersKey{t, signature.String()}
	if known, ok := knownReaders.Load(key); ok {
		return known.([]reader), nil
	}
	fields := map[string][]int{}
	fieldsOf(t, nil, fields)
	read := make([]reader, len(columns))
	for i, c := range columns {
		index, ok := fields[plainName(c.Name)]
		if !ok {
			return nil, fmt.Errorf("no field of %s is for the column %s", t, c.Name)
		}
		delete(fields, plainName(c.Name))
		read[i].field = index
		if c.Format == pgtype.BinaryFormatCode {
			read[i].read = readerOf(t.FieldByIndex(index).Type, c.DataTypeOID)
		}
	}
	if !part && len(fields) > 0 {
		return nil, fmt.Errorf("no column is for the fields %v of %s", fields, t)
	}
	knownReaders.Store(key, read)
	return read, nil
}

// fieldsOf finds the exported fields of a struct, those of embedded ones as its own.
func fieldsOf(t reflect.Type, above []int, into map[string][]int) {
	for f := range t.Fields() {
		index := append(above[:len(above):len(above)], f.Index...)
		switch {
		case f.Anonymous && f.Type.Kind() == reflect.Struct:
			fieldsOf(f.Type, index, into)
		case f.IsExported():
			into[plainName(f.Name)] = index
		}
	}
}

func plainName(name string) string { return strings.ToLower(strings.ReplaceAll(name, "_", "")) }

var errNull = errors.New("there is none, and the field cannot say so")

// readerOf returns what reads a value in binary into a field of a type; nil if only the
// driver can.
func readerOf(t reflect.Type, oid uint32) func(reflect.Value, []byte) error {
	if t.Kind() == reflect.Pointer {
		inner := readerOf(t.Elem(), oid)
		if inner == nil {
			return nil
		}
		return func(field reflect.Value, raw []byte) error {
			if raw == nil {
				field.SetZero()
				return nil
			}
			p := reflect.New(t.Elem())
			field.Set(p)
			return inner(p.Elem(), raw)
		}
	}
	if element, ok := arrays[oid]; ok {
		return arrayReader(t, element)
	}
	read := scalarReader(t, oid)
	if read == nil {
		return nil
	}
	return func(field reflect.Value, raw []byte) error {
		if raw == nil {
			return errNull
		}
		return read(field, raw)
	}
}

// arrays of which the elements can be read.
var arrays = map[uint32]uint32{pgtype.Int8ArrayOID: pgtype.Int8OID, pgtype.DateArrayOID: pgtype.DateOID,
	pgtype.Float8ArrayOID: pgtype.Float8OID, pgtype.UUIDArrayOID: pgtype.UUIDOID, pgtype.TextArrayOID: pgtype.TextOID}

func scalarReader(t reflect.Type, oid uint32) func(reflect.Value, []byte) error {
	isDate := t == reflect.TypeFor[domain.Date]()
	switch k := t.Kind(); {
	case oid == pgtype.DateOID && isDate:
		return sized(4, func(field reflect.Value, raw []byte) {
			field.SetInt(int64(int32(binary.BigEndian.Uint32(raw))) + int64(epoch))
		})
	case isDate:
	case oid == pgtype.Int8OID && k == reflect.Int64:
		return sized(8, func(field reflect.Value, raw []byte) { field.SetInt(int64(binary.BigEndian.Uint64(raw))) })
	case oid == pgtype.Int4OID && (k == reflect.Int32 || k == reflect.Int64):
		return sized(4, func(field reflect.Value, raw []byte) { field.SetInt(int64(int32(binary.BigEndian.Uint32(raw)))) })
	case oid == pgtype.Int2OID && (k == reflect.Int16 || k == reflect.Int32 || k == reflect.Int64):
		return sized(2, func(field reflect.Value, raw []byte) { field.SetInt(int64(int16(binary.BigEndian.Uint16(raw)))) })
	case oid == pgtype.Float8OID && k == reflect.Float64:
		return sized(8, func(field reflect.Value, raw []byte) {
			field.SetFloat(math.Float64frombits(binary.BigEndian.Uint64(raw)))
		})
	case oid == pgtype.BoolOID && k == reflect.Bool:
		return sized(1, func(field reflect.Value, raw []byte) { field.SetBool(raw[0] != 0) })
	case oid == pgtype.UUIDOID && k == reflect.Array && t.Len() == 16 && t.Elem().Kind() == reflect.Uint8:
		return sized(16, func(field reflect.Value, raw []byte) { copy(field.Bytes(), raw) })
	case oid == pgtype.ByteaOID && k == reflect.Array && t.Elem().Kind() == reflect.Uint8:
		return sized(t.Len(), func(field reflect.Value, raw []byte) { copy(field.Bytes(), raw) })
	case oid == pgtype.TextOID && k == reflect.String:
		return func(field reflect.Value, raw []byte) error {
			field.SetString(string(raw))
			return nil
		}
	}
	return nil
}

// sized reads values of a fixed size.
func sized(n int, read func(reflect.Value, []byte)) func(reflect.Value, []byte) error {
	return func(field reflect.Value, raw []byte) error {
		if len(raw) != n {
			return fmt.Errorf("a value of %d bytes, not %d", len(raw), n)
		}
		read(field, raw)
		return nil
	}
}

// arrayReader reads arrays of one dimension into a slice, or into an array of as many.
func arrayReader(t reflect.Type, element uint32) func(reflect.Value, []byte) error {
	if t.Kind() != reflect.Slice && t.Kind() != reflect.Array {
		return nil
	}
	read := scalarReader(t.Elem(), element)
	if read == nil {
		return nil
	}
	return func(field reflect.Value, raw []byte) error {
		if raw == nil {
			if t.Kind() == reflect.Array {
				return errNull
			}
			field.SetZero()
			return nil
		}
		n, values, err := arrayHead(raw)
		switch {
		case err != nil:
			return err
		case t.Kind() == reflect.Slice:
			field.Set(reflect.MakeSlice(t, n, n))
		case n != t.Len():
			return fmt.Errorf("%d elements, not %d", n, t.Len())
		}
		for i := range n {
			if len(values) < 4 {
				return errShort
			}
			size := int(int32(binary.BigEndian.Uint32(values)))
			values = values[4:]
			if size < 0 {
				return errNull
			}
			if len(values) < size {
				return errShort
			}
			if err := read(field.Index(i), values[:size]); err != nil {
				return err
			}
			values = values[size:]
		}
		return nil
	}
}

var errShort = errors.New("an array ends too early")

// arrayHead returns how many elements an array has, and where they are.
func arrayHead(raw []byte) (n int, values []byte, err error) {
	if len(raw) < 12 {
		return 0, nil, errShort
	}
	switch dimensions := binary.BigEndian.Uint32(raw); {
	case dimensions == 0:
		return 0, nil, nil
	case dimensions > 1:
		return 0, nil, fmt.Errorf("an array of %d dimensions", dimensions)
	case len(raw) < 20:
		return 0, nil, errShort
	}
	return int(binary.BigEndian.Uint32(raw[12:])), raw[20:], nil
}
