package words

import (
	"fmt"
	"strings"

	"rillturn.example/rillturn/engine/problem"
)

// TurnChanges counts what becomes of the published turns that are still to come.
type TurnChanges struct {
	Kept, Resized, Moved, Added, Cancelled int
}

// changePhrases is what a language says about a plan that follows a published one.
type changePhrases struct {
	turns  func(TurnChanges) string
	forced map[problem.Rule]func(n int) string
	reason func(reasons []string) string
}

// TurnChanges says what becomes of the published turns.
func (p Printer) TurnChanges(c TurnChanges) string { return p.language.changes.turns(c) }

// Forced is a limit that published turns no longer keep, with how many of them it touches.
type Forced struct {
	Rule  problem.Rule
	Turns int
}

// Forced says which limits ask for more changes than people should have to put up with.
func (p Printer) Forced(limits []Forced) string {
	var reasons []string
	for _, l := range limits {
		if say, ok := p.language.changes.forced[l.Rule]; ok {
			reasons = append(reasons, say(l.Turns))
		} else {
			reasons = append(reasons, p.language.unknownCode(string(l.Rule)))
		}
	}
	return p.language.changes.reason(reasons)
}

var englishChanges = changePhrases{
	turns: func(c TurnChanges) string {
		var parts []string
		for _, part := range []struct {
			n    int
			what string
		}{
			{c.Kept, "stay as they are"},
			{c.Resized, "become a little longer, shorter, earlier or later"},
			{c.Moved, "move to another hour"},
			{c.Cancelled, "are cancelled"},
		} {
			if part.n > 0 {
				parts = append(parts, fmt.Sprintf("%d %s", part.n, part.what))
			}
		}
		text := "No published turn is still to come."
		if len(parts) > 0 {
			text = "Of the published turns that are still to come " + listed(parts) + "."
		}
		if c.Added > 0 {
			text += fmt.Sprintf(" New in these days: %s.", count(c.Added, "turn", "turns"))
		}
		return text
	},
	reason: func(reasons []string) string {
		return "More than a quarter of the published turns change, because limits became tighter: " + strings.Join(reasons, "; ") + "."
	},
	forced: map[problem.Rule]func(int) string{
		problem.RuleProblem:     func(int) string { return "the planning data are not valid" },
		problem.RuleZone:        turnsOf("belong to a watering group that is gone"),
		problem.RuleMember:      turnsOf("belong to plots that are retired or moved to another group"),
		problem.RulePlumbing:    turnsOf("belong to plots that get their water from another tap now"),
		problem.RuleHydraulic:   turnsOf("have more open than their tap can feed now"),
		problem.RuleConnections: turnsOf("have more open than there are hose connections"),
		problem.RuleReference:   turnsOf("are of groups or hours that are gone"),
		problem.RuleWindow:      turnsOf("lie outside the water hours"),
		problem.RuleClosedDay:   turnsOf("fall on closed days"),
		problem.RuleOverlap:     turnsOf("leave no pause before the next at their tap"),
		problem.RuleMinRun:      turnsOf("are shorter than a turn of their tap may be"),
		problem.RuleMaxRun:      turnsOf("last longer than the soil takes water without runoff"),
		problem.RuleSoak:        turnsOf("come before the soil has soaked"),
		problem.RuleMaxDay:      turnsOf("bring more on a day than the soil takes"),
		problem.RuleDayTime:     turnsOf("last longer on a day than their plot may be watered"),
		problem.RuleLineFlow:    turnsOf("draw more together than the water line carries"),
		problem.RuleSourceCap:   turnsOf("take more on a day than their tap may give"),
		problem.RuleLineCap:     turnsOf("take more on a day than the water line may give"),
		problem.RuleTank:        turnsOf("would empty the tank"),
		problem.RuleReserve:     turnsOf("take hours that are kept free"),
		problem.RuleClosing:     turnsOf("have valves shut when nobody is there"),
		problem.RuleInterval: func(n int) string {
			return count(n, "plot", "plots") + " would wait longer than their soil lasts"
		},
		problem.RuleDry: func(n int) string { return "plants would go short on " + count(n, "day", "days") },
	},
}

// turnsOf is a reason that counts turns.
func turnsOf(do string) func(int) string {
	return func(n int) string { return count(n, "turn", "turns") + " " + do }
}

// listed joins parts of a sentence: a, b and c.
func listed(parts []string) string {
	if n := len(parts); n > 1 {
		return strings.Join(parts[:n-1], ", ") + " and " + parts[n-1]
	}
	return strings.Join(parts, "")
}
