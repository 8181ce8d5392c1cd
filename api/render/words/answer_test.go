package words

import (
	"strings"
	"testing"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/unit"
)

// answerNotices gives every answer in every turn that it can take.
func answerNotices(p Printer) []Notice {
	wish := hydraulics.Wish{Head: 0.1, Distribution: 0.8}
	const lateral = "manifold.outlets[1].lateral"
	pattern := hydraulics.HolePattern{HolesPerSet: 1, HoleDiameter: unit.Millimeters(1.6), Spacing: 0.15}
	all := []Notice{
		p.Standpipe(hydraulics.Standpipe{Running: 0.064, Shut: 31.6}), p.Standpipe(hydraulics.Standpipe{Running: -0.1}),
		p.Valve(0.3), p.ValveCannot(hydraulics.HeadError{Want: 0.5, Most: 0.12}),
		p.Plugged(hydraulics.PluggedShare{Least: 0.05, Most: 0.45}), p.Plugged(hydraulics.PluggedShare{Least: -0.02, Most: 0.08}),
		p.Plugged(hydraulics.PluggedShare{Least: -0.3, Most: -0.1, Conductance: 1.2}),
		p.MeasureMore(hydraulics.MeasureMore{Needed: "flow_l_per_min"}), p.MeasureMore(hydraulics.MeasureMore{Needed: "head_m", Sensitivity: 0.01, Spread: 0.03}),
		p.MeasureMore(hydraulics.MeasureMore{Needed: "head_m,flow_l_per_min", Sensitivity: 0.1, Spread: 0.2}),
		p.HoseBeside(OpenHose{Hose: 3e-4, Without: 4e-4, With: 1e-4}),
		p.Drilling(PieceDrilling{Path: lateral + ".pieces[0]", Pattern: pattern, Want: unit.LitersPerHour(100), Flow: unit.LitersPerHour(96), Head: 0.4}),
		p.DrillingCannot(lateral + ".pieces[0]"),
		p.PlugOutlets(OutletsToPlug{Outlets: []int{1, 5}, Granted: true, Wish: wish, LeastHead: 0.12}),
		p.PlugOutlets(OutletsToPlug{Granted: true, Wish: wish}), p.PlugOutlets(OutletsToPlug{Wish: hydraulics.Wish{Head: 0.1}}),
	}
	for _, of := range []Counted{CountedLayouts, CountedLaterals, CountedHoleSets} {
		for _, n := range []int{0, 1, 500} {
			all = append(all, p.Most(HowMany{Of: of, Count: n, AtLimit: n == 500, Wish: wish, LeastHead: 0.12, Distribution: 0.83}))
		}
	}
	for _, c := range []Cups{{First: 37, Last: 45}, {First: 37}, {Last: 1200}, {}} {
		c.Path, c.Cup = lateral, unit.Liters(0.2)
		all = append(all, p.FillCups(c))
	}
	return all
}

func TestAnswers_readLikeThis(t *testing.T) {
	t.Parallel()
	metric, us := New("en", render.Metric, nil), New("en", render.US, nil)
	wish := hydraulics.Wish{Head: 0.1, Distribution: 0.8}
	cases := []struct {
		name string
		got  Notice
		want string
	}{
		{
			"level", metric.Sensitivity(hydraulics.Sensitivity{
				Code: hydraulics.VaryLevel, Low: -0.01, High: 0.01,
				AtLow: hydraulics.Outcome{Flow: unit.LitersPerMinute(11.2), Distribution: 0.93}, AtHigh: hydraulics.Outcome{Flow: unit.LitersPerMinute(9.1), Distribution: 0.61},
			}, hydraulics.Outcome{Flow: unit.LitersPerMinute(10), Distribution: 0.97}),
			"Where nobody measured it, the ground is taken as level; it may fall or rise by 1 %: the layout takes 9.1–11 L/min, with an evenness of 61–97 %. Measure the level with water in a clear hose.",
		},
		{
			"a supply that does not matter", us.Sensitivity(hydraulics.Sensitivity{
				Code: hydraulics.VarySupply, AtLow: hydraulics.Outcome{Flow: unit.GallonsPerMinute(7.4), Distribution: 0.97}, AtHigh: hydraulics.Outcome{Flow: unit.GallonsPerMinute(7.41), Distribution: 0.97},
			}, hydraulics.Outcome{Flow: unit.GallonsPerMinute(7.4), Distribution: 0.97}),
			"What the tap gives rests on few tests: the layout takes 7.4 gal/min, with an evenness of 97 %. Measure the pressure with the tap closed and at two flows.",
		},
		{
			"three layouts", metric.Most(HowMany{Of: CountedLayouts, Count: 3, Wish: wish, LeastHead: 0.124, Distribution: 0.87}),
			"Of layouts like this one the source carries 3 at once. The worst hole then has 12 cm of water and the evenness is 87 %; wished is 10 cm of water at the worst hole and an evenness of 80 %.",
		},
		{
			"standpipe", metric.Standpipe(hydraulics.Standpipe{Running: 0.064, Shut: 31.6}),
			"A clear open tube on the manifold shows 6.4 cm of water while the layout runs alone. With all holes closed it would show 32 m of water, and run over if it is shorter.",
		},
		{
			"cups", us.FillCups(Cups{Path: "manifold.outlets[0].lateral", Cup: unit.Liters(0.2), First: 36.8, Last: 45.2}),
			"A cup of 6.8 fl oz fills in 37 s under the first hole of the lateral at outlet 1 and in 45 s under the last.",
		},
		{
			"a fifth plugged", metric.Plugged(hydraulics.PluggedShare{Least: 0.08, Most: 0.31}),
			"8–31 % of the holes are plugged, more if they are those that get least water. Flush the laterals, then look at the holes that stay dry.",
		},
		{
			"flow alone", metric.MeasureMore(hydraulics.MeasureMore{Needed: "head_m", Sensitivity: 0.004, Spread: 0.02}),
			"This measurement cannot tell how many holes are plugged: a fifth of them would change it by under 1 %, and it is good to 2 %. Measure the height of water in a clear tube on the manifold as well.",
		},
	}
	for _, c := range cases {
		if got := c.got.String(); got != c.want {
			t.Errorf("%s:\n got %s\nwant %s", c.name, got, c.want)
		}
		if strings.Contains(c.got.Text, "_") {
			t.Errorf("%s: a code in %q", c.name, c.got.Text)
		}
	}
}
