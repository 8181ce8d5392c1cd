package problem

import (
	"math"
	"slices"
	"sort"
)

// Rule names a rule of the schedule; the letters are those of the problem file's documentation.
type Rule string

// The rules, in the order in which they are checked.
const (
	RuleProblem     Rule = "problem" // the problem itself is invalid
	RuleZone        Rule = "P0"      // zone ids unique, source known, zone not empty
	RuleMember      Rule = "P1"      // every layout that its source can carry alone in exactly one zone, others in none
	RulePlumbing    Rule = "P2"      // members are plumbed to the zone's source
	RuleHydraulic   Rule = "P3"      // every member keeps its least head, the source its flow limit
	RuleConnections Rule = "P4"      // no more members than hose connections; a hand turn alone
	RuleReference   Rule = "R0"      // turns name known zones and windows
	RuleWindow      Rule = "R1"      // the turn lies in its window, which is open for the source
	RuleClosedDay   Rule = "R2"      // no turn on a closed day of a member
	RuleOverlap     Rule = "R3"      // turns of a source do not overlap and leave the changeover
	RuleMinRun      Rule = "R4"      // no turn is shorter than the source's shortest
	RuleMaxRun      Rule = "R5"      // no turn is longer than a member's longest
	RuleSoak        Rule = "R5_soak" // the longest soak of the members passes before the zone's next turn
	RuleMaxDay      Rule = "R6"      // no layout gets more on a day than its soil takes
	RuleDayTime     Rule = "R6_time" // no layout runs longer on a day than its limit
	RuleLineFlow    Rule = "R7"      // the flow limit of a line holds at every instant
	RuleSourceCap   Rule = "R8"      // the daily volume of a source holds
	RuleLineCap     Rule = "R8_line" // the daily volume of a line holds
	RuleTank        Rule = "R9"      // the tank never runs empty
	RuleReserve     Rule = "R10"     // the reserved share of a window stays free
	RuleClosing     Rule = "C1"      // closings name members with a valve of their own, in the turn
	RuleInterval    Rule = "I1"      // gaps between watering days stay within the layout's limit
	RuleDry         Rule = "I2"      // no more is missing from a root zone after the day's water than it holds readily
)

// Violation is a broken rule with the figures that break it. What Have and Limit count is a matter of the rule: milli-
// minutes for times, millilitres for volumes, millilitres per minute for flows, days for intervals, numbers elsewhere.
type Violation struct {
	Rule        Rule
	Zone        string
	Layout      string
	Source      string
	Line        string
	Window      string
	Day         int
	Have, Limit int64
}

// Check returns every rule that the schedule breaks; none means that it is valid. It shares the hydraulics with the
// planner and nothing else.
func Check(p Problem, s Schedule) []Violation {
	m, err := NewModel(p)
	if err != nil {
		return []Violation{{Rule: RuleProblem}}
	}
	return m.Check(s)
}

// Check is the function Check on a resolved problem.
func (m *Model) Check(s Schedule) []Violation {
	c := &checker{Model: m, schedule: s, zoneAt: map[string]int{}, zones: make([]openZone, len(s.Zones))}
	c.checkZones()
	c.checkTurns()
	c.checkSequences()
	c.checkDays()
	c.checkLines()
	c.checkTanks()
	c.checkReserves()
	c.checkIntervals()
	c.checkReservoirs()
	return c.found
}

type openZone struct {
	source  int
	members []int
	op      Operation
	valid   bool
}

// placed is a turn with its names resolved.
type placed struct {
	Turn
	zone, window, source, day int
}

type checker struct {
	*Model
	schedule Schedule
	zoneAt   map[string]int
	zones    []openZone
	turns    []placed
	given    [][]int64 // µL delivered by layout and day
	taken    [][]int64 // µL drawn by layout and day
	time     [][]Span
	watered  [][]bool
	found    []Violation
}

func (c *checker) add(v Violation) { c.found = append(c.found, v) }

