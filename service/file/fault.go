package file

import (
	"fmt"
	"strings"
)

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
