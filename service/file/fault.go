package file

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"reflect"
	"sort"
	"strconv"
	"strings"
	"unicode/utf8"
)

// MaxBytes is the largest file that Decode reads.
const MaxBytes = 1 << 20

// maxDepth is the deepest nesting of arrays and objects that Decode follows.
const maxDepth = 64

// Fault is one reason why a file is refused.
type Fault struct {
	// Pointer is the JSON pointer of the value at fault; empty for the whole document.
	Pointer string
	// Reason says what is wrong, without the pointer.
	Reason string
}

// Faults are all the reasons why a file is refused, in the order of the document.
type Faults []Fault

// Error lists the faults, one a line.
func (f Faults) Error() string {
	lines := make([]string, len(f))
	for i, fault := range f {
		lines[i] = fault.Reason
		if fault.Pointer != "" {
			lines[i] = fault.Pointer + ": " + fault.Reason
		}
	}
	return strings.Join(lines, "\n")
}

// Err returns the faults as an error, or nil when there are none.
func (f Faults) Err() error {
	if len(f) == 0 {
		return nil
	}
	return f
}

// Add appends a fault at a pointer.
func (f *Faults) Add(pointer, format string, args ...any) {
	*f = append(*f, Fault{Pointer: pointer, Reason: fmt.Sprintf(format, args...)})
}

// Point joins reference tokens (strings or ints) into a JSON pointer, escaped as RFC 6901 asks.
func Point(tokens ...any) string {
	var b strings.Builder
	for _, t := range tokens {
		b.WriteByte('/')
		b.WriteString(escapeToken(fmt.Sprint(t)))
	}
	return b.String()
}

func escapeToken(s string) string {
	return strings.ReplaceAll(strings.ReplaceAll(s, "~", "~0"), "/", "~1")
}

// Decode reads one JSON document into the struct that v points to. It reports as Faults, all at once where it can: a
// body over MaxBytes, text that is not JSON or not UTF-8, text after the document, an unknown or repeated field, a
// wrong type, a number that overflows its field, null where the field is not a pointer, and a field of a struct tagged
// `file:"required"` that is missing. Other errors come from the reader.
//
// v may hold structs, pointers, slices, arrays, maps with string keys, strings, booleans, integers and floats; field
// names come from the json tag and must match to the letter. Types that decode their own text (encoding/json's
// Unmarshaler) are handed their part of the document.
func Decode(r io.Reader, v any) error {
	body, err := io.ReadAll(io.LimitReader(r, MaxBytes+1))
	if err != nil {
		return fmt.Errorf("read file: %w", err)
	}
	if len(body) > MaxBytes {
		return Faults{{Reason: fmt.Sprintf("the file is larger than %d bytes", MaxBytes)}}
	}
	if !utf8.Valid(body) {
		return Faults{{Reason: "the file is not UTF-8 text"}}
	}
	target := reflect.ValueOf(v)
	if target.Kind() != reflect.Pointer || target.IsNil() {
		return errors.New("decode: the target must be a pointer")
	}
	d := decoder{json: json.NewDecoder(bytes.NewReader(body)), body: body}
	d.json.UseNumber()
	root, err := d.value("", 0)
	if err != nil {
		return d.syntax(err)
	}
	if _, err := d.json.Token(); !errors.Is(err, io.EOF) {
		d.faults.Add("", "text follows the document")
	}
	d.fill("", root, target.Elem())
	return d.faults.Err()
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

type decoder struct {
	json   *json.Decoder
	body   []byte
	faults Faults
}

// syntax turns a parser's error into a fault with the line where the text breaks.
func (d *decoder) syntax(err error) error {
	var faults Faults
	if errors.As(err, &faults) {
		return append(d.faults, faults...)
	}
	line := 1 + bytes.Count(d.body[:min(int(d.json.InputOffset()), len(d.body))], []byte("\n"))
	reason := err.Error()
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		reason = "the text ends too early"
	}
	return append(d.faults, Fault{Reason: fmt.Sprintf("not JSON near line %d: %s", line, reason)})
}

