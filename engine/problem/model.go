package problem

import (
	"math"
	"sort"

	"rillturn.example/rillturn/engine/unit"
)

// Reason is a code for why something cannot be done.
type Reason string

// Reasons why no turn can water a layout.
const (
	ReasonFlow Reason = "flow_beyond_source" // it takes more than the source gives at its least head
	ReasonLine Reason = "flow_beyond_line"   // it takes more than the service line allows
	ReasonNone Reason = "no_flow"            // nothing comes out at the joint head
)

// Unservable is a layout that no turn can water, with the flow it takes at its least head and what the source or line
// gives. One that only its line is too thin for is a zone that never has a turn; the others are in no zone.
type Unservable struct {
	Layout string
	Reason Reason
	Takes  Rate
	Gives  Rate
}

// Slot is a window seen from one source.
type Slot struct {
	Window     int // index into Problem.Windows
	Day        int
	Start, End Instant
	Usable     Span // length without the reserve
}

// Model is a valid problem with its names resolved and its flows at hand. It is not changed after NewModel.
type Model struct {
	Problem
	SourceOf  []int    // by layout
	LineOf    []int    // by source; -1 for none
	Members   [][]int  // layouts by source, servable ones only, in the order of the problem
	Slots     [][]Slot // by source, in the order of time
	Open      [][]bool // by layout and day
	Servable  []bool   // by layout: a turn can water it
	Carried   []bool   // by layout: its source can carry it alone, whatever its line allows, and something comes out
	Left      []Unservable
	Had       [][]Had // by layout and day: from turns of the past
	layoutAt  map[string]int
	sourceAt  map[string]int
	windowAt  map[string]int
	testHeads [][]float64 // by source: the distinct heads at which zones are tested, falling
	capacity  [][]float64 // by source and test head [m³/s]
	testClass []int       // by layout: index of its own test head
	testFlow  [][]float64 // by layout and test head [m³/s]
}

// fitSlack is the relative slack of the zone test: a zone whose flows add up to exactly what the source gives must not
// fail for the last bit of a sum.
const fitSlack = 1e-9

// NewModel checks the problem and resolves it.
func NewModel(p Problem) (*Model, error) {
	if err := p.Validate(); err != nil {
		return nil, err
	}
	m := &Model{
		Problem:  p,
		layoutAt: make(map[string]int, len(p.Layouts)),
		sourceAt: make(map[string]int, len(p.Sources)),
		windowAt: make(map[string]int, len(p.Windows)),
	}
	lines := make(map[string]int, len(p.Lines))
	for i := range p.Lines {
		lines[p.Lines[i].ID] = i
	}
	for i := range p.Sources {
		m.sourceAt[p.Sources[i].ID] = i
		line := -1
		if p.Sources[i].Line != "" {
			line = lines[p.Sources[i].Line]
		}
		m.LineOf = append(m.LineOf, line)
	}
	m.resolveWindows()
	m.resolveLayouts()
	for s := range p.Sources {
		m.prepareTest(s)
	}
	m.findServable()
	m.resolvePast()
	return m, nil
}

func (m *Model) resolveWindows() {
	m.Slots = make([][]Slot, len(m.Sources))
	for i, w := range m.Windows {
		m.windowAt[w.ID] = i
		for _, id := range w.Sources {
			s := m.sourceAt[id]
			usable := w.Length() * Span(1000-m.Sources[s].Reserve) / 1000
			m.Slots[s] = append(m.Slots[s], Slot{Window: i, Day: w.Day, Start: w.Start, End: w.End, Usable: usable})
		}
	}
	for _, slots := range m.Slots {
		sort.Slice(slots, func(a, b int) bool { return slots[a].Start < slots[b].Start })
	}
}

func (m *Model) resolveLayouts() {
	n := len(m.Layouts)
	m.SourceOf, m.Open = make([]int, n), make([][]bool, n)
	for i := range m.Layouts {
		l := &m.Layouts[i]
		m.layoutAt[l.ID] = i
		m.SourceOf[i] = m.sourceAt[l.Source]
		open := make([]bool, m.Days)
		for _, slot := range m.Slots[m.SourceOf[i]] {
			open[slot.Day] = true
		}
		for _, d := range l.ClosedDays {
			open[d] = false
		}
		m.Open[i] = open
	}
}

