// Package filetest spoils documents, for tests of those who read them.
package filetest

import (
	"maps"
	"slices"

	"pgregory.net/rapid"
)

// oddities are values that somebody might write where others belong, made anew for each document: one that is spoilt twice must
// not hold itself.
func oddities() []any {
	return []any{
		nil, true, "", "x", 0.0, -1.0, 1.0, 2.0, 7.0, 28.0, 1e-9, 0.001, 1439.999, 1440.0, 1e6, 1e300, []any{}, map[string]any{}, []any{"x"}, []any{-1.0},
	}
}

// Spoil replaces one value of a document, or takes a member or an item out.
func Spoil(t *rapid.T, v any) any {
	switch v := v.(type) {
	case map[string]any:
		if len(v) == 0 {
			break
		}
		name := rapid.SampledFrom(slices.Sorted(maps.Keys(v))).Draw(t, "member")
		if rapid.IntRange(0, 19).Draw(t, "take out") == 0 {
			delete(v, name)
			return v
		}
		v[name] = Spoil(t, v[name])
		return v
	case []any:
		if len(v) == 0 {
			break
		}
		at := rapid.IntRange(0, len(v)-1).Draw(t, "item")
		if rapid.IntRange(0, 19).Draw(t, "take out") == 0 {
			return slices.Delete(v, at, at+1)
		}
		v[at] = Spoil(t, v[at])
		return v
	}
	return rapid.SampledFrom(oddities()).Draw(t, "oddity")
}
