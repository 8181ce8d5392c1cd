package words

import "strings"

// PlanFlag says what a flag of a plan means for the plots that have it.
func (p Printer) PlanFlag(code string, plots []string) string {
	say, ok := p.language.planFlags[code]
	if !ok {
		return p.language.unknownCode(code)
	}
	return say(OneLine(strings.Join(plots, ", ")))
}

var englishPlanFlags = map[string]func(plots string) string{
	"runoff_before_turn_ends": func(plots string) string {
		return "Water may run off the wet strip before a turn ends on " + plots +
			": the holes pour faster than the soil takes water. Draw furrows or mulch, watch the first turn, and split it if water stands."
	},
	"too_uneven_for_far_end": func(plots string) string {
		return "Litres for " + plots + " are planned as for an evenness of 50 %: the layout is more uneven, so its far end stays dry however " +
			"long it runs. Shorten the laterals, use wider pipe, or plug every second hole."
	},
	"plants_go_short": func(plots string) string {
		return "By the soil's ledger plants go short of water on some days, without rain: " + plots +
			". Look at these plots first, and give them a can when leaves hang in the morning."
	},
	"waits_longer_than_soil_lasts": func(plots string) string {
		return "On closed days these plots wait longer than their soil holds water: " + plots +
			". Mulch, shade seedlings, or ask for a short turn by can on the closed day."
	},
}

// Unplanned says why a plot or layout is not in a rotation, by the code that the plan gives.
func (p Printer) Unplanned(code, plot string) string {
	say, ok := p.language.unplanned[code]
	if !ok {
		return p.language.unknownCode(code)
	}
	return say(OneLine(plot))
}

// Served says what a plot gets of which no shortage is proven: all it needs, or a share that is short by less than a minute.
func (p Printer) Served(plot string, share float64) string {
	return p.language.served(OneLine(plot), share)
}

var englishUnplanned = map[string]func(plot string) string{
	"plot_not_watered_by_layout": func(plot string) string {
		return plot + " is not watered through its layout: the plot has another watering method."
	},
	"no_accepted_layout": func(plot string) string {
		return plot + " is to be watered through a layout, and none is accepted yet. Draw one and hand it in, or water by hose or can."
	},
	"not_watered":     func(plot string) string { return plot + " is marked as not watered." },
	"nothing_planted": func(plot string) string { return plot + " has nothing planted in these days, so it needs no water." },
	"excluded":        func(plot string) string { return plot + " is kept out of plans by the garden's planning rules." },
}

func englishServed(plot string, share float64) string {
	const all = 0.9995 // prints as 100 %
	if share >= all {
		return plot + " gets all the water that it needs."
	}
	return plot + " gets " + Percent(share) + " of its need; what is missing is less than a turn can be made longer by."
}