// prepareTest finds the heads at which zones of source s are tested. Below the head at its flow limit the source gives
// no more, so a zone must hold the larger of its members' least heads and that head:
//
//	joint head >= h  <=>  sum of q_i(h) <= supply flow at h
//
// because the members' flow rises with h and the supply's falls.
func (m *Model) prepareTest(s int) {
	source := &m.Sources[s]
	most := math.Min(si(source.FlowMax), source.Supply.MaxFlow)
	floor := math.Max(0, source.Supply.HeadAt(most))
	if m.testFlow == nil {
		m.testFlow, m.testClass = make([][]float64, len(m.Layouts)), make([]int, len(m.Layouts))
	}
	var heads []float64
	for i := range m.Layouts {
		if m.SourceOf[i] == s && !m.Layouts[i].Hand() {
			heads = append(heads, math.Max(floor, float64(m.Layouts[i].HeadMin)))
		}
	}
	sort.Sort(sort.Reverse(sort.Float64Slice(heads)))
	distinct := heads[:0]
	for i, h := range heads {
		if i == 0 || h != distinct[len(distinct)-1] {
			distinct = append(distinct, h)
		}
	}
	capacity := make([]float64, len(distinct))
	for k, h := range distinct {
		capacity[k] = math.Min(most, source.Supply.FlowAt(h)) * (1 + fitSlack)
		if h == floor { // also where the head does not give way at all
			capacity[k] = most * (1 + fitSlack)
		}
	}
	m.testHeads, m.capacity = append(m.testHeads, distinct), append(m.capacity, capacity)
	for i := range m.Layouts {
		l := &m.Layouts[i]
		if m.SourceOf[i] != s || l.Hand() {
			continue
		}
		flows := make([]float64, len(distinct))
		for k, h := range distinct {
			flows[k] = l.Curve.FlowAt(h)
			if h == math.Max(floor, float64(l.HeadMin)) {
				m.testClass[i] = k
			}
		}
		m.testFlow[i] = flows
	}
}

func (m *Model) findServable() {
	m.Servable, m.Carried, m.Members = make([]bool, len(m.Layouts)), make([]bool, len(m.Layouts)), make([][]int, len(m.Sources))
	for i := range m.Layouts {
		s := m.SourceOf[i]
		takes, gives, reason := m.alone(i)
		m.Carried[i] = reason == "" || reason == ReasonLine
		if reason == "" {
			m.Servable[i] = true
			m.Members[s] = append(m.Members[s], i)
			continue
		}
		m.Left = append(m.Left, Unservable{Layout: m.Layouts[i].ID, Reason: reason, Takes: takes, Gives: gives})
	}
}

// alone tries a layout as a zone of one.
func (m *Model) alone(i int) (takes, gives Rate, reason Reason) {
	s := m.SourceOf[i]
	if l := &m.Layouts[i]; l.Hand() {
		takes, gives = l.HandFlow, m.Sources[s].FlowMax
		if takes > gives {
			return takes, gives, ReasonFlow
		}
	} else {
		k := m.testClass[i]
		takes, gives = RateUp(unit.Flow(m.testFlow[i][k])), RateDown(unit.Flow(m.capacity[s][k]))
		if !m.Fits(s, []int{i}) {
			return takes, gives, ReasonFlow
		}
	}
	op := m.Operate(s, []int{i})
	if op.Delivered[0] <= 0 {
		return takes, gives, ReasonNone
	}
	if line := m.LineOf[s]; line >= 0 && op.Total > m.Lines[line].FlowLimit {
		return op.Total, m.Lines[line].FlowLimit, ReasonLine
	}
	return takes, gives, ""
}

// si is a rate in m³/s.
func si(r Rate) float64 { return float64(r.Flow()) }

