package fieldwork

import (
	"cmp"
	"math"
	"slices"
)

// master is the linear program over fillings: cut at least what is wanted, at the least cost. Its columns are made as
// they are needed, by a knapsack for each stock, and kept from one program to the next.
type master struct {
	kinds  []kind
	stocks []stock
	pool   []filling
	work   int64   // done so far
	missed float64 // cost of a piece that is not cut: more than any cut list costs
	// rough ends a program when it hardly gains: its fillings are good, its bound is not.
	rough bool
	// enough is how far from its bound a program may end.
	enough float64
	// rounded is a bound rounded up to what sticks can add up to.
	rounded func(float64) int64
}

// relaxed is the solution of a linear program.
type relaxed struct {
	bound      float64   // in units of the dearest stick
	prices     []float64 // of each kind
	used       []usedFilling
	impossible bool // some piece fits nothing that is left
}

// usedFilling is a filling with how often it is used, the most used first.
type usedFilling struct {
	filling
	times float64
}

func (m *master) init(kinds []kind, stocks []stock, rounded func(float64) int64) {
	m.kinds, m.stocks, m.rounded = kinds, stocks, rounded
	pieces := 0
	for _, k := range kinds {
		pieces += len(k.pieces)
	}
	m.missed = float64(pieces) + 1
}

// Tolerances of the linear program. Costs are of the order of 1 and the figures of fillings small whole numbers, so a
// billionth tells noise from gain.
const (
	priceSlack = 1e-9
	pivotSlack = 1e-9
	pivotLeast = 1e-7
	// apart is added to what is wanted, times 1 to 2, so that no two fillings run out together and pivots don't go round.
	apart         = 1e-6
	mostPivots    = 4000
	knapsackStep  = 10     // work of one step, about
	mostKnapsacks = 20_000 // steps of one knapsack without a gain
	stateStep     = 20     // work of one step of a frontier, about
	mostStates    = 200_000
	// enoughKnapsacks is how many steps a knapsack looks on for a greater gain.
	enoughKnapsacks = 2000
	kindsPerColumn  = 12 // a program of more kinds is given more columns at once
	// a rough program ends when so many rounds of columns gain less than this share
	roughRounds = 5
	roughGain   = 2e-3
	finestGrain = 100_000 // [nm]
	mostGrains  = 30_000
)

// gains are what a new filling must gain, in units of the dearest stick. Of fillings that gain next to nothing there are very many,
// and a program is mostly decided before they matter.
var gains = []float64{1e-3, 1e-5, 1e-7}

// solve returns the linear program of what is left to cut.
//
// The bound is not read off the program but made safe from its prices p: with v(j) the most that a filling of stock j is
// worth at prices p, and p scaled so that no bought stick is worth more than it costs, every cut list costs at least
//
//	Σ want·p − Σ have·v   (the second sum over off-cuts)
//
// (A. A. Farley, Oper. Res. 38 (1990) 922–923; from memory). Prices of an unfinished program give a bound as well; solve stops
// when more columns can't raise it to the next cost that sticks add up to.
func (m *master) solve(r residual) relaxed {
	t := newTableau(m, r)
	for _, f := range m.pool {
		t.addIfFits(f, r)
	}
	t.optimize()
	out := relaxed{}
	last, fineness := t.cost(), 0
	for round := 1; ; round++ {
		prices := t.prices()
		worth, added := m.price(t, r, prices, gains[fineness])
		out.bound, out.prices = math.Max(out.bound, m.bound(r, prices, worth)), prices
		if !added && fineness == len(gains)-1 || m.work > mostCutWork {
			break
		}
		if m.rounded(out.bound) >= m.rounded(t.cost()) || t.cost()-out.bound <= m.enough {
			break
		}
		if !added {
			fineness++
			continue
		}
		t.optimize()
		if round%roughRounds == 0 {
			if m.rough && t.cost() > last*(1-roughGain) {
				break
			}
			last = t.cost()
		}
	}
	out.used, out.impossible = t.used()
	return out
}

