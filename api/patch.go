package api

import (
	"bytes"
	"encoding/json"
)

// mergePatch applies a JSON Merge Patch (RFC 7396): what the patch names replaces
// what is there, null takes it away, and objects are merged member by member.
func mergePatch(target, patch json.RawMessage) (json.RawMessage, error) {
	if !isObject(patch) {
		return patch, nil
	}
	members, changes := map[string]json.RawMessage{}, map[string]json.RawMessage{}
	if err := json.Unmarshal(patch, &changes); err != nil {
		return nil, err
	}
	if isObject(target) {
		if err := json.Unmarshal(target, &members); err != nil {
			return nil, err
		}
	}
	for name, change := range changes {
		if string(change) == "null" {
			delete(members, name)
			continue
		}
		merged, err := mergePatch(members[name], change)
		if err != nil {
			return nil, err
		}
		members[name] = merged
	}
	return json.Marshal(members)
}

func isObject(v json.RawMessage) bool {
	return bytes.HasPrefix(bytes.TrimLeft(v, " \t\r\n"), []byte{'{'})
}
