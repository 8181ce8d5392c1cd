// Package typeface brings the fonts of printed documents, so that no font of the machine is needed.
package typeface

import (
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
)

// The Go fonts as TrueType.
var (
	Regular = goregular.TTF
	Bold    = gobold.TTF
)

// planes is how many characters the fonts can have: those of the first plane.
const planes = 1 << 16

// drawn lists the characters that both fonts draw. The fonts are part of the program, so a fault in them stops it.
var drawn = sync.OnceValue(func() *[planes]bool {
	var has [planes]bool
	for i, text := range [][]byte{Regular, Bold} {
		font, err := sfnt.Parse(text)
		if err != nil {
			panic(err)
		}
		var b sfnt.Buffer
		for r := range has {
			glyph, err := font.GlyphIndex(&b, rune(r))
			has[r] = err == nil && glyph != 0 && (i == 0 || has[r])
		}
	}
	return &has
})

// Missing stands for a character that the fonts don't draw.
const Missing = '□'

// Printable puts Missing for what the fonts don't draw, but nothing for signs that are seen
// only beside other letters. The fonts draw Latin, Greek and Cyrillic script, and signs. lacking says that something is missing.
func Printable(text string) (printable string, lacking bool) {
	if isASCII(text) {
		return text, false
	}
	printable = strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r < planes && drawn()[r]:
			return r
		case unicode.In(r, unicode.Mn, unicode.Me, unicode.Cf):
			return -1
		}
		lacking = true
		return Missing
	}, text)
	return printable, lacking
}

func isASCII(text string) bool {
	for i := range len(text) {
		if text[i] >= utf8.RuneSelf {
			return false
		}
	}
	return true
}
