// Package typeface brings the fonts of printed documents, so that no font of the machine is needed.
package typeface

import (
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
)

// The Go fonts as TrueType.
var (
	Regular = goregular.TTF
	Bold    = gobold.TTF
)
