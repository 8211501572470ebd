// Package openapi holds the contract of the service and what is generated
// from it: the models, the server interface for gin and a client.
//
// The contract, openapi.yaml, is the source of truth. It is written by hand;
// the files that end in .gen.go are not.
package openapi

import _ "embed"

//go:generate go tool oapi-codegen -config types.cfg.yaml openapi.yaml
//go:generate go tool oapi-codegen -config server.cfg.yaml openapi.yaml
//go:generate go tool oapi-codegen -config client.cfg.yaml openapi.yaml

// YAML is the contract, OpenAPI 3.0.3.
//
//go:embed openapi.yaml
var YAML []byte
