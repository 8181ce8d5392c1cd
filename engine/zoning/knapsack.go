package zoning

// knapsack finds the most valuable set of things whose weights add up to no more than its room and whose fill adds up to
// what is needed. Things must be added in the order of value for weight, most first.
type knapsack struct {
	room    float64
	count   int // most things; negative for no limit
	at      []int
	weight  []float64
	value   []float64
	fill    []float64
	need    float64   // fill that a set must have
	toCome  []float64 // fill of the things from here on
	least   float64   // value to be exceeded
	best    []int
	current []int
	nodes   int
}

// knapsackNodes is how many sets are looked at before the search gives up and answers with its bound.
const knapsackNodes = 3000

func (k *knapsack) reset(room, need float64, count int) {
	k.room, k.need, k.count = room, need, count
	k.at, k.weight, k.value, k.fill, k.current = k.at[:0], k.weight[:0], k.value[:0], k.fill[:0], k.current[:0]
}

func (k *knapsack) add(at int, weight, value, fill float64) {
	if weight <= k.room {
		k.at, k.weight, k.value, k.fill = append(k.at, at), append(k.weight, weight), append(k.value, value), append(k.fill, fill)
	}
}

// most returns the best set if it is worth more than least, with its value, and a bound on the value of every set: least
// where nothing exceeds it. A nil set means that none was found; an empty one that nothing beside the leader is best.
func (k *knapsack) most(least float64) (set []int, value, bound float64) {
	relaxed := k.relaxed(0, k.room)
	if relaxed <= least {
		return nil, 0, least
	}
	k.toCome = append(k.toCome[:0], make([]float64, len(k.at)+1)...)
	for i := len(k.at) - 1; i >= 0; i-- {
		k.toCome[i] = k.toCome[i+1] + k.fill[i]
	}
	k.least, k.nodes = least, 0
	k.best = nil
	k.try(0, k.room, 0, 0)
	if k.nodes >= knapsackNodes {
		return k.best, k.least, relaxed
	}
	return k.best, k.least, k.least
}

// relaxed is the value of the room filled with things from the given one on, the last of them in part.
func (k *knapsack) relaxed(from int, room float64) float64 {
	sum := 0.0
	for i := from; i < len(k.at); i++ {
		if w := k.weight[i]; w <= room {
			sum, room = sum+k.value[i], room-w
		} else {
			return sum + k.value[i]*room/w
		}
	}
	return sum
}

func (k *knapsack) try(from int, room, value, fill float64) {
	if k.nodes++; k.nodes >= knapsackNodes {
		return
	}
	if value > k.least && fill >= k.need {
		k.least, k.best = value, append(make([]int, 0, len(k.current)), k.current...)
	}
	if k.count >= 0 && len(k.current) >= k.count {
		return
	}
	for i := from; i < len(k.at); i++ {
		if fill+k.toCome[i] < k.need || value+k.relaxed(i, room) <= k.least {
			return
		}
		if k.weight[i] > room {
			continue
		}
		k.current = append(k.current, k.at[i])
		k.try(i+1, room-k.weight[i], value+k.value[i], fill+k.fill[i])
		k.current = k.current[:len(k.current)-1]
	}
}
