package problem

import (
	"math"
	"slices"
	"sort"

	"rillturn.example/rillturn/engine/unit"
)

// Measure says what is shared evenly when water is short.
type Measure string

// The measures of a fair share.
const (
	ByNeed    Measure = "need"    // everybody gets the same part of the need
	ByArea    Measure = "area"    // everybody gets the same depth of water, up to the need
	ByMinutes Measure = "minutes" // every zone gets the same minutes, up to the need
)

// Batch is a zone as the planner sees it: what it needs and what its members allow.
type Batch struct {
	Source   int
	Members  []int // rising
	Op       Operation
	Time     Span // minutes in which every member gets its need
	Weight   Span // what one unit of share takes
	Class    int
	DayCap   Span // most minutes on a day, for the soil of the member that takes least
	MaxRun   Span
	Soak     Span
	Open     []bool  // by day
	Interval int     // most days between watering days
	FirstBy  int     // last day on which the first watering meets every member's limit; may be negative
	Waits    []Wait  // by member
	Used     []Span  // by day: what settled turns and the past took of DayCap; nil for none
	Watered  []bool  // by day: a settled turn, or one of the past that watered every member; nil for none
	Done     Span    // what settled turns and the past gave, in minutes of the member that is left with most
	Past     Span    // the part of Done that the past gave
	Settled  []Span  // by day: settled turns; nil for none
	Ration   *Ration // nil until Rationed, and where no member has a reservoir
}

// Wait is the interval limit of one member.
type Wait struct {
	Interval int // most days between watering days
	FirstBy  int // last day on which the first watering meets it; may be negative
}

// Late counts the days by which watering days miss the limit. watered has an entry for every day.
func (w Wait) Late(watered []bool) int {
	late, by := 0, w.FirstBy
	for d, is := range watered {
		if is {
			late += max(0, d-by)
			by = d + w.Interval
		}
	}
	return late + max(0, len(watered)-by)
}

// Late counts the days by which watering days miss the limits of members, added up over them.
func (z *Batch) Late(watered []bool) int {
	if (Wait{z.Interval, z.FirstBy}).Late(watered) == 0 {
		return 0
	}
	late := 0
	for _, w := range z.Waits {
		late += w.Late(watered)
	}
	return late
}

// LeastLate is what Late comes to when every day that can be is a watering day.
func (z *Batch) LeastLate(m *Model) int {
	watered := make([]bool, m.Days)
	for d, t := range z.Potential(m) {
		watered[d] = t > 0 && t >= m.Sources[z.Source].MinRun || z.Watered != nil && z.Watered[d]
	}
	return z.Late(watered)
}

// NewBatch works out a zone of the source. The members must fit.
func NewBatch(m *Model, source int, members []int, by Measure) Batch {
	z := Batch{
		Source: source, Members: append([]int(nil), members...), DayCap: MaxSpan, MaxRun: MaxSpan,
		Open: make([]bool, m.Days), Interval: 1 << 20, FirstBy: 1 << 20, Class: 1 << 20,
	}
	sort.Ints(z.Members)
	z.Op = m.Operate(source, z.Members)
	for d := range z.Open {
		z.Open[d] = true
	}
	for at, i := range z.Members {
		l := &m.Layouts[i]
		z.Time = max(z.Time, l.Need.Over(z.Op.Delivered[at]))
		z.Weight = max(z.Weight, weight(m, by, i, z.Op.Delivered[at]))
		z.DayCap = min(z.DayCap, l.MaxDay.Within(z.Op.Drawn[at]))
		if l.MaxDayTime > 0 {
			z.DayCap = min(z.DayCap, l.MaxDayTime)
		}
		z.MaxRun, z.Soak = min(z.MaxRun, l.MaxRun), max(z.Soak, l.Soak)
		wait := Wait{Interval: l.MaxInterval, FirstBy: l.MaxInterval - l.DaysSince}
		z.Interval, z.FirstBy, z.Waits = min(z.Interval, wait.Interval), min(z.FirstBy, wait.FirstBy), append(z.Waits, wait)
		z.Class = min(z.Class, l.Class)
		for d, open := range m.Open[i] {
			z.Open[d] = z.Open[d] && open
		}
	}
	z.countPast(m, by)
	return z
}

