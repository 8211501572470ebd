package api

import (
	"encoding/json"
	"reflect"
	"testing"
)

// The vectors of RFC 7396, appendix A, from memory of the standard.
func TestMergePatch(t *testing.T) {
	t.Parallel()
	for _, c := range [][3]string{
		{`{"a":"b"}`, `{"a":"c"}`, `{"a":"c"}`},
		{`{"a":"b"}`, `{"b":"c"}`, `{"a":"b","b":"c"}`},
		{`{"a":"b"}`, `{"a":null}`, `{}`},
		{`{"a":"b","b":"c"}`, `{"a":null}`, `{"b":"c"}`},
		{`{"a":["b"]}`, `{"a":"c"}`, `{"a":"c"}`},
		{`{"a":"c"}`, `{"a":["b"]}`, `{"a":["b"]}`},
		{`{"a":{"b":"c"}}`, `{"a":{"b":"d","c":null}}`, `{"a":{"b":"d"}}`},
		{`{"a":[{"b":"c"}]}`, `{"a":[1]}`, `{"a":[1]}`},
		{`["a","b"]`, `["c","d"]`, `["c","d"]`},
		{`{"a":"b"}`, `["c"]`, `["c"]`},
		{`{"a":"foo"}`, `null`, `null`},
		{`{"a":"foo"}`, `"bar"`, `"bar"`},
		{`{"e":null}`, `{"a":1}`, `{"e":null,"a":1}`},
		{`[1,2]`, `{"a":"b","c":null}`, `{"a":"b"}`},
		{`{}`, `{"a":{"bb":{"ccc":null}}}`, `{"a":{"bb":{}}}`},
		// and one of our own: numbers keep their text
		{`{"a":9007199254740993,"b":1.50}`, ` { "b" : 0.1000000000000000000001 , "c": { "d" : null } }`, `{"a":9007199254740993,"b":0.1000000000000000000001,"c":{}}`},
	} {
		got, err := mergePatch(json.RawMessage(c[0]), json.RawMessage(c[1]))
		if err != nil {
			t.Errorf("%s with %s: %v", c[0], c[1], err)
			continue
		}
		read := func(b []byte) any {
			v, err := decodeJSON(b, nil)
			if err != nil {
				t.Errorf("%s with %s gives %s: %v", c[0], c[1], b, err)
			}
			return v
		}
		if !reflect.DeepEqual(read(got), read([]byte(c[2]))) {
			t.Errorf("%s with %s gives %s, want %s", c[0], c[1], got, c[2])
		}
	}
}
