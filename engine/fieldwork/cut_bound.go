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
}

// relaxed is the solution of a linear program.
type relaxed struct {
	bound      float64 // in units of the dearest stick
	used       []usedFilling
	impossible bool // some piece fits nothing that is left
}

// usedFilling is a filling with how often it is used, the most used first.
type usedFilling struct {
	filling
	times float64
}

func (m *master) init(kinds []kind, stocks []stock) {
	m.kinds, m.stocks = kinds, stocks
	pieces := 0
	for _, k := range kinds {
		pieces += len(k.pieces)
	}
	m.missed = float64(pieces) + 1
}

// Tolerances of the linear program. Costs are of the order of 1 and the figures of fillings small whole numbers, so a
// billionth tells noise from gain.
const (
	priceSlack    = 1e-9
	pivotSlack    = 1e-9
	mostPivots    = 4000
	knapsackStep  = 10     // work of one step, about
	mostKnapsacks = 200000 // steps of one knapsack; it then returns the best found, which keeps the bound valid below
)

// solve returns the linear program of what is left to cut.
//
// The bound is not read off the program but made safe from its prices p: with v(j) the most that a filling of stock j is
// worth at prices p, and p scaled so that no bought stick is worth more than it costs, every cut list costs at least
//
//	Σ want·p − Σ have·v   (the second sum over off-cuts).
func (m *master) solve(r residual) relaxed {
	t := newTableau(m, r)
	for _, f := range m.pool {
		t.addIfFits(f, r)
	}
	var prices []float64
	var knapsacks []knapsackResult
	for {
		t.optimize()
		prices = t.prices()
		added := false
		knapsacks = knapsacks[:0]
		for j := range m.stocks {
			k := knapsackResult{}
			if r.have[j] != 0 {
				k = m.knapsack(j, prices, r)
				if k.value > m.stocks[j].weight+t.rent(j)+1e-7 {
					m.pool = append(m.pool, filling{stock: j, take: k.take})
					t.add(filling{stock: j, take: k.take})
					added = true
				}
			}
			knapsacks = append(knapsacks, k)
		}
		if !added {
			break
		}
	}
	return m.finish(t, r, prices, knapsacks)
}

func (m *master) finish(t *tableau, r residual, prices []float64, knapsacks []knapsackResult) relaxed {
	var out relaxed
	scale, exact := 1.0, true
	for j, k := range knapsacks {
		exact = exact && !k.cut
		if m.stocks[j].weight > 0 && k.value > m.stocks[j].weight {
			scale = math.Min(scale, m.stocks[j].weight/k.value)
		}
	}
	for i, p := range prices {
		out.bound += scale * p * float64(r.want[i])
	}
	for j, k := range knapsacks {
		if m.stocks[j].weight == 0 && r.have[j] > 0 {
			out.bound -= scale * k.value * float64(r.have[j])
		}
	}
	if !exact {
		out.bound = m.material(r)
	}
	out.used, out.impossible = t.used()
	return out
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
	value float64
	take  []int
	cut   bool // stopped early
}

// knapsack returns the most valuable filling of stock j with the pieces that are left: depth first by value per length,
// with the fractional bound.
func (m *master) knapsack(j int, prices []float64, r residual) knapsackResult {
	var order []int
	for i := range m.kinds {
		if prices[i] > priceSlack && r.want[i] > 0 && m.kinds[i].length <= m.stocks[j].length {
			order = append(order, i)
		}
	}
	density := func(i int) float64 { return prices[i] / float64(m.kinds[i].length) }
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(density(b), density(a)) })
	best := knapsackResult{take: make([]int, len(m.kinds))}
	take := make([]int, len(m.kinds))
	steps := 0
	var walk func(n int, room int64, value float64)
	walk = func(n int, room int64, value float64) {
		if value > best.value {
			best.value = value
			copy(best.take, take)
		}
		if steps++; n == len(order) || steps > mostKnapsacks {
			best.cut = best.cut || steps > mostKnapsacks
			return
		}
		i := order[n]
		if value+float64(room)*density(i) <= best.value+priceSlack {
			return
		}
		for c := min(r.want[i], int(room/m.kinds[i].length)); c >= 0; c-- {
			take[i] = c
			walk(n+1, room-int64(c)*m.kinds[i].length, value+float64(c)*prices[i])
		}
		take[i] = 0
	}
	walk(0, m.stocks[j].length, 0)
	m.work += int64(steps) * knapsackStep
	best.value += priceSlack // the fractional bound may have hidden as much
	return best
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
	x       []float64
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
		t.start(column{cost: m.missed, entries: []entry{{row, 1}}, missing: true}, float64(r.want[i]))
		t.columns = append(t.columns, column{entries: []entry{{row, -1}}})
	}
	for n, j := range t.rowOff {
		t.start(column{entries: []entry{{len(t.rowKind) + n, 1}}}, float64(r.have[j]))
	}
	t.inverse = make([][]float64, rows)
	for i := range t.inverse {
		t.inverse[i] = make([]float64, rows)
		t.inverse[i][i] = 1
	}
	return t
}

