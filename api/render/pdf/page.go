// Package pdf prints a layout as a document for the work outdoors, and a watering schedule for the door of the shed.
// Everything reads in black and white, in the garden's units, on A4 or Letter.
package pdf

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-pdf/fpdf"

	"rillturn.example/rillturn/api/render/internal/typeface"
	"rillturn.example/rillturn/api/render/words"
)

// Paper is a sheet of paper.
type Paper string

// The papers.
const (
	A4     Paper = "A4"
	Letter Paper = "Letter"
)

// Options say how a document is printed.
type Options struct {
	Paper Paper // A4 when empty
	// LargePrint sets everything nearly half as large again.
	LargePrint bool
	// Link is where the square code of a schedule leads; without one there is no code.
	Link string
	// Made is when the document was made, stamped on it unless it is zero. It is passed in so that a document is repeatable.
	Made time.Time
	// FullSize draws the strips of drill sheets in their true length, over as many rows as it takes.
	FullSize bool
}

// The measures of a page [pt].
const (
	marginSide   = 46.0
	marginTop    = 44.0
	marginBottom = 56.0
	bodySize     = 9.5
	smallSize    = 8.0
	headingSize  = 13.0
	titleSize    = 18.0
	largeFactor  = 1.4
	lineFactor   = 1.32 // of the font size
	cellPad      = 4.0
)

// weight is a face of the font.
type weight string

const (
	plain weight = ""
	bold  weight = "B"
)

// sheet is a document under way: a cursor that runs down pages, and a record of what was drawn.
type sheet struct {
	pdf    *fpdf.Fpdf
	p      words.Printer
	o      Options
	footer footer
	pages  int // of the whole document; 0 while they are counted
	width  float64
	height float64
	y      float64
	scale  float64
	size   float64
	face   weight
	record strings.Builder
	// lacking says that a text has letters that the fonts don't draw.
	lacking bool
}

// footer stands on every page: whose it is, and which revision.
type footer struct {
	garden string
	rest   string
}

// build lays the document out twice: once to count its pages and to see which letters it has, once with what that comes to.
func build(p words.Printer, o Options, title string, foot footer, draw func(*sheet)) (*sheet, error) {
	pages, lacking := 0, false
	for {
		s := newSheet(p, o, title, foot, pages)
		s.lacking = lacking
		draw(s)
		if err := s.pdf.Error(); err != nil {
			return nil, fmt.Errorf("lay out the document: %w", err)
		}
		if pages == s.pdf.PageNo() && lacking == s.lacking {
			return s, nil
		}
		pages, lacking = s.pdf.PageNo(), s.lacking
	}
}

func newSheet(p words.Printer, o Options, title string, foot footer, pages int) *sheet {
	if o.Paper == "" {
		o.Paper = A4
	}
	s := &sheet{p: p, o: o, footer: foot, pages: pages, scale: 1}
	if o.LargePrint {
		s.scale = largeFactor
	}
	s.pdf = fpdf.New("P", "pt", string(o.Paper), "")
	s.pdf.SetCreationDate(o.Made.UTC())
	s.pdf.SetModificationDate(o.Made.UTC())
	s.pdf.SetCatalogSort(true)
	s.pdf.SetAutoPageBreak(false, 0)
	s.pdf.SetMargins(0, 0, 0)
	s.pdf.SetCellMargin(0)
	s.pdf.SetTitle(words.OneLine(title), true)
	s.pdf.AddUTF8FontFromBytes("text", string(plain), typeface.Regular)
	s.pdf.AddUTF8FontFromBytes("text", string(bold), typeface.Bold)
	s.width, s.height = s.pdf.GetPageSize()
	s.addPage()
	return s
}

// note records a drawing command.
func (s *sheet) note(command string, at ...float64) {
	s.record.WriteString(command)
	for _, v := range at {
		const tenth = 10
		s.record.WriteString(" " + strconv.FormatFloat(math.Round(v*tenth)/tenth+0, 'f', -1, 64))
	}
	s.record.WriteByte('\n')
}

