package pdf

import "rillturn.example/rillturn/api/render/internal/typeface"

// printable is a text in letters that the fonts draw; it notes for the head of the document when some are missing.
func (s *sheet) printable(text string) string {
	text, lacking := typeface.Printable(text)
	s.lacking = s.lacking || lacking
	return text
}

// textWidth is how wide a text is in the current font [pt].
func (s *sheet) textWidth(text string) float64 { return s.pdf.GetStringWidth(s.printable(text)) }
