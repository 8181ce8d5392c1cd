// Package garden holds the invented gardens that the demo, the examples and the tests run on.
package garden

import _ "embed"

// TanagerBend is a garden of 26 plots in three rows with two spigots and a raised tank.
//
//go:embed tanager-bend.json
var TanagerBend []byte

// CinderLane is a garden of six beds on one weak tap, with too few water hours.
//
//go:embed cinder-lane.json
var CinderLane []byte
