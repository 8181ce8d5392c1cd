// Command report plans the gardens of every kind and compares shares with their bounds, and the minutes of partitions
// with what the solver CBC finds for the same integer programme.
//
//	go run ./testdata/rotation/report              shares, bounds and times
//	go run ./testdata/rotation/report -cbc cbc     partitions beside CBC, 60 s a garden
package main

import (
	"context"
	"flag"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"

	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/problem/problemtest"
	"rillturn.example/rillturn/engine/zoning"
)

func main() {
	cbc := flag.String("cbc", "", "the solver's command; compares partitions instead of plans")
	seconds := flag.Int("seconds", 60, "time for the solver on one garden")
	seeds := flag.Int("seeds", 2, "gardens of each kind and size")
	flag.Parse()
	var err error
	if *cbc == "" {
		err = plans(*seeds)
	} else {
		err = partitions(*cbc, *seconds, *seeds)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "report:", err)
		os.Exit(1)
	}
}

func plans(seeds int) error {
	fmt.Println("garden                             bound   by          share   of bound  zones turns  fast s  full s  full     of bound  over l   least l  late")
	for _, kind := range problemtest.Kinds {
		for _, n := range []int{8, 30, 60} {
			for _, drilled := range []bool{false, true} {
				for seed := range seeds {
					if err := onePlan(problemtest.Spec{Kind: kind, Layouts: n, Drilled: drilled, Seed: uint64(seed) + 1}); err != nil {
						return err
					}
				}
			}
		}
	}
	for _, n := range []int{200, 500} {
		for _, kind := range []problemtest.Kind{problemtest.Easy, problemtest.OverSubscribed} {
			if err := onePlan(problemtest.Spec{Kind: kind, Layouts: n, Seed: 1}); err != nil {
				return err
			}
		}
	}
	return nil
}

func onePlan(spec problemtest.Spec) error {
	p := problemtest.Garden(spec)
	begin := cpu()
	fast, err := plan.Propose(p, plan.Options{})
	if err != nil {
		return fmt.Errorf("%s: %w", spec.Name(), err)
	}
	middle := cpu()
	full, err := plan.Propose(p, plan.Options{Effort: plan.Full})
	if err != nil {
		return fmt.Errorf("%s: %w", spec.Name(), err)
	}
	end := cpu()
	over, err := plan.LeastOver(p, plan.Options{}, full)
	if err != nil {
		return fmt.Errorf("%s: %w", spec.Name(), err)
	}
	fmt.Printf("%-34s %.4f  %-10s  %.4f  %.4f    %4d  %4d  %6.2f  %6.2f  %.4f  %.4f  %7.1f  %7.1f  %4d\n", spec.Name(), fast.Bound.Share,
		fast.Bound.Reason, fast.Smallest, ofBound(&fast), len(fast.Schedule.Zones), len(fast.Schedule.Turns), middle-begin, end-middle,
		full.Smallest, ofBound(&full), full.Over.Liters(), over.Liters(), len(full.Late))
	return nil
}

// ofBound is the part of its bound that the smallest share reaches; 1 where the bound is that somebody gets nothing.
func ofBound(p *plan.Plan) float64 {
	if p.Bound.Share == 0 {
		return 1
	}
	return p.Smallest / p.Bound.Share
}

// cpu is the processor time used so far [s]: on a machine that is shared it says more than the clock.
func cpu() float64 {
	var used syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &used); err != nil {
		return 0
	}
	return float64(used.Utime.Sec) + float64(used.Utime.Usec)/1e6
}

func partitions(cbc string, seconds, seeds int) error {
	fmt.Println("garden                             ours min   s       CBC min    CBC bound  s       config bound  ours/CBC  ours/bound  over l  CBC time/ours")
	for _, n := range []int{10, 20, 30, 45, 60} {
		for seed := range seeds {
			spec := problemtest.Spec{Kind: problemtest.Easy, Layouts: n, Seed: uint64(seed) + 1}
			if err := onePartition(spec, cbc, seconds); err != nil {
				return err
			}
		}
	}
	return nil
}

// fastBudget is what a plan of fast effort spends on a partition.
const fastBudget = 8000

// level is the share that partitions are compared at.
const level = 1