func (c *checker) checkZones() {
	seen := make([]int, len(c.Layouts))
	for at, z := range c.schedule.Zones {
		_, again := c.zoneAt[z.ID]
		source, known := c.sourceAt[z.Source]
		if again || !known || len(z.Layouts) == 0 {
			c.add(Violation{Rule: RuleZone, Zone: z.ID, Source: z.Source})
		}
		if again || !known {
			continue
		}
		c.zoneAt[z.ID] = at
		zone := openZone{source: source, valid: true}
		for _, id := range z.Layouts {
			i, exists := c.layoutAt[id]
			if !exists {
				c.add(Violation{Rule: RuleMember, Zone: z.ID, Layout: id})
				zone.valid = false
				continue
			}
			if seen[i]++; seen[i] > 1 || !c.Carried[i] {
				c.add(Violation{Rule: RuleMember, Zone: z.ID, Layout: id, Have: int64(seen[i]), Limit: 1})
			}
			if c.SourceOf[i] != source {
				c.add(Violation{Rule: RulePlumbing, Zone: z.ID, Layout: id, Source: z.Source})
				zone.valid = false
				continue
			}
			zone.members = append(zone.members, i)
		}
		c.checkHydraulics(z.ID, &zone)
		c.zones[at] = zone
	}
	for i := range c.Layouts {
		if c.Carried[i] && seen[i] == 0 {
			c.add(Violation{Rule: RuleMember, Layout: c.Layouts[i].ID, Limit: 1})
		}
	}
}

// checkHydraulics finds the joint operating point and holds it against every member's least head.
func (c *checker) checkHydraulics(id string, zone *openZone) {
	if len(zone.members) == 0 {
		return
	}
	source := &c.Sources[zone.source]
	if n := source.Connections; n > 0 && len(zone.members) > n {
		c.add(Violation{Rule: RuleConnections, Zone: id, Source: source.ID, Have: int64(len(zone.members)), Limit: int64(n)})
	}
	zone.op = c.Operate(zone.source, zone.members)
	for _, i := range zone.members {
		l := &c.Layouts[i]
		if l.Hand() {
			if len(zone.members) > 1 {
				c.add(Violation{Rule: RuleConnections, Zone: id, Layout: l.ID, Have: int64(len(zone.members)), Limit: 1})
			}
			continue
		}
		if float64(zone.op.Head) < float64(l.HeadMin)-checkHead {
			c.add(Violation{
				Rule: RuleHydraulic, Zone: id, Layout: l.ID,
				Have: RoundDown(float64(zone.op.Head) * 1e6), Limit: RoundUp(float64(l.HeadMin) * 1e6),
			})
		}
	}
	flow, limit := c.flowAt(zone.members, float64(zone.op.Head)), math.Min(si(source.FlowMax), source.Supply.MaxFlow)
	if flow > limit+checkFlow {
		c.add(Violation{Rule: RuleHydraulic, Zone: id, Source: source.ID, Have: int64(zone.op.Total), Limit: int64(source.FlowMax)})
	}
}

// Errors that a zone filled to the last drop may show: of the joint head [m], and of the flow at that head [m³/s], a
// twentieth of a millilitre a minute.
const (
	checkHead = 1e-6
	checkFlow = 5e-8 / 60
)

func (c *checker) checkTurns() {
	n := len(c.Layouts)
	c.given, c.taken, c.time, c.watered = table[int64](n, c.Days), table[int64](n, c.Days), table[Span](n, c.Days), table[bool](n, c.Days)
	for i := range c.Had {
		for d, h := range c.Had[i] {
			c.given[i][d], c.taken[i][d], c.time[i][d], c.watered[i][d] = int64(h.Volume)*1000, int64(h.Volume)*1000, h.Time, h != Had{}
		}
	}
	for _, t := range c.schedule.Turns {
		z, knownZone := c.zoneAt[t.Zone]
		w, knownWindow := c.windowAt[t.Window]
		if !knownZone || !knownWindow {
			c.add(Violation{Rule: RuleReference, Zone: t.Zone, Window: t.Window})
			continue
		}
		zone, window := &c.zones[z], &c.Windows[w]
		turn := placed{Turn: t, zone: z, window: w, source: zone.source, day: window.Day}
		c.turns = append(c.turns, turn)
		about := Violation{Zone: t.Zone, Window: t.Window, Day: window.Day}
		if t.Start < window.Start || t.End > window.End || !c.opens(w, zone.source) {
			about.Rule = RuleWindow
			c.add(about)
		}
		if shortest := c.Sources[zone.source].MinRun; t.Length() < shortest || t.Length() <= 0 {
			about.Rule, about.Have, about.Limit = RuleMinRun, int64(t.Length()), int64(shortest)
			c.add(about)
		}
		c.checkMembers(turn, zone)
	}
}

