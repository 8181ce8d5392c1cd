package fieldwork

import (
	"cmp"
	"encoding/binary"
	"math"
	"slices"

	"rillturn.example/rillturn/engine/unit"
)

// Cutting asks how to cut pieces of one kind of pipe from what is there and what can be bought.
type Cutting struct {
	Pieces []WantedPiece
	Stock  []unit.Length // lengths that can be bought, any number of each
	// Cents is what a stick of each length costs, and what is made least. Empty: the length bought is made least.
	Cents   []int64
	OffCuts []OffCut    // pipe that is already there and costs nothing
	Kerf    unit.Length // what one saw cut takes
}

// WantedPiece is a piece to be cut. Label comes back with it.
type WantedPiece struct {
	Label  string
	Length unit.Length
}

// OffCut is a plain length of pipe that the garden still has.
type OffCut struct {
	ID     string
	Length unit.Length
	Rest   bool // it is what is cut off the stored pipe of that id
}

// CutList says from which stick each piece is cut.
type CutList struct {
	Sticks []CutStick
	// Bought is the length of all sticks that must be bought.
	Bought unit.Length
	// Bound is a length that no cut list can go below. It equals Bought when Bought is proven to be least. It is 0 where the
	// cost is made least.
	Bound unit.Length
	// Priced says that the cost is made least: Cents is that of all sticks that must be bought, CentsBound what no cut list can
	// go below.
	Priced            bool
	Cents, CentsBound int64
	// Nodes counts the linear programs that the search solved.
	Nodes int
}

// CutStick is one stick or off-cut with the pieces that come out of it, the longest first:
//
//	pieces + Kerf + Left = Length, to the nanometre.
type CutStick struct {
	OffCut string // its id; empty for a stick that is bought
	Rest   bool   // it is what is cut off the stored pipe of that id
	Length unit.Length
	Pieces []int // in the order of the request
	Kerf   unit.Length
	Left   unit.Length
}

// Proven says that no cut list buys less, or where sticks have prices, for less.
func (c *CutList) Proven() bool {
	if c.Priced {
		return c.CentsBound >= c.Cents
	}
	return c.Bound >= c.Bought
}

// Over is how far the cut list is above its bound, in sticks of the dearest length that the request names.
func (c *CutList) Over(of Cutting) float64 {
	if len(of.Stock) == 0 {
		return 0
	}
	if c.Priced {
		return float64(c.Cents-c.CentsBound) / float64(slices.Max(of.Cents))
	}
	return float64((c.Bought - c.Bound) / slices.Max(of.Stock))
}

// StickCount returns how many sticks of a length are bought.
func (c *CutList) StickCount(l unit.Length) int {
	n := 0
	for i := range c.Sticks {
		if c.Sticks[i].OffCut == "" && nanometers(c.Sticks[i].Length) == nanometers(l) {
			n++
		}
	}
	return n
}

// The sizes of a request. Lengths are counted in whole nanometres, of which a sixty-fourth of an inch is a whole
// number, so that the sum of a stick comes out and a stick cut in half is not too short.
const (
	mostCutPieces = 10_000
	mostOffCuts   = 500
	mostStock     = 20
	mostStick     = 200 // [m]
	mostKerf      = 0.02
	mostCents     = 1e9
	leastPiece    = 1e-4 // [m]; what is left of a piece a hair longer than a stick
)

func nanometers(l unit.Length) int64 { return int64(math.Round(float64(l) * 1e9)) }

func fromNanometers(v int64) unit.Length { return unit.Length(float64(v) / 1e9) }

