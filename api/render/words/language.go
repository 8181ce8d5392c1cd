package words

import (
	"strings"
	"time"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/waterneed"
)

// table is everything that a language has to say. A second language is a second table; a test compares their keys.
type table struct {
	date     func(time.Time) string
	labels   map[Label]string
	turns    turnPhrases
	pictures picturePhrases

	report     reportPhrases
	need       needPhrases
	rotation   rotationPhrases
	hydraulics map[hydraulics.WarningCode]func(Printer, hydraulics.Warning) Notice
	supply     map[hydraulics.AssumptionCode]func(Printer, hydraulics.Assumption) Notice
	varied     map[hydraulics.SensitivityCode]func(Printer, hydraulics.Sensitivity, hydraulics.Outcome) Notice
	answers    answerPhrases
	cautions   map[render.CautionCode]string
	fieldwork  fieldworkPhrases
	pages      pagePhrases
	season     seasonPhrases
	planFlags  map[string]func(plots string) string

	layoutFaults map[hydraulics.FaultCode]func(Printer, hydraulics.Fault) string
	needFaults   map[waterneed.Code]func(waterneed.InputError) string

	unplanned map[string]func(plot string) string
	served    func(plot string, share float64) string
	changes   changePhrases

	unknownCode func(code string) string
}

// tableFor returns the table of a BCP 47 language tag, by its primary subtag.
func tableFor(tag string) table {
	primary, _, _ := strings.Cut(strings.ToLower(tag), "-")
	if t, ok := languages[primary]; ok {
		return t
	}
	return languages["en"]
}

var languages = map[string]table{"en": english}

var english = table{
	date:     englishDate,
	labels:   englishLabels,
	turns:    englishTurns,
	pictures: englishPictures,

	report:     englishReport,
	need:       englishNeed,
	rotation:   englishRotation,
	hydraulics: englishHydraulics,
	supply:     englishSupply,
	varied:     englishVaried,
	answers:    englishAnswers,
	cautions:   englishCautions,
	fieldwork:  englishFieldwork,
	pages:      englishPages,
	season:     englishSeason,
	planFlags:  englishPlanFlags,
	unplanned:  englishUnplanned,
	served:     englishServed,
	changes:    englishChanges,

	layoutFaults: englishLayoutFaults,
	needFaults:   englishNeedFaults,

	unknownCode: func(code string) string { return "Note: " + strings.ReplaceAll(OneLine(code), "_", " ") + "." },
}

func englishDate(t time.Time) string { return t.Format("Mon 2 January") }
