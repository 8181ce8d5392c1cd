package words

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"rillturn.example/rillturn/engine/hydraulics"
)

// Notice is one thing that a reader should know: what is the case, with its number, and what to do about it.
type Notice struct {
	Code   string
	Text   string
	Remedy string
}

// String joins the two sentences.
func (n Notice) String() string { return strings.TrimSpace(n.Text + " " + n.Remedy) }

// unknownCode speaks for a code without a sentence, which a test rules out for every code of the engine: a code from
// a stored document of a later version may still come by.
func (p Printer) unknownCode(code string) Notice {
	return Notice{Code: code, Text: p.language.unknownCode(code)}
}

// HydraulicWarning says what a layout is warned of.
func (p Printer) HydraulicWarning(w hydraulics.Warning) Notice {
	say, ok := p.language.hydraulics[w.Code]
	if !ok {
		return p.unknownCode(string(w.Code))
	}
	n := say(p, w)
	n.Code = string(w.Code)
	return n
}

// part is the part of a layout that a path names, with people's numbers: outlets and pieces count from 1.
type part struct {
	kind   string // "layout", "manifold", "lateral" or "piece"
	outlet int
	piece  int
}

var (
	outletInPath = regexp.MustCompile(`outlets\[(\d+)\]`)
	pieceInPath  = regexp.MustCompile(`pieces\[(\d+)\]`)
)

func partOf(path string) part {
	number := func(match []string) int {
		n, err := strconv.Atoi(match[1])
		if err != nil {
			return 0 // no path has so many outlets
		}
		return n + 1
	}
	outlet, piece := outletInPath.FindStringSubmatch(path), pieceInPath.FindStringSubmatch(path)
	switch {
	case outlet != nil && piece != nil:
		return part{kind: "piece", outlet: number(outlet), piece: number(piece)}
	case outlet != nil:
		return part{kind: "lateral", outlet: number(outlet)}
	case strings.HasPrefix(path, "manifold"):
		return part{kind: "manifold"}
	}
	return part{kind: "layout"}
}

// count writes a number of things in English fashion, with the plural where it belongs.
func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
