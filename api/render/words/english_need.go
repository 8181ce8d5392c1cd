package words

import (
	"fmt"
	"math"

	"rillturn.example/rillturn/engine/waterneed"
)

var englishNeed = needPhrases{
	flags: map[waterneed.Code]func(Printer, NeedFact) Notice{
		waterneed.FlagRainMissing: func(_ Printer, f NeedFact) Notice {
			return Notice{
				Text:   fmt.Sprintf("On %s nobody read a rain gauge; no rain was counted.", count(f.Days, "day", "days")),
				Remedy: "Enter the reading, even late: the ledger is worked out again from that day.",
			}
		},
		waterneed.FlagRainRead: func(p Printer, f NeedFact) Notice {
			return Notice{Text: fmt.Sprintf("On %s somebody read the rain from a gauge in the garden: %s in all.", count(f.Days, "day", "days"), p.Depth(f.Depth))}
		},
		waterneed.FlagRainSmall: func(p Printer, f NeedFact) Notice {
			return Notice{Text: fmt.Sprintf("On %s rain of %s in all was too light to reach the roots and was not counted.", count(f.Days, "day", "days"), p.Depth(f.Depth))}
		},
		waterneed.FlagRainUnderPlastic: func(p Printer, f NeedFact) Notice {
			return Notice{Text: fmt.Sprintf("On %s rain of %s in all ran off the plastic mulch and was not counted.", count(f.Days, "day", "days"), p.Depth(f.Depth))}
		},
		waterneed.FlagAssumedTurn: func(p Printer, f NeedFact) Notice {
			return Notice{
				Text:   fmt.Sprintf("On %s watering of %s in all is assumed as published; nobody reported it.", count(f.Days, "day", "days"), p.Depth(f.Depth)),
				Remedy: "Report what was watered and what was missed.",
			}
		},
		waterneed.FlagAssumedLeftOut: func(_ Printer, f NeedFact) Notice {
			return Notice{Text: fmt.Sprintf("Turns of %s that nobody reported are left out here.", count(f.Days, "day", "days"))}
		},
		waterneed.FlagPressureLost: func(_ Printer, f NeedFact) Notice {
			return Notice{
				Text:   fmt.Sprintf("On %s pressure was lost and nobody noted after how many minutes; that turn counts as nothing.", count(f.Days, "day", "days")),
				Remedy: "Enter the minutes, or dig and enter what you see.",
			}
		},
		waterneed.FlagDig: func(_ Printer, f NeedFact) Notice {
			return Notice{Text: fmt.Sprintf("%s set the ledger to what was seen in the soil.", upperFirst(count(f.Days, "dig", "digs")))}
		},
		waterneed.FlagWilting: func(_ Printer, f NeedFact) Notice {
			return Notice{
				Text:   fmt.Sprintf("On %s the root zone is dry to the wilting point.", count(f.Days, "day", "days")),
				Remedy: "Water by hand today, then dig and enter what you see.",
			}
		},
		waterneed.FlagPastCurve: func(_ Printer, f NeedFact) Notice {
			return Notice{
				Text:   fmt.Sprintf("On %s the planting is past the end of its season; its last water use is carried on.", count(f.Days, "day", "days")),
				Remedy: "Enter its end, or its real stage lengths.",
			}
		},
		waterneed.FlagOpeningAssumed: func(Printer, NeedFact) Notice {
			return Notice{Text: "How moist the soil was at the start is not known; half of what plants reach easily is taken as gone.", Remedy: "Dig and enter what you see."}
		},
		waterneed.FlagSoilAssumed: func(Printer, NeedFact) Notice {
			return Notice{
				Text: "The soil is not known; it counts as loam.",
				Remedy: "Squeeze a moist handful: what won't hold together is sand, a ball that gives no ribbon between thumb and finger loamy sand; a " +
					"ribbon under 2.5 cm (1 in) is sandy loam when gritty, silt loam when smooth, else loam; up to 5 cm (2 in) loam when gritty, else " +
					"silty clay loam; a longer one silty clay when smooth, else clay. Enter that.",
			}
		},
		waterneed.FlagCropJudged: func(Printer, NeedFact) Notice {
			return Notice{Text: "Some constants of this crop are judged, not published.", Remedy: "Correct them in the planting if you know better."}
		},
		waterneed.FlagDigAsked: func(Printer, NeedFact) Notice {
			return Notice{Text: "For 7 days or more nobody reported a watering or looked into the soil.", Remedy: "Dig a hand deep and enter what you see."}
		},
		waterneed.FlagSeedling: func(Printer, NeedFact) Notice {
			return Notice{Text: "Seedlings root shallow and need light water every day.", Remedy: "Water seed rows outside the wet strip by hand."}
		},
		waterneed.NoteDemandShortInterval: func(Printer, NeedFact) Notice {
			return Notice{Text: "The water that these plants reach easily lasts less than a day.", Remedy: "Water daily, mulch, or wet a wider strip."}
		},
		waterneed.NoteDemandDry: func(Printer, NeedFact) Notice {
			return Notice{Text: "These plants are short of water already when the schedule begins.", Remedy: "Give them the first turn, or water by hand before it."}
		},
		waterneed.NoteDemandSeedling: func(Printer, NeedFact) Notice {
			return Notice{Text: "Seedlings here are watered every day.", Remedy: "If no turn falls on a day, water them by can."}
		},
		waterneed.NoteDemandStarts: func(Printer, NeedFact) Notice {
			return Notice{Text: "A planting begins within this schedule; its need counts from then on."}
		},
		waterneed.NoteDemandEnds: func(Printer, NeedFact) Notice {
			return Notice{Text: "A planting ends within this schedule; its need counts until then."}
		},
	},
	rungs: map[waterneed.Code]func(int) string{
		waterneed.RungGiven:        rung("evaporation computed elsewhere, taken as given"),
		waterneed.RungMeasured:     rung("weather measured here"),
		waterneed.RungPartly:       rung("weather measured in part, the rest estimated"),
		waterneed.RungTemperatures: rung("only temperatures known, the rest estimated"),
		waterneed.RungForecast:     rung("temperatures forecast; rain of the forecast is not counted"),
		waterneed.RungRecentMean:   rung("no weather, the mean of the last seven days taken"),
		waterneed.RungNormals:      rung("no weather, the usual values of the season taken"),
		waterneed.RungLatitude:     rung("no weather at all, a table by month and latitude taken"),
	},
	notes: map[waterneed.Code]func(int) Notice{
		waterneed.NoteWindRaised:       note("the wind was under 0.5 m/s and was raised to it, as the method asks", ""),
		waterneed.NoteWindCalm:         note("the mean wind is under 0.3 m/s, less than anemometers read", "Check the unit and the height of the wind."),
		waterneed.NoteSaturated:        note("the air would be moister than saturated; it counts as saturated", "Check humidity and dew point."),
		waterneed.NoteET0Negative:      note("evaporation came out below zero and counts as none", ""),
		waterneed.NoteRadiationClear:   note("radiation was above a clear sky's and was held to it", "Check the unit of the radiation."),
		waterneed.NoteSoilHeatUnknown:  note("the months before and after are not known, so the soil's heat is left out", ""),
		waterneed.NoteSunshineAboveDay: note("sunshine was longer than the day and was held to it", "Check the hours of sunshine."),
	},
	humidity: map[waterneed.Code]string{
		waterneed.HumidityGiven:    "vapour pressure as given",
		waterneed.HumidityDewPoint: "humidity from the dew point",
		waterneed.HumidityWetBulb:  "humidity from a psychrometer",
		waterneed.HumidityMaxMin:   "humidity from its highest and lowest value",
		waterneed.HumidityMax:      "humidity from its highest value",
		waterneed.HumidityMean:     "humidity from its mean",
		waterneed.HumidityFromTMin: "humidity estimated: dew point taken as the lowest temperature",
		waterneed.HumidityTMinDrop: "humidity estimated: dew point taken below the lowest temperature, as in dry places",
	},
	radiation: map[waterneed.Code]string{
		waterneed.RadiationMeasured:  "radiation measured",
		waterneed.RadiationSunshine:  "radiation from hours of sunshine",
		waterneed.RadiationFromRange: "radiation estimated from the range of temperature",
	},
	wind: map[waterneed.Code]string{
		waterneed.WindMeasured: "wind measured",
		waterneed.WindAssumed:  "wind assumed as 2 m/s",
	},
	stages: map[waterneed.Code]string{
		waterneed.StageInitial:     "just planted",
		waterneed.StageDevelopment: "growing",
		waterneed.StageMid:         "full grown",
		waterneed.StageLate:        "ripening",
		waterneed.StagePast:        "past its season",
	},
	unreported: func(plot, crop, assumed, none string) string {
		return fmt.Sprintf("%s, %s: the soil misses %s of water if every turn ran that nobody reported, %s if none did.", plot, crop, assumed, none)
	},
	surplus: func(plot, thirstiest, crop, volume string) string {
		return fmt.Sprintf("%s: the %s asks for most; the %s on the same valve gets %s more than it wants.", plot, thirstiest, crop, volume)
	},
	efficiency: map[waterneed.Code]func(waterneed.Efficiency) Notice{
		waterneed.EfficiencyMeasured: func(e waterneed.Efficiency) Notice {
			return Notice{Text: fmt.Sprintf("The driest quarter gets %s of the mean, measured with cups.", Percent(e.Value))}
		},
		waterneed.EfficiencyComputed: func(e waterneed.Efficiency) Notice {
			return Notice{
				Text:   fmt.Sprintf("The driest quarter gets about %s of the mean (%s), computed and lowered for drilling and plugging.", Percent(e.Value), percentRange(e.Low, e.High)),
				Remedy: "Put cups under 4 to 8 holes to know.",
			}
		},
		waterneed.EfficiencyAssumed: func(e waterneed.Efficiency) Notice {
			return Notice{
				Text:   fmt.Sprintf("How evenly the water falls is not known; the driest quarter is taken to get %s of the mean (%s).", Percent(e.Value), percentRange(e.Low, e.High)),
				Remedy: "Put cups under 4 to 8 holes to know.",
			}
		},
	},
}

// percentRange writes two fractions as one range, or as one number when both read the same.
func percentRange(low, high float64) string {
	if Percent(low) == Percent(high) {
		return Percent(low)
	}
	const percent = 100
	return fmt.Sprintf("%.0f–%.0f %%", math.Round(low*percent), math.Round(high*percent))
}

func rung(text string) func(int) string {
	return func(days int) string { return fmt.Sprintf("%s: %s.", upperFirst(count(days, "day", "days")), text) }
}

func note(text, remedy string) func(int) Notice {
	return func(days int) Notice {
		return Notice{Text: fmt.Sprintf("On %s %s.", count(days, "day", "days"), text), Remedy: remedy}
	}
}
