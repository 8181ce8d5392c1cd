package qr

import (
	"image"
	"image/color"
	"strings"
	"testing"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"
)

// What a telephone reads is what was asked for, also of an address as long as a link's.
func TestModules_areRead(t *testing.T) {
	t.Parallel()
	for _, text := range []string{
		"https://garden.example/",
		"https://water.tanager-bend.example/v1/gardens/01985c00-0000-7000-8000-000000000001/layouts/01985c00-0000-7000-8000-000000000501/sheet.pdf?token=rt_01985c00-0000-7000-8000-000000000001_" + strings.Repeat("aB3-", 10) + "xyz",
	} {
		dots, err := Modules(text)
		if err != nil {
			t.Fatal(err)
		}
		const step, quiet = 4, 4
		side := (len(dots) + 2*quiet) * step
		picture := image.NewGray(image.Rect(0, 0, side, side))
		for y := range side {
			for x := range side {
				row, column := y/step-quiet, x/step-quiet
				dark := row >= 0 && row < len(dots) && column >= 0 && column < len(dots) && dots[row][column]
				picture.SetGray(x, y, color.Gray{Y: map[bool]uint8{true: 0, false: 255}[dark]})
			}
		}
		bitmap, err := gozxing.NewBinaryBitmapFromImage(picture)
		if err != nil {
			t.Fatal(err)
		}
		read, err := qrcode.NewQRCodeReader().Decode(bitmap, nil)
		if err != nil || read.GetText() != text {
			t.Errorf("read %v, %v; want %q", read, err, text)
		}
	}
}

func TestModules_refusesWhatDoesNotFit(t *testing.T) {
	t.Parallel()
	if _, err := Modules(strings.Repeat("x", 3000)); err == nil {
		t.Error("3000 characters fit")
	}
}
