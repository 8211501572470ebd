package integration_test

import (
	"encoding/json"
	"maps"
	"path"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"pgregory.net/rapid"

	"shoalbook/domain"
)

// A drawer draws values that a schema of the contract allows, of the kind people
// send: mostly small and about what is there, at times as far out as allowed.
type drawer struct {
	t     *rapid.T
	w     *world
	spots []spot // all that was drawn
}

// A spot is a place in a value where one of its parts is, so that it can be broken.
type spot struct {
	where  string
	schema *openapi3.Schema
	value  any
	set    func(any) bool // reports whether the spot is still there
}

var (
	bytes16 = rapid.SliceOfN(rapid.Byte(), 16, 16)
	words   = rapid.StringOfN(rapid.RuneFrom([]rune("abcdefgh äß水🐟'\"<>\\%/")), 1, 12, -1)
	zones   = rapid.SampledFrom([]string{"Africa/Lusaka", "Africa/Nairobi", "UTC", "Pacific/Kiritimati", "America/St_Johns"})
)

// oneIn returns true once in so many draws.
func (d *drawer) oneIn(n int) bool { return rapid.IntRange(0, n-1).Draw(d.t, "chance") == n-1 }

func pick[T any](t *rapid.T, what string, from []T) T { return rapid.SampledFrom(from).Draw(t, what) }

// value draws what a schema allows. The name is that of the member or parameter.
func (d *drawer) value(ref *openapi3.SchemaRef, name string) any {
	s := ref.Value
	switch {
	case s.Nullable && d.oneIn(4):
		return nil
	case name == "measure" && len(s.Enum) == 2 && !d.oneIn(4): // of an indicator that is no percentage
		return "unit"
	case len(s.Enum) > 0:
		return pick(d.t, name, slices.DeleteFunc(slices.Clone(s.Enum), func(v any) bool { return v == nil }))
	case s.Discriminator != nil:
		kinds := slices.Sorted(maps.Keys(s.Discriminator.Mapping))
		kind := kinds[(rapid.IntRange(0, len(kinds)-1).Draw(d.t, "kind")+rapid.IntRange(0, len(kinds)-1).Draw(d.t, "more"))%len(kinds)]
		i := slices.IndexFunc(s.OneOf, func(r *openapi3.SchemaRef) bool { return r.Ref == s.Discriminator.Mapping[kind].Ref })
		entry := d.value(s.OneOf[i], name).(map[string]any)
		if !d.oneIn(8) {
			d.sensible(kind, entry)
		}
		return entry
	}
	switch (*s.Type)[0] {
	case openapi3.TypeObject:
		return d.object(s, name)
	case openapi3.TypeArray:
		return d.list(s, name)
	case openapi3.TypeBoolean:
		return rapid.Bool().Draw(d.t, name)
	case openapi3.TypeInteger:
		return d.between(name, bound(s.Min, -1<<53), bound(s.Max, 1<<53))
	case openapi3.TypeNumber:
		return d.number(s, name)
	}
	return d.text(path.Base(ref.Ref), s, name)
}

func bound(v *float64, otherwise int64) int64 {
	if v == nil {
		return otherwise
	}
	return int64(*v)
}

// between draws a whole number, mostly a small one.
func (d *drawer) between(name string, low, high int64) int64 {
	switch rapid.IntRange(0, 9).Draw(d.t, "how large") {
	case 9:
		return pick(d.t, name, []int64{low, high})
	case 8:
		return rapid.Int64Range(low, high).Draw(d.t, name)
	}
	low = min(max(low, 0), high)
	return rapid.Int64Range(low, min(high, low+60)).Draw(d.t, name)
}

// number draws a decimal with as many places as are kept, or fewer.
func (d *drawer) number(s *openapi3.Schema, name string) any {
	low, high := bound(s.Min, -1<<40)*1000, bound(s.Max, 1<<40)*1000
	if s.ExclusiveMin.IsTrue() {
		low++
	}
	if name == "coordinates" { // the first of them is a longitude, which may be more
		low, high = low/2, high/2
	}
	v := d.between(name, low, high)
	if name == "hours" {
		v = max(10, v/10*10)
	}
	if name == "mean_length_cm" {
		v = min(v+300, high)
	}
	return json.Number(strconv.FormatFloat(float64(v)/1000, 'f', -1, 64))
}

func (d *drawer) list(s *openapi3.Schema, name string) any {
	most := s.MinItems + 3
	if name == "entries" {
		most = 8
	}
	if name == "sites" && !s.UniqueItems && !d.oneIn(4) { // of a grant, of which each is another
		most = s.MinItems
	}
	if s.MaxItems != nil {
		most = min(most, *s.MaxItems)
	}
	items := []any{}
	for range rapid.Uint64Range(s.MinItems, most).Draw(d.t, name+" items") {
		v := d.value(s.Items, name)
		if s.UniqueItems && slices.Contains(items, v) {
			continue
		}
		items = append(items, v)
		i := len(items) - 1
		d.spots = append(d.spots, spot{name, s.Items.Value, v, func(v any) bool { items[i] = v; return true }})
	}
	return items
}

func (d *drawer) object(s *openapi3.Schema, name string) any {
	object := map[string]any{}
	members := slices.Sorted(maps.Keys(s.Properties))
	for _, m := range members {
		if !slices.Contains(s.Required, m) && !d.oneIn(3) {
			continue
		}
		d.member(object, s, m)
	}
	if s.Properties["grant_id"] != nil && s.Properties["equipment_id"] != nil && !d.oneIn(4) { // one of the two is charged
		if delete(object, "entry_id"); object["equipment_id"] == nil {
			d.member(object, s, "equipment_id")
		}
	}
	for uint64(len(object)) < s.MinProps {
		d.member(object, s, pick(d.t, name, members))
	}
	return object
}

