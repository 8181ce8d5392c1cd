package words

import "fmt"

var englishPages = pagePhrases{
	labels: map[PageLabel]string{
		PageEarlier:   "Earlier days",
		PageNothing:   "No turns from today on.",
		PageReport:    "Report this turn",
		PageTurn:      "Turn",
		PageOutcome:   "What became of it",
		PageMinutes:   "Minutes that it ran",
		PageMinuteHow: "needed where it ran for a part of its time or too long, or lost its pressure",
		PageNote:      "Note",
		PageNoteHow:   "your name; blocked holes, leaks, rain",
		PageSend:      "Send the report",
		PageRecorded:  "The report is recorded. Thank you.",
		PageLast:      "If something was wrong with it, report the turn again: the last report holds.",
		PageBack:      "Back to the schedule",
		PageRefused:   "This did not work",
		PageKept:      "Nothing was recorded. Go back with your browser: what you entered is still there.",
		PageSum:       "The minutes, added up",
	},
	outcomes: map[string]string{
		"done": "done as planned", "part": "done in part", "missed": "missed", "skipped_wet": "left out, the soil was wet",
		"pressure_lost": "broken off, the pressure was lost", "overran": "ran too long",
	},
	reported: func(outcome, minutes, by string) string {
		if minutes != "" {
			outcome += ", " + minutes
		}
		return fmt.Sprintf("Reported: %s (%s).", outcome, by)
	},
}