// Fits tells whether the layouts can be open together at source s: every one keeps its least head, the source's flow
// limit holds and each finds a hose connection. Every part of a zone that fits fits too. A hand turn fits alone only.
func (m *Model) Fits(s int, members []int) bool {
	if c := m.Sources[s].Connections; c > 0 && len(members) > c {
		return false
	}
	class := math.MaxInt
	for _, i := range members {
		if m.Layouts[i].Hand() {
			return len(members) == 1 && m.Layouts[i].HandFlow <= m.Sources[s].FlowMax
		}
		class = min(class, m.testClass[i])
	}
	if class == math.MaxInt {
		return false
	}
	total := 0.0
	for _, i := range members {
		total += m.testFlow[i][class]
	}
	return total <= m.capacity[s][class]
}

// Weight is the part of the source, or of its line, that a layout takes up at its own least head. In a zone that fits the
// weights add up to at most 1, because a member's flow rises with the head and the supply's falls; the reverse does
// not hold. A hand turn takes up all of its source.
func (m *Model) Weight(i int) float64 {
	s, l := m.SourceOf[i], &m.Layouts[i]
	if l.Hand() {
		return 1
	}
	k := m.testClass[i]
	gives := m.capacity[s][k]
	if line := m.LineOf[s]; line >= 0 {
		gives = math.Min(gives, si(m.Lines[line].FlowLimit)*(1+fitSlack))
	}
	return math.Min(1, m.testFlow[i][k]/gives)
}

// LargestFlow is the most that source s gives to any zone: what it gives at the least head of all its members.
func (m *Model) LargestFlow(s int) Rate {
	most := 0.0
	for _, i := range m.Members[s] {
		if m.Layouts[i].Hand() {
			most = math.Max(most, si(m.Layouts[i].HandFlow))
		} else {
			most = math.Max(most, m.capacity[s][m.testClass[i]])
		}
	}
	largest := RateUp(unit.Flow(most)) + 1
	if line := m.LineOf[s]; line >= 0 {
		largest = min(largest, m.Lines[line].FlowLimit)
	}
	return largest
}

// Operation is what happens when a zone is open.
type Operation struct {
	Head      unit.Head
	Delivered []Rate // to each member, in the order asked
	Drawn     []Rate
	Total     Rate // drawn from the source
}

// operateTolerance is the width of the bracket at which the joint head is taken as found [m]; a nanometre of head moves
// the flow by far less than a millilitre an hour.
const operateTolerance = 1e-9

// Operate finds the joint operating point of the layouts at source s. They must fit.
func (m *Model) Operate(s int, members []int) Operation {
	op := Operation{Delivered: make([]Rate, len(members)), Drawn: make([]Rate, len(members))}
	op.Head = unit.Head(m.jointHead(s, members))
	for at, i := range members {
		if l := &m.Layouts[i]; l.Hand() {
			op.Delivered[at], op.Drawn[at] = l.HandFlow, l.HandFlow
		} else {
			q := unit.Flow(l.Curve.FlowAt(float64(op.Head)))
			op.Delivered[at], op.Drawn[at] = RateDown(q), RateUp(q)
		}
		op.Total += op.Drawn[at]
	}
	return op
}

// flowAt is what layouts take together at a head [m³/s].
func (m *Model) flowAt(members []int, h float64) float64 {
	q := 0.0
	for _, i := range members {
		if l := &m.Layouts[i]; l.Hand() {
			q += si(l.HandFlow)
		} else {
			q += l.Curve.FlowAt(h)
		}
	}
	return q
}

