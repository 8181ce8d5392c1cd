// Package words says what the engine found, to people: quantities in the garden's units, dates and times on its
// clock, one sentence for every code of the engine, the cautions that apply, and the text report.
//
// Every sentence stands in a table keyed by its code, one table per language (english.go is the first). A sentence is
// a function of numbers, never a text with holes, so that a language may order, round and decline as it likes.
package words
