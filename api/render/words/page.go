package words

import "strings"

// PageLabel is a fixed text of the pages for a telephone.
type PageLabel string

// The labels of the pages.
const (
	PageEarlier   PageLabel = "earlier"
	PageNothing   PageLabel = "nothing" // no turns from today on
	PageReport    PageLabel = "report"
	PageTurn      PageLabel = "turn"
	PageOutcome   PageLabel = "outcome"
	PageMinutes   PageLabel = "minutes"
	PageMinuteHow PageLabel = "minutes-how"
	PageNote      PageLabel = "note"
	PageNoteHow   PageLabel = "note-how"
	PageSend      PageLabel = "send"
	PageRecorded  PageLabel = "recorded"
	PageLast      PageLabel = "last" // the last report holds
	PageBack      PageLabel = "back"
	PageRefused   PageLabel = "refused"
	PageKept      PageLabel = "kept" // what was entered is not lost
	PageSum       PageLabel = "sum"
)

// pagePhrases is what a language says on pages.
type pagePhrases struct {
	labels   map[PageLabel]string
	outcomes map[string]string
	reported func(outcome, minutes, by string) string
}

// PageText returns a fixed text of a page.
func (p Printer) PageText(l PageLabel) string { return p.language.pages.labels[l] }

// Outcome says what became of a turn, by its code.
func (p Printer) Outcome(code string) string {
	if say, ok := p.language.pages.outcomes[code]; ok {
		return say
	}
	return strings.ReplaceAll(OneLine(code), "_", " ")
}

// Reported says what was reported of a turn, and by whom; minutes may be empty.
func (p Printer) Reported(outcome, minutes, by string) string {
	return p.language.pages.reported(p.Outcome(outcome), minutes, OneLine(by))
}

// fields are the fields of the form by their pointers.
var fields = map[string]PageLabel{"/turn": PageTurn, "/outcome": PageOutcome, "/duration_min": PageMinutes, "/note": PageNote}

// Field names a field of the form by its pointer, and anything else by the pointer.
func (p Printer) Field(pointer string) string {
	if l, ok := fields[pointer]; ok {
		return p.PageText(l)
	}
	return pointer
}
