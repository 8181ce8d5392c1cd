package hydraulics

import "math"

// Uniformity says how evenly open holes share the water. The values lie between 0 and 1, save Christiansen's, which may
// be negative; all are 0 where nothing flows.
type Uniformity struct {
	// Distribution is DU: the mean of the lowest quarter over the mean. The hole on the boundary of the quarter counts by
	// its fraction.
	Distribution float64
	// Christiansen is CU = 1 - mean|x - mean|/mean.
	Christiansen float64
	// Emission is EU = (1 - 1.27·Cv/√n)·q_min/q_mean with one hole to a plant (Keller and Karmeli, 1974).
	Emission          float64
	Least, Mean, Most float64 // flow of a hole [m³/s]
}

// tally is hole flows; equal holes of a set come as one entry.
type tally []tallied

type tallied struct {
	flow  float64 // of one hole
	holes float64
}

// uniformity returns the uniformity of the flows. It puts the tally in another order.
func (t tally) uniformity(variation float64) Uniformity {
	sum, n := 0.0, 0.0
	least, most := math.Inf(1), 0.0
	for _, s := range t {
		sum += s.flow * s.holes
		n += s.holes
		least, most = min(least, s.flow), max(most, s.flow)
	}
	if sum <= 0 { // nothing flows, or there are no holes
		return Uniformity{}
	}
	mean, off := sum/n, 0.0
	for _, s := range t {
		off += math.Abs(s.flow-mean) * s.holes
	}
	return Uniformity{
		Least: least, Mean: mean, Most: most,
		Distribution: t.lowest(n/4) / (n / 4) / mean,
		Christiansen: 1 - off/n/mean,
		Emission:     EmissionUniformity(variation, 1, least/mean),
	}
}

// lowest returns the flow of the n holes that have the least; of a set on the boundary a share counts. It selects by
// parting the tally around a pivot, which no more than touches every set a few times.
func (t tally) lowest(n float64) float64 {
	low := 0.0
	for len(t) > 0 {
		pivot := middle(t[0].flow, t[len(t)/2].flow, t[len(t)-1].flow)
		less, more := t.part(pivot)
		under, holes := less.sum()
		if holes > n {
			t = less
			continue
		}
		low, n = low+under, n-holes
		_, even := t[len(less) : len(t)-len(more)].sum()
		low += pivot * min(n, even)
		if n <= even {
			break
		}
		t, n = more, n-even
	}
	return low
}

// part orders a tally by whether a flow is less than the pivot, as much, or more, and returns the first and last part.
func (t tally) part(pivot float64) (less, more tally) {
	under, over := 0, len(t)
	for i := 0; i < over; {
		switch f := t[i].flow; {
		case f < pivot:
			t[i], t[under] = t[under], t[i]
			under++
			i++
		case f > pivot:
			over--
			t[i], t[over] = t[over], t[i]
		default:
			i++
		}
	}
	return t[:under], t[over:]
}

// sum returns the flow of all holes and their number.
func (t tally) sum() (flow, holes float64) {
	for _, s := range t {
		flow += s.flow * s.holes
		holes += s.holes
	}
	return flow, holes
}

func middle(a, b, c float64) float64 { return max(min(a, b), min(max(a, b), c)) }

// UniformityOf returns the uniformity of flows measured or reckoned, such as the cups of a catch test. variation is the
// coefficient of variation of the outlets as made.
func UniformityOf(flows []float64, variation float64) Uniformity {
	t := make(tally, len(flows))
	for i, q := range flows {
		t[i] = tallied{q, 1}
	}
	return t.uniformity(variation)
}

// EmissionUniformity returns EU = (1 - 1.27·Cv/√n)·q_min/q_mean for n outlets to a plant, never under 0.
// Source: Keller and Karmeli (1974), as commonly quoted.
func EmissionUniformity(variation, perPlant, leastOverMean float64) float64 {
	return math.Max(0, 1-1.27*variation/math.Sqrt(perPlant)) * leastOverMean
}
