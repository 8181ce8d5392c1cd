package render

import "rillturn.example/rillturn/engine/hydraulics"

// Report is a whole plan as one text: what comes out of the layouts, who waters with whom, when, how much of its need
// every plot gets, who is short and why, and what to be careful of.
type Report struct {
	Schedule Schedule
	Layouts  []LayoutReport
	Groups   []GroupReport
	// Assumptions are sentences on what the plan takes for granted, the weightiest first.
	Assumptions []string
	Cautions    []CautionCode
}

// LayoutReport is what comes out of one layout, or of a hose end or can, when its own turn runs.
type LayoutReport struct {
	PlotName    string
	LayoutName  string // empty when watered by hand
	SourceName  string
	Kind        TurnKind
	FlowLPerMin float64
	// FlowLow and FlowHigh bound the flow where the inputs allow only a range; both zero when there is none.
	FlowLowLPerMin, FlowHighLPerMin float64
	HeadM                           float64 // at the manifold; zero when watered by hand
	// FirstHoleLPerH and LastHoleLPerH are the flows of a single hole nearest to and farthest from the manifold.
	FirstHoleLPerH, LastHoleLPerH float64
	// Evenness is the distribution uniformity, 0 to 1; nil when watered by hand.
	Evenness *float64
	// EvennessMeasured says that a catch test gave the evenness; otherwise it is computed.
	EvennessMeasured bool
	Warnings         []hydraulics.Warning
	// Unservable says why no turn can water this layout; empty when one can.
	Unservable string
}

// GroupReport is one watering group.
type GroupReport struct {
	Name        string
	SourceName  string
	Kind        TurnKind
	Members     []string // plots, with their layouts
	FlowLPerMin float64
	HeadM       float64 // at the source while the group runs; zero when watered by hand
}
