// Package qr makes the squares of a QR code.
package qr

import (
	"fmt"

	goqr "github.com/piglig/go-qr"
)

// Modules returns the code of a text by rows and columns, true where it is dark, without the quiet zone. A text that is too
// long is refused.
func Modules(text string) ([][]bool, error) {
	code, err := goqr.EncodeText(text, goqr.Medium)
	if err != nil {
		return nil, fmt.Errorf("QR code of %d characters: %w", len(text), err)
	}
	rows := make([][]bool, code.Size())
	for y := range rows {
		rows[y] = make([]bool, len(rows))
		for x := range rows[y] {
			rows[y][x] = code.Module(x, y)
		}
	}
	return rows, nil
}