func (c *checker) opens(window, source int) bool {
	for _, id := range c.Windows[window].Sources {
		if id == c.Sources[source].ID {
			return true
		}
	}
	return false
}

func (c *checker) checkMembers(t placed, zone *openZone) {
	c.checkClosings(t, zone)
	portions := c.Portions(zone.source, zone.members, zone.op, t.Turn)
	for at, i := range zone.members {
		l, p := &c.Layouts[i], portions[at]
		about := Violation{Zone: t.Zone, Window: t.Window, Layout: l.ID, Day: t.day}
		if !c.openDay(i, t.day) {
			about.Rule = RuleClosedDay
			c.add(about)
		}
		if p.Open > l.MaxRun {
			about.Rule, about.Have, about.Limit = RuleMaxRun, int64(p.Open), int64(l.MaxRun)
			c.add(about)
		}
		c.given[i][t.day] += p.Given
		c.taken[i][t.day] += p.Drawn
		c.time[i][t.day] += p.Open
		c.watered[i][t.day] = c.watered[i][t.day] || p.Open > 0
	}
}

// checkClosings asks of every closing that somebody is there, that the member is open until then and has a valve of its
// own, and that one member stays open: the turn ends with the last.
func (c *checker) checkClosings(t placed, zone *openZone) {
	shut := map[string]bool{}
	for _, closing := range t.Closings {
		at := slices.IndexFunc(zone.members, func(i int) bool { return c.Layouts[i].ID == closing.Layout })
		if at < 0 || !c.Layouts[zone.members[at]].OwnValve || shut[closing.Layout] || !c.Windows[t.window].Attended ||
			closing.At < t.Start || closing.At > t.End || len(shut) == len(zone.members)-1 {
			c.add(Violation{Rule: RuleClosing, Zone: t.Zone, Window: t.Window, Layout: closing.Layout, Day: t.day})
			continue
		}
		shut[closing.Layout] = true
	}
}

func (c *checker) stretches(t *placed) []Stretch {
	z := &c.zones[t.zone]
	return c.Stretches(z.source, z.members, z.op, t.Turn)
}

func (c *checker) openDay(layout, day int) bool {
	for _, d := range c.Layouts[layout].ClosedDays {
		if d == day {
			return false
		}
	}
	return true
}

// checkSequences looks at neighbouring turns of each source and of each zone.
func (c *checker) checkSequences() {
	sort.SliceStable(c.turns, func(a, b int) bool { return c.turns[a].Start < c.turns[b].Start })
	c.checkAfterPast()
	lastOfSource, lastOfZone := make([]int, len(c.Sources)), make([]int, len(c.zones))
	for i := range lastOfSource {
		lastOfSource[i] = -1
	}
	for i := range lastOfZone {
		lastOfZone[i] = -1
	}
	for at := range c.turns {
		t := &c.turns[at]
		if before := lastOfSource[t.source]; before >= 0 {
			b, gap := &c.turns[before], Span(0)
			if b.zone != t.zone && b.window == t.window {
				gap = c.Sources[t.source].Changeover
			}
			if Span(t.Start-b.End) < gap {
				c.add(Violation{
					Rule: RuleOverlap, Source: c.Sources[t.source].ID, Zone: t.Zone, Window: t.Window, Day: t.day,
					Have: int64(t.Start - b.End), Limit: int64(gap),
				})
			}
		}
		if before := lastOfZone[t.zone]; before >= 0 {
			soak := Span(0)
			for _, i := range c.zones[t.zone].members {
				soak = max(soak, c.Layouts[i].Soak)
			}
			if got := Span(t.Start - c.turns[before].End); got < soak {
				c.add(Violation{Rule: RuleSoak, Zone: t.Zone, Window: t.Window, Day: t.day, Have: int64(got), Limit: int64(soak)})
			}
		}
		lastOfSource[t.source], lastOfZone[t.zone] = at, at
	}
}

