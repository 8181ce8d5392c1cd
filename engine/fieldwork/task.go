package fieldwork

import (
	"math"

	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/unit"
)

// TaskCode names one thing to do.
type TaskCode string

// What is done with a layout through the year, each list in its order. Count is what the comment says.
const (
	TaskLevel       TaskCode = "set_level"      // lay the manifold level
	TaskBackflow    TaskCode = "fit_backflow"   // at the hose connection, as local code asks
	TaskLay         TaskCode = "lay_laterals"   // Count: laterals
	TaskPress       TaskCode = "press_joints"   // Count: joints pushed together
	TaskCement      TaskCode = "cement_joints"  // Count: joints
	TaskCloseOutlet TaskCode = "close_outlets"  // Count: stubs with plugs
	TaskFlush       TaskCode = "flush"          // Count: caps that are opened
	TaskBucket      TaskCode = "bucket_test"    // at the source, before the layout is joined
	TaskLeaks       TaskCode = "leak_check"     // Count: joints
	TaskReadings    TaskCode = "compare"        // compare flow and pressure with what is expected
	TaskCatch       TaskCode = "catch_test"     // cups under first and last holes
	TaskClear       TaskCode = "clear_holes"    // punch clogged holes open with their bit; Count: holes
	TaskPlant       TaskCode = "plant_at_marks" // Count: plants
	TaskShut        TaskCode = "shut_source"
	TaskDrain       TaskCode = "drain"         // Count: caps that are opened
	TaskPart        TaskCode = "part_union"    // open the seasonal joint
	TaskPull        TaskCode = "pull_laterals" // Count: pipes
	TaskWrite       TaskCode = "write_on_pipes"
	TaskBundle      TaskCode = "bundle" // Count: bundles
	TaskFilterIn    TaskCode = "store_filter"
	TaskCapRiser    TaskCode = "cap_riser" // close, cover and stake it against tilling
	TaskNote        TaskCode = "note_condition"
)

// Task is one thing to do.
type Task struct {
	Code  TaskCode
	Count int
}

// Bundle is the pipes of one lateral, tied together for storage.
type Bundle struct {
	Outlet int
	Pipes  []int    // of the assembly, from the tee
	Crops  []string // plantings along it, written on the bundle
}

// Tasks are the lists of a layout through the year. They are common practice, no source.
type Tasks struct {
	SetUp, Spring, TakeDown []Task
	Storage                 []Bundle
}

func tasksOf(a *Assembly, plantings []PlantingMarks) Tasks {
	var laterals, pressed, cemented, caps, stubs, pipes, plants, drilled int
	for i := range a.Pipes {
		switch p := &a.Pipes[i]; {
		case p.Use == UseLateral:
			pipes++
			drilled += drilledOn(p)
			if p.Order == 1 {
				laterals++
			}
		case p.Use == UseStub:
			stubs++
		}
	}
	for _, j := range a.Joints {
		if j.Cemented {
			cemented++
		} else {
			pressed++
		}
	}
	filter := 0
	for _, f := range a.Fittings {
		switch f.Kind {
		case FittingFlushCap:
			caps++
		case FittingFilter:
			filter = 1
		case FittingTee, FittingCross, FittingElbow, FittingCoupling, FittingPlug, FittingHoseConnection, FittingValve, FittingUnion:
		}
	}
	for i := range plantings {
		plants += plantings[i].Count
	}
	bundles := bundlesOf(a, plantings)
	return Tasks{
		SetUp: needed([]Task{
			{TaskLevel, 1},
			{TaskCement, cemented},
			{TaskBackflow, 1},
			{TaskBucket, 1},
			{TaskLay, laterals},
			{TaskPress, pressed},
			{TaskCloseOutlet, stubs},
			{TaskFlush, caps},
			{TaskLeaks, len(a.Joints)},
			{TaskReadings, 1},
			{TaskPlant, plants},
		}),
		Spring: needed([]Task{
			{TaskBackflow, 1}, {TaskBucket, 1}, {TaskFlush, caps}, {TaskLeaks, len(a.Joints)}, {TaskReadings, 1}, {TaskCatch, 1}, {TaskClear, drilled},
		}),
		TakeDown: needed([]Task{
			{TaskShut, 1},
			{TaskDrain, caps},
			{TaskPart, 1},
			{TaskPull, pipes},
			{TaskWrite, pipes},
			{TaskBundle, len(bundles)},
			{TaskFilterIn, filter},
			{TaskCapRiser, 1},
			{TaskNote, 1},
		}),
		Storage: bundles,
	}
}

// drilledOn counts the holes of a pipe that a bit clears; bought outlets are none.
func drilledOn(p *BuiltPipe) int {
	if len(p.Holes) == 0 || p.Holes[0].Pattern.Rated != nil {
		return 0
	}
	return holesOn(p)
}

// needed leaves out tasks with nothing to do.
func needed(tasks []Task) []Task {
	var out []Task
	for _, t := range tasks {
		if t.Count > 0 {
			out = append(out, t)
		}
	}
	return out
}

func bundlesOf(a *Assembly, plantings []PlantingMarks) []Bundle {
	var out []Bundle
	for i := range a.Pipes {
		p := &a.Pipes[i]
		if p.Use != UseLateral {
			continue
		}
		if p.Order == 1 {
			out = append(out, Bundle{Outlet: p.Outlet, Crops: cropsAlong(plantings, p.Outlet)})
		}
		last := &out[len(out)-1]
		last.Pipes = append(last.Pipes, i)
	}
	return out
}

func cropsAlong(plantings []PlantingMarks, outlet int) []string {
	var crops []string
	for i := range plantings {
		for _, r := range plantings[i].Rows {
			if r.Outlet == outlet && r.Side == 1 {
				crops = append(crops, plantings[i].Planting.Name)
			}
		}
	}
	return crops
}

// Expected is what a layout that runs alone should show when it is tested.
type Expected struct {
	StaticHead   unit.Head // at the source with everything closed
	OpenFlow     unit.Flow // of the source with nothing on it; 0 where nothing bounds it
	Flow         unit.Flow
	SourceHead   unit.Head // in front of the feed
	ManifoldHead unit.Head
	Evenness     float64 // DU
	Laterals     []ExpectedLateral
}

// ExpectedLateral is what cups under one lateral should show.
type ExpectedLateral struct {
	Outlet      int
	Head        unit.Head // at its inlet
	First, Last unit.Flow // of one hole, nearest to the tee and farthest from it
}

// catchMinutes is how long cups stand under holes in a catch test; common practice, no source.
const catchMinutes = 1

// CatchMinutes is how long cups stand under holes in a catch test.
const CatchMinutes unit.Minutes = catchMinutes

// Expect reads off a supply and a hydraulic result what tests should show.
func Expect(supply hydraulics.Supply, r *hydraulics.Result, sourceHead unit.Head) Expected {
	e := Expected{StaticHead: unit.Head(supply.HeadAt(0)), Flow: r.Flow, SourceHead: sourceHead, ManifoldHead: r.ManifoldHead, Evenness: r.Uniformity.Distribution}
	if open := supply.FlowAt(0); !math.IsInf(open, 1) {
		e.OpenFlow = unit.Flow(open)
	}
	for i := range r.Laterals {
		l := &r.Laterals[i]
		first, ok := l.First()
		last, _ := l.Last()
		if !ok {
			continue
		}
		e.Laterals = append(e.Laterals, ExpectedLateral{
			Outlet: l.Outlet, Head: l.InletHead, First: first.Flow / unit.Flow(first.Open), Last: last.Flow / unit.Flow(last.Open),
		})
	}
	return e
}