func (d *drawer) member(object map[string]any, s *openapi3.Schema, name string) {
	v := d.value(s.Properties[name], name)
	if name == "code" && s.Properties["baseline"] != nil && !d.oneIn(8) { // of an indicator that there is
		v = pick(d.t, name, []string{"production", "sales", "survival"})
	}
	if end, ok := object["ends_on"].(string); ok && name == "starts_on" && v.(string) > end && !d.oneIn(6) {
		v = end
	}
	object[name] = v
	d.spots = append(d.spots, spot{name, s.Properties[name].Value, v, func(v any) bool {
		_, still := object[name]
		if still {
			object[name] = v
		}
		return still
	}})
}

// text draws a text; of is the name of its schema, if it has one.
func (d *drawer) text(of string, s *openapi3.Schema, name string) string {
	switch s.Format {
	case "uuid":
		return d.id(of, name)
	case "date":
		return d.date(name)
	case "date-time":
		return d.moment(name)
	}
	switch {
	case name == "zone":
		return zones.Draw(d.t, name)
	case strings.HasPrefix(name, "iati_") && !d.oneIn(4):
		return map[string]string{"iati_activity": "XM-1-FISH", "iati_reporter": "XM-1"}[name]
	case name == "currency":
		return pick(d.t, name, []string{"EUR", "ZMW", "EUR", "UGX"})
	case name == "formula" && !d.oneIn(4):
		return pick(d.t, name, []string{"harvested_kg", "eaten_kg + given_kg"})
	case name == "unit" && !d.oneIn(4):
		return "kg"
	case name == "line":
		return pick(d.t, name, []string{"feed", "people"})
	case of == "ReportCode" && !d.oneIn(8):
		return pick(d.t, name, []string{"production", "sales", "c_1", "c_2", "c_3", "c_4", "c_5", "c_6", "c_7"})
	case name == "name":
		return words.Draw(d.t, name) + "x"
	case of == "SpeciesCode" && !d.oneIn(8):
		return pick(d.t, name, []string{"CLZ", "TLN"})
	case of == "Amount", of == "GrantAmount", name == "salvage":
		return d.money(name, 2)
	case of == "UnitPrice":
		return d.money(name, 4)
	case s.Pattern != "" && s.Pattern != `\S`:
		return rapid.StringMatching(s.Pattern).Draw(d.t, name)
	}
	most := 40
	if s.MaxLength != nil {
		most = min(most, int(*s.MaxLength))
	}
	text := rapid.StringN(int(s.MinLength), most, -1).Draw(d.t, name)
	text = strings.ReplaceAll(text, "\x00", "0") // which there is no place for anywhere
	if s.Pattern != "" || strings.TrimSpace(text) == "" {
		text = "x" + text[min(len(text), 1):]
		text = strings.ToValidUTF8(text, "")
	}
	for len([]rune(text)) < int(s.MinLength) {
		text += "x"
	}
	return text
}

func (d *drawer) money(name string, places int) string {
	v := rapid.Int64Range(0, 900_000).Draw(d.t, name)
	switch rapid.IntRange(0, 9).Draw(d.t, "how written") {
	case 9:
		return pick(d.t, name, []string{"0", "0.0", "00.01", strings.Repeat("9", 8) + ".9"})
	case 8:
		return strconv.FormatInt(v, 10)
	}
	return strconv.FormatFloat(float64(v)/100, 'f', rapid.IntRange(2, places).Draw(d.t, "places"), 64)
}

// id draws the id of something that is there or, seldom, of nothing.
func (d *drawer) id(of, name string) string {
	switch {
	case name == "id" && of == "EntryID" && !d.oneIn(16), name == "id" && of == "BatchID" && !d.oneIn(8), name == "id" && of == "DeliveryID" && !d.oneIn(8):
		return d.fresh(name) // it is for something new
	case of == "" || of == ".":
		of = map[string]string{"loop_id": "LoopID", "who": "MemberID"}[name]
	}
	if known := d.w.ids[of]; len(known) > 0 && !d.oneIn(10) {
		return pick(d.t, name, known)
	}
	return d.fresh(name)
}

func (d *drawer) fresh(name string) string {
	var id domain.EntryID
	copy(id[:], bytes16.Draw(d.t, name))
	id[6], id[8] = id[6]&0x0f|0x40, id[8]&0x3f|0x80
	return id.String()
}

func (d *drawer) date(name string) string {
	if d.oneIn(12) {
		return pick(d.t, name, []string{"0001-01-01", "1989-12-31", "1990-01-01", "2024-02-29", (d.w.today + 1).String(), "2199-12-31", "9999-12-31"})
	}
	return (d.w.today - domain.Date(rapid.IntRange(0, 800).Draw(d.t, name))).String()
}

func (d *drawer) moment(name string) string {
	if name == "expires_at" {
		return time.Now().Add(time.Duration(rapid.IntRange(1, 600).Draw(d.t, name)) * 24 * time.Hour).UTC().Format(time.RFC3339)
	}
	if d.oneIn(4) {
		return pick(d.t, name, []string{"0001-01-01T00:00:00Z", "9999-12-31T23:59:59.999999999Z", "2026-01-01T00:00:00+14:00", "2025-06-30T12:00:00.5-03:30"})
	}
	return time.Now().Add(-time.Duration(rapid.Int64Range(1, int64(time.Hour)).Draw(d.t, name))).UTC().Format(time.RFC3339Nano)
}
