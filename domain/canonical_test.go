package domain

import (
	"encoding/json"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Values of RFC 8785, from memory of it: the numbers of its appendix B, the sample of
// section 3.2.2 and the names of section 3.2.3.
func TestCanonicalNumbers(t *testing.T) {
	t.Parallel()
	for bits, want := range map[uint64]string{
		0x0000000000000000: "0",
		0x8000000000000000: "0",
		0x0000000000000001: "5e-324",
		0x8000000000000001: "-5e-324",
		0x7fefffffffffffff: "1.7976931348623157e+308",
		0xffefffffffffffff: "-1.7976931348623157e+308",
		0x4340000000000000: "9007199254740992",
		0xc340000000000000: "-9007199254740992",
		0x4430000000000000: "295147905179352830000",
		0x44b52d02c7e14af5: "9.999999999999997e+22",
		0x44b52d02c7e14af6: "1e+23",
		0x44b52d02c7e14af7: "1.0000000000000001e+23",
		0x444b1ae4d6e2ef4e: "999999999999999700000",
		0x444b1ae4d6e2ef4f: "999999999999999900000",
		0x444b1ae4d6e2ef50: "1e+21",
		0x3eb0c6f7a0b5ed8c: "9.999999999999997e-7",
		0x3eb0c6f7a0b5ed8d: "0.000001",
		0x41b3de4355555553: "333333333.3333332",
		0x41b3de4355555554: "333333333.33333325",
		0x41b3de4355555555: "333333333.3333333",
		0x41b3de4355555556: "333333333.3333334",
		0x41b3de4355555557: "333333333.33333343",
		0xbecbf647612f3696: "-0.0000033333333333333333",
		0x43143ff3c1cb0959: "1424953923781206.2",
	} {
		if got := string(appendDouble(nil, math.Float64frombits(bits))); got != want {
			t.Errorf("%016x is %s, want %s", bits, got, want)
		}
	}
}

func TestCanonicalTexts(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{
		`{
			"numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
			"string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
			"literals": [null, true, false]
		}`: `{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],"string":"€$\u000f\nA'B\"\\\\\"/"}`,
		`{"\u20ac": 1, "\r": 2, "\ufb33": 3, "1": 4, "\ud83d\ude00": 5, "\u0080": 6, "\u00f6": 7}`: "{\"\\r\":2,\"1\":4,\"\u0080\":6,\"ö\":7,\"€\":1,\"😀\":5,\"\ufb33\":3}",
		` [ ] `:    `[]`,
		`{"a":{}}`: `{"a":{}}`,
	} {
		got, err := Canonical([]byte(text))
		if err != nil || string(got) != want {
			t.Errorf("%s is\n%s (%v), want\n%s", text, got, err, want)
		}
	}
	for _, text := range []string{``, `{`, `1 2`, `1e999`, `{"a":1}x`} {
		if got, err := Canonical([]byte(text)); err == nil {
			t.Errorf("%q is %s, want an error", text, got)
		}
	}
}

// Whatever the text, it says the same, and what is canonical stays as it is.
func TestCanonicalSaysTheSame(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		v := map[string]any{}
		for range rapid.IntRange(0, 5).Draw(t, "n") {
			name := rapid.String().Draw(t, "name")
			switch rapid.IntRange(0, 2).Draw(t, "kind") {
			case 0:
				v[name] = rapid.String().Draw(t, "text")
			case 1:
				v[name] = rapid.Float64().Filter(func(f float64) bool { return f != 0 }).Draw(t, "number") // -0 becomes 0
			default:
				v[name] = []any{true, nil, rapid.String().Draw(t, "item")}
			}
		}
		once, err := CanonicalOf(v)
		if err != nil {
			t.Fatal(err)
		}
		var read any
		if err := json.Unmarshal(once, &read); err != nil {
			t.Fatalf("%s: %v", once, err)
		}
		was, _ := json.Marshal(v)
		is, _ := json.Marshal(read)
		if string(was) != string(is) {
			t.Fatalf("%s became %s", was, is)
		}
		if twice, err := Canonical(once); err != nil || string(twice) != string(once) {
			t.Fatalf("%s becomes %s, %v", once, twice, err)
		}
	})
}

// Any JSON text, also of numbers, escapes and names that are written in odd ways or twice,
// becomes what it does when all of it is read first.
func TestCanonicalByAnotherWay(t *testing.T) {
	t.Parallel()
	space := rapid.SampledFrom([]string{"", "", " ", "\n\t"})
	texts := rapid.SampledFrom([]string{`""`, `"a"`, `"b"`, `"\u0061"`, `"é"`, `"\u00e9"`, `"\ud83d\ude00"`, `"😀"`, `"\ufb33"`, `"\ud800"`, `"\u003c"`, `"<"`, `"\\\""`, `"\/"`, "\"\xff\"", `"\u2028"`})
	leaves := rapid.OneOf(texts, rapid.SampledFrom([]string{`0`, `-0`, `7`, `-7`, `123456789012345`, `9007199254740993`, `1e2`, `1.50`, `0.1E-9`, `123456789012345678901234`, `true`, `false`, `null`}))
	var value func(t *rapid.T, depth int) string
	value = func(t *rapid.T, depth int) string {
		around := func(s string) string { return space.Draw(t, "before") + s + space.Draw(t, "after") }
		kind := rapid.IntRange(0, 2).Draw(t, "kind")
		if depth == 0 || kind == 0 {
			return around(leaves.Draw(t, "leaf"))
		}
		var parts []string
		for range rapid.IntRange(0, 5).Draw(t, "parts") {
			part := value(t, depth-1)
			if kind == 1 {
				part = around(texts.Draw(t, "name")) + ":" + part
			}
			parts = append(parts, part)
		}
		if inside := strings.Join(parts, ","); kind == 1 {
			return around("{" + inside + "}")
		} else {
			return around("[" + inside + "]")
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		text := value(t, 3)
		d := json.NewDecoder(strings.NewReader(text))
		d.UseNumber()
		var v any
		if err := d.Decode(&v); err != nil {
			t.Fatalf("%s: %v", text, err)
		}
		want, err := bySteps(nil, v)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := Canonical([]byte(text)); err != nil || string(got) != string(want) {
			t.Fatalf("%s is\n%s (%v), want\n%s", text, got, err, want)
		}
	})
}

func bySteps(to []byte, v any) (_ []byte, err error) {
	switch v := v.(type) {
	case nil:
		return append(to, "null"...), nil
	case bool:
		return strconv.AppendBool(to, v), nil
	case string:
		return appendText(to, v), nil
	case json.Number:
		f, err := v.Float64()
		if err != nil {
			return nil, err
		}
		return appendDouble(to, f), nil
	case []any:
		to = append(to, '[')
		for i, item := range v {
			if i > 0 {
				to = append(to, ',')
			}
			if to, err = bySteps(to, item); err != nil {
				return nil, err
			}
		}
		return append(to, ']'), nil
	case map[string]any:
		names := make([]string, 0, len(v))
		for name := range v {
			names = append(names, name)
		}
		slices.SortFunc(names, byUTF16)
		to = append(to, '{')
		for i, name := range names {
			if i > 0 {
				to = append(to, ',')
			}
			to = append(appendText(to, name), ':')
			if to, err = bySteps(to, v[name]); err != nil {
				return nil, err
			}
		}
		return append(to, '}'), nil
	}
	panic("no value of JSON")
}