// checkAfterPast holds every turn against the turns of the past at its source and of its members.
func (c *checker) checkAfterPast() {
	for at := range c.turns {
		t := &c.turns[at]
		for k := range c.Past {
			past := &c.Past[k]
			gap := Span(0)
			if past.Zone != t.Zone && past.Window == t.Window {
				gap = c.Sources[t.source].Changeover
			}
			if c.sourceAt[past.Source] == t.source && t.Start < past.End+Instant(gap) && past.Start < t.End+Instant(gap) {
				c.add(Violation{
					Rule: RuleOverlap, Source: past.Source, Zone: t.Zone, Window: t.Window, Day: t.day,
					Have: int64(t.Start - past.End), Limit: int64(gap),
				})
			}
			for _, i := range c.zones[t.zone].members {
				soak, got := c.Layouts[i].Soak, Span(t.Start-past.End)
				if past.Gave(c.Layouts[i].ID) && got < soak {
					c.add(Violation{
						Rule: RuleSoak, Zone: t.Zone, Layout: c.Layouts[i].ID, Window: t.Window, Day: t.day, Have: int64(got), Limit: int64(soak),
					})
				}
			}
		}
	}
}

func (c *checker) checkDays() {
	for i := range c.Layouts {
		l := &c.Layouts[i]
		for d := range c.Days { // what the past took beyond a limit is a fact, and leaves nothing
			had := c.Had[i][d]
			if limit := max(l.MaxDay, had.Volume); c.taken[i][d] > int64(limit)*1000 {
				c.add(Violation{Rule: RuleMaxDay, Layout: l.ID, Day: d, Have: c.taken[i][d] / 1000, Limit: int64(limit)})
			}
			if limit := max(l.MaxDayTime, had.Time); l.MaxDayTime > 0 && c.time[i][d] > limit {
				c.add(Violation{Rule: RuleDayTime, Layout: l.ID, Day: d, Have: int64(c.time[i][d]), Limit: int64(limit)})
			}
		}
	}
	bySource, byLine := table[int64](len(c.Sources), c.Days), table[int64](len(c.Lines), c.Days)
	for i := range c.Layouts {
		s := c.SourceOf[i]
		for d := range c.Days {
			bySource[s][d] += c.taken[i][d] - int64(c.Had[i][d].Volume)*1000
			if line := c.LineOf[s]; line >= 0 {
				byLine[line][d] += c.taken[i][d] - int64(c.Had[i][d].Volume)*1000
			}
		}
	}
	for s := range c.Sources {
		c.checkCap(bySource[s], c.PastDraw(func(source int) bool { return source == s }), c.Sources[s].DailyCap,
			Violation{Rule: RuleSourceCap, Source: c.Sources[s].ID})
	}
	for k := range c.Lines {
		c.checkCap(byLine[k], c.PastDraw(func(source int) bool { return c.LineOf[source] == k }), c.Lines[k].DailyCap,
			Violation{Rule: RuleLineCap, Line: c.Lines[k].ID})
	}
}

// checkCap holds what the turns of every day take [µL] against what the past left of a limit.
func (c *checker) checkCap(days []int64, past []Milliliters, limit Milliliters, about Violation) {
	for d, v := range days {
		if left := max(0, limit-past[d]); limit > 0 && v > int64(left)*1000 {
			about.Day, about.Have, about.Limit = d, v/1000+int64(past[d]), int64(limit)
			c.add(about)
		}
	}
}

