// Command report cuts the pipe of gardens of every kind and compares what is bought with its bound.
//
//	go run ./testdata/fieldwork/report -seeds 20 -pieces 10,20,40
//	go run ./testdata/fieldwork/report -seeds 10 -pieces 41,80,200,400,800
//	go run ./testdata/fieldwork/report -seeds 10 -pieces 8 -cbc cbc
//
// The last compares with an integer programme that the solver CBC solves (the package coinor-cbc of Debian).
package main

import (
	"flag"
	"fmt"
	"os"
	"strconv"
	"strings"
	"syscall"

	"rillturn.example/rillturn/engine/fieldwork"
	"rillturn.example/rillturn/engine/fieldwork/fieldworktest"
)

func main() {
	seeds := flag.Int("seeds", 20, "requests of each kind and size")
	first := flag.Int("first", 0, "the first seed")
	pieces := flag.String("pieces", "10,20,30,40", "sizes of the requests")
	cbc := flag.String("cbc", "", "compare with this solver of integer programmes")
	flag.Parse()
	if err := report(*first, *seeds, *pieces, *cbc); err != nil {
		fmt.Fprintln(os.Stderr, "report:", err)
		os.Exit(1)
	}
}

func report(first, seeds int, pieces, cbc string) error {
	if cbc == "" {
		fmt.Println("kind                   pieces  lists  proven  within 1  most over the bound [sticks]  mean s  most s  slowest and unproven seeds")
	}
	for _, size := range strings.Split(pieces, ",") {
		n, err := strconv.Atoi(size)
		if err != nil {
			return fmt.Errorf("size %q: %w", size, err)
		}
		if cbc != "" {
			if err := compare(cbc, first, seeds, n); err != nil {
				return err
			}
			continue
		}
		for _, kind := range fieldworktest.Kinds {
			if err := row(kind, n, first, seeds); err != nil {
				return err
			}
		}
	}
	return nil
}

func row(kind fieldworktest.Kind, n, first, seeds int) error {
	var proven, within int
	var over, total, most float64
	var notes []string
	slowest := 0
	for seed := first; seed < first+seeds; seed++ {
		spec := fieldworktest.Spec{Kind: kind, Pieces: n, Seed: uint64(seed)}
		c := fieldworktest.Cutting(spec)
		begin := cpu()
		list, err := fieldwork.Cut(c)
		if err != nil {
			return fmt.Errorf("%s: %w", spec.Name(), err)
		}
		took := cpu() - begin
		total += took
		if took > most {
			most, slowest = took, seed
		}
		gap := list.Over(c)
		over = max(over, gap)
		if list.Proven() {
			proven++
		} else {
			notes = append(notes, fmt.Sprintf("%d (%.2f)", seed, gap))
		}
		if gap <= 1+1e-9 {
			within++
		}
	}
	fmt.Printf("%-22s %6d %6d  %6d  %8d  %28.3f  %6.2f  %6.2f  %d; %s\n", kind, n, seeds, proven, within, over, total/float64(seeds), most, slowest,
		strings.Join(notes, ", "))
	return nil
}

// cpu is the processor time used so far [s]: on a machine that is shared it says more than the clock.
func cpu() float64 {
	var used syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &used); err != nil {
		return 0
	}
	return float64(used.Utime.Sec) + float64(used.Utime.Usec)/1e6
}
