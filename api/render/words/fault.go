package words

import (
	"math"
	"strconv"
	"strings"

	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/waterneed"
)

// LayoutFault says what is wrong with one field of a layout or a flow test, and what would be right.
func (p Printer) LayoutFault(f hydraulics.Fault) string {
	if say, ok := p.language.layoutFaults[f.Code]; ok {
		return say(p, f)
	}
	return p.language.unknownCode(string(f.Code))
}

// NeedFault says what is wrong with one value of weather, soil, crop or event, and what would be right.
func (p Printer) NeedFault(e waterneed.InputError) string {
	if say, ok := p.language.needFaults[e.Reason]; ok {
		return say(e)
	}
	return p.language.unknownCode(string(e.Reason))
}

// SupplyAssumption says what the supply curve of a source takes for granted.
func (p Printer) SupplyAssumption(a hydraulics.Assumption) Notice {
	say, ok := p.language.supply[a.Code]
	if !ok {
		return p.unknownCode(string(a.Code))
	}
	n := say(p, a)
	n.Code = string(a.Code)
	return n
}

// fieldUnits are the units that names of fields end in. Longer endings stand first.
var fieldUnits = []struct{ suffix, unit string }{
	{"_l_per_min", "L/min"},
	{"_l_per_h", "L/h"},
	{"_mm_per_h", "mm/h"},
	{"_mj_m2", "MJ/m²"},
	{"_m_s", "m/s"},
	{"_kpa", "kPa"},
	{"_m2", "m²"},
	{"_mm", "mm"},
	{"_deg", "°"},
	{"_pct", "%"},
	{"_min", "min"},
	{"_c", "°C"},
	{"_h", "h"},
	{"_l", "L"},
	{"_s", "s"},
	{"_m", "m"},
}

// withFieldUnit writes a number with the unit that its field's name ends in. Faults are about entries, so their numbers
// stand as they were entered, in no other unit.
func withFieldUnit(path string, v float64) string {
	number := entered(v)
	for _, u := range fieldUnits {
		if strings.HasSuffix(path, u.suffix) {
			return number + " " + u.unit
		}
	}
	return number
}

// entered writes a number as a person would have entered it: without powers of ten and without trailing zeros.
func entered(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return notKnown
	}
	const precision = 1e6
	return strconv.FormatFloat(math.Round(v*precision)/precision+0, 'f', -1, 64)
}
