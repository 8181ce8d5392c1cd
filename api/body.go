package api

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"rillturn.example/rillturn/api/gen"
)

const (
	maxBody  = 1 << 20 // bytes of a request body
	maxDepth = 64      // nesting of arrays and objects
)

// scanJSON reads one JSON text as the validator and the generated code want it: objects as map[string]any, numbers as
// json.Number. It reports what a plain decoder would let pass: text that is not UTF-8, a field given twice, a number
// that no double holds, nesting beyond maxDepth, control characters inside strings, and text after the end.
func scanJSON(body []byte) (any, []gen.ProblemError) {
	if !utf8.Valid(body) {
		return nil, []gen.ProblemError{{Reason: "is not UTF-8 text"}}
	}
	s := scanner{dec: json.NewDecoder(bytes.NewReader(body)), body: body}
	s.dec.UseNumber()
	value, err := s.value("", 0)
	if err == nil {
		if _, end := s.dec.Token(); !errors.Is(end, io.EOF) {
			s.fault("", "text follows the document")
		}
	} else if !errors.Is(err, errTooDeep) {
		s.fault("", s.syntax(err))
	}
	return value, s.faults
}

var errTooDeep = errors.New("nested too deep")

type scanner struct {
	dec    *json.Decoder
	body   []byte
	faults []gen.ProblemError
}

func (s *scanner) fault(pointer, reason string) {
	s.faults = append(s.faults, gen.ProblemError{Pointer: pointer, Reason: reason})
}

func (s *scanner) syntax(err error) string {
	line := 1 + bytes.Count(s.body[:min(int(s.dec.InputOffset()), len(s.body))], []byte("\n"))
	reason := err.Error()
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		reason = "the text ends too early"
	}
	return "is not JSON near line " + strconv.Itoa(line) + ": " + reason
}

func (s *scanner) value(pointer string, depth int) (any, error) {
	if depth > maxDepth {
		s.fault("", "is nested deeper than "+strconv.Itoa(maxDepth))
		return nil, errTooDeep
	}
	tok, err := s.dec.Token()
	if err != nil {
		return nil, err
	}
	switch t := tok.(type) {
	case json.Delim:
		if t == '[' {
			return s.array(pointer, depth)
		}
		return s.object(pointer, depth)
	case json.Number:
		if f, err := t.Float64(); err != nil || math.IsInf(f, 0) {
			s.fault(pointer, "is a number that no double holds")
		}
	case string:
		if strings.ContainsFunc(t, isControl) {
			s.fault(pointer, "holds a control character")
		}
	}
	return tok, nil
}

func (s *scanner) array(pointer string, depth int) (any, error) {
	items := []any{}
	for s.dec.More() {
		item, err := s.value(pointer+"/"+strconv.Itoa(len(items)), depth+1)
		if err != nil {
			return nil, err
		}
		items = append(items, item)
	}
	_, err := s.dec.Token()
	return items, err
}

func (s *scanner) object(pointer string, depth int) (any, error) {
	members := map[string]any{}
	for s.dec.More() {
		tok, err := s.dec.Token()
		if err != nil {
			return nil, err
		}
		name, ok := tok.(string)
		if !ok { // the decoder itself refuses other names
			return nil, errors.New("a field name is missing")
		}
		at := pointer + "/" + escapeToken(name)
		value, err := s.value(at, depth+1)
		if err != nil {
			return nil, err
		}
		if _, twice := members[name]; twice {
			s.fault(at, "is given twice")
		}
		members[name] = value
	}
	_, err := s.dec.Token()
	return members, err
}

// isControl finds characters that no text field needs and that databases and terminals stumble over.
func isControl(r rune) bool {
	return r < ' ' && r != '\t' && r != '\n' && r != '\r' || r == 0x7f
}

// escapeToken writes a name as a reference token of a JSON pointer (RFC 6901).
func escapeToken(name string) string {
	return strings.ReplaceAll(strings.ReplaceAll(name, "~", "~0"), "/", "~1")
}
