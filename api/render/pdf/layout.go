package pdf

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/words"
	"rillturn.example/rillturn/engine/fieldwork"
	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/unit"
)

// LayoutDocument is one layout of a sheet, ready to be printed.
type LayoutDocument struct {
	// Drawing names garden, plot, layout and revision, and says in which units and language they are read.
	Drawing  render.LayoutDrawing
	TimeZone *time.Location
	Sheet    fieldwork.Sheet
	Site     int // of the sheet
	// Expected is what a test should show; nil when the source is not known.
	Expected *fieldwork.Expected
	Link     string // where the square code leads; without one there is no code
	Warnings []hydraulics.Warning
	Cautions []render.CautionCode
}

// Layouts prints what it takes to build layouts: drawing, parts, cuts, drill sheets, planting marks, expected readings, the
// lists through the year, and cautions. Several layouts of one sheet share a beginning that says what to buy and how to
// cut it for all of them.
func Layouts(w io.Writer, d []LayoutDocument, o Options) error {
	s, err := layoutSheets(d, o)
	if err == nil {
		err = s.writeTo(w)
	}
	if err != nil {
		return fmt.Errorf("print layout %s: %w", d[0].Drawing.LayoutName, err)
	}
	return nil
}

func layoutSheets(docs []LayoutDocument, o Options) (*sheet, error) {
	first := &docs[0].Drawing
	p := words.New(first.Language, first.Units, docs[0].TimeZone)
	if len(docs) == 1 {
		l := layoutPages{d: &docs[0], alone: true}
		return build(p, o, l.name(), l.foot(p, o), func(s *sheet) { l.on(s).print() })
	}
	title := p.Sheet(words.SheetPurchase)
	foot := footer{first.GardenName, listed(" · ", title, stamp(p, o.Made))}
	return build(p, o, title, foot, func(s *sheet) {
		(&layoutPages{d: &docs[0]}).on(s).purchase(docs)
		for i := range docs {
			l := layoutPages{d: &docs[i]}
			s.footer = l.foot(p, o)
			s.addPage()
			l.on(s).print()
		}
	})
}

type layoutPages struct {
	*sheet
	d     *LayoutDocument
	site  *fieldwork.SiteSheet
	alone bool // the document is about this layout only
}

func (l *layoutPages) on(s *sheet) *layoutPages {
	l.sheet, l.site = s, &l.d.Sheet.Sites[l.d.Site]
	return l
}

func (l *layoutPages) name() string {
	return words.PlotLabel(l.d.Drawing.PlotName, l.d.Drawing.LayoutName)
}

// state says of which revision the document is, and when it was made; a layout from a file has no revision.
func (l *layoutPages) state(p words.Printer, o Options, between string) string {
	revision := ""
	if l.d.Drawing.Revision > 0 {
		revision = p.Revision(l.d.Drawing.Revision)
	}
	return listed(between, revision, stamp(p, o.Made))
}

func (l *layoutPages) foot(p words.Printer, o Options) footer {
	return footer{l.d.Drawing.GardenName, listed(" · ", l.state(p, o, " · "), l.name())}
}

func (l *layoutPages) print() {
	l.title(l.name(), listed(", ", words.OneLine(l.d.Drawing.GardenName), l.state(l.p, l.o, ", ")), l.d.Link)
	l.drawing()
	l.notices()
	l.parts()
	l.stored()
	if l.alone {
		l.cuts()
	} else {
		l.paragraph(l.p.Sheet(words.SheetCutTogether))
	}
	l.drills()
	l.plantings()
	l.tasks()
	l.expected()
	l.cautions(l.d.Cautions)
}

// purchase prints what is bought and cut for all layouts together.
func (l *layoutPages) purchase(docs []LayoutDocument) {
	l.title(l.p.Sheet(words.SheetPurchase), listed(", ", words.OneLine(l.d.Drawing.GardenName), stamp(l.p, l.o.Made)), "")
	for i := range docs {
		of := layoutPages{d: &docs[i]}
		text := of.name()
		if label := docs[i].Sheet.Sites[docs[i].Site].Label; label != text {
			text = listed(" – ", words.OneLine(label), text)
		}
		if r := docs[i].Drawing.Revision; r > 0 {
			text += ", " + l.p.Revision(r)
		}
		l.marked("•", text)
	}
	l.partsTable(l.d.Sheet.Parts)
	l.cuts()
}

