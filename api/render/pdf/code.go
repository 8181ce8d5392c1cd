package pdf

import (
	"rillturn.example/rillturn/api/render/internal/qr"
)

// codeSide is the side of a square code [pt]: 25 mm, which a telephone reads from a door.
const codeSide = 71.0

// squareCode draws the code of a link in the upper right corner and returns the room that it takes. It is
// drawn as boxes, so that it is sharp at any size.
func (s *sheet) squareCode(link string) float64 {
	if link == "" {
		return 0
	}
	dots, err := qr.Modules(link)
	if err != nil {
		s.pdf.SetError(err)
		return 0
	}
	step := codeSide / float64(len(dots))
	left := s.right() - codeSide
	s.record.WriteString("code " + link + "\n")
	for i, row := range dots {
		for k := 0; k < len(row); k++ {
			n := k
			for n < len(row) && row[n] {
				n++
			}
			if n > k {
				s.pdf.Rect(left+float64(k)*step, marginTop+float64(i)*step, float64(n-k)*step, step, "F")
				k = n
			}
		}
	}
	s.pdf.LinkString(left, marginTop, codeSide, codeSide, link)
	s.font(smallSize, plain)
	y := marginTop + codeSide
	for _, l := range s.wrap(s.p.Scan(), codeSide) {
		y += s.lineHeight()
		s.textAt(left, y, l)
	}
	s.y = marginTop
	const gap = 16
	return codeSide + gap
}
