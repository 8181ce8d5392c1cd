package words

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/engine/waterneed"
)

func TestLedgerFacts_eachFlagOnceWithItsDaysAndWater(t *testing.T) {
	t.Parallel()
	ledger := waterneed.Ledger{
		Flags: []waterneed.Code{waterneed.FlagSoilAssumed, waterneed.FlagDigAsked},
		Days: []waterneed.LedgerDay{
			{Flags: []waterneed.Code{waterneed.FlagRainSmall}, Rain: waterneed.Given(unit.Depth(0.4))},
			{Flags: []waterneed.Code{waterneed.FlagAssumedTurn, waterneed.FlagRainMissing}, Irrigation: 8, AssumedIrrigation: 6},
			{Flags: []waterneed.Code{waterneed.FlagRainSmall, waterneed.FlagAssumedTurn}, Rain: waterneed.Given(unit.Depth(0.7)), AssumedIrrigation: 5},
			{},
		},
	}
	want := []NeedFact{
		{Code: waterneed.FlagSoilAssumed, Days: 1},
		{Code: waterneed.FlagDigAsked, Days: 1},
		{Code: waterneed.FlagRainSmall, Days: 2, Depth: 1.1},
		{Code: waterneed.FlagAssumedTurn, Days: 2, Depth: 11},
		{Code: waterneed.FlagRainMissing, Days: 1},
	}
	near := cmp.Comparer(func(a, b unit.Depth) bool { return a-b < 1e-9 && b-a < 1e-9 })
	if diff := cmp.Diff(want, LedgerFacts(ledger), near); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	p := New("en", render.Metric, nil)
	const sentence = "On 2 days watering of 11 mm in all is assumed as published; nobody reported it. Report what was watered and what was missed."
	if got := p.NeedFlag(want[3]).String(); got != sentence {
		t.Errorf("%q, want %q", got, sentence)
	}
}

func TestDemandFacts_eachFlagOnce(t *testing.T) {
	t.Parallel()
	demand := waterneed.Demand{
		Flags: []waterneed.Code{waterneed.FlagSeedling},
		Plantings: []waterneed.PlantingDemand{
			{Notes: []waterneed.Code{waterneed.NoteDemandStarts, waterneed.NoteDemandSeedling}},
			{Notes: []waterneed.Code{waterneed.NoteDemandStarts}},
		},
	}
	want := []NeedFact{
		{Code: waterneed.FlagSeedling, Days: 1}, {Code: waterneed.NoteDemandStarts, Days: 1}, {Code: waterneed.NoteDemandSeedling, Days: 1},
	}
	if diff := cmp.Diff(want, DemandFacts(demand)); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

func TestWeatherSources_readLikeThis(t *testing.T) {
	t.Parallel()
	p := New("en", render.Metric, nil)
	for want, got := range map[string]string{
		"humidity from the dew point":   p.HumiditySource(waterneed.HumidityDewPoint),
		"radiation measured":            p.RadiationSource(waterneed.RadiationMeasured),
		"wind measured":                 p.WindSource(waterneed.WindMeasured),
		"wind assumed as 2 m/s":         p.WindSource(waterneed.WindAssumed),
		"full grown":                    p.Stage(waterneed.StageMid),
		"1 day: weather measured here.": p.Rung(waterneed.RungMeasured, 1),
		"Note: tmax.":                   p.WindSource("tmax"),
		"12.5 mm/h is out of range: it must lie between 0 mm/h and 10 mm/h.": p.NeedFault(waterneed.InputError{
			Field: "soil.intake_mm_per_h", Reason: waterneed.ReasonOutOfRange, Value: 12.5, High: 10,
		}),
		"95 m/s looks like another unit: between 0 m/s and 12 m/s is expected.": p.NeedFault(waterneed.InputError{
			Field: "weather.wind_m_s", Reason: waterneed.ReasonUnit, Value: 95, High: 12,
		}),
	} {
		if got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
