package api

import (
	"bytes"
	"encoding/json"
	"reflect"
	"strings"
	"testing"
	"unicode/utf8"
)

func standardJSON(b []byte) (any, error) {
	d := json.NewDecoder(bytes.NewReader(b))
	d.UseNumber()
	var v any
	if err := d.Decode(&v); err != nil {
		return nil, err
	}
	return v, nil
}

func TestJSONIsReadAsByTheStandardLibrary(t *testing.T) {
	t.Parallel()
	for _, text := range []string{
		`null`, ` true `, `false`, `0`, `-0.50e+10`, `1E-2`, `""`, `"a"`, `[]`, `{}`, `[ 1 , [ ] , { } ]`,
		`{"a":{"b":[1,2,{"c":null}]},"":0}`, `"\u00e9\ud83d\udc1f\n\/"`, "\"\u2028é🐟\x7f\"", "\r\n\t {\"a\"\t:\n1}\r",
		strings.Repeat("[", maxDepth) + strings.Repeat("]", maxDepth),
		`{"kind":"death","count":12345678901234567890.000}`,
	} {
		got, err := decodeJSON([]byte(text), map[string]string{"kind": "kind"})
		if err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		if want, err := standardJSON([]byte(text)); err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("%s is read as %#v, want %#v (%v)", text, got, want, err)
		}
	}
}

func TestJSONThatIsNoneIsRefused(t *testing.T) {
	t.Parallel()
	for _, text := range []string{
		``, ` `, `nul`, `nulls`, `True`, `+1`, `01`, `.5`, `1.`, `1e`, `--1`, `0x1`, `NaN`, `Infinity`, `'a'`, `"a`, `"\x"`, `"\u12"`, `"\u12g4"`, `"\u+123"`,
		"\"a\nb\"", "\"\x00\"", `[`, `[1`, `[1,`, `[1,]`, `[1 2]`, `{`, `{"a"`, `{"a":`, `{"a":1`, `{"a":1,`, `{"a":1,}`, `{a:1}`, `{1:1}`, `{"a" 1}`,
		`1 2`, `{} {}`, `]`, `}`, "\ufeff{}", `/* */ {}`, "\"\xff\"", "\"\xed\xa0\x80\"",
		`"\ud83d"`, `"\ud83d\u0041"`, `"\udc1f\ud83d"`, `"\ud83dx"`, `"\u0000"`, `{"\u0000":1}`, `{"a":1,"a":1}`, `{"a":1,"\u0061":1}`,
		strings.Repeat("[", maxDepth+1) + strings.Repeat("]", maxDepth+1), strings.Repeat("[", 1_000_000),
		"[" + strings.Repeat("1,", maxValues) + "1]", strings.Repeat("1", maxNumber+1),
	} {
		if v, err := decodeJSON([]byte(text), nil); err == nil {
			t.Errorf("%.50q is read as %#v", text, v)
		}
	}
}

// FuzzDecodeJSON holds the decoder against the standard library's: what ours reads
// the other reads the same; what only the other reads is one of the things that
// ours is there to refuse.
func FuzzDecodeJSON(f *testing.F) {
	for _, text := range []string{
		entries(feeding), `{"a":[1,-2.5e3,"x\u00e9\ud83d\udc1f",null,true,{}]}`, `{"a":1,"a":2}`, `"\ud800"`, `"\u0000"`, `[[[[]]]] x`, `1e+5`, "\"\xff\"",
	} {
		f.Add([]byte(text))
	}
	names := map[string]string{"entries": "entries", "kind": "kind"}
	f.Fuzz(func(t *testing.T, b []byte) {
		got, err := decodeJSON(b, names)
		want, standard := standardJSON(b)
		if err == nil {
			if standard != nil || !reflect.DeepEqual(got, want) {
				t.Fatalf("%q is read as %#v, by the standard library as %#v (%v)", b, got, want, standard)
			}
			return
		}
		refusal := err.(interface{ Error() string }).Error()
		if standard == nil && json.Valid(b) && utf8.Valid(b) {
			for _, ours := range []string{"twice", "surrogate", "U+0000", "nested", "values", "characters"} {
				if strings.Contains(refusal, ours) {
					return
				}
			}
			t.Fatalf("%q is refused: %v", b, err)
		}
	})
}

func BenchmarkDecodeJSON(b *testing.B) {
	v := testValidator(b)
	for name, body := range map[string]string{"one": entries(feeding), "thousand": entries(strings.Split(strings.Repeat(feeding+"\n", 1000), "\n")[:1000]...)} {
		b.Run(name, func(b *testing.B) {
			b.SetBytes(int64(len(body)))
			b.ReportAllocs()
			for b.Loop() {
				if _, err := decodeJSON([]byte(body), v.names); err != nil {
					b.Fatal(err)
				}
			}
		})
		b.Run(name+"/standard", func(b *testing.B) {
			b.SetBytes(int64(len(body)))
			b.ReportAllocs()
			for b.Loop() {
				if _, err := standardJSON([]byte(body)); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