// checkLines adds up the flow of all turns that run at the same instant on one line.
func (c *checker) checkLines() {
	type event struct {
		at   Instant
		flow Rate
		turn int
	}
	for k := range c.Lines {
		var events []event
		for at := range c.turns {
			if t := &c.turns[at]; c.LineOf[t.source] == k {
				for _, part := range c.stretches(t) {
					events = append(events, event{part.Start, part.Op.Total, at}, event{part.End, -part.Op.Total, at})
				}
			}
		}
		for _, past := range c.Past {
			if c.LineOf[c.sourceAt[past.Source]] == k {
				events = append(events, event{past.Start, past.Flow, -1}, event{past.End, -past.Flow, -1})
			}
		}
		sort.SliceStable(events, func(a, b int) bool {
			if events[a].at != events[b].at {
				return events[a].at < events[b].at
			}
			return events[a].flow < events[b].flow
		})
		sum, limit := Rate(0), c.Lines[k].FlowLimit
		for _, e := range events {
			if sum += e.flow; e.flow > 0 && sum > limit && e.turn >= 0 {
				t := &c.turns[e.turn]
				c.add(Violation{
					Rule: RuleLineFlow, Line: c.Lines[k].ID, Zone: t.Zone, Window: t.Window, Day: t.day,
					Have: int64(sum), Limit: int64(limit),
				})
			}
		}
	}
}

// checkTanks follows the level of each tank through its turns.
func (c *checker) checkTanks() {
	for s := range c.Sources {
		tank := c.Sources[s].Tank
		if tank == nil {
			continue
		}
		level, now := int64(tank.Level)*1000, Instant(0)
		draw := func(start, end Instant, flow Rate) {
			level = min(int64(tank.Volume)*1000, level+tank.Refill.Volume(Span(start-now)))
			level = min(int64(tank.Volume)*1000, level+(tank.Refill-flow).Volume(Span(end-start)))
			now = end
		}
		for _, past := range c.pastOf(s) {
			draw(past.Start, past.End, past.Flow)
			level = max(0, level) // it ran, so the tank was not empty
		}
		for at := range c.turns {
			t := &c.turns[at]
			if t.source != s {
				continue
			}
			for _, part := range c.stretches(t) {
				draw(part.Start, part.End, part.Op.Total)
			}
			if level < 0 {
				c.add(Violation{
					Rule: RuleTank, Source: c.Sources[s].ID, Zone: t.Zone, Window: t.Window, Day: t.day,
					Have: level / 1000,
				})
			}
		}
	}
}

func (c *checker) checkReserves() {
	for s := range c.Sources {
		if c.Sources[s].Reserve == 0 {
			continue
		}
		for _, slot := range c.Slots[s] {
			past, last := c.pastTime(s, c.Windows[slot.Window].ID), -1
			used := past
			for at := range c.turns {
				t := &c.turns[at]
				if t.source != s || t.window != slot.Window {
					continue
				}
				if used += t.Length(); last >= 0 && c.turns[last].zone != t.zone {
					used += c.Sources[s].Changeover
				}
				last = at
			}
			if used > max(slot.Usable, past) { // what ran is a fact, also when the window became shorter meanwhile
				c.add(Violation{
					Rule: RuleReserve, Source: c.Sources[s].ID, Window: c.Windows[slot.Window].ID, Day: slot.Day,
					Have: int64(used), Limit: int64(slot.Usable),
				})
			}
		}
	}
}

func (c *checker) checkIntervals() {
	for i := range c.Layouts {
		if !c.Servable[i] {
			continue
		}
		l, last := &c.Layouts[i], -c.Layouts[i].DaysSince
		for d := 0; d <= c.Days; d++ {
			if d < c.Days && !c.watered[i][d] {
				continue
			}
			if d-last > l.MaxInterval {
				c.add(Violation{Rule: RuleInterval, Layout: l.ID, Day: d, Have: int64(d - last), Limit: int64(l.MaxInterval)})
			}
			last = d
		}
	}
}

// table returns rows × columns of zero values in one piece of memory.
func table[T any](rows, columns int) [][]T {
	all, t := make([]T, rows*columns), make([][]T, rows)
	for i := range t {
		t[i] = all[i*columns : (i+1)*columns]
	}
	return t
}