func (s *sheet) addPage() {
	s.pdf.AddPage()
	s.note("page")
	s.y = marginTop
	s.ink(0)
	size, face := s.size, s.face
	const footerGap = 22
	s.font(smallSize, plain)
	base := s.height - marginBottom + footerGap
	s.line(marginSide, base-smallSize-4, s.right(), base-smallSize-4, 0.5)
	number := s.p.Page(s.pdf.PageNo(), max(s.pages, 1))
	room := s.right() - marginSide - s.textWidth(number) - 12
	const gardenShare = 0.4 // the rest must stay readable beside a long name
	s.textAt(marginSide, base, s.cut(listed(" · ", s.cut(s.footer.garden, gardenShare*room), s.footer.rest), room))
	s.textAt(s.right()-s.textWidth(number), base, number)
	if size > 0 {
		s.font(size/s.scale, face)
	}
}

func (s *sheet) right() float64  { return s.width - marginSide }
func (s *sheet) room() float64   { return s.right() - marginSide }
func (s *sheet) bottom() float64 { return s.height - marginBottom - 8 }

// need starts a new page unless h fits below the cursor.
func (s *sheet) need(h float64) {
	if s.y+h > s.bottom() && s.y > marginTop {
		s.addPage()
	}
}

func (s *sheet) font(size float64, face weight) {
	s.size, s.face = size*s.scale, face
	s.pdf.SetFont("text", string(face), s.size)
}

// ink sets the grey of text, lines and fills: 0 black, 255 white.
func (s *sheet) ink(grey int) {
	s.pdf.SetTextColor(grey, grey, grey)
	s.pdf.SetDrawColor(grey, grey, grey)
	s.pdf.SetFillColor(grey, grey, grey)
}

func (s *sheet) lineHeight() float64 { return s.size * lineFactor }

// textAt writes one line with its base line at y.
func (s *sheet) textAt(x, y float64, text string) {
	if text = s.printable(text); text == "" {
		return
	}
	s.note("text", x, y, s.size)
	s.record.WriteString("  " + string(s.face) + "|" + text + "\n")
	s.pdf.Text(x, y, text)
}

func (s *sheet) line(x1, y1, x2, y2, width float64) {
	s.note("line", x1, y1, x2, y2, width)
	s.pdf.SetLineWidth(width)
	s.pdf.Line(x1, y1, x2, y2)
}

// rect draws a frame, or a filled box in the current ink.
func (s *sheet) rect(x, y, w, h, width float64, filled bool) {
	style, command := "D", "frame"
	if filled {
		style, command = "F", "box"
	}
	s.note(command, x, y, w, h)
	s.pdf.SetLineWidth(width)
	s.pdf.Rect(x, y, w, h, style)
}

func (s *sheet) circle(x, y, r float64, style string) {
	s.note("circle "+style, x, y, r)
	s.pdf.SetLineWidth(0.5)
	s.pdf.Circle(x, y, r, style)
}

// cut shortens a text to a width, with an ellipsis where something is missing.
func (s *sheet) cut(text string, width float64) string {
	text = s.printable(words.OneLine(text))
	if s.textWidth(text) <= width {
		return text
	}
	runes := []rune(text)
	for n := len(runes) - 1; n > 0; n-- {
		if short := strings.TrimRight(string(runes[:n]), " ,;") + "…"; s.textWidth(short) <= width {
			return short
		}
	}
	return "…"
}

// wrap breaks a text at its line ends and between words; a word wider than the line is broken where it must be.
func (s *sheet) wrap(text string, width float64) []string {
	var lines []string
	for _, l := range strings.Split(s.printable(words.Clean(text)), "\n") {
		lines = append(lines, s.wrapLine(l, width)...)
	}
	return lines
}

// words splits a line. No-break spaces hold words together, unless together they are wider than the line.
func (s *sheet) words(text string, width float64) []string {
	var words []string
	for _, word := range strings.FieldsFunc(text, func(r rune) bool { return r == ' ' }) {
		if s.textWidth(word) > width {
			words = append(words, strings.Split(word, "\u00a0")...)
		} else {
			words = append(words, word)
		}
	}
	return words
}

// wrapLine breaks one line.
func (s *sheet) wrapLine(text string, width float64) []string {
	var lines []string
	current := ""
	for _, word := range s.words(text, width) {
		candidate := strings.TrimSpace(current + " " + word)
		if current != "" && s.textWidth(candidate) > width {
			lines = append(lines, current)
			candidate = word
		}
		for s.textWidth(candidate) > width && len([]rune(candidate)) > 1 {
			head, tail := s.breakWord(candidate, width)
			lines, candidate = append(lines, head), tail
		}
		current = candidate
	}
	if current != "" {
		lines = append(lines, current)
	}
	return lines
}

