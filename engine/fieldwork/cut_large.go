package fieldwork

import (
	"math"
	"slices"
)

// The effort of filling one stick with the least left over, in steps of the search; own judgement: with hundreds of lengths
// to choose from a stick is full long before.
const mostFullSteps = 20_000

// mostHand is how many distinct lengths are dealt at once.
const mostHand = 130

// enoughGroups is how far from its bound the program of a grouped request may end [dearest sticks].
const enoughGroups = 0.02

// mostDeals is how often all is dealt anew while the list is more than one stick above its bound.
const mostDeals = 12

// kinds counts the distinct lengths that are still wanted.
func (r *residual) kinds() int {
	n := 0
	for _, want := range r.want {
		if want > 0 {
			n++
		}
	}
	return n
}

// fullest fills stick after stick with the longest piece that is left and whatever leaves least over beside it, which cuts
// requests of very many lengths close to their bound. Off-cuts are filled first, shortest first, while pieces fit them. Among
// sticks to buy the one is taken of which the smallest share is left over.
// Source: J. N. D. Gupta and J. C. Ho, Prod. Plan. Control 10 (1999) 598–603, with the longest piece fixed as in
// K. Fleszar and K. S. Hindi, Comput. Oper. Res. 29 (2002) 821–839; both from memory.
func (s *cutSearch) fullest(r residual) {
	var cost int64
	var fillings []filling
	take := func(f filling) {
		done, _ := r.cut(f)
		fillings = append(fillings, done)
		cost += s.stocks[f.stock].cost
	}
	for j := range s.stocks {
		for s.stocks[j].cost == 0 && r.have[j] > 0 && r.left > 0 {
			f, left := s.fill(j, -1, r)
			if left == s.stocks[j].length {
				break
			}
			take(f)
		}
	}
	for r.left > 0 {
		longest := slices.IndexFunc(r.want, func(n int) bool { return n > 0 })
		best, share := filling{}, math.Inf(1)
		for j := range s.stocks {
			if s.stocks[j].cost == 0 || s.stocks[j].length < s.kinds[longest].length {
				continue
			}
			f, left := s.fill(j, longest, r)
			if of := float64(left) / float64(s.stocks[j].length); of < share {
				best, share = f, of
			}
		}
		if math.IsInf(share, 1) {
			return
		}
		take(best)
	}
	s.keep(cost, fillings)
}

// groupings are into how many groups of neighbouring lengths a request of very many lengths is put, while its list is more than
// one stick above the bound.
var groupings = []int{150, 300}

// group puts neighbouring lengths together. With each length as long as the shortest of its group, the linear program is a bound
// for the request itself; with each as long as the longest, a cut list serves the request.
// Source: W. Fernandez de la Vega and G. S. Lueker, Combinatorica 1 (1981) 349–355; from memory.
func (s *cutSearch) group() {
	for _, groups := range groupings {
		if s.near() || len(s.kinds) <= groups {
			return
		}
		s.groupInto(groups)
	}
}

func (s *cutSearch) groupInto(groups int) {
	longer := newCutSearch(s.rounded(groups, func(first, _ int) int { return first }))
	longer.kindsMost = groups
	if longer.run() {
		s.keep(s.tidy(s.real(longer)))
	}
	shorter := newCutSearch(s.rounded(groups, func(_, last int) int { return last }))
	shorter.master.enough = enoughGroups
	s.bound = max(s.bound, s.ceil(shorter.solve(shorter.all()).bound))
	s.nodes += longer.nodes + shorter.nodes
}

// rounded is the request with each length replaced by one of its group, which of says by the first and the last of it.
func (s *cutSearch) rounded(groups int, of func(first, last int) int) *Cutting {
	c := *s.asked
	c.Pieces = slices.Clone(c.Pieces)
	size := (len(s.kinds) + groups - 1) / groups
	for i := range s.kinds {
		first := i / size * size
		k := of(first, min(first+size, len(s.kinds))-1)
		for _, piece := range s.kinds[i].pieces {
			c.Pieces[piece].Length = fromNanometers(s.kinds[k].length - s.kerf)
		}
	}
	return &c
}

