package zoning

// prices are what zones cost, by keys that are as good as random: each lies at the place that the last bits of its key say, or
// at the first free one after it. A partition looks up so many that a map takes a quarter of its time.
type prices struct {
	keys  []uint64 // 0 where nothing lies
	costs []cost
	count int
}

func (p *prices) find(key uint64) (c cost, known bool) {
	if p.count == 0 {
		return cost{}, false
	}
	at, known := p.place(key)
	return p.costs[at], known
}

// place is where the key lies or would.
func (p *prices) place(key uint64) (at int, known bool) {
	last := len(p.keys) - 1
	for at = int(key & uint64(last)); p.keys[at] != 0; at = (at + 1) & last {
		if p.keys[at] == key {
			return at, true
		}
	}
	return at, false
}

// firstPrices is how many places there are at first: a power of 2, as always.
const firstPrices = 1 << 10

// add notes what a zone costs whose key is not known.
func (p *prices) add(key uint64, c cost) {
	if 2*p.count >= len(p.keys) {
		old := *p
		n := max(firstPrices, 2*len(old.keys))
		*p = prices{keys: make([]uint64, n), costs: make([]cost, n)}
		for k, key := range old.keys {
			if key != 0 {
				p.add(key, old.costs[k])
			}
		}
	}
	at, _ := p.place(key)
	p.keys[at], p.costs[at] = key, c
	p.count++
}