// together joins the words of a text with no-break spaces.
func together(text string) string { return strings.ReplaceAll(text, " ", "\u00a0") }

func (s *sheet) breakWord(word string, width float64) (head, tail string) {
	runes := []rune(word)
	n := len(runes) - 1
	for n > 1 && s.textWidth(string(runes[:n])) > width {
		n--
	}
	return string(runes[:n]), string(runes[n:])
}

// listed joins the texts that say something.
func listed(between string, texts ...string) string {
	return strings.Join(slices.DeleteFunc(texts, func(t string) bool { return t == "" }), between)
}

// stamp says when the document was made; nothing when nobody said.
func stamp(p words.Printer, made time.Time) string {
	if made.IsZero() {
		return ""
	}
	return p.Made(p.DateWithYear(made))
}

// title writes the head of a document, beside the square code of its link where there is one.
func (s *sheet) title(title, subtitle, link string) {
	code := s.squareCode(link)
	room := s.room() - code
	s.font(titleSize, bold)
	for _, l := range s.wrap(title, room) {
		s.y += s.size
		s.textAt(marginSide, s.y, l)
		s.y += s.size * (lineFactor - 1)
	}
	s.font(bodySize, plain)
	for _, l := range s.wrap(subtitle, room) {
		s.y += s.lineHeight()
		s.textAt(marginSide, s.y-2, l)
	}
	if s.lacking {
		for _, l := range s.wrap(s.p.Sheet(words.SheetLacking), room) {
			s.y += s.lineHeight()
			s.textAt(marginSide, s.y-2, l)
		}
	}
	s.y = math.Max(s.y, marginTop+code) + 8
}

// heading starts a section; at least h, more in large print, must fit below it.
func (s *sheet) heading(text string, h float64) {
	s.need((headingSize*2.2 + h) * s.scale) // what the heading takes itself, and h
	s.font(headingSize, bold)
	s.y += s.size * 1.5
	s.textAt(marginSide, s.y, s.cut(text, s.room()))
	s.y += 4
	s.line(marginSide, s.y, s.right(), s.y, 0.8)
	s.y += 5
}

// strong writes a line that heads a few others; at least h, more in large print, must fit below it.
func (s *sheet) strong(text string, h float64) {
	s.font(bodySize, bold)
	s.need(s.lineHeight()*1.4 + h*s.scale)
	s.y += 3
	for _, l := range s.wrap(text, s.room()) {
		s.y += s.lineHeight()
		s.textAt(marginSide, s.y-2, l)
	}
}

// paragraph writes text over the whole width.
func (s *sheet) paragraph(text string) { s.marked("", text) }

// marked writes a paragraph that hangs behind a mark; a tick box stands for "[]".
func (s *sheet) marked(mark, text string) {
	s.font(bodySize, plain)
	hang := 0.0
	if mark != "" {
		hang = 14 * s.scale
	}
	lines := s.wrap(text, s.room()-hang)
	const together = 4 // lines of a paragraph that are kept on one page
	s.need(float64(min(len(lines), together)) * s.lineHeight())
	for i, l := range lines {
		s.need(s.lineHeight())
		s.y += s.lineHeight()
		if i == 0 {
			s.mark(marginSide, mark)
		}
		s.textAt(marginSide+hang, s.y-2, l)
	}
	s.y += 2
}

// boxMark stands for a box to tick.
const boxMark = "[]"

func (s *sheet) mark(x float64, mark string) {
	if mark == boxMark {
		side := s.size * 0.8
		s.rect(x, s.y-2-side, side, side, 0.7, false)
		return
	}
	s.textAt(x, s.y-2, mark)
}

// list writes sentences one below the other.
func (s *sheet) list(mark string, sentences []string) {
	for _, t := range sentences {
		s.marked(mark, t)
	}
}

// writeTo closes the document and writes it.
func (s *sheet) writeTo(w io.Writer) error {
	var b bytes.Buffer
	if err := s.pdf.Output(&b); err != nil {
		return fmt.Errorf("close the document: %w", err)
	}
	if _, err := w.Write(b.Bytes()); err != nil {
		return fmt.Errorf("write the document: %w", err)
	}
	return nil
}
