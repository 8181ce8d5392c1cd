package file

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"
)

// maxDepth is the deepest nesting of arrays and objects that is followed.
const maxDepth = 64

// Parse reads one JSON document as plain values: objects as map[string]any, arrays as []any, numbers as json.Number. It
// reports what encoding/json lets pass: text that is not UTF-8, a field given twice (the first stands), a number that no
// double holds, nesting beyond maxDepth, control characters inside strings, and text after the document. The value is
// incomplete where there are faults.
func Parse(body []byte) (any, Faults) {
	root, _, faults := parse(body)
	return root.plain(), faults
}

// node is a parsed JSON value that keeps the order of an object's members and its place in the text.
type node struct {
	scalar  any // string, json.Number, bool or nil
	kind    byte
	members []member
	items   []node
	text    []byte
}

type member struct {
	name  string
	value node
}

// plain gives the value without its order and place.
func (n node) plain() any {
	switch n.kind {
	case '{':
		members := make(map[string]any, len(n.members))
		for _, m := range n.members {
			members[m.name] = m.value.plain()
		}
		return members
	case '[':
		items := make([]any, len(n.items))
		for i, item := range n.items {
			items[i] = item.plain()
		}
		return items
	default:
		return n.scalar
	}
}

// parse reads a document; whole is false when it broke off before the end.
func parse(body []byte) (root node, whole bool, faults Faults) {
	if !utf8.Valid(body) {
		return node{}, false, Faults{{Reason: "is not UTF-8 text"}}
	}
	p := parser{json: json.NewDecoder(bytes.NewReader(body)), body: body}
	p.json.UseNumber()
	root, err := p.value("", 0)
	switch {
	case errors.Is(err, errTooDeep):
	case err != nil:
		p.faults.Add("", "%s", p.syntax(err))
	default:
		if _, end := p.json.Token(); !errors.Is(end, io.EOF) {
			p.faults.Add("", "text follows the document")
		}
	}
	return root, err == nil, p.faults
}

var errTooDeep = errors.New("nested too deep")

type parser struct {
	json   *json.Decoder
	body   []byte
	faults Faults
}

// syntax says where the text breaks.
func (p *parser) syntax(err error) string {
	line := 1 + bytes.Count(p.body[:min(int(p.json.InputOffset()), len(p.body))], []byte("\n"))
	reason := err.Error()
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		reason = "the text ends too early"
	}
	return fmt.Sprintf("is not JSON near line %d: %s", line, reason)
}

func (p *parser) value(pointer string, depth int) (node, error) {
	if depth > maxDepth {
		p.faults.Add("", "is nested deeper than %d", maxDepth)
		return node{}, errTooDeep
	}
	tok, err := p.json.Token()
	if err != nil {
		return node{}, err
	}
	start := p.json.InputOffset()
	switch t := tok.(type) {
	case json.Delim:
		n, err := p.composite(t, pointer, depth)
		if err != nil {
			return n, err
		}
		n.text = p.body[start-1 : p.json.InputOffset()]
		return n, nil
	case string:
		if strings.ContainsFunc(t, isControl) {
			p.faults.Add(pointer, "holds a control character")
		}
		return node{kind: 's', scalar: t}, nil
	case json.Number:
		if f, err := t.Float64(); err != nil || math.IsInf(f, 0) {
			p.faults.Add(pointer, "is a number that no double holds")
		}
		return node{kind: 'n', scalar: t}, nil
	case bool:
		return node{kind: 'b', scalar: t}, nil
	default:
		return node{kind: '0'}, nil
	}
}

func (p *parser) composite(open json.Delim, pointer string, depth int) (node, error) {
	n := node{kind: byte(open)}
	seen := map[string]bool{}
	for p.json.More() {
		if open == '[' {
			item, err := p.value(pointer+"/"+strconv.Itoa(len(n.items)), depth+1)
			if err != nil {
				return n, err
			}
			n.items = append(n.items, item)
			continue
		}
		tok, err := p.json.Token()
		if err != nil {
			return n, err
		}
		name, ok := tok.(string)
		if !ok { // the decoder itself refuses other names
			return n, errors.New("a field name is missing")
		}
		at := pointer + "/" + escapeToken(name)
		value, err := p.value(at, depth+1)
		if err != nil {
			return n, err
		}
		if seen[name] {
			p.faults.Add(at, "is given twice")
			continue
		}
		seen[name] = true
		n.members = append(n.members, member{name: name, value: value})
	}
	_, err := p.json.Token()
	return n, err
}

// isControl finds characters that no text field needs and that databases and terminals stumble over.
func isControl(r rune) bool {
	return r < ' ' && r != '\t' && r != '\n' && r != '\r' || r == 0x7f
}
