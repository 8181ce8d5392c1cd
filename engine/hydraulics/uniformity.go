package hydraulics

import (
	"math"
	"slices"
)

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

// tally collects hole flows; equal holes of a set come as one entry.
type tally struct {
	sets  []tallied
	holes int
	dry   int
}

type tallied struct {
	flow  float64 // of one hole
	holes int
}

func (t *tally) add(flow float64, holes int) {
	t.sets = append(t.sets, tallied{flow, holes})
	t.holes += holes
	if flow <= 0 {
		t.dry += holes
	}
}

func (t *tally) uniformity(variation float64) Uniformity {
	slices.SortFunc(t.sets, byFlow)
	return t.sorted(variation)
}

// byFlow orders sets by the flow of a hole.
func byFlow(a, b tallied) int {
	switch {
	case a.flow < b.flow:
		return -1
	case a.flow > b.flow:
		return 1
	}
	return a.holes - b.holes
}

// merge adds a sorted tally to a sorted one.
func (t *tally) merge(other *tally) {
	merged := make([]tallied, 0, len(t.sets)+len(other.sets))
	a, b := t.sets, other.sets
	for len(a) > 0 && len(b) > 0 {
		if byFlow(a[0], b[0]) <= 0 {
			merged, a = append(merged, a[0]), a[1:]
		} else {
			merged, b = append(merged, b[0]), b[1:]
		}
	}
	t.sets = append(append(merged, a...), b...)
	t.holes += other.holes
	t.dry += other.dry
}

// sorted returns the uniformity of a tally in order of flow.
func (t *tally) sorted(variation float64) Uniformity {
	sum := 0.0
	for _, s := range t.sets {
		sum += s.flow * float64(s.holes)
	}
	if sum <= 0 { // nothing flows, or there are no holes
		return Uniformity{}
	}
	n := float64(t.holes)
	mean := sum / n
	u := Uniformity{Least: t.sets[0].flow, Mean: mean, Most: t.sets[len(t.sets)-1].flow}
	quarter, low, off := n/4, 0.0, 0.0
	for _, s := range t.sets {
		take := math.Min(quarter, float64(s.holes))
		low += s.flow * take
		quarter -= take
		off += math.Abs(s.flow-mean) * float64(s.holes)
	}
	u.Distribution = low / (n / 4) / mean
	u.Christiansen = 1 - off/n/mean
	u.Emission = EmissionUniformity(variation, 1, u.Least/mean)
	return u
}

// UniformityOf returns the uniformity of flows measured or reckoned, such as the cups of a catch test. variation is the
// coefficient of variation of the outlets as made.
func UniformityOf(flows []float64, variation float64) Uniformity {
	var t tally
	for _, q := range flows {
		t.add(q, 1)
	}
	return t.uniformity(variation)
}

// EmissionUniformity returns EU = (1 - 1.27·Cv/√n)·q_min/q_mean for n outlets to a plant, never under 0.
// Source: Keller and Karmeli (1974), as commonly quoted.
func EmissionUniformity(variation, perPlant, leastOverMean float64) float64 {
	return math.Max(0, 1-1.27*variation/math.Sqrt(perPlant)) * leastOverMean
}