// price adds fillings that are worth more than they cost by a gain, disjoint ones from each stock, and returns an upper bound for
// what a filling of each stock is worth.
func (m *master) price(t *tableau, r residual, prices []float64, gain float64) (worth []float64, added bool) {
	worth = make([]float64, len(m.stocks))
	most := 1 + len(t.rowKind)/kindsPerColumn
	for j := range m.stocks {
		if r.have[j] == 0 {
			continue
		}
		rest := residual{want: slices.Clone(r.want)}
		target := m.stocks[j].weight + t.rent(j) + gain
		for n := range most {
			k := m.knapsack(j, prices, rest, target)
			if n == 0 {
				worth[j] = k.value
				if k.cut {
					worth[j] = m.ceiling(j, prices, r, k)
				}
			}
			if k.take == nil {
				break
			}
			f := filling{stock: j, take: k.take}
			m.pool = append(m.pool, f)
			t.add(f)
			added = true
			for i, n := range f.take {
				rest.want[i] -= n
			}
		}
	}
	return worth, added
}

// bound is what every cut list costs at least by the prices, worth being what a filling of each stock is worth at most.
func (m *master) bound(r residual, prices, worth []float64) float64 {
	scale := 1.0
	for j, v := range worth {
		if m.stocks[j].weight > 0 && v > m.stocks[j].weight {
			scale = math.Min(scale, m.stocks[j].weight/v)
		}
	}
	sum := 0.0
	for i, p := range prices {
		sum += p * float64(r.want[i])
	}
	for j, v := range worth {
		if m.stocks[j].weight == 0 && r.have[j] > 0 {
			sum -= v * float64(r.have[j])
		}
	}
	return math.Max(0, scale*sum)
}

// material is the bound of length alone: a stick yields no more than its length, and costs in proportion.
func (m *master) material(r residual) float64 {
	sum := 0.0
	for i, n := range r.want {
		sum += float64(n) * float64(m.kinds[i].length)
	}
	best := 0.0 // length for the cost of a dearest stick
	for j := range m.stocks {
		if m.stocks[j].weight == 0 {
			sum -= float64(r.have[j]) * float64(m.stocks[j].length)
		} else {
			best = math.Max(best, float64(m.stocks[j].length)/m.stocks[j].weight)
		}
	}
	if best == 0 {
		return 0
	}
	return math.Max(0, sum/best)
}

type knapsackResult struct {
	value float64 // no less than the most valuable filling, unless cut
	take  []int   // nil when nothing is worth more than the target
	cut   bool    // stopped early
}

// knapsack returns the most valuable filling of stock j with the pieces that are left, if it is worth more than the target:
// depth first by value per length, with the fractional bound. Once it has a gain it does not look long for a greater one.
func (m *master) knapsack(j int, prices []float64, r residual, target float64) knapsackResult {
	order := m.byDensity(j, prices, r)
	shortest := make([]int64, len(order)+1) // from here on
	shortest[len(order)] = math.MaxInt64
	for n := len(order) - 1; n >= 0; n-- {
		shortest[n] = min(shortest[n+1], m.kinds[order[n].kind].length)
	}
	best := knapsackResult{value: target}
	take := make([]int, len(m.kinds))
	steps, most := 0, mostKnapsacks
	var walk func(n int, room int64, value float64)
	walk = func(n int, room int64, value float64) {
		if value > best.value {
			best.value, best.take = value, slices.Clone(take)
			most = min(most, steps+enoughKnapsacks)
		}
		for ; room >= shortest[n]; n++ {
			if steps++; steps > most {
				best.cut = true
				return
			}
			o := order[n]
			if value+float64(room)*o.density <= best.value+priceSlack {
				return
			}
			length := m.kinds[o.kind].length
			for c := min(r.want[o.kind], int(room/length)); c > 0; c-- {
				take[o.kind] = c
				walk(n+1, room-int64(c)*length, value+float64(c)*prices[o.kind])
			}
			take[o.kind] = 0
		}
	}
	walk(0, m.stocks[j].length, 0)
	if best.cut && best.take == nil {
		m.frontier(j, prices, r, order, &best)
	}
	m.work += int64(steps+len(order)) * knapsackStep
	best.value += priceSlack // the fractional bound may have hidden as much
	return best
}

