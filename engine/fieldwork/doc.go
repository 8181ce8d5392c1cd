// Package fieldwork turns an accepted layout into what hands do: the parts to buy, the cuts, the holes to drill, the
// places to plant, and the lists for setting up, checking, taking down and storing. Pipes that are stored already are
// matched first.
//
// It reports codes with numbers; sentences are made elsewhere. Same input, same output.
package fieldwork
