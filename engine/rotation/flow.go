package rotation

// network is a directed graph with integer capacities. Its memory is kept from one use to the next, because a search
// asks for many thousands of flows in small graphs.
type network struct {
	first []int32 // by node: its first edge, or -1
	edges []edge
	limit []int64 // by edge: capacity as built
	level []int32
	at    []int32
	queue []int32
	steps int64 // edges made, loaded and looked at so far
}

// edge lies beside its reverse: their numbers differ in the last bit.
type edge struct {
	left     int64 // residual capacity
	to, next int32
}

func (g *network) reset(nodes int) {
	g.first = g.first[:0]
	for range nodes {
		g.first = append(g.first, -1)
	}
	g.edges, g.limit = g.edges[:0], g.limit[:0]
}

// edge adds an edge and its reverse, and returns its number.
func (g *network) edge(from, to int, limit int64) int {
	e := len(g.edges)
	g.steps++
	g.edges = append(g.edges, edge{to: int32(to), next: g.first[from]}, edge{to: int32(from), next: g.first[to]})
	g.limit = append(g.limit, limit, 0)
	g.first[from], g.first[to] = int32(e), int32(e+1)
	return e
}

// load makes the residual capacities those of the edges times scale.
func (g *network) load(scale int64) {
	g.steps += int64(len(g.limit))
	for e, limit := range g.limit {
		g.edges[e].left = limit * scale
	}
}

// send returns the largest flow from the tap to the sink that the residual capacities allow, and leaves what remains. Dinic 1970:
// blocking flows in graphs of shortest paths.
func (g *network) send() int64 {
	total := int64(0)
	for g.layers() {
		g.at = append(g.at[:0], g.first...)
		for {
			f := g.push(tap, 1<<62)
			if f == 0 {
				break
			}
			total += f
		}
	}
	return total
}

// layers finds the distance of nodes from the tap, as far as the sink, which it reports to have reached; a node that was
// not has level -1.
func (g *network) layers() bool {
	level, queue, edges := g.level[:0], g.queue[:0], g.edges
	for range g.first {
		level = append(level, -1)
	}
	level[tap] = 0
	queue = append(queue, tap)
	steps := int64(0)
	for at := 0; at < len(queue) && level[sink] < 0; at++ {
		v := queue[at]
		for e := g.first[v]; e >= 0; {
			edge := &edges[e]
			e = edge.next
			steps++
			if w := edge.to; edge.left > 0 && level[w] < 0 {
				level[w] = level[v] + 1
				queue = append(queue, w)
			}
		}
	}
	g.level, g.queue = level, queue
	g.steps += steps
	return level[sink] >= 0
}

func (g *network) push(v int32, most int64) int64 {
	if v == sink {
		return most
	}
	sent, next := int64(0), g.level[v]+1
	for e := g.at[v]; e >= 0; e = g.at[v] {
		edge := &g.edges[e]
		g.steps++
		if edge.left > 0 && g.level[edge.to] == next {
			f := g.push(edge.to, min(most-sent, edge.left))
			edge.left -= f
			g.edges[e^1].left += f
			if sent += f; sent == most {
				return sent
			}
		}
		g.at[v] = edge.next
	}
	return sent
}