// start adds a column of the first basis.
func (t *tableau) start(c column, x float64) {
	t.basis = append(t.basis, len(t.columns))
	t.columns = append(t.columns, c)
	t.x = append(t.x, x)
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

// duals returns c_B·B⁻¹.
func (t *tableau) duals() []float64 {
	y := make([]float64, len(t.basis))
	for i, b := range t.basis {
		if cost := t.columns[b].cost; cost != 0 {
			for k, v := range t.inverse[i] {
				y[k] += cost * v
			}
		}
	}
	return y
}

// prices returns what a piece of each kind is worth, never less than nothing.
func (t *tableau) prices() []float64 {
	y := t.duals()
	p := make([]float64, len(t.m.kinds))
	for row, i := range t.rowKind {
		p[i] = math.Max(0, y[row])
	}
	return p
}

// rent returns what the scarcity of an off-cut is worth.
func (t *tableau) rent(j int) float64 {
	if row := t.offRow[j]; row >= 0 {
		return math.Max(0, -t.duals()[row])
	}
	return 0
}

// optimize pivots until no known column gains: the steepest gain first, after many pivots the first that gains, which
// cannot go round in circles.
func (t *tableau) optimize() {
	for n := range mostPivots {
		y := t.duals()
		t.m.work += int64(len(t.basis)*len(t.basis)*2 + len(t.columns)*4)
		enter, gain := -1, pivotSlack
		for k := range t.columns {
			g := -t.columns[k].cost
			for _, e := range t.columns[k].entries {
				g += y[e.row] * e.value
			}
			if g > gain {
				enter = k
				if n > mostPivots/2 {
					break
				}
				gain = g
			}
		}
		if enter < 0 || !t.pivot(enter) {
			return
		}
	}
}

// pivot brings a column into the basis.
func (t *tableau) pivot(enter int) bool {
	rows := len(t.basis)
	d := make([]float64, rows)
	for i := range d {
		for _, e := range t.columns[enter].entries {
			d[i] += t.inverse[i][e.row] * e.value
		}
	}
	leave, least := -1, math.Inf(1)
	for i := range d {
		if d[i] <= pivotSlack {
			continue
		}
		ratio := t.x[i] / d[i]
		if ratio < least-pivotSlack || (ratio < least+pivotSlack && leave >= 0 && t.basis[i] < t.basis[leave]) {
			leave, least = i, math.Min(ratio, least)
		}
	}
	if leave < 0 {
		return false
	}
	for k := range rows {
		t.inverse[leave][k] /= d[leave]
	}
	t.x[leave] /= d[leave]
	for i := range d {
		if i == leave || d[i] == 0 {
			continue
		}
		for k := range rows {
			t.inverse[i][k] -= d[i] * t.inverse[leave][k]
		}
		t.x[i] = math.Max(0, t.x[i]-d[i]*t.x[leave])
	}
	t.basis[leave] = enter
	return true
}

// used lists the fillings of the basis.
func (t *tableau) used() (used []usedFilling, impossible bool) {
	const some = 1e-6
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
