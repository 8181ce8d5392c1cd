package words

import (
	"time"

	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem"
)

// rotationPhrases is what a language says about a schedule as a whole.
type rotationPhrases struct {
	unservable map[problem.Reason]func(Printer, problem.Unservable) Notice
	bounds     map[plan.BoundReason]func(plan.Bound) string
	rules      map[problem.Rule]func(p Printer, v problem.Violation, day string) string
}

// Unservable says why no turn can water a layout. The names in it are printed as they are given.
func (p Printer) Unservable(u problem.Unservable) Notice {
	say, ok := p.language.rotation.unservable[u.Reason]
	if !ok {
		return p.unknownCode(string(u.Reason))
	}
	n := say(p, u)
	n.Code = string(u.Reason)
	return n
}

// Violation says which rule a schedule breaks, and by how much, in a horizon that begins at from. The names in it are
// printed as they are given.
func (p Printer) Violation(v problem.Violation, from time.Time) string {
	if say, ok := p.language.rotation.rules[v.Rule]; ok {
		return say(p, v, p.Date(from.In(p.zone).AddDate(0, 0, v.Day)))
	}
	return p.language.unknownCode(string(v.Rule))
}

// PlanBound says what no schedule can exceed, and what that rests on. The names in it are printed as they are given.
func (p Printer) PlanBound(b plan.Bound) string {
	if say, ok := p.language.rotation.bounds[b.Reason]; ok {
		return say(b)
	}
	return p.language.unknownCode(string(b.Reason))
}
