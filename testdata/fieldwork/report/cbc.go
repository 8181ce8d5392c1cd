package main

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"

	"rillturn.example/rillturn/engine/fieldwork"
	"rillturn.example/rillturn/engine/fieldwork/fieldworktest"
)

// compare cuts requests here and by the integer programme of L. V. Kantorovich (Manage. Sci. 6 (1960) 366–422; from memory), solved
// by CBC: each stick that could be bought is bought or not, and each piece lies on one of them. It is independent of fillings and
// of this solver's bounds. A list that buys more than CBC's, or a bound above it, is a fault.
func compare(program string, first, seeds, pieces int) error {
	fmt.Println("kind                   pieces  lists  alike  undecided by CBC  worse  bound too high")
	for _, kind := range fieldworktest.Kinds {
		var alike, open, worse, high int
		for seed := first; seed < first+seeds; seed++ {
			spec := fieldworktest.Spec{Kind: kind, Pieces: pieces, Seed: uint64(seed)}
			c := fieldworktest.Cutting(spec)
			list, err := fieldwork.Cut(c)
			if err != nil {
				return fmt.Errorf("%s: %w", spec.Name(), err)
			}
			least, proven, err := byCBC(program, c)
			if err != nil {
				return fmt.Errorf("%s: %w", spec.Name(), err)
			}
			cost, bound := figures(&list)
			const hair = 1e-6
			switch {
			case cost > least+hair:
				worse++
			case bound > least+hair:
				high++
			case !proven:
				open++
			default:
				alike++
			}
		}
		fmt.Printf("%-22s %6d %6d %6d %17d %6d %15d\n", kind, pieces, seeds, alike, open, worse, high)
	}
	return nil
}

// figures are what a list costs and its bound, in cents or metres.
func figures(l *fieldwork.CutList) (cost, bound float64) {
	if l.Priced {
		return float64(l.Cents), float64(l.CentsBound)
	}
	return float64(l.Bought), float64(l.Bound)
}

// byCBC returns the least that the pieces cost. Of each length so many sticks are offered as there are pieces, which every list does
// with.
func byCBC(program string, c fieldwork.Cutting) (least float64, proven bool, err error) {
	dir, err := os.MkdirTemp("", "cut")
	if err != nil {
		return 0, false, err
	}
	defer func() { _ = os.RemoveAll(dir) }()
	in, out := filepath.Join(dir, "cut.lp"), filepath.Join(dir, "cut.txt")
	if err := os.WriteFile(in, programme(c, len(c.Pieces)), 0o600); err != nil {
		return 0, false, err
	}
	text, err := exec.Command(program, in, "sec", "60", "ratio", "0", "solve", "solution", out).CombinedOutput() //nolint:gosec,noctx // the caller names the solver
	if err != nil {
		return 0, false, fmt.Errorf("%s: %w\n%s", program, err, text)
	}
	answer, err := os.ReadFile(out) //nolint:gosec // just written
	if err != nil {
		return 0, false, err
	}
	head, _, _ := strings.Cut(string(answer), "\n")
	_, value, found := strings.Cut(head, "objective value")
	if !found {
		return math.Inf(1), false, nil
	}
	least, err = strconv.ParseFloat(strings.TrimSpace(value), 64)
	return least, strings.HasPrefix(head, "Optimal"), err
}

// programme writes the integer programme in the LP format: y says that a stick is used, x that a piece lies on it.
func programme(c fieldwork.Cutting, most int) []byte {
	type stick struct{ length, cost float64 }
	var sticks []stick
	for _, o := range c.OffCuts {
		sticks = append(sticks, stick{float64(o.Length), 0})
	}
	for i, l := range c.Stock {
		cost := float64(l)
		if len(c.Cents) > 0 {
			cost = float64(c.Cents[i])
		}
		for range most {
			sticks = append(sticks, stick{float64(l), cost})
		}
	}
	var b bytes.Buffer
	b.WriteString("Minimize\n obj:")
	for k, s := range sticks {
		fmt.Fprintf(&b, " + %.9f y%d\n", s.cost, k)
	}
	b.WriteString("Subject To\n")
	for i := range c.Pieces {
		for k := range sticks {
			fmt.Fprintf(&b, " + x%d_%d\n", i, k)
		}
		b.WriteString(" = 1\n")
	}
	for k, s := range sticks {
		for i, p := range c.Pieces {
			fmt.Fprintf(&b, " + %.9f x%d_%d\n", float64(p.Length+c.Kerf), i, k)
		}
		fmt.Fprintf(&b, " - %.9f y%d <= 0\n", s.length+float64(c.Kerf), k)
		if k > 0 && sticks[k-1] == s { // alike sticks are used in their order
			fmt.Fprintf(&b, " y%d - y%d >= 0\n", k-1, k)
		}
	}
	b.WriteString("Binary\n")
	for k := range sticks {
		fmt.Fprintf(&b, " y%d\n", k)
		for i := range c.Pieces {
			fmt.Fprintf(&b, " x%d_%d\n", i, k)
		}
	}
	b.WriteString("End\n")
	return b.Bytes()
}