// countPast takes off what the members had already. They may have had different parts of their need, because zones change;
// the zone then asks for the minutes of the member that is left with most.
func (z *Batch) countPast(m *Model, by Measure) {
	if len(m.Past) == 0 {
		return
	}
	z.Used, z.Watered = make([]Span, m.Days), make([]bool, m.Days)
	for d := range z.Used {
		room := z.DayCap
		z.Watered[d] = true
		for at, i := range z.Members {
			l, had := &m.Layouts[i], m.Had[i][d]
			z.Watered[d] = z.Watered[d] && had.Time > 0
			room = min(room, max(0, l.MaxDay-had.Volume).Within(z.Op.Drawn[at]))
			if l.MaxDayTime > 0 {
				room = min(room, l.MaxDayTime-had.Time)
			}
		}
		z.Used[d] = z.DayCap - max(0, room)
	}
	left := Span(-1)
	for at, i := range z.Members {
		need := m.Layouts[i].Need
		if rest := max(0, need-m.HadInAll(i)).Over(z.Op.Delivered[at]); rest > left {
			left = rest
			z.Time, z.Weight = need.Over(z.Op.Delivered[at]), weight(m, by, i, z.Op.Delivered[at])
			z.Done = max(0, z.Time-rest)
		}
	}
	z.Past = z.Done
}

// Gives is what member number at gets in all [µL] when the zone gets time in all.
func (z *Batch) Gives(m *Model, at int, time Span) int64 {
	return 1000*int64(m.HadInAll(z.Members[at])) + z.Op.Delivered[at].Volume(time-z.Past)
}

// MinutesShare is what a whole share means when minutes are shared evenly.
const MinutesShare = Span(60 * Minute)

// AreaShare is the depth of water that a whole share means when shares are by area [mm].
const AreaShare = 100

// areaDepth is that depth in mL per m².
const areaDepth = AreaShare * 1000

func weight(m *Model, by Measure, i int, delivered Rate) Span {
	if m.Layouts[i].Need == 0 {
		return 0
	}
	switch by {
	case ByArea:
		return max(1, Milliliters(min(float64(m.Layouts[i].Area)*areaDepth, float64(MaxVolume))).Over(delivered))
	case ByMinutes:
		return MinutesShare
	default:
		return m.Layouts[i].Need.Over(delivered)
	}
}

// Visits is the least number of watering days that the interval limits ask for, closed days not counted. They ask for none
// of a zone that can have no turn at all.
func (z *Batch) Visits(m *Model) int {
	if z.FirstBy >= m.Days || !slices.ContainsFunc(z.Potential(m), func(t Span) bool { return t > 0 }) {
		return 0
	}
	return z.kept(m)
}

// kept is how many watering days keep the interval limits.
func (z *Batch) kept(m *Model) int {
	first := max(0, z.FirstBy)
	return 1 + (max(0, m.Days-z.Interval-first)+z.Interval-1)/z.Interval
}

// Longest is the most that turns of at most run, with pauses of soak between them, fill of a window. They soak in the reserve
// too.
func Longest(slot Slot, run, soak Span) Span {
	window := Span(slot.End - slot.Start)
	if run <= 0 {
		return 0
	}
	if soak == 0 || run >= window {
		return slot.Usable
	}
	full := window / (run + soak)
	return min(slot.Usable, full*run+min(run, window-full*(run+soak)))
}

// Potential is the most that the zone can get on each day if it has every window to itself: no more than the soil
// takes, and in each window no more than its longest turns with their pauses.
func (z *Batch) Potential(m *Model) []Span {
	days := make([]Span, m.Days)
	shortest := m.Sources[z.Source].MinRun
	if min(z.DayCap, z.MaxRun) < shortest || (z.Op.Total-Rate(len(z.Members))).Volume(shortest) > m.dayVolume(z.Source) {
		return days
	}
	for _, slot := range m.Slots[z.Source] {
		if z.Open[slot.Day] && slot.Usable >= shortest {
			days[slot.Day] = min(z.DayCap, days[slot.Day]+Longest(slot, z.MaxRun, z.Soak))
		}
	}
	return days
}

