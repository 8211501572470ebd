package api

import (
	"encoding/json"
	"slices"
	"strings"
	"time"

	"shoalbook/api/render"
	"shoalbook/domain"
)

// entryColumns are those of entries as CSV: what every entry has, then the members of
// all kinds, each once, then what the service says of it, and last the currency of amounts.
var entryColumns = func() []string {
	names := []string{"id", "kind", "site_id", "occurred_on", "occurred_at", "note"}
	for _, kind := range domain.Kinds() {
		members, _ := domain.Members(kind)
		for _, m := range members {
			if !slices.Contains(names, m) {
				names = append(names, m)
			}
		}
	}
	return append(names, "recorded_at", "recorded_by", "device", "value", "reversed_by", "currency")
}()

// entryTable has an entry in each row; a member that its kind has not, or that was left
// out, is empty, and one that is made of others stands as its JSON.
func entryTable(items []recordedEntry, c domain.Currency) (*render.Table, error) {
	columns := make([]render.Column, len(entryColumns))
	for i, name := range entryColumns {
		columns[i] = render.Column{Name: name, As: render.Exact("")}
	}
	rows := make([][]render.Cell, len(items))
	for i, e := range items {
		cells, err := entryCells(e, c)
		if err != nil {
			return nil, err
		}
		rows[i] = cells
	}
	return &render.Table{Name: "entries", Columns: columns, Rows: slices.Values(rows), Data: true}, nil
}

func entryCells(e recordedEntry, c domain.Currency) ([]render.Cell, error) {
	var members map[string]json.RawMessage
	if err := json.Unmarshal(e.Entry, &members); err != nil {
		return nil, err
	}
	said := map[string]string{"recorded_at": e.RecordedAt.UTC().Format(time.RFC3339Nano), "recorded_by": e.RecordedBy, "value": e.Value, "currency": string(c)}
	if e.Device != nil {
		said["device"] = *e.Device
	}
	if e.ReversedBy != nil {
		said["reversed_by"] = e.ReversedBy.String()
	}
	cells := make([]render.Cell, len(entryColumns))
	for i, name := range entryColumns {
		text := said[name]
		if raw, ok := members[name]; ok {
			text = string(raw)
			if strings.HasPrefix(text, `"`) {
				if err := json.Unmarshal(raw, &text); err != nil {
					return nil, err
				}
			}
		}
		cells[i].Text = text
	}
	return cells, nil
}
