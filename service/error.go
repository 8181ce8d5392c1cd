package service

import (
	"fmt"
)

// Kind says what a caller can do about a refusal.
type Kind int

// The kinds of refusal. api/problem.go alone knows their status codes.
const (
	Invalid         Kind = iota + 1 // the request can't be true: change the named fields
	Unauthenticated                 // no valid token
	Forbidden                       // the token's role may not do this
	NotFound                        // no such thing in this garden
	Conflict                        // it contradicts what is stored: read again, then decide
	Stale                           // the revision given is not the current one
	Reused                          // the idempotency key was used for another request
)

// Error is a refusal the caller can act on. Any other error is a fault of ours.
type Error struct {
	Kind   Kind
	Detail string  // one sentence for the person at the screen, with numbers and units
	Fields []Field // what is wrong where
	cause  error   // for the log
}

// Field names one fault of a body: a JSON pointer into it, and what would be right.
type Field struct {
	Pointer string
	Reason  string
}

func (e *Error) Error() string {
	s := e.Detail
	for _, f := range e.Fields {
		s += fmt.Sprintf("; %s: %s", f.Pointer, f.Reason)
	}
	return s
}

func (e *Error) Unwrap() error { return e.cause }

func refuse(kind Kind, format string, args ...any) *Error {
	return &Error{Kind: kind, Detail: fmt.Sprintf(format, args...)}
}

// invalid is a refusal of single fields.
func invalid(fields ...Field) *Error {
	return &Error{Kind: Invalid, Detail: "The request has fields that cannot be accepted.", Fields: fields}
}
