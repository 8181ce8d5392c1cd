package file

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"reflect"
	"sort"
	"strconv"
	"strings"
)

// MaxBytes is the largest file that Decode reads.
const MaxBytes = 1 << 20

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
	target := reflect.ValueOf(v)
	if target.Kind() != reflect.Pointer || target.IsNil() {
		return errors.New("decode: the target must be a pointer")
	}
	root, whole, faults := parse(body)
	d := decoder{faults: faults}
	if whole {
		d.fill("", root, target.Elem())
	}
	return d.faults.Err()
}

// decoder fills a struct from a parsed document.
type decoder struct{ faults Faults }

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
	case reflect.Float64:
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
	f, err := number.Float64()
	if err != nil { // parse has said so
		return
	}
	v.SetFloat(f)
}
