package api

import (
	"fmt"
	"time"

	"github.com/google/uuid"
	openapi_types "github.com/oapi-codegen/runtime/types"
)

// The helpers of the *_wire.go files, which map wire types to records and back.

func date(t time.Time) openapi_types.Date { return openapi_types.Date{Time: t} }

func datePointer(t *time.Time) *openapi_types.Date {
	if t == nil {
		return nil
	}
	return &openapi_types.Date{Time: *t}
}

func dayOf(d *openapi_types.Date) *time.Time {
	if d == nil {
		return nil
	}
	return &d.Time
}

// text is a word of the contract as the records keep it.
func text[W ~string](w *W) *string {
	if w == nil {
		return nil
	}
	s := string(*w)
	return &s
}

// word is a kept text as a word of the contract.
func word[W ~string](s *string) *W {
	if s == nil {
		return nil
	}
	w := W(*s)
	return &w
}

func texts[W ~string](words []W) []string {
	out := make([]string, len(words))
	for i, w := range words {
		out[i] = string(w)
	}
	return out
}

func words[W ~string](texts []string) []W {
	out := make([]W, len(texts))
	for i, t := range texts {
		out[i] = W(t)
	}
	return out
}

func int16s(in []int32) []int16 {
	out := make([]int16, len(in))
	for i, v := range in {
		out[i] = int16(v)
	}
	return out
}

func int32s(in []int16) []int32 {
	out := make([]int32, len(in))
	for i, v := range in {
		out[i] = int32(v)
	}
	return out
}

// views maps the items of a page.
func views[R, W any](rows []R, view func(R) W) []W {
	out := make([]W, len(rows))
	for i, r := range rows {
		out[i] = view(r)
	}
	return out
}

// location is the path of a resource of a garden.
func location(garden uuid.UUID, path ...any) string {
	at := "/v1/gardens/" + garden.String()
	for _, p := range path {
		at += "/" + fmt.Sprint(p)
	}
	return at
}
