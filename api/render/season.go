package render

import "time"

// SeasonChart is the seasons of beds at several stations, each watered when its readily available water is used.
type SeasonChart struct {
	Units    Units
	Language string
	Seasons  []Season // station by station, bed by bed
}

// Season is the season of one bed at one station. Depths are over the ground.
type Season struct {
	StationName string
	CropName    string
	GroundM2    float64
	WetM2       float64
	Weeks       []SeasonWeek
	Total       SeasonWeek
	Rule        SeasonRule
}

// SeasonWeek is seven days of a season, the last week perhaps less; or all of it.
type SeasonWeek struct {
	From       time.Time // only the calendar date is read
	Days       int
	CropMm     float64 // used by the crop
	RainMm     float64
	RainUsedMm float64
	WaterMm    float64 // watering that the crop needed
	Liters     float64 // of it at the holes
	Waterings  int
	StressDays float64
	// RuleRatio is rain used and watering over an inch a week.
	RuleRatio float64
}

// SeasonRule is the same season by the rule of thumb: an inch each week, less rain.
type SeasonRule struct {
	Liters     float64
	StressDays float64
	LostMm     float64 // passes the roots
}
