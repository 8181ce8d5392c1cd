// Command report plans the gardens of every kind and compares shares with their bounds, and the minutes of partitions
// with what the solver CBC finds for the same integer programme. Times are those of the processor, user and system, of this
// program and of the solver alike: what else the machine does is in neither.
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
	return float64(used.Utime.Sec+used.Stime.Sec) + float64(used.Utime.Usec+used.Stime.Usec)/1e6
}

func partitions(cbc string, seconds, seeds int) error {
	fmt.Println("garden                             ours min   cpu s     CBC min    CBC bound  cpu s   config bound  ours/CBC  ours/bound  over l  CBC time/ours")
	var all []compared
	for _, n := range []int{10, 20, 30, 45, 60} {
		for seed := range seeds {
			c, err := onePartition(problemtest.Spec{Kind: problemtest.Easy, Layouts: n, Seed: uint64(seed) + 1}, cbc, seconds)
			if err != nil {
				return err
			}
			all = append(all, c)
		}
	}
	summary(all)
	return nil
}

// compared is a partition beside the solver's.
type compared struct {
	ours, solver, bound float64 // minutes; bound is the higher of the two bounds from below
	took, solverTook    float64 // processor time [s]
}

// slowForCBC is how long the solver takes on the gardens whose times are compared [s].
const slowForCBC = 2

func summary(all []compared) {
	worst, gap, slow, least := 0.0, 0.0, 0, math.Inf(1)
	for _, c := range all {
		worst, gap = math.Max(worst, c.ours/c.solver-1), math.Max(gap, c.ours/c.bound-1)
		if c.solverTook > slowForCBC {
			slow++
			least = math.Min(least, c.solverTook/c.took)
		}
	}
	fmt.Printf("%d gardens: minutes at most %.2f %% above CBC's best and %.2f %% above the higher bound", len(all), 100*worst, 100*gap)
	if slow > 0 {
		fmt.Printf("; where CBC takes over %d s (%d gardens) it takes at least %.0f times as long", slowForCBC, slow, least)
	}
	fmt.Println(".")
}

// budget is what a plan of full effort spends on a partition. The time is that of the linear programme, from which the search starts
// and which gives the bound, and of the search.
const budget = 40000

// level is the share that partitions are compared at.
const level = 1

func onePartition(spec problemtest.Spec, cbc string, seconds int) (compared, error) {
	m, err := problem.NewModel(problemtest.Garden(spec))
	if err != nil {
		return compared{}, err
	}
	columns := zoning.NewConfiguration(m, 0, m.Members[0], true)
	least := columns.Time(level, math.Inf(1)) / problem.Minute
	var zones [][]int
	begin := cpu()
	for range timedRuns {
		programme := zoning.NewConfiguration(m, 0, m.Members[0], true)
		programme.Time(level, math.Inf(1))
		zones = zoning.Partition(zoning.Request{
			Model: m, Layouts: m.Members[0], By: problem.ByNeed, Level: level, Goal: zoning.LeastTime, Budget: budget, Columns: programme,
		})
	}
	took := (cpu() - begin) / timedRuns
	ours, over := 0.0, 0.0
	for _, members := range zones {
		z := problem.NewBatch(m, 0, members, problem.ByNeed)
		ours += z.SpendAt(m, level, true).Time / problem.Minute
		over += overwatering(m, &z)
	}
	value, bound, solverTook, err := solved(cbc, programme(m), seconds)
	if err != nil {
		return compared{}, err
	}
	fmt.Printf("%-34s %8.1f  %8.4f  %8.1f   %8.1f   %6.2f  %8.1f      %.4f    %.4f      %6.1f  %.0f\n", spec.Name(), ours, took, value, bound,
		solverTook, least, ours/value, ours/least, over, solverTook/took)
	return compared{ours, value, math.Max(bound, least), took, solverTook}, nil
}

// timedRuns is how often a partition is made: one takes milliseconds.
const timedRuns = 5

// solved gives a programme to the solver: its best value, its bound, and the processor time that it took [s].
func solved(cbc, programme string, seconds int) (value, bound, took float64, err error) {
	folder, err := os.MkdirTemp("", "rotation-report")
	if err != nil {
		return 0, 0, 0, err
	}
	defer os.RemoveAll(folder) //nolint:errcheck // a folder of the system's temporary space
	model, answer := filepath.Join(folder, "partition.lp"), filepath.Join(folder, "partition.sol")
	if err := os.WriteFile(model, []byte(programme), 0o600); err != nil {
		return 0, 0, 0, err
	}
	solver := exec.CommandContext(context.Background(), cbc, model, "seconds", strconv.Itoa(seconds), "solve", "solution", answer) //nolint:gosec // the command the caller names
	out, err := solver.CombinedOutput()
	if err != nil {
		return 0, 0, 0, fmt.Errorf("%s: %w: %s", cbc, err, out)
	}
	if value = after(string(out), "Objective value:"); value == 0 {
		return 0, 0, 0, fmt.Errorf("%s found nothing: %s", cbc, out)
	}
	if bound = after(string(out), "Lower bound:"); bound == 0 {
		bound = value
	}
	used := solver.ProcessState
	return value, bound, (used.UserTime() + used.SystemTime()).Seconds(), nil
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
