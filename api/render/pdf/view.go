package pdf

import (
	"fmt"
	"strconv"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/unit"
)

// DrawingOf returns the drawing of a layout with the flows of a result; the caller adds names, units and language. Where
// two outlets share a place, the second lateral is drawn to the left. Without a result every hole counts as running.
func DrawingOf(l hydraulics.Layout, r *hydraulics.Result) render.LayoutDrawing {
	d := render.LayoutDrawing{
		ManifoldM: float64(l.Manifold.Length), ManifoldPipe: pipeText(l.Manifold.Pipe), FeedAtM: float64(l.Manifold.FeedAt),
	}
	taken := map[float64]bool{}
	for i := range l.Manifold.Outlets {
		o := &l.Manifold.Outlets[i]
		out := render.DrawnOutlet{AtM: float64(o.At)}
		if !o.Plugged && o.Lateral != nil {
			out.ToLeft = taken[out.AtM]
			taken[out.AtM] = true
			out.Lateral = drawnLateral(i, o.Lateral, r)
		}
		d.Outlets = append(d.Outlets, out)
	}
	return d
}

func drawnLateral(outlet int, l *hydraulics.Lateral, r *hydraulics.Result) *render.DrawnLateral {
	out := &render.DrawnLateral{Name: strconv.Itoa(outlet + 1), Pipe: pipeText(l.Pieces[0].Pipe), LengthM: float64(l.Length())}
	flows := setFlows(outlet, r)
	start := unit.Length(0)
	for i := range l.Pieces {
		p := &l.Pieces[i]
		for s := range p.Pattern.Sets(p.Length) {
			h := render.DrawnHoles{AtM: float64(start + min(p.Pattern.Position(s), p.Length))}
			for _, g := range l.Plugged {
				h.Plugged = h.Plugged || g.Piece == i && g.Set == s && g.Holes >= p.Pattern.HolesPerSet
			}
			if f, ok := flows[[2]int{i, s}]; ok {
				h.FlowLPerH, h.Unreliable = f.Flow.LitersPerHour(), f.Flow <= 0 || float64(f.Head) < hydraulics.ReliableHead
			}
			out.HoleSets = append(out.HoleSets, h)
		}
		start += p.Length
	}
	return out
}

// setFlows finds the hole sets of an outlet by piece and set.
func setFlows(outlet int, r *hydraulics.Result) map[[2]int]hydraulics.HoleSetResult {
	flows := map[[2]int]hydraulics.HoleSetResult{}
	if r == nil {
		return flows
	}
	for i := range r.Laterals {
		if r.Laterals[i].Outlet == outlet {
			for _, s := range r.Laterals[i].Sets {
				flows[[2]int{s.Piece, s.Set}] = s
			}
		}
	}
	return flows
}

// pipeText is the trade size and wall as printed on a pipe.
func pipeText(p hydraulics.Pipe) string {
	if p.Size == "" {
		return fmt.Sprintf("%.1f mm inside", p.InsideDiameter.Millimeters())
	}
	return p.Size + " in " + p.Wall
}
