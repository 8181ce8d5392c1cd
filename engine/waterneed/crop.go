package waterneed

import (
	_ "embed"
	"slices"

	"rillturn.example/rillturn/engine/unit"
)

// StageLengths are the lengths of the four stages of growth [days]. A length may be 0.
type StageLengths struct{ Initial, Development, Mid, Late int }

// Total returns the days from planting to the last harvest.
func (s StageLengths) Total() int { return s.Initial + s.Development + s.Mid + s.Late }

// Crop holds the constants of a crop. It is a plain value: a planting keeps its own copy, so that a later change of the
// library changes no ledger.
type Crop struct {
	Code   string
	Stages StageLengths
	// KcIni, KcMid and KcEnd are single crop coefficients for RHmin 45 % and wind 2 m/s.
	KcIni, KcMid, KcEnd float64
	// SupportedKcMid replaces KcMid for plants on stakes, poles or a trellis; 0 when the library prints none.
	SupportedKcMid float64
	// KcbIni, KcbMid and KcbEnd are basal coefficients, without evaporation from the soil.
	KcbIni, KcbMid, KcbEnd float64
	// Height is the greatest height of the plants; SupportedHeight that on supports.
	Height, SupportedHeight unit.Length
	// RootStart is the root depth of a seedling, RootDepth the greatest for scheduling, RootDeep that of plants that
	// must find their own water.
	RootStart, RootDepth, RootDeep unit.Length
	// DepletionFraction is p: the share of TAW that roots take without stress at an ETc of 5 mm/day.
	DepletionFraction float64
	// PlasticCut is the share by which full plastic mulch lowers KcMid and KcEnd.
	PlasticCut float64
	// YieldResponse is Ky of the season; 0 when none is published.
	YieldResponse float64
	// CoefficientsJudged and StagesJudged say that the values are this project's judgement, not published.
	CoefficientsJudged, StagesJudged bool
}

// StageChoice is one row of the table of stage lengths.
type StageChoice struct {
	Crop             string
	Lengths          StageLengths
	Planting, Region string
	Judged           bool
}

//go:embed crops.csv
var cropsText string

//go:embed stages.csv
var stagesText string

var (
	stageChoices = readStages()
	crops        = readCrops()
)

// supportHeight is the height of plants on stakes or a trellis [m]: footnote 2 of FAO-56 Table 12 speaks of supports of
// 1.5 to 2 m.
const supportHeight = 1.75

// seedlingRoots is the root depth of a seedling [m]: own judgement, with extension advice of 0.05 to 0.15 m.
const seedlingRoots = 0.10

func readStages() []StageChoice {
	t := readTable("stages.csv", stagesText)
	choices := make([]StageChoice, len(t.rows))
	for i := range choices {
		choices[i] = StageChoice{
			Crop: t.text(i, "crop"),
			Lengths: StageLengths{
				Initial:     (t.whole(i, "ini_low_d") + t.whole(i, "ini_high_d")) / 2,
				Development: t.whole(i, "dev_d"),
				Mid:         (t.whole(i, "mid_low_d") + t.whole(i, "mid_high_d")) / 2,
				Late:        t.whole(i, "late_d"),
			},
			Planting: t.text(i, "planting"), Region: t.text(i, "region"), Judged: judged(t, i),
		}
	}
	return choices
}

// judged reads the column that says where a row comes from.
func judged(t table, row int) bool {
	switch t.text(row, "source") {
	case "published":
		return false
	case "judgement":
		return true
	}
	panic(t.name + ": unknown source")
}

func readCrops() []Crop {
	t := readTable("crops.csv", cropsText)
	out := make([]Crop, len(t.rows))
	for i := range out {
		c := Crop{
			Code: t.text(i, "crop"), KcIni: t.number(i, "kc_ini"), KcMid: t.number(i, "kc_mid"),
			KcEnd:          Range{t.number(i, "kc_end_low"), t.number(i, "kc_end_high")}.Middle(),
			SupportedKcMid: t.optional(i, "supported_kc_mid").Value,
			KcbIni:         t.number(i, "kcb_ini"), KcbMid: t.number(i, "kcb_mid"),
			KcbEnd:    Range{t.number(i, "kcb_end_low"), t.number(i, "kcb_end_high")}.Middle(),
			Height:    unit.Length(t.number(i, "height_m")),
			RootStart: seedlingRoots, RootDepth: unit.Length(t.number(i, "root_low_m")), RootDeep: unit.Length(t.number(i, "root_high_m")),
			DepletionFraction: t.number(i, "depletion_fraction"), PlasticCut: t.number(i, "plastic_cut_low_pct") / 100,
			YieldResponse: t.optional(i, "yield_response").Value, CoefficientsJudged: judged(t, i),
		}
		c.SupportedHeight = max(c.Height, supportHeight)
		choices := StageChoices(c.Code)
		if len(choices) == 0 || c.faults() != nil {
			panic("crops.csv: " + c.Code + " has no stages or is out of range")
		}
		c.Stages, c.StagesJudged = choices[0].Lengths, choices[0].Judged
		out[i] = c
	}
	return out
}

// Crops returns the library in the order of its table.
func Crops() []Crop { return slices.Clone(crops) }

// CropByCode returns a crop of the library.
func CropByCode(code string) (Crop, bool) {
	for _, c := range crops {
		if c.Code == code {
			return c, true
		}
	}
	return Crop{}, false
}

// StageChoices returns the printed stage lengths of a crop, its default first.
func StageChoices(code string) []StageChoice {
	var out []StageChoice
	for _, choice := range stageChoices {
		if choice.Crop == code {
			out = append(out, choice)
		}
	}
	return out
}

func (c Crop) faults() InputErrors {
	var faults InputErrors
	for _, s := range []struct {
		field string
		days  int
	}{
		{"stages.initial_d", c.Stages.Initial},
		{"stages.development_d", c.Stages.Development},
		{"stages.mid_d", c.Stages.Mid},
		{"stages.late_d", c.Stages.Late},
	} {
		faults.within(s.field, float64(s.days), 0, 366)
	}
	for _, k := range []struct {
		field string
		value float64
	}{
		{"kc_ini", c.KcIni},
		{"kc_mid", c.KcMid},
		{"kc_end", c.KcEnd},
		{"supported_kc_mid", c.SupportedKcMid},
		{"kcb_ini", c.KcbIni},
		{"kcb_mid", c.KcbMid},
		{"kcb_end", c.KcbEnd},
	} {
		faults.within(k.field, k.value, 0, mostCoefficient)
	}
	faults.within("height_m", float64(c.Height), 0, 20)
	faults.within("supported_height_m", float64(c.SupportedHeight), 0, 20)
	if faults.within("root_depth_m", float64(c.RootDepth), 0.02, 5) {
		faults.within("root_start_m", float64(c.RootStart), 0.02, float64(c.RootDepth))
	}
	faults.within("depletion_fraction", c.DepletionFraction, leastDepletion, mostDepletion)
	faults.within("plastic_cut", c.PlasticCut, 0, 0.9)
	faults.within("yield_response", c.YieldResponse, 0, 3)
	return faults
}