func (c *Cutting) validate() error {
	var f Faults
	f.within("kerf_m", float64(c.Kerf), 0, mostKerf)
	f.count("stock", len(c.Stock), 0, mostStock)
	for i, l := range c.Stock {
		f.within(at("stock", i)+".length_m", float64(l), leastPiece, mostStick)
	}
	if len(c.Cents) > 0 {
		f.count("cents", len(c.Cents), len(c.Stock), len(c.Stock))
	}
	for i, cents := range c.Cents {
		f.within(at("cents", i), float64(cents), 1, mostCents)
	}
	f.count("off_cuts", len(c.OffCuts), 0, mostOffCuts)
	longest := 0.0
	for i, o := range c.OffCuts {
		f.within(at("off_cuts", i)+".length_m", float64(o.Length), leastPiece, mostStick)
		longest = math.Max(longest, float64(o.Length))
	}
	for _, l := range c.Stock {
		longest = math.Max(longest, float64(l))
	}
	f.count("pieces", len(c.Pieces), 0, mostCutPieces)
	for i, p := range c.Pieces {
		if f.within(at("pieces", i)+".length_m", float64(p.Length), leastPiece, mostStick) &&
			nanometers(p.Length) > nanometers(unit.Length(longest)) {
			f.add(Fault{Path: at("pieces", i) + ".length_m", Code: FaultTooLong, Got: float64(p.Length), Most: longest})
		}
	}
	return f.err()
}

// Cut finds the cut list that buys the least length of pipe or, where all lengths have a price, the cheapest. Off-cuts cost
// nothing and are used where that helps; among off-cuts that do equally well the shortest is taken.
//
// It returns Faults when a number is out of range or a piece is longer than everything there is, and
// NotEnoughPipeError when pieces fit only off-cuts, of which there are too few.
//
// The search is branch and bound over ways to fill a stick, with the bound of the linear program over all fillings
// (P. C. Gilmore and R. E. Gomory, Oper. Res. 9 (1961) 849–859). It ends with a proof or after a fixed effort; the bound is
// returned either way. How often there is a proof, and how far from their bounds other lists end, is told in DEVIATIONS.md.
func Cut(c Cutting) (CutList, error) {
	if err := c.validate(); err != nil {
		return CutList{}, err
	}
	if len(c.Pieces) == 0 {
		return CutList{}, nil
	}
	s := newCutSearch(&c)
	if !s.run() {
		return CutList{}, NotEnoughPipeError{Need: s.needed(), Have: s.stored()}
	}
	list := CutList{Nodes: s.nodes, Priced: len(c.Cents) > 0, Sticks: s.sticks(&c)}
	var bought int64
	for _, f := range s.best.fillings {
		if k := &s.stocks[f.stock]; k.cost > 0 {
			bought += k.length - s.kerf
		}
	}
	list.Bought = fromNanometers(bought)
	if list.Priced {
		list.Cents, list.CentsBound = s.best.cost, s.bound
	} else {
		list.Bound = fromNanometers(s.bound)
	}
	return list, nil
}

// kind is one distinct length among the pieces.
type kind struct {
	length int64 // with one kerf [nm]
	pieces []int
}

// stock is one distinct length among what can be bought, or among the off-cuts.
type stock struct {
	length int64   // with one kerf: the last piece of a full stick needs no cut [nm]
	cost   int64   // 0 for off-cuts; its length [nm], or its price [cents]
	ids    []int   // of off-cuts, in the order of the request
	weight float64 // cost in units of the dearest stick
}

// filling is one way to cut a stick.
type filling struct {
	stock int
	take  []int // of each kind
}

// cutPlan is a set of fillings that cuts everything.
type cutPlan struct {
	cost     int64
	fillings []filling
	complete bool
}

type cutSearch struct {
	asked   *Cutting
	kerf    int64
	kinds   []kind // the longest first
	stocks  []stock
	step    int64 // every cost is a multiple of it
	sums    []int64
	dearest int64
	longest int64 // of the lengths to buy, with one kerf
	failed  map[string]int64
	master  master
	nodes   int
	width   int // fillings tried at a node
	limit   int // nodes at which a round ends
	best    cutPlan
	bound   int64
	mixWork int64
	// what the branching may cost
	nodesMost int
	workMost  int64
	kindsMost int // of one linear program
}

func newCutSearch(c *Cutting) *cutSearch {
	s := &cutSearch{asked: c, kerf: nanometers(c.Kerf), failed: map[string]int64{}, nodesMost: mostCutNodes, workMost: mostSearchWork, kindsMost: mostKinds}
	byLength := map[int64]int{}
	for i, p := range c.Pieces {
		l := nanometers(p.Length) + s.kerf
		k, seen := byLength[l]
		if !seen {
			k = len(s.kinds)
			byLength[l] = k
			s.kinds = append(s.kinds, kind{length: l})
		}
		s.kinds[k].pieces = append(s.kinds[k].pieces, i)
	}
	slices.SortFunc(s.kinds, func(a, b kind) int { return cmp.Compare(b.length, a.length) })
	s.addStocks(c)
	s.listSums()
	s.master.init(s.kinds, s.stocks, s.ceil)
	if len(c.Pieces) > mostExact {
		s.master.enough = enoughGap
	}
	return s
}

