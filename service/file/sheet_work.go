package file

import (
	"errors"

	"rillturn.example/rillturn/engine/fieldwork"
	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/unit"
)

// SheetWork is a sheet worked out: what answers in JSON and documents are made from.
type SheetWork struct {
	Asked   Sheet
	Request fieldwork.Request
	Sheet   fieldwork.Sheet
	Tests   []SheetTest // one for each layout
}

// SheetTest is what a layout shows that runs alone. Both are nil without a source, and when regulated outlets ask for more
// than the source gives.
type SheetTest struct {
	Result   *hydraulics.Result
	Expected *fieldwork.Expected
}

// WorkSheet works a sheet file out. Its errors are Faults.
func WorkSheet(s Sheet) (SheetWork, error) {
	if err := s.Validate(); err != nil {
		return SheetWork{}, err
	}
	w := SheetWork{Asked: s, Request: s.Engine()}
	var err error
	w.Sheet, err = fieldwork.Plan(w.Request)
	var short fieldwork.NotEnoughPipeError
	if errors.As(err, &short) {
		return w, Faults{{Pointer: "/stock", Reason: short.Error()}}
	} else if err != nil {
		return w, sheetFaults(err)
	}
	for i := range w.Request.Sites {
		test, err := s.test(i, w.Request.Sites[i].Layout)
		if err != nil {
			return w, err
		}
		w.Tests = append(w.Tests, test)
	}
	return w, nil
}

// SourceOf returns where a layout of the file is joined; nil when that is not known.
func (s Sheet) SourceOf(layout int) *FlowSource {
	if own := s.Layouts[layout].Source; own != nil {
		return own
	}
	return s.Source
}

func (s Sheet) test(layout int, l hydraulics.Layout) (SheetTest, error) {
	source := s.SourceOf(layout)
	if source == nil {
		return SheetTest{}, nil
	}
	supply, _, err := source.Supply("/source")
	if err != nil {
		return SheetTest{}, err
	}
	compiled, err := hydraulics.Compile(l, s.Options.Engine())
	if err != nil {
		return SheetTest{}, err
	}
	var curve hydraulics.HeadFlow = compiled
	var common *hydraulics.Common
	if feed := source.CommonFeed; feed != nil {
		if common, err = hydraulics.NewCommon(feed.Engine(), s.Options.Engine(), []hydraulics.HeadFlow{compiled}); err != nil {
			return SheetTest{}, err
		}
		curve = common
	}
	op, err := hydraulics.Operate(supply, []hydraulics.HeadFlow{curve})
	if infeasible(err) {
		return SheetTest{}, nil
	} else if err != nil {
		return SheetTest{}, err
	}
	head := op.Head
	if common != nil {
		head = common.Split(op.Head).Head
	}
	result := compiled.Solve(unit.Head(head))
	expected := fieldwork.Expect(supply, &result, unit.Head(op.Head))
	return SheetTest{&result, &expected}, nil
}
