package main

import (
	"fmt"
	"io"
	"strings"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/words"
	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/service/file"
)

// flowWords says the result of a flow file in words.
type flowWords struct {
	words.Printer
	w io.Writer
}

// explainFlow says in words what comes out of the layouts of a flow file, what that rests on, and how to see it.
func explainFlow(w io.Writer, f file.Flow, r file.FlowResult) {
	p := flowWords{words.New("en", render.Metric, nil), w}
	for _, a := range r.Supply.Assumptions {
		p.say(p.SupplyAssumption(hydraulics.Assumption{Code: hydraulics.AssumptionCode(a.Code), Value: a.Value, Low: a.Low, High: a.High}))
	}
	for i := range r.Sets {
		p.set(&r.Sets[i])
	}
	for i := range r.Answers {
		p.answers(&r.Answers[i])
	}
	fmt.Fprintln(w)
	for _, code := range circumstances(f, r).Cautions() {
		fmt.Fprintln(w, p.Caution(code))
	}
}

func (p flowWords) say(n words.Notice) { fmt.Fprintln(p.w, " ", n) }

func (p flowWords) set(s *file.FlowSetResult) {
	fmt.Fprintf(p.w, "\nOpen: %s\n", words.OneLine(strings.Join(s.Open, ", ")))
	if s.Infeasible {
		fmt.Fprintln(p.w, "  Their regulated outlets ask for more than the source gives.")
		return
	}
	for i := range s.Layouts {
		l := &s.Layouts[i]
		fmt.Fprintf(p.w, "  %s takes %s at %s in its manifold, with an evenness of %s.\n", words.OneLine(l.ID),
			p.Flow(unit.LitersPerMinute(l.FlowLPerMin)), p.WaterColumn(unit.Head(l.ManifoldHeadM)), words.Percent(l.DU))
		for _, w := range l.Warnings {
			p.say(p.HydraulicWarning(w.Engine()))
		}
	}
	if len(s.Layouts) > 1 {
		fmt.Fprintf(p.w, "  Together they have an evenness of %s.\n", words.Percent(s.DU))
	}
	if h := s.WithHose; h != nil {
		with := 0.0
		for _, q := range h.LayoutsLPerMin {
			with += q
		}
		p.say(p.HoseBeside(words.OpenHose{
			Hose: unit.LitersPerMinute(h.HoseLPerMin), Without: unit.LitersPerMinute(h.WithoutLPerMin), With: unit.LitersPerMinute(with),
		}))
	}
}

func (p flowWords) answers(a *file.FlowAnswers) {
	fmt.Fprintf(p.w, "\n%s alone\n", words.OneLine(a.Layout))
	outcome := hydraulics.Outcome{Flow: unit.LitersPerMinute(a.FlowLPerMin), Distribution: a.DU}
	said := map[string]bool{}
	for _, s := range a.Assumptions {
		p.say(p.Sensitivity(s.Engine(), outcome))
		said[s.Code] = true
	}
	for _, s := range []*file.SensitivityResult{a.DischargeCoefficient, a.Level} {
		if s != nil && !said[s.Code] {
			p.say(p.Sensitivity(s.Engine(), outcome))
		}
	}
	for _, w := range a.Hazards {
		p.say(p.HydraulicWarning(w.Engine()))
	}
	p.say(p.Standpipe(hydraulics.Standpipe{Running: unit.Length(a.Standpipe.RunningM), Shut: unit.Length(a.Standpipe.ShutM)}))
	p.cups(a.CupL, a.Cups)
	if o := a.PlugOutlets; o != nil {
		plug := words.OutletsToPlug{Granted: o.Granted, Wish: wish(o.Wish), LeastHead: unit.Head(o.LeastHeadM)}
		for _, outlet := range o.Outlets {
			plug.Outlets = append(plug.Outlets, outlet+1)
		}
		p.say(p.PlugOutlets(plug))
	}
	p.asked(a)
}

// cups says how long cups of the volume [L] take to fill.
func (p flowWords) cups(volume float64, list []file.CupResult) {
	for _, c := range list {
		p.say(p.FillCups(words.Cups{
			Path: fmt.Sprintf("manifold.outlets[%d].lateral", c.Outlet), Cup: unit.Liters(volume), First: given(c.FirstSeconds), Last: given(c.LastSeconds),
		}))
	}
}

// asked says the answers to the questions of the file.
func (p flowWords) asked(a *file.FlowAnswers) {
	if m := a.Most; m != nil {
		for _, n := range []struct {
			of words.Counted
			file.CountResult
		}{{words.CountedLayouts, m.Layouts}, {words.CountedLaterals, m.Laterals}, {words.CountedHoleSets, m.HoleSets}} {
			p.say(p.Most(words.HowMany{
				Of: n.of, Count: n.Count, AtLimit: n.AtLimit, Wish: wish(m.Wish), LeastHead: unit.Head(n.LeastHeadM), Distribution: n.DU,
			}))
		}
	}
	if v := a.Valve; v != nil && v.MostHeadM != nil {
		p.say(p.ValveCannot(hydraulics.HeadError{Want: unit.Head(v.HeadM), Most: unit.Head(*v.MostHeadM)}))
	} else if v != nil {
		p.say(p.Valve(unit.Head(v.HeadM)))
		p.cups(a.CupL, v.Cups)
	}
	if s := a.Plugged; s != nil && s.Share != nil {
		p.say(p.Plugged(hydraulics.PluggedShare{Least: s.Share[0], Most: s.Share[1], Conductance: s.Conductance}))
	} else if s != nil {
		p.say(p.MeasureMore(hydraulics.MeasureMore{Needed: strings.Join(s.Needed, ","), Sensitivity: s.Sensitivity, Spread: s.Spread}))
	}
	for _, d := range a.Patterns {
		path := fmt.Sprintf("manifold.outlets[%d].lateral.pieces[%d]", d.Outlet, d.Piece)
		if d.Pattern == nil {
			p.say(p.DrillingCannot(path))
			continue
		}
		p.say(p.Drilling(words.PieceDrilling{
			Path: path, Pattern: d.Pattern.Engine(), Want: unit.LitersPerHour(d.WantLPerH), Flow: unit.LitersPerHour(d.FlowLPerH), Head: unit.Head(d.HeadM),
		}))
	}
}

func wish(w file.FlowWish) hydraulics.Wish {
	return hydraulics.Wish{Head: unit.Head(w.HeadM), Distribution: w.DU}
}

func given(seconds *float64) float64 {
	if seconds == nil {
		return 0
	}
	return *seconds
}

// circumstances says which cautions the layouts of a flow file need.
func circumstances(f file.Flow, r file.FlowResult) render.Circumstances {
	c := render.Circumstances{
		DrinkingWaterTap: f.Source.Tank == nil, ValveAfterTap: len(f.Layouts) > 0, StoredWater: f.Source.Tank != nil,
		Hose: f.Source.CommonFeed != nil || f.OpenHose != nil, PlasticPipe: len(f.Layouts) > 0,
	}
	for _, l := range f.Layouts {
		c.Hose = c.Hose || l.Layout.Feed.HoseLengthM > 0
	}
	for i := range r.Answers {
		c.Drilling = c.Drilling || len(r.Answers[i].Patterns) > 0
	}
	return c
}