// addStocks lists off-cuts by length, then the lengths to buy, the shortest first.
func (s *cutSearch) addStocks(c *Cutting) {
	var off []stock
	for i, o := range c.OffCuts {
		l := nanometers(o.Length) + s.kerf
		k := slices.IndexFunc(off, func(x stock) bool { return x.length == l })
		if k < 0 {
			k = len(off)
			off = append(off, stock{length: l})
		}
		off[k].ids = append(off[k].ids, i)
	}
	slices.SortFunc(off, func(a, b stock) int { return cmp.Compare(a.length, b.length) })
	s.stocks = append(off, s.worthBuying(c)...)
	for i := range s.stocks {
		if s.dearest > 0 {
			s.stocks[i].weight = float64(s.stocks[i].cost) / float64(s.dearest)
		}
	}
}

// worthBuying lists the lengths to buy, the shortest first, without those of which a longer one costs no more.
func (s *cutSearch) worthBuying(c *Cutting) []stock {
	var all []stock
	for i, v := range c.Stock {
		k := stock{length: nanometers(v) + s.kerf, cost: nanometers(v)}
		if len(c.Cents) > 0 {
			k.cost = c.Cents[i]
		}
		all = append(all, k)
	}
	slices.SortFunc(all, func(a, b stock) int { return cmp.Or(cmp.Compare(b.length, a.length), cmp.Compare(a.cost, b.cost)) })
	var bought []stock
	for _, k := range all {
		if len(bought) == 0 || k.cost < bought[len(bought)-1].cost {
			bought = append(bought, k)
			s.step, s.dearest, s.longest = gcd(s.step, k.cost), max(s.dearest, k.cost), max(s.longest, k.length)
		}
	}
	slices.Reverse(bought)
	return bought
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// residual is what is still to be cut, and the off-cuts not yet used.
type residual struct {
	want []int // of each kind
	have []int // of each stock; -1 without limit
	left int   // pieces
}

func (s *cutSearch) all() residual {
	r := residual{want: make([]int, len(s.kinds)), have: make([]int, len(s.stocks))}
	for i, k := range s.kinds {
		r.want[i] = len(k.pieces)
		r.left += len(k.pieces)
	}
	for i, k := range s.stocks {
		r.have[i] = len(k.ids)
		if k.cost > 0 {
			r.have[i] = -1
		}
	}
	return r
}

func (r residual) clone() residual {
	return residual{want: slices.Clone(r.want), have: slices.Clone(r.have), left: r.left}
}

// cut takes a filling out of what is left, no more of it than is wanted, and returns what was really cut. ok is false
// when nothing of it is wanted or the stock is used up.
func (r *residual) cut(f filling) (done filling, ok bool) {
	if r.have[f.stock] == 0 {
		return filling{}, false
	}
	done = filling{stock: f.stock, take: make([]int, len(f.take))}
	for i, n := range f.take {
		done.take[i] = min(n, r.want[i])
		ok = ok || done.take[i] > 0
	}
	if !ok {
		return filling{}, false
	}
	for i, n := range done.take {
		r.want[i] -= n
		r.left -= n
	}
	if r.have[f.stock] > 0 {
		r.have[f.stock]--
	}
	return done, true
}

// The effort of a search. Forty pieces of one stick length are proven in a few hundred linear programs; the budget is for
// the rare request whose bound is one stick too low, and for sticks of lengths that have no common measure.
const (
	mostCutNodes = 3000
	mostCutWork  = 3_000_000_000 // additions and multiplications of linear programs, about
	// mostSearchWork is that after which no further list is looked for.
	mostSearchWork = 600_000_000
	// mostKinds is the number of distinct lengths of one linear program. Gardens have a dozen; more are put into groups.
	mostKinds = 200
	// mostExact is up to how many pieces a proof is worth every effort; of longer lists the program may end enoughGap from its bound
	// [dearest sticks].
	mostExact     = 40
	enoughGap     = 0.1
	mostTail      = 40 // pieces that a dive leaves to a search
	tailWidth     = 3
	mostTailNodes = 150
)

// rounds are how many fillings are tried at a node, and with which share of the effort: first few, so that a better cut list
// far from the first choice is found before the budget is spent near it.
var rounds = []struct {
	width int
	share float64
}{{2, 0.15}, {4, 0.15}, {math.MaxInt, 0.7}}

// run returns whether a cut list exists.
func (s *cutSearch) run() bool {
	whole := s.all()
	s.bound = s.ceil(math.Max(s.master.material(whole), s.weigh(whole)))
	s.longestFirst(whole.clone())
	if !s.best.complete || s.best.cost > s.bound {
		s.fullest(whole.clone())
	}
	if s.best.complete && s.best.cost <= s.bound {
		return true
	}
	s.master.pool = append(s.master.pool, s.best.fillings...)
	if len(s.kinds) > s.kindsMost {
		s.group()
		return s.deal(whole)
	}
	root := s.solve(whole)
	s.bound = max(s.bound, s.ceil(root.bound))
	if whole.left > mostExact {
		s.workMost += s.master.work
	}
	for _, part := range parts {
		if s.found() || s.master.work > s.workMost {
			break
		}
		s.dive(descent{residual: whole.clone()}, root, part)
	}
	if s.best.complete && s.purchases() > 1 && len(s.kinds) <= mostMixKinds {
		s.tryMixes()
	}
	for _, round := range rounds {
		if s.found() {
			return true
		}
		s.width = round.width
		s.limit = s.nodes + int(round.share*float64(s.nodesMost))
		if s.branch(whole, root, 0, nil) && s.best.complete {
			s.bound = s.best.cost
		}
	}
	return s.best.complete
}

// purchases counts the lengths that can be bought.
func (s *cutSearch) purchases() int {
	n := 0
	for i := range s.stocks {
		if s.stocks[i].cost > 0 {
			n++
		}
	}
	return n
}

// found says that the best cut list is proven.
func (s *cutSearch) found() bool { return s.best.complete && s.best.cost <= s.bound }

// parts are the shares of the fractions that a dive rounds at once.
var parts = []float64{0.1, 0.04, 0.2, 0}

// spent says that a round has used up its part of the effort.
func (s *cutSearch) spent() bool { return s.nodes >= s.limit || s.master.work > s.workMost }

// longestFirst places each piece, the longest first, where it leaves the least gap, opens the longest stick where it
// fits nowhere, and at the end takes the shortest stick that holds what came together.
func (s *cutSearch) longestFirst(r residual) {
	var open []filling
	var room []int64
	start := func(j int) {
		open = append(open, filling{stock: j, take: make([]int, len(s.kinds))})
		room = append(room, s.stocks[j].length)
	}
	for j := range s.stocks {
		for range s.stocks[j].ids {
			start(j)
		}
	}
	for i := range s.kinds {
		for range r.want[i] {
			best := -1
			for k, free := range room {
				if free >= s.kinds[i].length && (best < 0 || free < room[best]) {
					best = k
				}
			}
			if best < 0 {
				last := len(s.stocks) - 1
				if last < 0 || s.stocks[last].cost == 0 || s.stocks[last].length < s.kinds[i].length {
					return
				}
				start(last)
				best = len(room) - 1
			}
			open[best].take[i]++
			room[best] -= s.kinds[i].length
		}
	}
	s.keepUsed(open, room)
}

// keepUsed keeps the fillings that hold something, each in the shortest stick to buy that is long enough.
func (s *cutSearch) keepUsed(open []filling, room []int64) {
	var used []filling
	var cost int64
	for k, f := range open {
		filled := s.stocks[f.stock].length - room[k]
		if filled == 0 {
			continue
		}
		if s.stocks[f.stock].cost > 0 {
			f.stock = slices.IndexFunc(s.stocks, func(x stock) bool { return x.cost > 0 && x.length >= filled })
		}
		used = append(used, f)
		cost += s.stocks[f.stock].cost
	}
	s.keep(cost, used)
}

func (s *cutSearch) solve(r residual) relaxed {
	s.nodes++
	return s.master.solve(r)
}

// ceil rounds a bound in units of the dearest stick up to the next cost that sticks can add up to.
func (s *cutSearch) ceil(bound float64) int64 {
	const slack = 1e-6 // of the dearest stick: rounding of the linear program must not cost a whole step
	least := (bound - slack) * float64(s.dearest)
	i, _ := slices.BinarySearchFunc(s.sums, least, func(sum int64, least float64) int { return cmp.Compare(float64(sum), least) })
	if i < len(s.sums) {
		return s.sums[i]
	}
	steps := math.Ceil(least / float64(max(s.step, 1)))
	return int64(math.Max(steps, 0)) * s.step
}

// mostSums bounds the list of costs that sticks can add up to; above the list every multiple of the common measure is
// thought possible.
const mostSums = 5000

// listSums lists what sticks can add up to, from nothing upwards.
func (s *cutSearch) listSums() {
	s.sums = []int64{0}
	var costs []int64
	for i := range s.stocks {
		if s.stocks[i].cost > 0 {
			costs = append(costs, s.stocks[i].cost)
		}
	}
	next := make([]int, len(costs)) // for each stick, the sum that it is added to next
	for len(costs) > 0 && len(s.sums) < mostSums {
		least := int64(math.MaxInt64)
		for k, c := range costs {
			least = min(least, s.sums[next[k]]+c)
		}
		for k, c := range costs {
			if s.sums[next[k]]+c == least {
				next[k]++
			}
		}
		s.sums = append(s.sums, least)
	}
}

func (s *cutSearch) keep(cost int64, fillings []filling) {
	if s.best.complete && s.best.cost <= cost {
		return
	}
	s.best = cutPlan{cost: cost, fillings: slices.Clone(fillings), complete: true}
}

// descent is a cut list in the making.
type descent struct {
	residual
	cost     int64
	fillings []filling
}

func (s *cutSearch) take(d *descent, f filling) bool {
	done, ok := d.cut(f)
	if ok {
		d.fillings = append(d.fillings, done)
		d.cost += s.stocks[f.stock].cost
	}
	return ok
}

// dive rounds the linear program again and again until everything is cut. What is left at the end is searched.
func (s *cutSearch) dive(d descent, lp relaxed, part float64) {
	for d.left > 0 && !lp.impossible {
		if s.best.complete && d.cost+s.ceil(lp.bound) >= s.best.cost {
			return
		}
		if d.left <= mostTail && len(d.fillings) > 0 {
			s.width, s.limit = tailWidth, s.nodes+mostTailNodes
			s.branch(d.residual, lp, d.cost, d.fillings)
		}
		if !s.roundOff(&d, lp, part) {
			return
		}
		if d.left > 0 {
			lp = s.solve(d.residual)
		}
	}
	if d.left == 0 {
		s.keep(d.cost, d.fillings)
	}
}

// roundOff cuts the whole numbers of fillings of a linear program or, when there are none, a part of the fractions, the
// largest first. It returns whether there was any.
func (s *cutSearch) roundOff(d *descent, lp relaxed, part float64) bool {
	some := false
	for _, u := range lp.used {
		for n := math.Floor(u.times + 1e-3); n >= 1 && s.take(d, u.filling); n-- {
			some = true
		}
	}
	if some {
		return true
	}
	fractions := 1 + int(part*float64(len(lp.used)))
	for _, u := range lp.used {
		if fractions > 0 && s.wholly(u.filling, d.residual) && s.take(d, u.filling) {
			some = true
			fractions--
		}
	}
	return some
}

// wholly says that everything in a filling is still wanted.
func (s *cutSearch) wholly(f filling, r residual) bool {
	for i, n := range f.take {
		if n > r.want[i] {
			return false
		}
	}
	return r.have[f.stock] != 0
}

// branch fills the stick that the longest remaining piece comes from in every way worth trying, the ways that the
// linear program likes first. It returns whether it looked at everything that could be better than the best.
func (s *cutSearch) branch(r residual, lp relaxed, cost int64, path []filling) bool {
	if lp.impossible {
		return true
	}
	if s.best.complete && cost+s.ceil(lp.bound) >= s.best.cost {
		return true
	}
	longest := slices.IndexFunc(r.want, func(n int) bool { return n > 0 })
	exhausted, tried := true, 0
	var seen []filling
	try := func(f filling) bool {
		if tried++; tried > s.width || s.spent() {
			exhausted = false
			return false
		}
		next := r.clone()
		done, _ := next.cut(f)
		along := append(slices.Clone(path), done)
		paid := cost + s.stocks[f.stock].cost
		if next.left == 0 {
			s.keep(paid, along)
		} else if !s.explore(next, paid, along) {
			exhausted = false
		}
		return s.best.cost > s.bound || !s.best.complete
	}
	for _, u := range lp.used {
		if u.take[longest] == 0 || r.have[u.stock] == 0 || !s.maximal(u.filling, r) {
			continue
		}
		seen = append(seen, u.filling)
		if !try(u.filling) {
			return exhausted
		}
	}
	for j := range s.stocks {
		if r.have[j] == 0 || s.stocks[j].length < s.kinds[longest].length {
			continue
		}
		more := s.fillings(j, longest, r, func(f filling) bool {
			if slices.ContainsFunc(seen, func(g filling) bool { return g.stock == f.stock && slices.Equal(g.take, f.take) }) {
				return true
			}
			return try(f)
		})
		if !more {
			return exhausted
		}
	}
	return exhausted
}

// explore branches on what is left, unless it was looked at before at no higher cost.
func (s *cutSearch) explore(r residual, cost int64, path []filling) bool {
	var key []byte
	for _, n := range slices.Concat(r.want, r.have) {
		key = binary.AppendVarint(key, int64(n))
	}
	if failed, seen := s.failed[string(key)]; seen && failed <= cost {
		return true
	}
	if !s.branch(r, s.solve(r), cost, path) {
		return false
	}
	s.failed[string(key)] = cost
	return true
}

// maximal says that no wanted piece would still fit beside the filling, and that the filling holds nothing unwanted.
// Fillings that are not maximal need not be tried: a piece moved into the gap never makes a cut list dearer.
func (s *cutSearch) maximal(f filling, r residual) bool {
	room := s.stocks[f.stock].length
	for i, n := range f.take {
		if n > r.want[i] {
			return false
		}
		room -= int64(n) * s.kinds[i].length
	}
	for i, n := range f.take {
		if r.want[i] > n && s.kinds[i].length <= room {
			return false
		}
	}
	return true
}

// fillings calls try with every filling of stock j that holds a piece of kind first and is worth trying, those of long pieces
// first, until try returns false; it returns that answer.
//
// A filling is worth trying when no piece that is still wanted fits into the room left in it, nor into the place of some of its
// pieces that together are no longer. Else that piece and those change places, wherever it is cut in the end, so that only
// the fuller filling need be tried (S. Martello and P. Toth, Discrete Appl. Math. 28 (1990) 59–70; from memory). The one piece of
// kind first stays.
func (s *cutSearch) fillings(j, first int, r residual, try func(filling) bool) bool {
	take := make([]int, len(s.kinds))
	take[first] = 1
	var walk func(i int, room, most int64) bool
	walk = func(i int, room, most int64) bool {
		if s.master.work += fillingStep; s.master.work > s.workMost {
			return false
		}
		full, longer := true, int64(0) // longer: the next longer piece that was passed over
		for ; i < len(s.kinds); i++ {
			l := s.kinds[i].length
			if l > room || r.want[i] == take[i] {
				continue
			}
			full = false
			left := most
			if longer > 0 {
				left = min(left, longer-l)
			}
			take[i]++
			more := walk(i, room-l, left)
			take[i]--
			if !more {
				return false
			}
			longer = l
		}
		if !full || room >= most || s.improvable(take, first, room, r) {
			return true
		}
		return try(filling{stock: j, take: slices.Clone(take)})
	}
	return walk(first, s.stocks[j].length-s.kinds[first].length, math.MaxInt64)
}

const (
	fillingStep  = 20 // work of one step, about
	mostReplaced = 10 // pieces of a filling of which all sets are looked at
)

// improvable says that several pieces of a filling can be replaced by one that is still wanted and no shorter.
func (s *cutSearch) improvable(take []int, first int, room int64, r residual) bool {
	var held []int64
	for i := len(take) - 1; i >= first; i-- {
		n := take[i]
		if i == first {
			n--
		}
		for range n {
			held = append(held, s.kinds[i].length)
		}
	}
	held = held[:min(len(held), mostReplaced)]
	s.master.work += int64(1) << len(held)
	var walk func(n, pieces int, sum int64) bool
	walk = func(n, pieces int, sum int64) bool {
		if n == len(held) {
			return pieces > 1 && s.wantedBetween(sum, sum+room, take, r)
		}
		return walk(n+1, pieces, sum) || walk(n+1, pieces+1, sum+held[n])
	}
	return walk(0, 0, 0)
}

// wantedBetween says that a piece that is still wanted beside a filling is at least so long and at most so long.
func (s *cutSearch) wantedBetween(least, most int64, take []int, r residual) bool {
	i, _ := slices.BinarySearchFunc(s.kinds, most, func(k kind, l int64) int { return cmp.Compare(l, k.length) })
	for ; i < len(s.kinds) && s.kinds[i].length >= least; i++ {
		if r.want[i] > take[i] {
			return true
		}
	}
	return false
}

// sticks names the pieces and off-cuts of the best plan.
func (s *cutSearch) sticks(c *Cutting) []CutStick {
	next := make([]int, len(s.kinds))
	used := make([]int, len(s.stocks))
	fillings := s.preferShort(s.best.fillings)
	sticks := make([]CutStick, 0, len(fillings))
	for _, f := range fillings {
		var stick CutStick
		room := s.stocks[f.stock].length - s.kerf
		if k := &s.stocks[f.stock]; k.cost == 0 {
			of := &c.OffCuts[k.ids[used[f.stock]]]
			stick.OffCut, stick.Rest = of.ID, of.Rest
			used[f.stock]++
		}
		stick.Length = fromNanometers(room)
		n := int64(0)
		for i, count := range f.take {
			for range count {
				stick.Pieces = append(stick.Pieces, s.kinds[i].pieces[next[i]])
				next[i]++
				n++
				room -= s.kinds[i].length - s.kerf
			}
		}
		kerf := min(room, n*s.kerf) // the last cut may run out over the end
		stick.Kerf, stick.Left = fromNanometers(kerf), fromNanometers(room-kerf)
		sticks = append(sticks, stick)
	}
	return sticks
}

// preferShort moves fillings of off-cuts to shorter ones that nobody needs, and puts off-cuts first, then sticks by
// what they hold.
func (s *cutSearch) preferShort(fillings []filling) []filling {
	out := slices.Clone(fillings)
	free := make([]int, len(s.stocks))
	for i := range s.stocks {
		free[i] = len(s.stocks[i].ids)
	}
	for _, f := range out {
		free[f.stock]--
	}
	slices.SortStableFunc(out, func(a, b filling) int {
		return cmp.Or(cmp.Compare(a.stock, b.stock), -slices.Compare(a.take, b.take))
	})
	for i := range out {
		need := int64(0)
		for k, n := range out[i].take {
			need += int64(n) * s.kinds[k].length
		}
		for j := range out[i].stock {
			if free[j] > 0 && s.stocks[j].length >= need {
				free[j]--
				free[out[i].stock]++
				out[i].stock = j
				break
			}
		}
	}
	slices.SortStableFunc(out, func(a, b filling) int { return cmp.Compare(a.stock, b.stock) })
	return out
}

// needed returns the length of all pieces, stored that of all off-cuts.
func (s *cutSearch) needed() unit.Length {
	var sum int64
	for _, k := range s.kinds {
		sum += (k.length - s.kerf) * int64(len(k.pieces))
	}
	return fromNanometers(sum)
}

func (s *cutSearch) stored() unit.Length {
	var sum int64
	for _, k := range s.stocks {
		sum += (k.length - s.kerf) * int64(len(k.ids))
	}
	return fromNanometers(sum)
}
