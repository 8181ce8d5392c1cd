package words

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// Clean makes text that people typed safe to print anywhere: valid UTF-8, line ends as \n, no control characters and
// no direction overrides, which could make a name read as something else, letters composed with their accents, as fonts have them.
func Clean(s string) string {
	s = norm.NFC.String(strings.ToValidUTF8(s, string(utf8.RuneError)))
	s = strings.NewReplacer("\r\n", "\n", "\r", "\n", "\t", " ").Replace(s)
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n':
			return r
		case unicode.IsControl(r), unicode.Is(unicode.Bidi_Control, r), r == 0xFFFE, r == 0xFFFF:
			return -1
		}
		return r
	}, s)
}

// OneLine is Clean for names: runs of space and line ends become one space.
func OneLine(s string) string { return strings.Join(strings.Fields(Clean(s)), " ") }
