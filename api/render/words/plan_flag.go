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