// real is the best cut list of a rounded request with the lengths of this one.
func (s *cutSearch) real(rounded *cutSearch) []filling {
	kindOf := make([]int, len(s.asked.Pieces))
	for i := range s.kinds {
		for _, piece := range s.kinds[i].pieces {
			kindOf[piece] = i
		}
	}
	next := make([]int, len(rounded.kinds))
	fillings := make([]filling, 0, len(rounded.best.fillings))
	for _, f := range rounded.best.fillings {
		out := filling{stock: f.stock, take: make([]int, len(s.kinds))}
		for k, n := range f.take {
			for range n {
				out.take[kindOf[rounded.kinds[k].pieces[next[k]]]]++
				next[k]++
			}
		}
		fillings = append(fillings, out)
	}
	return fillings
}

// tidy moves each filling to the shortest stick to buy that holds it, or to an off-cut that nobody uses, and adds up the cost:
// what was rounded up leaves room.
func (s *cutSearch) tidy(fillings []filling) (cost int64, tidied []filling) {
	for i, f := range fillings {
		need := int64(0)
		for k, n := range f.take {
			need += int64(n) * s.kinds[k].length
		}
		if s.stocks[f.stock].cost > 0 {
			fillings[i].stock = slices.IndexFunc(s.stocks, func(x stock) bool { return x.cost > 0 && x.length >= need })
		}
	}
	tidied = s.preferShort(fillings)
	for _, f := range tidied {
		cost += s.stocks[f.stock].cost
	}
	return cost, tidied
}

// deal cuts hand by hand what grouping left more than one stick above the bound. A hand is every second, third … piece by length, so
// that it is mixed as all pieces are and its linear program is close to a part of theirs, but of a size that is soon solved. The last pieces of a
// hand go back to the rest, so that no hand ends with a stick half full.
func (s *cutSearch) deal(whole residual) bool {
	for n := range mostDeals {
		part := parts[n%len(parts)]
		if s.near() || s.master.work > s.workMost {
			break
		}
		d := descent{residual: whole.clone()}
		for d.kinds() > mostKinds {
			if !s.dealHand(&d, whole, n, part) {
				return s.best.complete
			}
		}
		s.master.rough = false
		s.dive(d, s.solve(d.residual), part)
	}
	return s.best.complete
}

// near says that the best cut list is within one stick of the bound.
func (s *cutSearch) near() bool { return s.best.complete && s.best.cost <= s.bound+s.dearest }

// dealHand cuts one hand. The first program of a deal is solved to its end, for the bound; the others only guide.
func (s *cutSearch) dealHand(d *descent, whole residual, n int, part float64) bool {
	hand := descent{residual: d.hand(n)}
	s.master.rough = len(d.fillings) > 0
	lp := s.solve(hand.residual)
	if !s.master.rough {
		s.raise(whole, hand.residual, lp)
	}
	s.master.rough = true
	for hand.left > mostTail && s.roundOff(&hand, lp, part) {
		if hand.left > mostTail {
			lp = s.solve(hand.residual)
		}
	}
	for _, f := range hand.fillings {
		s.take(d, f)
	}
	return len(hand.fillings) > 0
}

// hand takes a part of the pieces, equally over their lengths, starting with another one for each n.
func (r *residual) hand(n int) residual {
	h := residual{want: make([]int, len(r.want)), have: slices.Clone(r.have)}
	hands := 1 + (r.kinds()-1)/mostHand
	n %= hands
	for i, want := range r.want {
		for range want {
			if n == 0 {
				h.want[i]++
				h.left++
			}
			n = (n + 1) % hands
		}
	}
	return h
}

// raise raises the bound by the prices of a hand: each piece is worth what the longest of the hand that is no longer is
// worth, or what the nearest is worth.
func (s *cutSearch) raise(whole, hand residual, lp relaxed) {
	down, near := make([]float64, len(s.kinds)), make([]float64, len(s.kinds))
	longer := -1
	for i := range s.kinds {
		if hand.want[i] > 0 {
			longer = i
		}
		shorter := i
		for shorter < len(s.kinds) && hand.want[shorter] == 0 {
			shorter++
		}
		if shorter < len(s.kinds) {
			down[i], near[i] = lp.prices[shorter], lp.prices[shorter]
		}
		if longer >= 0 && (shorter == len(s.kinds) || s.kinds[longer].length-s.kinds[i].length < s.kinds[i].length-s.kinds[shorter].length) {
			near[i] = lp.prices[longer]
		}
	}
	for _, prices := range [][]float64{down, near} {
		worth := make([]float64, len(s.stocks))
		for j := range s.stocks {
			worth[j] = s.master.ceiling(j, prices, whole, knapsackResult{})
		}
		s.bound = max(s.bound, s.ceil(s.master.bound(whole, prices, worth)))
	}
}

