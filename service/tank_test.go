package service

import (
	"testing"

	"rillturn.example/rillturn/service/file"
)

// A tank of 1000 L is refilled with 100 L a day. Two days before the horizon 700 L were drawn, and 300 L on the day before:
// 1000 - 700 + 100 = 400, 400 - 300 + 100 = 200 L. A missed turn draws nothing, and a long rest fills the tank.
func TestPlanGarden_tankHoldsWhatIsLeftByHand(t *testing.T) {
	t.Parallel()
	level := func(waterings ...file.Watering) float64 {
		g := oneBed(t, 20, 1)
		g.WaterSources[0].TankRefillLPerDay = new(100.0)
		g.Waterings = waterings
		f, err := gather(g, supposition{})
		if err != nil {
			t.Fatal(err)
		}
		return f.problem().Sources[0].Tank.Level.Liters()
	}
	ago := func(days int, liters float64, outcome string) file.Watering {
		return file.Watering{
			PlotID: "bed", LayoutID: new("rows"), Day: file.Day{Time: day(t, "2015-07-06").AddDate(0, 0, -days)}, VolumeL: liters, Outcome: outcome,
		}
	}
	for name, c := range map[string]struct {
		got, want float64
	}{
		"nothing known":   {level(), 1000},
		"two days":        {level(ago(2, 700, "done"), ago(1, 300, "done")), 200},
		"a missed turn":   {level(ago(2, 700, "done"), ago(1, 300, "missed")), 500},
		"a long rest":     {level(ago(20, 900, "done")), 1000},
		"never below nil": {level(ago(1, 5000, "done")), 100},
	} {
		if c.got != c.want {
			t.Errorf("%s: %v L, by hand %v", name, c.got, c.want)
		}
	}
}