// state is a set of pieces in a stick.
type state struct {
	length     int64
	value      float64
	from, kind int // the state that it came from, and the piece that came to it
}

// frontier fills a stock as knapsack does, piece by piece in its order: of the sets of pieces so far it keeps those of which no
// shorter one is worth as much, and which with the fractional bound may still beat the best (G. L. Nemhauser and Z. Ullmann,
// Manage. Sci. 15 (1969) 494–505; from memory). Where prices go almost by length, that looks at far fewer sets. It says in best
// whether it was stopped early.
func (m *master) frontier(j int, prices []float64, r residual, order []priced, best *knapsackResult) {
	capacity := m.stocks[j].length
	states := []state{{from: -1}}
	front, longer, merged := []int{0}, []int(nil), []int(nil)
	top, steps := -1, 0
	for n, o := range order {
		l := m.kinds[o.kind].length
		copies := min(int64(r.want[o.kind]), capacity/l)
		for c := range copies {
			density := o.density // of what can still be added
			if c == copies-1 {
				density = 0
				if n+1 < len(order) {
					density = order[n+1].density
				}
			}
			if steps += len(front); steps > mostStates {
				m.work += int64(steps) * stateStep
				return
			}
			longer = longer[:0]
			for _, i := range front {
				if states[i].length+l > capacity {
					break
				}
				states = append(states, state{states[i].length + l, states[i].value + prices[o.kind], i, o.kind})
				longer = append(longer, len(states)-1)
				if v := states[len(states)-1].value; v > best.value {
					best.value, top = v, len(states)-1
				}
			}
			merged = merged[:0]
			most := math.Inf(-1)
			for a, b := 0, 0; a < len(front) || b < len(longer); {
				var i int
				if b == len(longer) || a < len(front) && states[front[a]].length <= states[longer[b]].length {
					i, a = front[a], a+1
				} else {
					i, b = longer[b], b+1
				}
				if x := &states[i]; x.value > most && x.value+float64(capacity-x.length)*density > best.value+priceSlack {
					merged, most = append(merged, i), x.value
				}
			}
			front, merged = merged, front
		}
	}
	m.work += int64(steps) * stateStep
	best.cut = false
	if top >= 0 {
		best.take = make([]int, len(m.kinds))
		for ; states[top].from >= 0; top = states[top].from {
			best.take[states[top].kind]++
		}
	}
}

// priced is a kind with its price per nanometre.
type priced struct {
	kind    int
	density float64
}

// byDensity lists the kinds that stock j can hold and that are worth something, the best price for length first.
func (m *master) byDensity(j int, prices []float64, r residual) []priced {
	var order []priced
	for i := range m.kinds {
		if prices[i] > priceSlack && r.want[i] > 0 && m.kinds[i].length <= m.stocks[j].length {
			order = append(order, priced{i, prices[i] / float64(m.kinds[i].length)})
		}
	}
	slices.SortStableFunc(order, func(a, b priced) int { return cmp.Compare(b.density, a.density) })
	return order
}

// ceiling is an upper bound for a filling's worth where the knapsack was stopped early. With a gain at hand the fractional
// bound does, since there will be another program; at the end lengths rounded down to grains are filled exactly.
func (m *master) ceiling(j int, prices []float64, r residual, k knapsackResult) float64 {
	order := m.byDensity(j, prices, r)
	if k.take != nil {
		return fractional(m, j, prices, r, order)
	}
	grain := max(finestGrain, m.stocks[j].length/mostGrains)
	worth := make([]float64, m.stocks[j].length/grain+1) // by length used
	for _, o := range order {
		l := int(m.kinds[o.kind].length / grain)
		if l == 0 {
			return fractional(m, j, prices, r, order)
		}
		for range min(r.want[o.kind], (len(worth)-1)/l) {
			for used := len(worth) - 1; used >= l; used-- {
				worth[used] = max(worth[used], worth[used-l]+prices[o.kind])
			}
			m.work += int64(len(worth))
		}
	}
	return worth[len(worth)-1] + priceSlack*float64(len(m.kinds))
}

