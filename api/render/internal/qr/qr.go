// Package qr makes the squares of a QR code.
package qr

import (
	"fmt"

	"github.com/skip2/go-qrcode"
)

// Modules returns the code of a text by rows and columns, true where it is dark, without the quiet zone. A text that is too
// long is refused.
func Modules(text string) ([][]bool, error) {
	code, err := qrcode.New(text, qrcode.Medium)
	if err != nil {
		return nil, fmt.Errorf("QR code of %d characters: %w", len(text), err)
	}
	code.DisableBorder = true
	return code.Bitmap(), nil
}