// jointHead is the root of supply flow − members' flow, by false position with the Illinois step, which keeps the
// bracket of bisection.
func (m *Model) jointHead(s int, members []int) float64 {
	supply := m.Sources[s].Supply
	flow := func(h float64) float64 { return m.flowAt(members, h) }
	low, high := 0.0, supply.Static
	if same := flow(high); same == flow(high/2) && same == flow(high/1024) {
		return math.Max(0, supply.HeadAt(same)) // all regulated
	}
	// The surplus of head falls strictly: supply head at the members' flow, less the head that makes this flow.
	surplus := func(h float64) float64 { return supply.HeadAt(flow(h)) - h }
	fl, fh := surplus(low), surplus(high)
	if fl <= 0 {
		return 0
	}
	side := 0
	for range 200 {
		if high-low <= operateTolerance {
			break
		}
		h := (low*fh - high*fl) / (fh - fl)
		if !(h > low && h < high) {
			h = (low + high) / 2
		}
		f := surplus(h)
		switch {
		case math.Abs(f) <= operateTolerance/10:
			return h
		case f > 0:
			low, fl = h, f
			if side == 1 {
				fh /= 2
			}
			side = 1
		default:
			high, fh = h, f
			if side == -1 {
				fl /= 2
			}
			side = -1
		}
	}
	return low
}

// LayoutIndex returns where a layout stands in the problem.
func (m *Model) LayoutIndex(id string) (int, bool) { i, ok := m.layoutAt[id]; return i, ok }

// SourceIndex returns where a source stands in the problem.
func (m *Model) SourceIndex(id string) (int, bool) { i, ok := m.sourceAt[id]; return i, ok }

// WindowIndex returns where a window stands in the problem.
func (m *Model) WindowIndex(id string) (int, bool) { i, ok := m.windowAt[id]; return i, ok }

// DailyLimits returns the most that source s may give on each day: its daily cap, and for a tank a budget that never
// empties it. The budget gives every day with a window the same part of the store and of what flows in, as far as the
// tank holds it by then, but a shortest turn at least; what a day cannot have, or has too much, is settled with the days
// after it. A day without a limit has -1. settled is
// what is drawn on each day whatever is planned; nil for nothing.
func (m *Model) DailyLimits(s int, settled []Milliliters) []Milliliters {
	source, out := &m.Sources[s], make([]Milliliters, m.Days)
	for d := range out {
		out[d] = -1
		if source.DailyCap > 0 {
			out[d] = source.DailyCap
		}
	}
	if source.Tank == nil {
		return out
	}
	starts := m.dayStarts(s)
	open, days := make([]bool, m.Days), 0
	for _, slot := range m.Slots[s] {
		if !open[slot.Day] {
			open[slot.Day] = true
			days++
		}
	}
	shortest := Milliliters((m.LargestFlow(s).Volume(source.MinRun) + 999) / 1000)
	level, allowed := min(source.Tank.Volume, source.Tank.Level+source.Tank.refilled(starts[0])), Milliliters(0)
	total := level + source.Tank.refilled(starts[m.Days]-starts[0])
	for d := range out {
		refill := source.Tank.refilled(starts[d+1] - starts[d])
		budget := Milliliters(0)
		if open[d] {
			allowed += total / Milliliters(days)
			if allowed > 0 {
				budget = min(level, max(allowed, shortest))
			}
		}
		if out[d] < 0 || budget < out[d] {
			out[d] = budget
		}
		drawn := out[d]
		if settled != nil {
			drawn = max(drawn, settled[d])
		}
		allowed -= drawn
		level = max(0, min(source.Tank.Volume, level-drawn+refill))
	}
	return out
}

// refilled is what flows in over a time, if the tank is not full.
func (t *Tank) refilled(over Instant) Milliliters {
	return Milliliters(t.Refill.Volume(Span(over)) / 1000)
}

// dayStarts returns when the first window of each day opens for source s, and the end of the last. A day without a
// window starts where the next one does.
func (m *Model) dayStarts(s int) []Instant {
	out := make([]Instant, m.Days+1)
	next := Instant(0)
	if n := len(m.Slots[s]); n > 0 {
		next = m.Slots[s][n-1].End
	}
	out[m.Days] = next
	for d, k := m.Days-1, len(m.Slots[s])-1; d >= 0; d-- {
		for ; k >= 0 && m.Slots[s][k].Day == d; k-- {
			next = m.Slots[s][k].Start
		}
		out[d] = next
	}
	return out
}
