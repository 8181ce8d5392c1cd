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
	u := t.distribution()
	if u.Mean <= 0 { // nothing flows, or there are no holes
		return u
	}
	off, n := 0.0, 0.0
	for _, s := range t {
		off += math.Abs(s.flow-u.Mean) * s.holes
		n += s.holes
	}
	u.Christiansen = 1 - off/n/u.Mean
	u.Emission = EmissionUniformity(variation, 1, u.Least/u.Mean)
	return u
}

// distribution is uniformity without Christiansen's and the emission uniformity. It leaves the tally in its order.
func (t tally) distribution() Uniformity {
	sum, n := 0.0, 0.0
	least, most := math.Inf(1), 0.0
	for _, s := range t {
		sum += s.flow * s.holes
		n += s.holes
		if s.flow < least {
			least = s.flow
		}
		if s.flow > most {
			most = s.flow
		}
	}
	if !(sum > 0) {
		return Uniformity{}
	}
	mean := sum / n
	return Uniformity{Least: least, Mean: mean, Most: most, Distribution: t.lowest(n/4, least, most) / (n / 4) / mean}
}

// lowest returns the flow of the n holes that have the least, of flows from least to most; of a set on the boundary a
// share counts. The flows are counted in classes: those of the lower ones belong to it, and the class on the boundary is
// parted again.
func (t tally) lowest(n, least, most float64) float64 {
	const classes = 256
	if least == most || len(t) == 1 {
		return n * least
	}
	var count [classes + 1]float64
	scale := classes / (most - least)
	if math.IsInf(scale, 1) {
		return n * least
	}
	for _, s := range t {
		count[int((s.flow-least)*scale)] += s.holes
	}
	boundary, under := 0, 0.0
	for boundary < classes && under+count[boundary] < n {
		under += count[boundary]
		boundary++
	}
	low := 0.0
	var room [64]tallied
	on := tally(room[:0])
	lo, hi := most, least
	for _, s := range t {
		switch at := int((s.flow - least) * scale); {
		case at < boundary:
			low += s.flow * s.holes
		case at == boundary:
			on = append(on, s)
			lo, hi = min(lo, s.flow), max(hi, s.flow)
		}
	}
	return low + on.lowest(n-under, lo, hi)
}

// UniformityOf returns the uniformity of flows measured or reckoned, such as the cups of a catch test. variation is the
// coefficient of variation of the outlets as made.
func UniformityOf(flows []float64, variation float64) Uniformity {
	t := make(tally, len(flows))
	for i, q := range flows {
		t[i] = tallied{q, 1}
	}
	return t.uniformity(variation)
}

// Together returns the uniformity of all open holes of layouts that run at once, as that of one layout. variation is the
// coefficient of variation of the outlets as made.
func Together(results []Result, variation float64) Uniformity {
	var t tally
	for _, r := range results {
		for _, l := range r.Laterals {
			for _, s := range l.Sets {
				if s.Open > 0 {
					t = append(t, tallied{float64(s.Flow) / float64(s.Open), float64(s.Open)})
				}
			}
		}
	}
	return t.uniformity(variation)
}

// EmissionUniformity returns EU = (1 - 1.27·Cv/√n)·q_min/q_mean for n outlets to a plant, never under 0.
// Source: Keller and Karmeli (1974), as commonly quoted.
func EmissionUniformity(variation, perPlant, leastOverMean float64) float64 {
	return math.Max(0, 1-1.27*variation/math.Sqrt(perPlant)) * leastOverMean
}
