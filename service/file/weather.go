package file

import (
	"errors"
	"strings"

	"rillturn.example/rillturn/engine/waterneed"
)

// WeatherDay is one day of one station, measured or forecast. Values that are not known are left out.
type WeatherDay struct {
	Station string `json:"station" file:"required"`
	Day     Day    `json:"day"     file:"required"`
	Kind    string `json:"kind"    file:"required"` // measured or forecast
	NeedConditions
}

// EngineDate returns the calendar date as the engine writes it.
func (d Day) EngineDate() waterneed.Date {
	y, m, day := d.Date()
	return waterneed.Date{Year: y, Month: int(m), Day: day}
}

// EngineDay returns the day's weather as the engine reads it.
func (d WeatherDay) EngineDay() waterneed.Day {
	return waterneed.Day{Date: d.Day.EngineDate(), Weather: d.engine()}
}

// Validate returns nil or Faults with what the engine can't use, such as a wind that looks like another unit; at is the
// pointer of the day in its document.
func (d WeatherDay) Validate(at string) error {
	climate := waterneed.Climate{Measured: []waterneed.Day{d.EngineDay()}}
	var faults Faults
	if err := enginePointers("", climate.Validate()); err != nil && !errors.As(err, &faults) {
		return err
	}
	for i, f := range faults {
		faults[i].Pointer = at + f.Pointer[strings.LastIndexByte(f.Pointer, '/'):]
	}
	return faults.Err()
}
