package hydraulics

import (
	"math"
	"slices"
	"sync"

	"rillturn.example/rillturn/engine/unit"
)

// Options is what a calculation needs besides the layout. Start from DefaultOptions: the zero value is refused.
type Options struct {
	Law              FrictionLaw
	WaterTemperature unit.Temperature
	PipeTemperature  unit.Temperature // hottest the pipe gets, for its pressure rating
	PipeRoughness    unit.Length
	HoseRoughness    unit.Length
	// VelocityHeadRegain is the share of velocity head that comes back as pressure where flow leaves: 0 leaves it out,
	// which understates far ends a little, 0.9 to 1 is what perforated pipes show.
	VelocityHeadRegain float64
	// OutletVariation is the coefficient of variation of single holes as made, for the emission uniformity.
	OutletVariation float64
}

// DefaultOptions returns the options for a garden that measured nothing but its pipes: Darcy–Weisbach, 20 °C, smooth
// plastic (0.0015 mm) and hose of 0.01 mm, which meets the table of 100 ft hoses of Iowa State University Extension
// (Horticulture and Home Pest News, 28 June 1996, p. 111) in every cell. Pipe in the sun at 40 °C and a hole
// variation of 5 % are common practice, no source.
func DefaultOptions() Options {
	return Options{
		Law: DarcyWeisbach, WaterTemperature: 20, PipeTemperature: 40,
		PipeRoughness: unit.Millimeters(0.0015), HoseRoughness: unit.Millimeters(0.01), OutletVariation: 0.05,
	}
}

// Validate returns nil or Faults.
func (o Options) Validate() error {
	var c checker
	if o.Law != DarcyWeisbach && o.Law != HazenWilliams {
		c.add("friction_law", FaultUnknownWord)
	}
	c.within("water_temperature_c", float64(o.WaterTemperature), 0.1, 60)
	c.within("pipe_temperature_c", float64(o.PipeTemperature), -30, 90)
	c.within("pipe_roughness_mm", o.PipeRoughness.Millimeters(), 0, 0.15)
	c.within("hose_roughness_mm", o.HoseRoughness.Millimeters(), 0, 0.3)
	c.within("velocity_head_regain", o.VelocityHeadRegain, 0, 1)
	c.within("outlet_variation", o.OutletVariation, 0, 0.7)
	return c.err()
}

// Compiled is a layout made ready to calculate. It never changes and may be used from several goroutines.
type Compiled struct {
	spare    sync.Pool // states that were let go, for the next calculation
	layout   Layout
	options  Options
	feed     feedLine
	laterals []placed
	arms     [3]chain // towards the end of the manifold, towards its beginning, and at the feed itself
	table    Table
}

// placed is a lateral on its outlet.
type placed struct {
	outlet  int // index in Manifold.Outlets
	lateral *lateral
	arm     int
	node    int // in the arm
	rise    float64
}

// Compiler compiles layouts and keeps the curve of every distinct lateral, so that a garden with a few kinds of lateral
// pays for each kind once. It is not for use by several goroutines at once.
type Compiler struct {
	options  Options
	water    *water
	laterals map[string]*lateral
}

// NewCompiler returns a compiler, or Faults when options are out of range.
func NewCompiler(o Options) (*Compiler, error) {
	if err := o.Validate(); err != nil {
		return nil, err
	}
	return &Compiler{
		options:  o,
		water:    newWater(o.Law, o.WaterTemperature),
		laterals: map[string]*lateral{},
	}, nil
}

// Compile makes one layout ready. It returns Faults when the layout or the options are invalid.
func Compile(l Layout, o Options) (*Compiled, error) {
	c, err := NewCompiler(o)
	if err != nil {
		return nil, err
	}
	return c.Compile(l)
}

// Compile makes a layout ready. It returns Faults when the layout is invalid.
func (c *Compiler) Compile(l Layout) (*Compiled, error) {
	if err := l.Validate(); err != nil {
		return nil, err
	}
	compiled := &Compiled{layout: l, options: c.options, feed: c.feedLine(&l)}
	c.placeLaterals(compiled)
	for arm := range compiled.arms {
		compiled.arms[arm] = c.arm(compiled, arm)
	}
	compiled.table = compiled.tabulate()
	return compiled, nil
}

// Layout returns the layout that was compiled.
func (c *Compiled) Layout() Layout { return c.layout }

// Options returns the options it was compiled with.
func (c *Compiled) Options() Options { return c.options }

// Table returns the stored curve of the layout: flow against head at the source's outlet.
func (c *Compiled) Table() *Table { return &c.table }

// feedLine is the feed as one loss.
type feedLine struct {
	hose   conduit
	filter float64 // loss per Q² [s²/m⁵]
	rise   float64
}