func (d *decoder) value(pointer string, depth int) (node, error) {
	if depth > maxDepth {
		return node{}, Faults{{Pointer: pointer, Reason: fmt.Sprintf("nested deeper than %d", maxDepth)}}
	}
	tok, err := d.json.Token()
	if err != nil {
		return node{}, err
	}
	start := d.json.InputOffset()
	switch t := tok.(type) {
	case json.Delim:
		n, err := d.composite(t, pointer, depth)
		if err != nil {
			return node{}, err
		}
		n.text = d.body[start-1 : d.json.InputOffset()]
		return n, nil
	case string:
		return node{kind: 's', scalar: t}, nil
	case json.Number:
		return node{kind: 'n', scalar: t}, nil
	case bool:
		return node{kind: 'b', scalar: t}, nil
	default:
		return node{kind: '0'}, nil
	}
}

func (d *decoder) composite(open json.Delim, pointer string, depth int) (node, error) {
	n := node{kind: byte(open)}
	seen := map[string]bool{}
	for d.json.More() {
		if open == '[' {
			item, err := d.value(pointer+"/"+strconv.Itoa(len(n.items)), depth+1)
			if err != nil {
				return node{}, err
			}
			n.items = append(n.items, item)
			continue
		}
		tok, err := d.json.Token()
		if err != nil {
			return node{}, err
		}
		name, ok := tok.(string)
		if !ok {
			return node{}, fmt.Errorf("a field name is missing")
		}
		at := pointer + "/" + escapeToken(name)
		value, err := d.value(at, depth+1)
		if err != nil {
			return node{}, err
		}
		if seen[name] {
			d.faults.Add(at, "the field appears twice")
			continue
		}
		seen[name] = true
		n.members = append(n.members, member{name: name, value: value})
	}
	_, err := d.json.Token()
	return n, err
}

var unmarshalerType = reflect.TypeFor[json.Unmarshaler]()

// fill copies a parsed value into v and notes what does not fit.
func (d *decoder) fill(pointer string, n node, v reflect.Value) {
	if v.Kind() == reflect.Pointer {
		if n.kind == '0' {
			v.SetZero()
			return
		}
		v.Set(reflect.New(v.Type().Elem()))
		d.fill(pointer, n, v.Elem())
		return
	}
	if v.CanAddr() && v.Addr().Type().Implements(unmarshalerType) {
		if err := v.Addr().Interface().(json.Unmarshaler).UnmarshalJSON(n.bytes()); err != nil {
			d.faults.Add(pointer, "%s", err)
		}
		return
	}
	switch v.Kind() {
	case reflect.Struct:
		d.fillStruct(pointer, n, v)
	case reflect.Slice, reflect.Array:
		d.fillList(pointer, n, v)
	case reflect.Map:
		d.fillMap(pointer, n, v)
	default:
		d.fillScalar(pointer, n, v)
	}
}

func (n node) bytes() []byte {
	if n.text != nil {
		return n.text
	}
	text, err := json.Marshal(n.scalar)
	if err != nil { // a scalar that the parser produced always has a text
		panic(err)
	}
	return text
}

// wrongType notes that a value is not what the field holds.
func (d *decoder) wrongType(pointer string, n node, want string) {
	names := map[byte]string{'{': "an object", '[': "an array", 's': "a string", 'n': "a number", 'b': "true or false", '0': "null"}
	d.faults.Add(pointer, "is %s, must be %s", names[n.kind], want)
}

