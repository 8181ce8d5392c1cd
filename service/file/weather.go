package file

import "rillturn.example/rillturn/engine/waterneed"

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
