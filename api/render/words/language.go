package words

import (
	"strings"
	"time"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/engine/hydraulics"
)

// table is everything that a language has to say. A second language is a second table; a test compares their keys.
type table struct {
	date     func(time.Time) string
	labels   map[Label]string
	turns    turnPhrases
	pictures picturePhrases

	report      reportPhrases
	hydraulics  map[hydraulics.WarningCode]func(Printer, hydraulics.Warning) Notice
	cautions    map[render.CautionCode]string
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

	report:      englishReport,
	hydraulics:  englishHydraulics,
	cautions:    englishCautions,
	unknownCode: func(code string) string { return "Note: " + strings.ReplaceAll(OneLine(code), "_", " ") + "." },
}

func englishDate(t time.Time) string { return t.Format("Mon 2 January") }