// fill finds the filling of stock j that leaves least over and holds a piece of the kind first, if that is one. Longer
// pieces are tried first, so that of two equally full ones that with the longer pieces is kept: short ones fit later.
func (s *cutSearch) fill(j, first int, r residual) (best filling, left int64) {
	take := make([]int, len(s.kinds))
	left = s.stocks[j].length
	room := left
	from := 0
	if first >= 0 {
		take[first], from = 1, first
		room -= s.kinds[first].length
	}
	best = filling{stock: j, take: slices.Clone(take)}
	left = room
	steps := 0
	var walk func(i int, room int64) bool
	walk = func(i int, room int64) bool {
		if room < left {
			left = room
			copy(best.take, take)
		}
		for ; i < len(s.kinds); i++ {
			if steps++; left == 0 || steps > mostFullSteps {
				return false
			}
			if take[i] < r.want[i] && s.kinds[i].length <= room {
				take[i]++
				more := walk(i, room-s.kinds[i].length)
				take[i]--
				if !more {
					return false
				}
			}
		}
		return true
	}
	walk(from, room)
	return best, left
}

// mostThresholds is about how many lengths are tried as thresholds; more hardly raise the bound.
const mostThresholds = 300

// weigh is a bound for any number of lengths: pieces are given weights that no stick can hold more of than its own length is
// given, so that together they need as many sticks as their weights fill. Weights are functions f of the share x of the
// longest stick that grow with x and give a sum at least what its parts are given:
//
//  1. x itself, the bound of length alone;
//  2. for each a up to 1/2: 0 under a, 1 over 1 − a, else x (S. Martello and P. Toth, Discrete Appl. Math. 28 (1990) 59–70);
//  3. rounded, for k = 1 to 6, of x and of each of those (S. P. Fekete and J. Schepers, Math. Program. 91 (2001) 11–31).
//
// Both from memory; a test holds the bound against every assignment tried. The bound is in units of the dearest stick.
func (s *cutSearch) weigh(r residual) float64 {
	longest := float64(s.longest)
	if s.dearest == 0 || slices.ContainsFunc(s.stocks, func(k stock) bool { return float64(k.length) > longest }) {
		return 0 // the functions know no shares above 1
	}
	thresholds := []func(float64) float64{func(x float64) float64 { return x }}
	for i := 0; i < len(s.kinds); i += 1 + len(s.kinds)/mostThresholds {
		if a := float64(s.kinds[i].length) / longest; a <= 0.5 {
			thresholds = append(thresholds, func(x float64) float64 { return overThreshold(a, x) })
		}
	}
	best := 0.0
	const mostRounding = 6
	for _, f := range thresholds {
		best = math.Max(best, s.weighted(r, longest, f))
		for k := 1.0; k <= mostRounding; k++ {
			best = math.Max(best, s.weighted(r, longest, func(x float64) float64 { return rounded(k, f(x)) }))
		}
	}
	return best
}

// weighted is the bound of one weight: what pieces weigh beyond what off-cuts can hold, at the cheapest price of a weight.
func (s *cutSearch) weighted(r residual, longest float64, f func(float64) float64) float64 {
	sum, price := 0.0, math.Inf(1)
	for i, k := range s.kinds {
		sum += float64(r.want[i]) * f(float64(k.length)/longest)
	}
	for j, k := range s.stocks {
		v := f(float64(k.length) / longest)
		if k.cost == 0 {
			sum -= float64(r.have[j]) * v
		} else if v > 0 {
			price = math.Min(price, k.weight/v)
		}
	}
	return price * sum
}

// hair is less than a nanometre of the longest stick there is.
const hair = 1e-12

func overThreshold(a, x float64) float64 {
	switch {
	case x > 1-a+hair:
		return 1
	case x < a-hair:
		return 0
	}
	return x
}

// rounded is x where (k + 1)·x is whole, else the whole part of (k + 1)·x, over k.
func rounded(k, x float64) float64 {
	if whole := math.Round((k + 1) * x); math.Abs((k+1)*x-whole) < hair {
		return x
	}
	return math.Floor((k+1)*x) / k
}
