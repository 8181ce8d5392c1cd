package rotation

// network is a directed graph with integer capacities. Its memory is kept from one use to the next, because a search
// asks for many thousands of flows in small graphs.
type network struct {
	first []int32 // by node: its first edge, or -1
	next  []int32 // by edge
	to    []int32
	limit []int64 // capacity as built
	left  []int64 // residual capacity
	level []int32
	at    []int32
	queue []int32
	steps int64 // edges made, loaded and looked at so far
}

func (g *network) reset(nodes int) {
	g.first = g.first[:0]
	for range nodes {
		g.first = append(g.first, -1)
	}
	g.next, g.to, g.limit = g.next[:0], g.to[:0], g.limit[:0]
}

// edge adds an edge and its reverse, and returns its number.
func (g *network) edge(from, to int, limit int64) int {
	e := len(g.to)
	g.steps++
	g.to = append(g.to, int32(to), int32(from))
	g.limit = append(g.limit, limit, 0)
	g.next = append(g.next, g.first[from], g.first[to])
	g.first[from], g.first[to] = int32(e), int32(e+1)
	return e
}

// load makes the residual capacities those of the edges times scale.
func (g *network) load(scale int64) {
	if cap(g.left) < len(g.limit) {
		g.left = make([]int64, len(g.limit))
	}
	g.left = g.left[:len(g.limit)]
	g.steps += int64(len(g.limit))
	for e := range g.limit {
		g.left[e] = g.limit[e] * scale
	}
}

// send returns the largest flow from the tap to the sink that the residual capacities allow, and leaves what remains. Dinic 1970:
// blocking flows in graphs of shortest paths.
func (g *network) send() int64 {
	total := int64(0)
	for g.layers(tap, sink) {
		g.at = append(g.at[:0], g.first...)
		for {
			f := g.push(tap, sink, 1<<62)
			if f == 0 {
				break
			}
			total += f
		}
	}
	return total
}

// layers finds the distance of every node from s; a node that cannot be reached has level -1.
func (g *network) layers(s, t int) bool {
	g.level = g.level[:0]
	for range g.first {
		g.level = append(g.level, -1)
	}
	g.level[s] = 0
	g.queue = append(g.queue[:0], int32(s))
	for at := 0; at < len(g.queue); at++ {
		v := g.queue[at]
		for e := g.first[v]; e >= 0; e = g.next[e] {
			g.steps++
			if w := g.to[e]; g.left[e] > 0 && g.level[w] < 0 {
				g.level[w] = g.level[v] + 1
				g.queue = append(g.queue, w)
			}
		}
	}
	return g.level[t] >= 0
}

func (g *network) push(v, t int32, most int64) int64 {
	if v == t {
		return most
	}
	sent := int64(0)
	for ; g.at[v] >= 0; g.at[v] = g.next[g.at[v]] {
		e := g.at[v]
		g.steps++
		w := g.to[e]
		if g.left[e] == 0 || g.level[w] != g.level[v]+1 {
			continue
		}
		f := g.push(w, t, min(most-sent, g.left[e]))
		g.left[e] -= f
		g.left[e^1] += f
		if sent += f; sent == most {
			return sent
		}
	}
	return sent
}
