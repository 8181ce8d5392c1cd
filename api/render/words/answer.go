package words

import (
	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/unit"
)

// answerPhrases is what a language answers to questions about a layout.
type answerPhrases struct {
	most      map[Counted]func(Printer, HowMany) Notice
	standpipe func(Printer, hydraulics.Standpipe) Notice
	cups      func(Printer, Cups) Notice
	valve     func(Printer, unit.Head) Notice
	noValve   func(Printer, hydraulics.HeadError) Notice
	plugged   func(hydraulics.PluggedShare) Notice
	measure   func(hydraulics.MeasureMore) Notice
	hose      func(Printer, OpenHose) Notice
	pattern   func(Printer, PieceDrilling) Notice
	noPattern func(path string) Notice
	plug      func(Printer, OutletsToPlug) Notice
}

// Sensitivity says how much an assumption that nobody measured may move the flow and the evenness of a layout from what
// they are as assumed.
func (p Printer) Sensitivity(s hydraulics.Sensitivity, as hydraulics.Outcome) Notice {
	say, ok := p.language.varied[s.Code]
	if !ok {
		return p.unknownCode(string(s.Code))
	}
	n := say(p, s, as)
	n.Code = string(s.Code)
	return n
}

// Counted is what was counted in an answer to how many.
type Counted string

// What is counted.
const (
	CountedLayouts  Counted = "layouts"
	CountedLaterals Counted = "laterals"
	CountedHoleSets Counted = "hole-sets" // of each lateral
)

// HowMany is the answer to how many of something a source carries.
type HowMany struct {
	Of           Counted
	Count        int
	AtLimit      bool // the count ended there, not at the wish
	Wish         hydraulics.Wish
	LeastHead    unit.Head // at the worst hole, with Count of them
	Distribution float64
}

// Most says how many layouts, laterals or hole sets a source carries.
func (p Printer) Most(n HowMany) Notice { return p.language.answers.most[n.Of](p, n) }

// Standpipe says how high water stands in a clear tube on the manifold.
func (p Printer) Standpipe(s hydraulics.Standpipe) Notice { return p.language.answers.standpipe(p, s) }

// Cups are the seconds to fill a cup under the first and the last hole of a lateral; 0 under a hole that gives nothing.
type Cups struct {
	Path        string // of the lateral
	Cup         unit.Volume
	First, Last float64
}

// FillCups says how long cups take to fill, which a person checks with a watch.
func (p Printer) FillCups(c Cups) Notice { return p.language.answers.cups(p, c) }

// Valve says how to set a layout's valve for a wished head in its manifold.
func (p Printer) Valve(want unit.Head) Notice { return p.language.answers.valve(p, want) }

// ValveCannot says that a wished head can't be had.
func (p Printer) ValveCannot(e hydraulics.HeadError) Notice { return p.language.answers.noValve(p, e) }

// Plugged says which share of the holes a measurement shows to be plugged.
func (p Printer) Plugged(s hydraulics.PluggedShare) Notice { return p.language.answers.plugged(s) }

// MeasureMore says that a measurement can't tell plugging, and which one would.
func (p Printer) MeasureMore(m hydraulics.MeasureMore) Notice { return p.language.answers.measure(m) }

// OpenHose is what a hose opened beside running layouts takes, and what all layouts together get without and with it.
type OpenHose struct {
	Hose, Without, With unit.Flow
}

// HoseBeside says what an opened hose does to the layouts that run.
func (p Printer) HoseBeside(h OpenHose) Notice { return p.language.answers.hose(p, h) }

// PieceDrilling is how a piece of a lateral may be drilled to give about a wanted flow at a head.
type PieceDrilling struct {
	Path       string
	Pattern    hydraulics.HolePattern
	Want, Flow unit.Flow
	Head       unit.Head
}

// Drilling says how to drill a piece.
func (p Printer) Drilling(d PieceDrilling) Notice { return p.language.answers.pattern(p, d) }

// DrillingCannot says that none of the patterns at hand fits on a piece.
func (p Printer) DrillingCannot(path string) Notice { return p.language.answers.noPattern(path) }

// OutletsToPlug are the outlets, counted from 1, whose plugging would lift the worst hole to a wished head; Granted is
// false where it does not even with one outlet left.
type OutletsToPlug struct {
	Outlets   []int
	Granted   bool
	Wish      hydraulics.Wish
	LeastHead unit.Head
}

// PlugOutlets says which outlets to plug.
func (p Printer) PlugOutlets(o OutletsToPlug) Notice { return p.language.answers.plug(p, o) }