func onePartition(spec problemtest.Spec, cbc string, seconds int) error {
	m, err := problem.NewModel(problemtest.Garden(spec))
	if err != nil {
		return err
	}
	columns := zoning.NewConfiguration(m, 0, m.Members[0], true)
	least := columns.Time(level, math.Inf(1)) / problem.Minute
	begin := cpu()
	zones := zoning.Partition(zoning.Request{
		Model: m, Layouts: m.Members[0], By: problem.ByNeed, Level: level, Goal: zoning.LeastTime, Budget: fastBudget,
	})
	took := cpu() - begin
	ours, over := 0.0, 0.0
	for _, members := range zones {
		z := problem.NewBatch(m, 0, members, problem.ByNeed)
		ours += z.SpendAt(m, level, true).Time / problem.Minute
		over += overwatering(m, &z)
	}
	folder, err := os.MkdirTemp("", "rotation-report")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder) //nolint:errcheck // a folder of the system's temporary space
	model, answer := filepath.Join(folder, "partition.lp"), filepath.Join(folder, "partition.sol")
	if err := os.WriteFile(model, []byte(programme(m)), 0o600); err != nil {
		return err
	}
	start := time.Now()
	out, err := exec.CommandContext(context.Background(), cbc, model, "seconds", strconv.Itoa(seconds), "solve", "solution", answer).CombinedOutput() //nolint:gosec // the command the caller names
	if err != nil {
		return fmt.Errorf("%s: %w: %s", cbc, err, out)
	}
	solverTook := time.Since(start)
	value := after(string(out), "Objective value:")
	bound := after(string(out), "Lower bound:")
	if bound == 0 {
		bound = value
	}
	fmt.Printf("%-34s %8.1f  %6.3f  %8.1f   %8.1f   %6.2f  %8.1f      %.4f    %.4f      %6.1f  %.0f\n", spec.Name(), ours, took, value, bound,
		solverTook.Seconds(), least, ours/value, ours/least, over, solverTook.Seconds()/took)
	return nil
}

// overwatering is what a zone gives its members beyond need and tolerance when the one that needs most minutes has all
// its need [L].
func overwatering(m *problem.Model, z *problem.Batch) float64 {
	sum := 0.0
	for at, i := range z.Members {
		given := float64(z.Op.Delivered[at].Volume(z.Time)) / 1e6
		sum += math.Max(0, given-m.Layouts[i].Need.Liters()*(1+float64(m.OverTolerance)/1000))
	}
	return sum
}

func after(text, label string) float64 {
	_, rest, found := strings.Cut(text, label)
	if !found {
		return 0
	}
	v, err := strconv.ParseFloat(strings.Fields(rest)[0], 64)
	if err != nil {
		return 0
	}
	return v
}

// programme writes the partition of the first source's regulated layouts as an integer programme with representatives:
// a_i_b is 1 when layout i is in the zone led by b, the member with most minutes.
func programme(m *problem.Model) string {
	type item struct {
		z    problem.Batch
		flow float64
		head float64
	}
	var items []item
	for _, i := range m.Members[0] {
		z := problem.NewBatch(m, 0, []int{i}, problem.ByNeed)
		items = append(items, item{z: z, flow: float64(z.Op.Total) / 1000, head: float64(m.Layouts[i].HeadMin)})
	}
	for a := range items {
		for b := a + 1; b < len(items); b++ {
			if items[b].z.Time > items[a].z.Time {
				items[a], items[b] = items[b], items[a]
			}
		}
	}
	source := &m.Sources[0]
	gives := func(head float64) float64 {
		return min(float64(source.FlowMax)/1000, source.Supply.FlowAt(head)*60000)
	}
	most := float64(source.FlowMax) / 1000
	flow := func(i int) float64 { return items[i].flow }
	var goal, rules, whole, kinds strings.Builder
	for b := range items {
		time := float64(items[b].z.Time) / problem.Minute * level
		fmt.Fprintf(&goal, " + %.6f a_%d_%d + %.6f n_%d\n", time, b, b, float64(source.Changeover)/problem.Minute, b)
		fmt.Fprintf(&whole, " n_%d\n", b)
		filled(&rules, b, len(items), flow, most, b, 0)
		for k := b; k < len(items); k++ {
			room := gives(items[k].head)
			if room >= most-1e-9 {
				continue
			}
			if k == b {
				filled(&rules, b, len(items), flow, room, b, 0)
			} else {
				filled(&rules, b, len(items), flow, most, k, most-room)
			}
		}
		for i := b; i < len(items); i++ {
			fmt.Fprintf(&kinds, " a_%d_%d\n", i, b)
			joint := items[i].z
			joint.Time, joint.Weight = items[b].z.Time, items[b].z.Weight
			spend := joint.SpendAt(m, level, true)
			if i != b && spend.Short > 0 {
				fmt.Fprintf(&rules, " a_%d_%d <= 0\n", i, b)
			}
			turns := (spend.Time - float64(joint.Time)*level) / float64(source.Changeover)
			fmt.Fprintf(&rules, " n_%d - %.0f a_%d_%d >= 0\n", b, turns, i, b)
			if i != b {
				fmt.Fprintf(&rules, " a_%d_%d - a_%d_%d <= 0\n", i, b, b, b)
			}
		}
	}
	for i := range items {
		for b := 0; b <= i; b++ {
			fmt.Fprintf(&rules, " + a_%d_%d", i, b)
		}
		rules.WriteString(" = 1\n")
	}
	return "Minimize\n obj:" + goal.String() + "Subject To\n" + rules.String() + "Generals\n" + whole.String() + "Binaries\n" + kinds.String() + "End\n"
}

// filled writes that the members of the zone led by b draw no more than room, and less by so much when layout k, which
// asks for more head, is among them.
func filled(rules *strings.Builder, b, n int, flow func(int) float64, room float64, k int, less float64) {
	for i := b; i < n; i++ {
		weight := flow(i)
		if i == b {
			weight -= room
		}
		if i == k {
			weight += less
		}
		fmt.Fprintf(rules, " %+.6f a_%d_%d", weight, i, b)
	}
	rules.WriteString(" <= 0\n")
}