// fractional is what a stick is worth when the last piece may be cut through.
func fractional(m *master, j int, prices []float64, r residual, order []priced) float64 {
	room, value := m.stocks[j].length, priceSlack*float64(len(m.kinds))
	for _, o := range order {
		n := min(int64(r.want[o.kind]), room/m.kinds[o.kind].length)
		value += float64(n) * prices[o.kind]
		room -= n * m.kinds[o.kind].length
		if n < int64(r.want[o.kind]) {
			return value + float64(room)*o.density
		}
	}
	return value
}

// tableau is a revised simplex with an explicit inverse. Rows: one for each kind still wanted (cut at least), one for
// each off-cut length still there (use at most).
type tableau struct {
	m       *master
	rowKind []int // kind of a row, for the first rows
	rowOff  []int // stock of a row, for the rest
	rowOf   []int // row of a kind; -1
	offRow  []int // row of a stock; -1
	columns []column
	basis   []int
	inverse [][]float64
	want    []float64
	x       []float64
	y       []float64 // c_B·B⁻¹
}

type column struct {
	cost    float64
	entries []entry
	filling *filling
	missing bool
}

type entry struct {
	row   int
	value float64
}

func newTableau(m *master, r residual) *tableau {
	t := &tableau{m: m, rowOf: make([]int, len(m.kinds)), offRow: make([]int, len(m.stocks))}
	rows := 0
	for i, n := range r.want {
		t.rowOf[i] = -1
		if n > 0 {
			t.rowOf[i] = rows
			t.rowKind = append(t.rowKind, i)
			rows++
		}
	}
	for j, n := range r.have {
		t.offRow[j] = -1
		if n > 0 {
			t.offRow[j] = rows
			t.rowOff = append(t.rowOff, j)
			rows++
		}
	}
	for row, i := range t.rowKind {
		t.start(t.alone(row, i), float64(r.want[i]))
		t.columns = append(t.columns, column{entries: []entry{{row, -1}}})
	}
	for n, j := range t.rowOff {
		t.start(column{entries: []entry{{len(t.rowKind) + n, 1}}}, float64(r.have[j]))
	}
	t.inverse = make([][]float64, rows)
	for i := range t.inverse {
		t.inverse[i] = make([]float64, rows)
		t.inverse[i][i] = 1
		t.y = append(t.y, t.columns[t.basis[i]].cost)
	}
	return t
}

// alone cuts a piece from the shortest stick to buy that holds it, or misses it.
func (t *tableau) alone(row, kind int) column {
	c := column{cost: t.m.missed, entries: []entry{{row, 1}}, missing: true}
	for j, k := range t.m.stocks {
		if k.cost > 0 && k.length >= t.m.kinds[kind].length {
			f := filling{stock: j, take: make([]int, len(t.m.kinds))}
			f.take[kind] = 1
			return column{cost: k.weight, entries: c.entries, filling: &f}
		}
	}
	return c
}

// start adds a column of the first basis.
func (t *tableau) start(c column, x float64) {
	t.basis = append(t.basis, len(t.columns))
	t.columns = append(t.columns, c)
	t.want = append(t.want, x)
	const golden = 0.6180339887498949
	t.x = append(t.x, x+apart*(1+math.Mod(golden*float64(len(t.x)), 1)))
}

// addIfFits adds a known filling cut down to what is wanted, so that programs of what is left stay tight.
func (t *tableau) addIfFits(f filling, r residual) {
	if r.have[f.stock] == 0 {
		return
	}
	some := false
	for i, n := range f.take {
		if n > r.want[i] {
			return
		}
		some = some || n > 0
	}
	if some {
		t.add(f)
	}
}