// Most is the largest share of its need that layout i can get when it has every window to itself: on each day no more
// than its soil takes, in each window no more than its longest turns with their pauses.
func Most(m *Model, i int) float64 {
	l, s := &m.Layouts[i], m.SourceOf[i]
	if l.Need == 0 {
		return 1
	}
	flow, least := float64(m.Operate(s, []int{i}).Drawn[0]), float64(l.HandFlow)
	if !l.Hand() {
		least = unit.Flow(l.Curve.FlowAt(float64(l.HeadMin))).LitersPerMinute()*1000 - 1
	}
	// In a zone of several it takes less than alone, so that its soil may bear a shortest turn there only.
	shortest := float64(m.Sources[s].MinRun)
	if float64(l.MaxRun) < shortest || (least > 0 && float64(l.MaxDay+1)*1000/least < shortest) {
		return 0
	}
	if m.shortestTurnDraws(i) > m.dayVolume(s) {
		return 0
	}
	days := make([]float64, m.Days)
	for _, slot := range m.Slots[s] {
		if m.Open[i][slot.Day] && float64(slot.Usable) >= shortest {
			days[slot.Day] += float64(Longest(slot, l.MaxRun, l.Soak))
		}
	}
	got := 0.0
	for _, t := range days {
		if l.MaxDayTime > 0 {
			t = math.Min(t, float64(l.MaxDayTime))
		}
		got += math.Min(float64(l.MaxDay)*1000, t*flow)
	}
	return math.Min(1, got/(1000*float64(l.Need)))
}

// shortestTurnDraws is the least that a turn of any zone with layout i draws from its source [µL]: a zone of several draws no
// less than one of its members alone. Each drawn flow is rounded up by less than a millilitre a minute.
func (m *Model) shortestTurnDraws(i int) int64 {
	s := m.SourceOf[i]
	return (m.Operate(s, []int{i}).Total - 1).Volume(m.Sources[s].MinRun)
}

// dayVolume is the most that a source gives on one day by its daily cap and its line's [µL].
func (m *Model) dayVolume(s int) int64 {
	most := MaxVolume
	if c := m.Sources[s].DailyCap; c > 0 {
		most = min(most, c)
	}
	if line := m.LineOf[s]; line >= 0 && m.Lines[line].DailyCap > 0 {
		most = min(most, m.Lines[line].DailyCap)
	}
	return 1000 * int64(most)
}

// Spend is the least that a zone takes of its source's time at a share of its need.
type Spend struct {
	Time  float64 // milli-minutes with a changeover for every visit and the pauses within visits
	Short float64 // milli-minutes that the zone's own limits withhold
}

// spendSlack keeps a share that needs exactly n turns from counting n+1.
const spendSlack = 1e-9

// SpendAt works out the spend at a share. Watering days that interval limits ask for count as turns unless intervals
// is false.
func (z *Batch) SpendAt(m *Model, share float64, intervals bool) Spend {
	return z.SpendFor(m, share*float64(z.Time), intervals)
}

// SpendFor works out the spend for milli-minutes of turns. What the zone's own limits withhold is not spent.
func (z *Batch) SpendFor(m *Model, want float64, intervals bool) Spend {
	potential, most := 0.0, 1.0
	for _, t := range z.Potential(m) {
		potential += float64(t)
		most = max(most, float64(t))
	}
	short := max(0, want-potential)
	want -= short
	visits := max(math.Ceil(want/most-spendSlack), 0)
	if intervals && z.FirstBy < m.Days && potential > 0 {
		visits = max(visits, float64(z.kept(m)))
	}
	turns := max(visits, math.Ceil(want/max(1, float64(z.MaxRun))-spendSlack))
	source := &m.Sources[z.Source]
	return Spend{
		Time:  max(want, turns*float64(source.MinRun)) + float64(source.Changeover)*visits + float64(z.Pause(m))*(turns-visits),
		Short: short,
	}
}

// Between is the least pause between two turns of the zone in one window with no other zone between them.
func (z *Batch) Between(m *Model) Span { return min(z.Soak, m.Sources[z.Source].Changeover) }

// Pause is the least time of the source that goes by between two turns of the zone in one window: none where the window has a
// reserve, in which nobody minds a pause.
func (z *Batch) Pause(m *Model) Span {
	if m.Sources[z.Source].Reserve > 0 {
		return 0
	}
	return z.Between(m)
}

// DayRoom is the most that the zone can still get on a day.
func (z *Batch) DayRoom(day int) Span {
	if z.Used == nil {
		return z.DayCap
	}
	return max(0, z.DayCap-z.Used[day])
}

// Settle counts a turn of the zone that will not be planned any more.
func (z *Batch) Settle(days, day int, length Span) {
	if z.Used == nil {
		z.Used, z.Watered = make([]Span, days), make([]bool, days)
	}
	if z.Settled == nil {
		z.Settled = make([]Span, days)
	}
	z.Used[day] += length
	z.Settled[day] += length
	z.Watered[day] = true
	z.Done += length
}
