package zoning

import "math"

// cover is the linear programme that covers every row at least once by columns of least cost:
//
//	min sum c_z x_z   with   sum of x_z over the columns that hold row i >= 1,   x >= 0
//
// It keeps the inverse of its basis and takes new columns between solutions. One column for each row alone must come
// first. Source: revised simplex with an explicit inverse; V. Chvátal, Linear Programming, ch. 7 (from memory).
type cover struct {
	rows    int
	columns [][]int
	members []int32 // of all columns, one after the other
	cost    []float64
	basis   []int // by place: a column, or ^i for the surplus of row i
	inverse [][]float64
	value   []float64 // by place: the basic variable
	dual    []float64 // by row: what covering it costs at the margin
	step    []float64
}

// newCover starts with a column for every row alone.
func newCover(cost []float64) *cover {
	n := len(cost)
	c := &cover{
		rows: n, cost: append([]float64(nil), cost...), basis: make([]int, n), inverse: make([][]float64, n),
		value: make([]float64, n), dual: make([]float64, n), step: make([]float64, n),
	}
	for i := range n {
		c.columns, c.members = append(c.columns, []int{i}), append(c.members, int32(i))
		c.basis[i], c.inverse[i] = i, make([]float64, n)
		c.inverse[i][i] = 1
		// Rows that differ a little keep the simplex method from turning in circles. What is read off are the duals, and
		// a bound is safe with any of them.
		c.value[i] = 1 + 1e-6*math.Mod(float64(i+1)*math.Phi, 1)
	}
	return c
}

func (c *cover) add(column []int, cost float64) {
	c.columns, c.cost = append(c.columns, column), append(c.cost, cost)
	for _, i := range column {
		c.members = append(c.members, int32(i))
	}
}

// price finds the duals of the basis.
func (c *cover) price() {
	clear(c.dual)
	for at, b := range c.basis {
		if b < 0 {
			continue
		}
		cost, dual := c.cost[b], c.dual
		for i, v := range c.inverse[at][:len(dual)] {
			dual[i] += cost * v
		}
	}
}

// entering is the variable whose entry gains most per unit for its cost, with its reduced cost; ok is false when none gains.
func (c *cover) entering() (enters int, reduced float64, ok bool) {
	least := -1e-7
	dual, members := c.dual, c.members
	for k, r := range c.cost {
		n := len(c.columns[k])
		for _, i := range members[:n] {
			r -= dual[i]
		}
		members = members[n:]
		if scale := max(1, c.cost[k]); r < least*scale {
			least, enters, reduced, ok = r/scale, k, r, true
		}
	}
	for i, u := range c.dual {
		if u < least {
			least, enters, reduced, ok = u, ^i, u, true
		}
	}
	return enters, reduced, ok
}

// total is the cost of the solution at hand.
func (c *cover) total() float64 {
	sum := 0.0
	for at, b := range c.basis {
		if b >= 0 {
			sum += c.cost[b] * c.value[at]
		}
	}
	return sum
}

// priceAgain is the number of exchanges after which duals are found afresh, against rounding.
const priceAgain = 50

// solve makes the programme's duals best for its columns, in at most so many exchanges.
func (c *cover) solve(most int) {
	c.price()
	for n := range most {
		if n%priceAgain == priceAgain-1 {
			c.price()
		}
		enters, reduced, ok := c.entering()
		if !ok || !c.exchange(enters, reduced) {
			break
		}
	}
	c.price()
}

// exchange brings a variable into the basis; it reports false when nothing bounds it, which rounding alone can cause.
func (c *cover) exchange(enters int, reduced float64) bool {
	leaves, ratio := -1, math.Inf(1)
	for at, row := range c.inverse {
		d := 0.0
		if enters < 0 {
			d = -row[^enters]
		} else {
			for _, i := range c.columns[enters] {
				d += row[i]
			}
		}
		c.step[at] = d
		if d > 1e-9 && c.value[at]/d < ratio {
			leaves, ratio = at, c.value[at]/d
		}
	}
	if leaves < 0 {
		return false
	}
	pivot := c.inverse[leaves]
	by := 1 / c.step[leaves]
	for i := range pivot {
		pivot[i] *= by
	}
	for at, row := range c.inverse {
		if d := c.step[at]; at != leaves && d != 0 {
			for i, v := range pivot[:len(row)] {
				row[i] -= d * v
			}
			c.value[at] = max(0, c.value[at]-d*ratio)
		}
	}
	for i, v := range pivot {
		c.dual[i] += reduced * v
	}
	c.value[leaves], c.basis[leaves] = ratio, enters
	return true
}