func (f *feedLine) loss(q float64) (h, slope float64) {
	if q <= 0 {
		return 0, f.hose.laminar
	}
	h, slope = f.hose.loss(q)
	return h + f.filter*q*q, slope + 2*f.filter*q
}

func (c *Compiler) feedLine(l *Layout) feedLine {
	d := float64(l.Feed.HoseDiameter)
	if d == 0 {
		d = float64(l.Manifold.Pipe.Bore())
	}
	f := feedLine{
		hose: newConduit(c.water, float64(l.Feed.HoseLength), d, float64(c.options.HoseRoughness),
			l.Feed.FittingsK+l.Feed.ValveK),
		rise: float64(l.Feed.Rise),
	}
	if l.Feed.Filter != nil {
		f.filter = float64(l.Feed.Filter.Loss) / float64(l.Feed.Filter.Flow*l.Feed.Filter.Flow)
	}
	return f
}

// The arms of a manifold.
const (
	armToEnd = iota
	armToBeginning
	armAtFeed
)

// placeLaterals lists the open outlets that have open holes, with their arm.
func (c *Compiler) placeLaterals(compiled *Compiled) {
	m := &compiled.layout.Manifold
	for i := range m.Outlets {
		o := &m.Outlets[i]
		if o.Plugged || o.Lateral.OpenHoles() == 0 {
			continue
		}
		p := placed{outlet: i, lateral: c.lateral(o.Lateral, m.TeeBranchK), rise: float64(o.Rise)}
		p.arm = armOf(m, o.At)
		compiled.laterals = append(compiled.laterals, p)
	}
}

// arm builds the chain of one arm, a node for each place with tees. The run of a tee is lost by the water that goes on
// past it, so it sits on the stretch behind the tee.
func (c *Compiler) arm(compiled *Compiled, arm int) chain {
	m := &compiled.layout.Manifold
	places := armPlaces(m, arm)
	d := float64(m.Pipe.Bore())
	height := 0.0
	if m.Length > 0 {
		height = float64(m.Rise) / float64(m.Length)
	}
	ch := chain{nodes: make([]node, 0, len(places))}
	regain := velocityHead(math.Pi/4*d*d, c.options.VelocityHeadRegain)
	if arm == armAtFeed { // no pipe lies between the feed and its own tee
		regain = 0
	}
	for i := len(places) - 1; i >= 0; i-- {
		at, before, k := places[i], float64(m.FeedAt), 0.0
		if i > 0 {
			before, k = places[i-1], m.TeeRunK
		}
		n := node{
			drop: height * (at - before),
			pipe: newConduit(c.water, math.Abs(at-before), d, float64(c.options.PipeRoughness), k),
			up:   regain, down: regain,
		}
		for j := range compiled.laterals {
			p := &compiled.laterals[j]
			if p.arm == arm && placeOf(places, float64(m.Outlets[p.outlet].At)) == i {
				p.node = len(ch.nodes)
				n.out.kind = branches
				n.out.branch = append(n.out.branch, branch{rise: p.rise, curve: &p.lateral.table, solve: j})
			}
		}
		ch.nodes = append(ch.nodes, n)
	}
	all := len(ch.nodes)
	ch.finish()
	for j := range compiled.laterals {
		if p := &compiled.laterals[j]; p.arm == arm {
			p.node -= all - len(ch.nodes)
		}
	}
	return ch
}

// samePlace is the distance [m] under which tees are one cross: nobody can build them apart.
const samePlace = 1e-3

// armOf returns the arm on which a position lies.
func armOf(m *Manifold, at unit.Length) int {
	switch {
	case math.Abs(float64(at-m.FeedAt)) < samePlace:
		return armAtFeed
	case at > m.FeedAt:
		return armToEnd
	default:
		return armToBeginning
	}
}

// placeOf returns the index of the first place that is the same as a position.
func placeOf(places []float64, at float64) int {
	return slices.IndexFunc(places, func(p float64) bool { return math.Abs(p-at) < samePlace })
}

// armPlaces returns the distinct positions of tees on an arm, from the feed outwards.
func armPlaces(m *Manifold, arm int) []float64 {
	var places []float64
	for i := range m.Outlets {
		if armOf(m, m.Outlets[i].At) == arm {
			places = append(places, float64(m.Outlets[i].At))
		}
	}
	slices.Sort(places)
	if arm == armToBeginning {
		slices.Reverse(places)
	}
	distinct := places[:0]
	for i, p := range places {
		if i == 0 || math.Abs(p-distinct[len(distinct)-1]) >= samePlace {
			distinct = append(distinct, p)
		}
	}
	if arm == armAtFeed && len(distinct) > 0 {
		return []float64{float64(m.FeedAt)}
	}
	return distinct
}
