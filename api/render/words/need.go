package words

import (
	"slices"

	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/engine/waterneed"
)

// NeedFact is a flag of the water need with the numbers that go with it.
type NeedFact struct {
	Code waterneed.Code
	// Days is on how many days it holds; 1 for what holds once.
	Days int
	// Depth is the water concerned, over the wet strip; zero when the flag has none.
	Depth unit.Depth
}

// needPhrases is what a language says about water need.
type needPhrases struct {
	flags      map[waterneed.Code]func(Printer, NeedFact) Notice
	rungs      map[waterneed.Code]func(days int) string
	notes      map[waterneed.Code]func(days int) Notice
	humidity   map[waterneed.Code]string
	radiation  map[waterneed.Code]string
	wind       map[waterneed.Code]string
	stages     map[waterneed.Code]string
	efficiency map[waterneed.Code]func(waterneed.Efficiency) Notice
	unreported func(plot, crop, assumed, none string) string
	surplus    func(plot, thirstiest, crop, volume string) string
}

// Unreported says how dry a planting's soil is when all turns ran that nobody reported, and when none did.
func (p Printer) Unreported(plot, crop string, assumed, none unit.Depth) string {
	return p.language.need.unreported(OneLine(plot), OneLine(crop), p.Depth(assumed).String(), p.Depth(none).String())
}

// Surplus says how much more than it wants a planting gets because of the thirstiest one on its valve.
func (p Printer) Surplus(plot, thirstiest, crop string, v unit.Volume) string {
	return p.language.need.surplus(OneLine(plot), OneLine(thirstiest), OneLine(crop), p.Volume(v).String())
}

// NeedFlag says what a flag of a ledger or a demand means.
func (p Printer) NeedFlag(f NeedFact) Notice {
	say, ok := p.language.need.flags[f.Code]
	if !ok {
		return p.unknownCode(string(f.Code))
	}
	n := say(p, f)
	n.Code = string(f.Code)
	return n
}

// Rung says where the evaporation of a number of days comes from.
func (p Printer) Rung(code waterneed.Code, days int) string {
	if say, ok := p.language.need.rungs[code]; ok {
		return say(days)
	}
	return p.language.unknownCode(string(code))
}

// EvaporationNote says what was done to the weather before it was used.
func (p Printer) EvaporationNote(code waterneed.Code, days int) Notice {
	say, ok := p.language.need.notes[code]
	if !ok {
		return p.unknownCode(string(code))
	}
	n := say(days)
	n.Code = string(code)
	return n
}

// HumiditySource, RadiationSource and WindSource say from what a day's value was taken.
func (p Printer) HumiditySource(code waterneed.Code) string {
	return p.phrase(p.language.need.humidity, code)
}

// RadiationSource says from what the day's radiation was taken.
func (p Printer) RadiationSource(code waterneed.Code) string {
	return p.phrase(p.language.need.radiation, code)
}

// WindSource says from what the day's wind was taken.
func (p Printer) WindSource(code waterneed.Code) string {
	return p.phrase(p.language.need.wind, code)
}

// Stage names a stage of growth.
func (p Printer) Stage(code waterneed.Code) string { return p.phrase(p.language.need.stages, code) }

func (p Printer) phrase(phrases map[waterneed.Code]string, code waterneed.Code) string {
	if text, ok := phrases[code]; ok {
		return text
	}
	return p.language.unknownCode(string(code))
}

// Efficiency says how much of the water reaches the driest quarter, and how that is known.
func (p Printer) Efficiency(e waterneed.Efficiency) Notice {
	say, ok := p.language.need.efficiency[e.Source]
	if !ok {
		return p.unknownCode(string(e.Source))
	}
	n := say(e)
	n.Code = string(e.Source)
	return n
}

// LedgerFacts gathers the flags of a ledger, each once, with the days on which it holds and the water concerned, in the
// order of their first appearance.
func LedgerFacts(l waterneed.Ledger) []NeedFact {
	var facts []NeedFact
	add := func(code waterneed.Code, depth unit.Depth) {
		i := slices.IndexFunc(facts, func(f NeedFact) bool { return f.Code == code })
		if i < 0 {
			i = len(facts)
			facts = append(facts, NeedFact{Code: code})
		}
		facts[i].Days++
		facts[i].Depth += depth
	}
	for _, code := range l.Flags {
		add(code, 0)
	}
	for _, d := range l.Days {
		for _, code := range d.Flags {
			add(code, depthOf(code, d))
		}
	}
	return facts
}

// depthOf returns the water of a day that a flag is about.
func depthOf(code waterneed.Code, d waterneed.LedgerDay) unit.Depth {
	switch code {
	case waterneed.FlagRainRead, waterneed.FlagRainSmall, waterneed.FlagRainUnderPlastic:
		if d.Rain.Known {
			return d.Rain.Value
		}
	case waterneed.FlagAssumedTurn:
		return d.AssumedIrrigation
	}
	return 0
}

// DemandFacts gathers the flags of a demand and of its plantings, each once.
func DemandFacts(d waterneed.Demand) []NeedFact {
	codes := slices.Clone(d.Flags)
	for _, p := range d.Plantings {
		codes = append(codes, p.Notes...)
	}
	var facts []NeedFact
	for _, code := range codes {
		if !slices.ContainsFunc(facts, func(f NeedFact) bool { return f.Code == code }) {
			facts = append(facts, NeedFact{Code: code, Days: 1})
		}
	}
	return facts
}