func (t *tableau) add(f filling) {
	c := column{cost: t.m.stocks[f.stock].weight, filling: &f}
	for i, n := range f.take {
		if n > 0 {
			c.entries = append(c.entries, entry{t.rowOf[i], float64(n)})
		}
	}
	if row := t.offRow[f.stock]; row >= 0 {
		c.entries = append(c.entries, entry{row, 1})
	}
	t.columns = append(t.columns, c)
}

// cost is that of the basis for what is really wanted.
func (t *tableau) cost() float64 {
	sum := 0.0
	for i, y := range t.y {
		sum += y * t.want[i]
	}
	return sum
}

// prices returns what a piece of each kind is worth, never less than nothing.
func (t *tableau) prices() []float64 {
	p := make([]float64, len(t.m.kinds))
	for row, i := range t.rowKind {
		p[i] = math.Max(0, t.y[row])
	}
	return p
}

// rent returns what the scarcity of an off-cut is worth.
func (t *tableau) rent(j int) float64 {
	if row := t.offRow[j]; row >= 0 {
		return math.Max(0, -t.y[row])
	}
	return 0
}

// optimize pivots until no known column gains: the steepest gain first, after many pivots the first that gains, which
// cannot go round in circles.
func (t *tableau) optimize() {
	for n := range mostPivots {
		t.m.work += int64(len(t.columns) * 4)
		enter, gain, gainOf := -1, pivotSlack, 0.0
		for k := range t.columns {
			g := -t.columns[k].cost
			for _, e := range t.columns[k].entries {
				g += t.y[e.row] * e.value
			}
			if g > gain {
				enter, gainOf = k, g
				if n > mostPivots/2 {
					break
				}
				gain = g
			}
		}
		if enter < 0 || !t.pivot(enter, gainOf) {
			return
		}
	}
}

// pivot brings a column with a gain into the basis.
func (t *tableau) pivot(enter int, gain float64) bool {
	rows := len(t.basis)
	d := make([]float64, rows)
	for i := range d {
		for _, e := range t.columns[enter].entries {
			d[i] += t.inverse[i][e.row] * e.value
		}
	}
	leave := t.leaves(d)
	if leave < 0 {
		return false
	}
	t.replace(leave, d, gain)
	t.basis[leave] = enter
	return true
}

// leaves returns the row that runs out first, of those that run out together the one with the largest entry.
func (t *tableau) leaves(d []float64) int {
	least := math.Inf(1)
	for i, v := range d {
		if v > pivotLeast {
			least = math.Min(least, t.x[i]/v)
		}
	}
	leave := -1
	for i, v := range d {
		if v > pivotLeast && t.x[i]/v <= least+pivotSlack && (leave < 0 || v > d[leave]) {
			leave = i
		}
	}
	return leave
}

// replace updates the inverse, the amounts and the prices. Most of the inverse is naught, so only what is not is touched.
func (t *tableau) replace(leave int, d []float64, gain float64) {
	pivot := t.inverse[leave]
	var some []int
	for k, v := range pivot {
		if math.Abs(v) < 1e-12 {
			pivot[k] = 0
			continue
		}
		some = append(some, k)
		pivot[k] = v / d[leave]
		t.y[k] -= gain * pivot[k]
	}
	t.x[leave] /= d[leave]
	t.m.work += int64(4 * len(d))
	for i := range d {
		if i == leave || math.Abs(d[i]) < 1e-12 {
			continue
		}
		row, f := t.inverse[i], d[i]
		for _, k := range some {
			row[k] -= f * pivot[k]
		}
		t.m.work += int64(2 * len(some))
		t.x[i] = math.Max(0, t.x[i]-f*t.x[leave])
	}
}

// used lists the fillings of the basis.
func (t *tableau) used() (used []usedFilling, impossible bool) {
	const some = 1e-3
	for i, b := range t.basis {
		if t.x[i] < some {
			continue
		}
		if f := t.columns[b].filling; f != nil {
			used = append(used, usedFilling{*f, t.x[i]})
		}
		impossible = impossible || t.columns[b].missing
	}
	slices.SortStableFunc(used, func(a, b usedFilling) int { return cmp.Compare(b.times, a.times) })
	return used, impossible
}
