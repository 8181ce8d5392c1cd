package svg

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/words"
	"rillturn.example/rillturn/engine/unit"
)

// The measures of the picture of shares, in pixels.
const (
	shareRow    = 22
	shareBar    = 14
	shareLabel  = 230
	shareLength = 300
	shareAmount = 168
)

// Fairness draws the share of its need that each plot gets, the least served first: what is delivered solid, what is
// missing hatched, with the bound that no schedule can pass for the least served plot.
func Fairness(w io.Writer, s render.Schedule) error {
	if err := s.Validate(); err != nil {
		return fmt.Errorf("shares of rotation %s: %w", s.RotationID, err)
	}
	shares := slices.Clone(s.Shares)
	slices.SortStableFunc(shares, func(a, b render.Share) int {
		return cmp.Or(cmp.Compare(a.Fraction, b.Fraction), words.Compare(a.PlotName, b.PlotName), words.Compare(a.LayoutName, b.LayoutName))
	})
	p := words.New(s.Language, s.Units, s.TimeZone)
	f := fairness{p: p, s: s, shares: shares}
	height := headHeight + shareRow*float64(len(shares)) + 2*margin
	f.canvas = newCanvas("shares", height, p.SharesTitle(s), f.description())
	f.draw()
	if err := f.writeTo(w); err != nil {
		return fmt.Errorf("shares of rotation %s: %w", s.RotationID, err)
	}
	return nil
}

type fairness struct {
	*canvas
	p      words.Printer
	s      render.Schedule
	shares []render.Share
}

func (f fairness) description() string {
	lines := make([]string, 0, len(f.shares)+1)
	for _, s := range f.shares {
		lines = append(lines, f.p.Share(s))
	}
	if f.s.ShareBound != nil {
		lines = append(lines, f.p.Bound(*f.s.ShareBound))
	}
	return strings.Join(lines, "\n")
}

const shareLeft = margin + shareLabel

// shareX places a fraction on the axis.
func shareX(fraction float64) float64 {
	return shareLeft + shareLength*math.Min(math.Max(fraction, 0), 1)
}

func (f fairness) draw() {
	missing := mark{tone: tones[5], hatch: 0, id: "missing"}
	f.defineHatches([]mark{missing})
	f.head(f.p.SharesTitle(f.s), f.subtitle())
	bottom := headHeight + shareRow*float64(len(f.shares))
	for _, tick := range []float64{0, 0.25, 0.5, 0.75, 1} {
		f.line(shareX(tick), headHeight-4, shareX(tick), bottom, at("stroke", rule), num("stroke-width", 0.6))
		f.text(shareX(tick), headHeight-8, smallText, words.Percent(tick), at("text-anchor", "middle"))
	}
	for i, s := range f.shares {
		f.drawShare(s, headHeight+shareRow*float64(i), missing)
	}
	f.drawKey(bottom+margin, missing)
	if f.s.ShareBound != nil {
		x := shareX(*f.s.ShareBound)
		f.line(x, headHeight-2, x, bottom+4, at("stroke", ink), num("stroke-width", 1.6), at("stroke-dasharray", "5 3"))
	}
}

func (f fairness) subtitle() string {
	for _, s := range f.shares {
		if render.IsShort(s.Fraction) {
			return f.p.ScheduleSubtitle(f.s)
		}
	}
	return f.p.ScheduleSubtitle(f.s) + " " + f.p.Label(words.LabelNobodyShort)
}

func (f fairness) drawShare(s render.Share, y float64, missing mark) {
	base := y + shareRow/2 + 4
	f.begin("g")
	f.leaf("title", f.p.Share(s))
	f.text(margin, base, bodyText, fit(words.PlotLabel(s.PlotName, s.LayoutName), bodyText, shareLabel-10))
	top := y + (shareRow-shareBar)/2
	f.rect(shareLeft, top, shareLength, shareBar, missing.fill(), at("stroke", muted), num("stroke-width", 0.8))
	f.rect(shareLeft, top, shareX(s.Fraction)-shareLeft, shareBar, at("fill", tones[0].strong))
	x := float64(shareLeft + shareLength + 10)
	style := []attr{}
	if render.IsShort(s.Fraction) {
		style = append(style, at("font-weight", "bold"))
	}
	f.text(x, base, bodyText, words.Percent(s.Fraction), style...)
	amount := f.p.Volume(unit.Liters(s.DeliveredLiters)).Number + " / " + f.p.Volume(unit.Liters(s.NeedLiters)).String()
	f.text(x+shareAmount-12, base, bodyText, amount, at("text-anchor", "end"))
	if reason := words.OneLine(s.Reason); reason != "" {
		f.drawReason(reason, x+shareAmount, y)
	}
	f.end()
}

// drawReason writes a reason on one line, or small on two; what is longer still stands in the title of the row.
func (f fairness) drawReason(reason string, x, y float64) {
	const small, lineHeight = 9.5, 10
	width := pageWidth - margin - x
	lines := wrap(reason, small, width)
	if len(lines) == 1 {
		f.text(x, y+shareRow/2+4, small, lines[0], at("fill", muted))
		return
	}
	second := fit(strings.Join(lines[1:], " "), small, width)
	f.text(x, y+shareRow/2-1, small, lines[0], at("fill", muted))
	f.text(x, y+shareRow/2-1+lineHeight, small, second, at("fill", muted))
}

func (f fairness) drawKey(y float64, missing mark) {
	x := float64(shareLeft)
	f.rect(x, y-swatchHeight+2, swatchWidth, swatchHeight, at("fill", tones[0].strong))
	f.text(x+swatchWidth+6, y, smallText, f.p.Label(words.LabelServed))
	x += 110
	f.rect(x, y-swatchHeight+2, swatchWidth, swatchHeight, missing.fill(), at("stroke", muted), num("stroke-width", 0.8))
	f.text(x+swatchWidth+6, y, smallText, f.p.Label(words.LabelMissing))
	if f.s.ShareBound == nil {
		return
	}
	x += 110
	f.line(x, y-3, x+swatchWidth, y-3, at("stroke", ink), num("stroke-width", 1.6), at("stroke-dasharray", "5 3"))
	f.text(x+swatchWidth+6, y, smallText, f.p.Label(words.LabelBound)+": "+words.Percent(*f.s.ShareBound))
}