func (l *layoutPages) notices() {
	var notes []note
	for _, w := range l.d.Warnings {
		notes = append(notes, note{string(w.Code), w.Path, l.p.HydraulicWarning(w).String()})
	}
	for _, w := range l.site.Warnings {
		notes = append(notes, note{string(w.Code), w.Path, l.p.FieldworkWarning(w).String()})
	}
	texts := l.gathered(notes)
	if len(texts) == 0 {
		return
	}
	l.heading(l.p.Sheet(words.SheetNotice), 30)
	l.list("!", texts)
}

// note is a warning about a part of the layout.
type note struct{ code, path, text string }

// gathered says the same about several outlets once, with the outlets that it also holds for.
func (l *layoutPages) gathered(notes []note) []string {
	var texts []string
	line := map[string]int{}
	also := map[int][]int{} // outlets by line
	for _, n := range notes {
		var outlet int
		_, err := fmt.Sscanf(n.path, "manifold.outlets[%d]", &outlet)
		at, seen := line[n.code]
		if err == nil && seen {
			if !slices.Contains(also[at], outlet) {
				also[at] = append(also[at], outlet)
			}
			continue
		}
		if err == nil {
			line[n.code], also[len(texts)] = len(texts), []int{outlet}
		}
		texts = append(texts, n.text)
	}
	for at, outlets := range also {
		if len(outlets) > 1 {
			texts[at] += " " + l.p.AlsoAt(outlets[1:])
		}
	}
	return texts
}

// parts lists everything when the document is about one layout, else the fittings of this layout, whose pipe is bought for
// all together.
func (l *layoutPages) parts() {
	if l.alone {
		l.partsTable(l.d.Sheet.Parts)
	} else {
		l.partsTable(l.site.Parts)
	}
}

func (l *layoutPages) partsTable(list []fieldwork.Part) {
	priced := false
	for _, x := range list {
		priced = priced || x.PriceCents != nil
	}
	columns := []column{
		{l.p.Sheet(words.SheetPart), 5, false},
		{l.p.Sheet(words.SheetCount), 1, true},
		{l.p.Sheet(words.SheetSpare), 1, true},
		{l.p.Sheet(words.SheetJoints), 2.6, false},
	}
	if priced {
		columns = append(columns, column{l.p.Sheet(words.SheetPrice), 1.4, true})
	}
	var rows [][]string
	for _, x := range list {
		row := []string{l.p.Part(x), strconv.Itoa(x.Count), number(x.Spare), l.p.Joints(x)}
		if priced {
			price := ""
			if x.PriceCents != nil {
				price = words.Money(*x.PriceCents)
			}
			row = append(row, price)
		}
		rows = append(rows, row)
	}
	l.headed(l.p.Sheet(words.SheetParts), columns, rows)
	if priced {
		l.paragraph(l.p.PartsSum(fieldwork.Cost(list)))
	}
	l.paragraph(l.p.Sheet(words.SheetPartsNote))
}