func (d *decoder) fillStruct(pointer string, n node, v reflect.Value) {
	if n.kind != '{' {
		d.wrongType(pointer, n, "an object")
		return
	}
	fields := map[string]reflect.Value{}
	required := map[string]bool{}
	collectFields(v, fields, required)
	for _, m := range n.members {
		at := pointer + "/" + escapeToken(m.name)
		field, ok := fields[m.name]
		if !ok {
			d.faults.Add(at, "is not a known field")
			continue
		}
		delete(required, m.name)
		d.fill(at, m.value, field)
	}
	missing := make([]string, 0, len(required))
	for name := range required {
		missing = append(missing, name)
	}
	sort.Strings(missing)
	for _, name := range missing {
		d.faults.Add(pointer+"/"+escapeToken(name), "is required")
	}
}

// collectFields maps JSON names to the fields of a struct; embedded structs without a name are flattened.
func collectFields(v reflect.Value, fields map[string]reflect.Value, required map[string]bool) {
	t := v.Type()
	for i := range t.NumField() {
		field := t.Field(i)
		name, _, _ := strings.Cut(field.Tag.Get("json"), ",")
		if field.Anonymous && name == "" && field.Type.Kind() == reflect.Struct {
			collectFields(v.Field(i), fields, required)
			continue
		}
		if !field.IsExported() || name == "-" {
			continue
		}
		if name == "" {
			name = field.Name
		}
		fields[name] = v.Field(i)
		if field.Tag.Get("file") == "required" {
			required[name] = true
		}
	}
}

func (d *decoder) fillList(pointer string, n node, v reflect.Value) {
	if n.kind != '[' {
		d.wrongType(pointer, n, "an array")
		return
	}
	if v.Kind() == reflect.Slice {
		v.Set(reflect.MakeSlice(v.Type(), len(n.items), len(n.items)))
	} else if v.Len() != len(n.items) {
		d.faults.Add(pointer, "has %d items, must have %d", len(n.items), v.Len())
		return
	}
	for i, item := range n.items {
		d.fill(pointer+"/"+strconv.Itoa(i), item, v.Index(i))
	}
}

func (d *decoder) fillMap(pointer string, n node, v reflect.Value) {
	if n.kind != '{' {
		d.wrongType(pointer, n, "an object")
		return
	}
	v.Set(reflect.MakeMapWithSize(v.Type(), len(n.members)))
	for _, m := range n.members {
		value := reflect.New(v.Type().Elem()).Elem()
		d.fill(pointer+"/"+escapeToken(m.name), m.value, value)
		v.SetMapIndex(reflect.ValueOf(m.name).Convert(v.Type().Key()), value)
	}
}

func (d *decoder) fillScalar(pointer string, n node, v reflect.Value) {
	switch v.Kind() {
	case reflect.String:
		s, ok := n.scalar.(string)
		if !ok {
			d.wrongType(pointer, n, "a string")
			return
		}
		v.SetString(s)
	case reflect.Bool:
		b, ok := n.scalar.(bool)
		if !ok {
			d.wrongType(pointer, n, "true or false")
			return
		}
		v.SetBool(b)
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		d.fillInt(pointer, n, v)
	case reflect.Float32, reflect.Float64:
		d.fillFloat(pointer, n, v)
	default:
		d.faults.Add(pointer, "cannot be read into %s", v.Type())
	}
}

func (d *decoder) fillInt(pointer string, n node, v reflect.Value) {
	number, ok := n.scalar.(json.Number)
	if !ok {
		d.wrongType(pointer, n, "a whole number")
		return
	}
	i, err := strconv.ParseInt(number.String(), 10, 64)
	if err != nil || v.OverflowInt(i) {
		d.faults.Add(pointer, "%s is not a whole number that fits", number)
		return
	}
	v.SetInt(i)
}

func (d *decoder) fillFloat(pointer string, n node, v reflect.Value) {
	number, ok := n.scalar.(json.Number)
	if !ok {
		d.wrongType(pointer, n, "a number")
		return
	}
	f, err := strconv.ParseFloat(number.String(), v.Type().Bits())
	if err != nil || math.IsInf(f, 0) || math.IsNaN(f) {
		d.faults.Add(pointer, "%s does not fit a number", number)
		return
	}
	v.SetFloat(f)
}
