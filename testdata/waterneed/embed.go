// Package waterneed holds the open daily weather of two stations in 2015 and the seasons that are reckoned on it.
package waterneed

import _ "embed"

// Weather2015 is the daily weather of both stations as CSV.
//
//go:embed weather-2015.csv
var Weather2015 []byte

// Season asks for the seasons of three crops at both stations, as a season file.
//
//go:embed season.json
var Season []byte
