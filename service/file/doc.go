// Package file reads and writes the documents that people keep: layouts, flow files, need files, garden files, rotation
// problems and schedules. Decoding is strict: an unknown field, a wrong type or a value out of range is refused, and all
// faults of a document are reported at once, each with its JSON pointer. Names end in their unit.
package file
