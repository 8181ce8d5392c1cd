package problem

import "math/bits"

// Reservoir is the water that the roots of one planting of a layout reach, in litres at the layout. A day's water arrives in
// the morning and fills what is missing; what is more passes below. Then the plants use their day's water. They go short
// on a day when more is missing after the watering than Holds; they then use the less, the nearer it is to Reaches:
//
//	used = Use·(Reaches - missing)/(Reaches - Holds), and no more than Reaches - missing
//
// Source: FAO-56 eq. 84, with TAW for Reaches and RAW for Holds.
//
// This is the interval limit in its volumetric form: what is used on a day has to be given before as much is missing as
// the soil holds readily.
type Reservoir struct {
	From    int           // first day on which something grows
	Missing Milliliters   // on the morning of that day
	Use     []Milliliters // by day from then on
	Holds   []Milliliters // readily available, by day from then on
	Reaches []Milliliters // totally available, by day from then on
}

func (r *Reservoir) validate(f *faults, at string, days int) {
	inRange(f, at+"/From", r.From, 0, days-1)
	inRange(f, at+"/Missing", r.Missing, 0, MaxVolume)
	if len(r.Use) != len(r.Holds) || len(r.Use) != len(r.Reaches) || r.From+len(r.Use) > days {
		f.add(at+"/Use", "must have as many days as Holds and Reaches, and no more than the problem from day %d on", r.From)
	}
	for _, list := range [][]Milliliters{r.Use, r.Holds, r.Reaches} {
		for _, v := range list {
			inRange(f, at+"/Use", v, 0, MaxVolume)
		}
	}
}

// Short is a day on which plants go short: Missing is more than Holds.
type Short struct {
	Day            int
	Missing, Holds Milliliters
}

// Replay follows the reservoir through days on which its layout gets so much [µL], and returns the days on which plants go
// short.
func (r *Reservoir) Replay(given []int64) []Short {
	var out []Short
	missing := 1000 * int64(r.Missing)
	for k := range r.Use {
		missing = max(0, missing-given[r.From+k])
		holds, reaches := 1000*int64(r.Holds[k]), 1000*int64(r.Reaches[k])
		used := 1000 * int64(r.Use[k])
		if missing > holds {
			out = append(out, Short{Day: r.From + k, Missing: Milliliters((missing + 999) / 1000), Holds: r.Holds[k]})
			left := max(0, reaches-missing)
			h, l := bits.Mul64(uint64(used), uint64(left))
			if reaches > holds {
				part, _ := bits.Div64(h, l, uint64(reaches-holds)) // left < reaches - holds, so it fits
				used = int64(part)
			}
			used = min(used, left)
		}
		missing += used
	}
	return out
}

// checkReservoirs replays every layout's water through its reservoirs; the worst of them counts on each day.
func (c *checker) checkReservoirs() {
	for i := range c.Layouts {
		if !c.Servable[i] {
			continue
		}
		worst := make([]Short, c.Days)
		for k := range c.Layouts[i].Reservoirs {
			for _, s := range c.Layouts[i].Reservoirs[k].Replay(c.given[i]) {
				if w := &worst[s.Day]; s.Missing-s.Holds > w.Missing-w.Holds {
					*w = s
				}
			}
		}
		for d, s := range worst {
			if s.Missing > 0 {
				c.add(Violation{Rule: RuleDry, Layout: c.Layouts[i].ID, Day: d, Have: int64(s.Missing), Limit: int64(s.Holds)})
			}
		}
	}
}

// Ration is what the reservoirs of a zone's members ask for, in minutes of the zone added up from its first day: by the end
// of every day no less than Least lest plants go short, and no more than Most lest water passes below the roots of all.
type Ration struct {
	Least, Most []Span
}

// Rationed works out the ration of the zone. What the past gave is taken off.
func (z *Batch) Rationed(m *Model) {
	for at, i := range z.Members {
		for k := range m.Layouts[i].Reservoirs {
			if z.Ration == nil {
				z.Ration = &Ration{Least: make([]Span, m.Days), Most: make([]Span, m.Days)}
			}
			z.Ration.add(&m.Layouts[i].Reservoirs[k], m.Had[i], z.Op.Delivered[at])
		}
	}
	for d := 1; z.Ration != nil && d < m.Days; d++ {
		r := z.Ration
		r.Least[d], r.Most[d] = max(r.Least[d], r.Least[d-1]), max(r.Most[d], r.Most[d-1])
	}
}

func (r *Ration) add(v *Reservoir, had []Had, flow Rate) {
	wanted := v.Missing
	for k := range v.Use {
		d := v.From + k
		wanted = max(0, wanted-had[d].Volume)
		r.Least[d] = max(r.Least[d], max(0, wanted-v.Holds[k]).Over(flow))
		r.Most[d] = max(r.Most[d], wanted.Over(flow))
		wanted += v.Use[k]
	}
}

// Shorts replays minutes of the zone by day through the reservoirs of member number at, with what the past gave it, and
// returns the days on which its plants go short.
func (z *Batch) Shorts(m *Model, at int, minutes []Span) []Short {
	l := &m.Layouts[z.Members[at]]
	if len(l.Reservoirs) == 0 {
		return nil
	}
	given := make([]int64, m.Days)
	for d := range given {
		given[d] = 1000*int64(m.Had[z.Members[at]][d].Volume) + z.Op.Delivered[at].Volume(minutes[d])
	}
	var out []Short
	for k := range l.Reservoirs {
		out = append(out, l.Reservoirs[k].Replay(given)...)
	}
	return out
}