// number writes a count; nothing for none.
func number(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

// written returns what stands on a pipe of a layout.
func (l *layoutPages) written(site, pipe int) string {
	x := &l.d.Sheet.Sites[site]
	p := &x.Assembly.Pipes[pipe]
	if p.Use != fieldwork.UseLateral {
		return l.use(p.Use)
	}
	return fieldwork.WrittenOn(x.Label, p, x.Drills)
}

func (l *layoutPages) use(u fieldwork.PipeUse) string {
	return map[fieldwork.PipeUse]string{
		fieldwork.UseManifold: l.p.Sheet(words.SheetUseManifold), fieldwork.UseStub: l.p.Sheet(words.SheetUseStub),
		fieldwork.UseNipple: l.p.Sheet(words.SheetUseNipple), fieldwork.UseLateral: l.p.Sheet(words.SheetUseLateral),
	}[u]
}

func (l *layoutPages) stored() {
	var rows [][]string
	for i := range l.d.Sheet.Saved {
		r := &l.d.Sheet.Saved[i]
		if r.Site == l.d.Site {
			todo := listed(" ", l.p.ReservationLine(r), noted(r.Notes))
			rows = append(rows, []string{words.OneLine(r.Stored), l.written(r.Site, r.Pipe), todo})
		}
	}
	if rows = append(rows, l.fromOffCuts()...); len(rows) == 0 {
		return
	}
	l.headed(l.p.Sheet(words.SheetStored), []column{
		{l.p.Sheet(words.SheetStoredPipe), 2, false},
		{l.p.Sheet(words.SheetBecomes), 2, false},
		{l.p.Sheet(words.SheetToDo), 5, false},
	}, rows)
}

// noted puts a note in brackets.
func noted(text string) string {
	if text = words.OneLine(text); text == "" {
		return ""
	}
	return "(" + text + ")"
}

// cuts prints the cut list of all layouts together: they share sticks.
func (l *layoutPages) cuts() {
	if len(l.d.Sheet.Cuts) == 0 {
		return
	}
	columns := []column{
		{l.p.Sheet(words.SheetStick), 2.2, false},
		{l.p.Sheet(words.SheetCutTo), 6, false},
		{l.p.Sheet(words.SheetLeft), 1.5, true},
	}
	for i := range l.d.Sheet.Cuts {
		c := &l.d.Sheet.Cuts[i]
		rows := l.cutRows(c)
		beginning := l.beginning(columns, rows) / l.scale
		if i == 0 {
			const name = 20
			l.heading(l.p.Sheet(words.SheetCuts), name+beginning)
		}
		l.strong(l.p.PipeName(fieldwork.SizeName(c.Pipe), c.Pipe.Wall), beginning)
		l.table(columns, rows)
		l.paragraph(l.p.CutBought(&c.List))
	}
}

// mostAlike is how many sticks share a row, so that a row stays well under a page.
const mostAlike = 20

// cutRows lists the sticks; sticks from which the same lengths are cut share a row.
func (l *layoutPages) cutRows(c *fieldwork.PipeCuts) [][]string {
	var rows [][]string
	sticks := c.List.Sticks
	for n := 0; n < len(sticks); {
		lengths := l.cutLengths(c, &sticks[n])
		end := n + 1
		for end < len(sticks) && end-n < mostAlike && sticks[end].OffCut == "" && sticks[n].OffCut == "" && sticks[end].Length == sticks[n].Length &&
			slices.Equal(l.cutLengths(c, &sticks[end]), lengths) {
			end++
		}
		name := strconv.Itoa(n+1) + ": " + l.p.Measure(sticks[n].Length).String()
		if end > n+1 {
			name = fmt.Sprintf("%d–%d: %d × %s", n+1, end, end-n, l.p.Measure(sticks[n].Length))
		}
		if sticks[n].OffCut != "" {
			name += " (" + l.offCut(&sticks[n]) + ")"
		}
		texts := make([]string, 0, end-n)
		for i := n; i < end; i++ {
			texts = append(texts, l.cutNames(c, &sticks[i]))
		}
		rows = append(rows, []string{together(name), counted(lengths, " + ") + ":\n" + counted(texts, " / "), together(l.p.Measure(sticks[n].Left).String())})
		n = end
	}
	return rows
}

// offCut names what a stick is that is not bought.
func (l *layoutPages) offCut(s *fieldwork.CutStick) string {
	if s.Rest {
		return l.p.RestOf(s.OffCut)
	}
	return words.OneLine(s.OffCut)
}

// fromOffCuts lists the off-cuts that pieces of the layout are cut from, with what they become.
func (l *layoutPages) fromOffCuts() [][]string {
	var rows [][]string
	for i := range l.d.Sheet.Cuts {
		c := &l.d.Sheet.Cuts[i]
		for k := range c.List.Sticks {
			s := &c.List.Sticks[k]
			if s.OffCut == "" {
				continue
			}
			var names, lengths []string
			for _, n := range s.Pieces {
				if at := c.Pieces[n]; at.Site == l.d.Site {
					names = append(names, together(l.written(at.Site, at.Pipe)))
					lengths = append(lengths, together(l.p.Measure(l.d.Sheet.Sites[at.Site].Assembly.Pipes[at.Pipe].Length).String()))
				}
			}
			if len(names) > 0 {
				rows = append(rows, []string{l.offCut(s), counted(names, ", "), l.p.CutTo(counted(lengths, " + "))})
			}
		}
	}
	return rows
}

// cutLengths and cutNames say what is cut from a stick, and what the pieces become.
func (l *layoutPages) cutLengths(c *fieldwork.PipeCuts, s *fieldwork.CutStick) []string {
	var texts []string
	for _, n := range s.Pieces {
		at := c.Pieces[n]
		texts = append(texts, together(l.p.Measure(l.d.Sheet.Sites[at.Site].Assembly.Pipes[at.Pipe].Length).String()))
	}
	return texts
}

func (l *layoutPages) cutNames(c *fieldwork.PipeCuts, s *fieldwork.CutStick) string {
	var texts []string
	for _, n := range s.Pieces {
		texts = append(texts, together(l.written(c.Pieces[n].Site, c.Pieces[n].Pipe)))
	}
	return counted(texts, ", ")
}

// counted joins texts; neighbours that are alike are counted.
func counted(texts []string, between string) string {
	var out []string
	for i := 0; i < len(texts); {
		end := i + 1
		for end < len(texts) && texts[end] == texts[i] {
			end++
		}
		if end > i+1 {
			out = append(out, together(strconv.Itoa(end-i)+" × ")+texts[i])
		} else {
			out = append(out, texts[i])
		}
		i = end
	}
	return strings.Join(out, between)
}

func (l *layoutPages) drills() {
	for i := range l.site.Drills {
		d := &l.site.Drills[i]
		l.heading(l.p.Sheet(words.SheetDrill)+" "+d.Name, 150)
		if i == 0 {
			l.paragraph(l.p.Sheet(words.SheetDrillHow))
		}
		l.toDrill(d)
		if l.o.FullSize {
			l.fullSize(d)
		} else {
			l.strip(d)
		}
		marks := make([]string, 0, len(d.Marks))
		for _, m := range d.Marks {
			marks = append(marks, l.p.Mark(m.Steps))
		}
		l.strong(l.p.Sheet(words.SheetMarks)+" ["+l.p.MarkUnit()+"]", 24)
		l.figures(marks)
	}
}

// toDrill says how to drill what is not there already.
func (l *layoutPages) toDrill(d *fieldwork.DrillSheet) {
	left := *d
	left.Pipes = nil
	var texts []string
	for _, k := range d.Pipes {
		text := l.written(l.d.Site, k)
		if r, saved := l.reservation(k); saved {
			if r.NewHoles == 0 {
				continue
			}
			text += " (" + words.OneLine(r.Stored) + ")"
		}
		left.Pipes, texts = append(left.Pipes, k), append(texts, together(text))
	}
	if len(texts) == 0 {
		l.marked("•", l.p.Sheet(words.SheetNothingNew))
		return
	}
	l.list("•", l.p.DrillLines(&left))
	l.marked("•", l.p.Sheet(words.SheetWrite)+": "+strings.Join(texts, ", ")+".")
}

// reservation finds the stored pipe that becomes a pipe of the layout.
func (l *layoutPages) reservation(pipe int) (fieldwork.Reservation, bool) {
	for _, r := range l.d.Sheet.Saved {
		if r.Site == l.d.Site && r.Pipe == pipe {
			return r, true
		}
	}
	return fieldwork.Reservation{}, false
}

func (l *layoutPages) plantings() {
	if len(l.site.Plantings) == 0 {
		return
	}
	l.heading(l.p.Sheet(words.SheetPlanting), 110)
	l.paragraph(l.p.Sheet(words.SheetPlantingHow))
	for i := range l.site.Plantings {
		m := &l.site.Plantings[i]
		l.strong(l.p.PlantingLine(m), 40)
		for _, w := range m.Warnings {
			l.marked("!", l.p.FieldworkWarning(w).String())
		}
		l.plantRows(m)
	}
}

// plantRows prints the figures of laterals with the same plants once; both sides have the same.
func (l *layoutPages) plantRows(m *fieldwork.PlantingMarks) {
	ruler := l.p.Ruler()
	var lines [][]string
	var outlets [][]int
	for _, r := range m.Rows {
		if r.Side > 1 {
			continue
		}
		var figures []string
		for _, mark := range r.Marks {
			for _, at := range mark.Plants {
				figures = append(figures, l.p.Mark(ruler.Mark(at)))
			}
		}
		n := slices.IndexFunc(lines, func(x []string) bool { return slices.Equal(x, figures) })
		if n < 0 {
			n, lines, outlets = len(lines), append(lines, figures), append(outlets, nil)
		}
		outlets[n] = append(outlets[n], r.Outlet)
	}
	for n, figures := range lines {
		text := l.p.PlantRows(outlets[n], m.Planting.Sides) + ", " + l.p.Sheet(words.SheetPlantsAt) + " [" + l.p.MarkUnit() + "]:"
		l.font(bodySize, plain)
		for i, part := range l.wrap(text, l.room()) {
			if i == 0 {
				l.need(3 * l.lineHeight())
			}
			l.y += l.lineHeight()
			l.textAt(marginSide, l.y-2, part)
		}
		l.figures(figures)
	}
}

func (l *layoutPages) tasks() {
	t := &l.site.Tasks
	for _, part := range []struct {
		label words.SheetLabel
		tasks []fieldwork.Task
	}{{words.SheetSetUp, t.SetUp}, {words.SheetSpring, t.Spring}, {words.SheetTakeDown, t.TakeDown}} {
		l.heading(l.p.Sheet(part.label), 40)
		for _, x := range part.tasks {
			l.marked(boxMark, l.p.Task(x))
		}
	}
	if len(t.Storage) == 0 {
		return
	}
	var rows [][]string
	for i, b := range t.Storage {
		texts := make([]string, 0, len(b.Pipes))
		for _, k := range b.Pipes {
			texts = append(texts, together(l.written(l.d.Site, k)))
		}
		rows = append(rows, []string{boxMark, strconv.Itoa(i + 1), strings.Join(texts, ", "), words.OneLine(strings.Join(b.Crops, ", "))})
	}
	columns, rows := dropEmpty([]column{
		{"", 0.5, false},
		{l.p.Sheet(words.SheetBundle), 1.1, false},
		{l.p.Sheet(words.SheetPipes), 5, false},
		{l.p.Sheet(words.SheetCrops), 3, false},
	}, rows)
	l.headed(l.p.Sheet(words.SheetStorage), columns, rows)
}

func (l *layoutPages) expected() {
	e := l.d.Expected
	if e == nil {
		return
	}
	l.heading(l.p.Sheet(words.SheetExpected), 80)
	l.paragraph(l.p.Sheet(words.SheetExpectedHow))
	rows := [][]string{
		{l.p.Sheet(words.SheetStaticHead), l.p.Pressure(e.StaticHead).String(), ""},
	}
	if e.OpenFlow > 0 {
		rows = append(rows, []string{l.p.BucketTest(), words.Seconds(l.p.Bucket(), e.OpenFlow), ""})
	}
	rows = append(rows, [][]string{
		{l.p.Sheet(words.SheetFlow), l.p.Flow(e.Flow).String(), ""},
		{l.p.Sheet(words.SheetSourceHead), l.p.Pressure(e.SourceHead).String(), ""},
		{l.p.Sheet(words.SheetManifoldHead), l.p.Pressure(e.ManifoldHead).String() + ", " + l.p.WaterColumn(e.ManifoldHead).String(), ""},
		{l.p.Sheet(words.SheetEvenness), words.Percent(e.Evenness), ""},
	}...)
	within := ", " + words.Duration(fieldwork.CatchMinutes)
	for _, x := range e.Laterals {
		for _, cup := range []struct {
			last bool
			flow unit.Flow
		}{{false, x.First}, {true, x.Last}} {
			rows = append(rows, []string{l.p.CupUnder(x.Outlet, cup.last) + within, l.p.Cup(cup.flow, fieldwork.CatchMinutes).String(), ""})
		}
	}
	l.table([]column{
		{l.p.Sheet(words.SheetReading), 4, false},
		{l.p.Sheet(words.SheetShouldBe), 2.5, true},
		{l.p.Sheet(words.SheetMeasured), 2, false},
	}, rows)
}

func (s *sheet) cautions(codes []render.CautionCode) {
	if len(codes) == 0 {
		return
	}
	s.heading(s.p.Sheet(words.SheetCautions), 40)
	for _, c := range codes {
		s.marked("!", s.p.Caution(c))
	}
}
