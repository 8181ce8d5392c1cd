// Package openapi holds the contract of the HTTP API. The server's and the client's code are generated from it, requests
// are validated against it, and tests hold every answer against it.
package openapi

import _ "embed"

// Document is the contract as OpenAPI 3.1 in YAML.
//
//go:embed openapi.yaml
var Document []byte
