package words

import (
	"path/filepath"
	"strings"
	"testing"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/engine/fieldwork"
	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/unit"
)

func TestFieldwork_everyCodeHasASentence(t *testing.T) {
	t.Parallel()
	for language, table := range languages {
		say := table.fieldwork
		families := map[string]func(string) bool{
			"WarningCode": has(say.warnings), "TaskCode": has(say.tasks), "FaultCode": has(say.faults), "PartKind": has(say.parts),
			"FittingKind": has(say.parts),
		}
		used := map[string]int{}
		for _, c := range declaredCodes(t, "fieldwork") {
			known, ok := families[c.kind]
			if ok && !known(c.value) {
				t.Errorf("%s: no sentence for fieldwork.%s (%q)", language, c.name, c.value)
			}
			used[c.kind]++
		}
		for kind := range families {
			if used[kind] == 0 {
				t.Errorf("fieldwork declares no %s any more", kind)
			}
		}
		labels := 0
		for _, c := range declaredCodes(t, filepath.Join("..", "api", "render", "words")) {
			if c.kind != "SheetLabel" {
				continue
			}
			labels++
			if say.labels[SheetLabel(c.value)] == "" {
				t.Errorf("%s: no text for %s", language, c.name)
			}
		}
		if labels == 0 || labels != len(say.labels) {
			t.Errorf("%s: %d labels declared, %d texts", language, labels, len(say.labels))
		}
	}
}

func TestPage_everyLabelHasAText(t *testing.T) {
	t.Parallel()
	for language, table := range languages {
		labels := 0
		for _, c := range declaredCodes(t, filepath.Join("..", "api", "render", "words")) {
			if c.kind == "PageLabel" {
				labels++
				if table.pages.labels[PageLabel(c.value)] == "" {
					t.Errorf("%s: no text for %s", language, c.name)
				}
			}
		}
		if labels == 0 || labels != len(table.pages.labels) {
			t.Errorf("%s: %d labels declared, %d texts", language, labels, len(table.pages.labels))
		}
	}
	if p := New("", "", nil); p.Outcome("of_a_later_version") != "of a later version" || p.Field("/of/a/later/version") != "/of/a/later/version" {
		t.Error("what is not known is not named")
	}
}

func TestFieldwork_sentencesAreSentences(t *testing.T) {
	t.Parallel()
	pattern := hydraulics.HolePattern{HolesPerSet: 3, Sides: 2, Facing: hydraulics.FacingDown, HoleDiameter: unit.Millimeters(1.6)}
	for _, units := range []render.Units{render.Metric, render.US} {
		p := New("en", units, nil)
		var all []string
		for code := range p.language.fieldwork.warnings {
			for _, n := range []int{1, 5} {
				all = append(all, p.FieldworkWarning(fieldwork.Warning{Code: code, Path: "manifold.outlets[2].lateral", Value: -0.07, Limit: 0.1, Count: n}).String())
			}
		}
		for code := range p.language.fieldwork.tasks {
			all = append(all, p.Task(fieldwork.Task{Code: code, Count: 1}), p.Task(fieldwork.Task{Code: code, Count: 7}))
		}
		for code := range p.language.fieldwork.faults {
			all = append(all, p.FieldworkFault(fieldwork.Fault{Path: "kerf_m", Code: code, Got: 1, Least: 0, Most: 0.02}))
		}
		drill := fieldwork.DrillSheet{Pattern: pattern, Length: 2, Lines: 2, Marks: []fieldwork.DrillMark{{At: 0.1, Holes: 3}, {At: 0.4, Holes: 3}}}
		drill.Bit.AreaChange = -0.04
		all = append(all, p.DrillLines(&drill)...)
		all = append(all, p.OpenAndClose()...)
		all = append(all,
			p.CutBought(&fieldwork.CutList{}), p.CutBought(&fieldwork.CutList{Bought: 6, Bound: 3}), p.CutBought(&fieldwork.CutList{Bought: 6, Bound: 6}),
			p.CutBought(&fieldwork.CutList{Bought: 6, Priced: true, Cents: 900, CentsBound: 800}),
			p.CutBought(&fieldwork.CutList{Bought: 6, Priced: true, Cents: 900, CentsBound: 900}),
			p.PlantingLine(&fieldwork.PlantingMarks{Planting: fieldwork.Planting{Name: "corn"}, Count: 1, Spacing: 0.15}),
			p.ReservationLine(&fieldwork.Reservation{AsItIs: true}),
			p.ReservationLine(&fieldwork.Reservation{Reversed: true, CutOffTee: 0.1, CutOff: 0.6, PluggedOff: 1, NewHoles: 3}),
			p.CutTo("2 ft + 1 ft"),
			p.PartsSum(fieldwork.PartsCost{Cents: 1205, Unpriced: 1}), p.PartsSum(fieldwork.PartsCost{Cents: 5}))
		for _, s := range all {
			if first := s[0]; first >= 'a' && first <= 'z' || !strings.HasSuffix(s, ".") || strings.Contains(s, "%!") ||
				strings.Contains(s, "  ") || strings.Contains(s, "?") || strings.HasPrefix(s, "Note: ") {
				t.Errorf("%s: %q", units, s)
			}
		}
	}
}

func TestPrinter_marksAsATapeShowsThem(t *testing.T) {
	t.Parallel()
	us, metric := New("en", render.US, nil), New("en", render.Metric, nil)
	for steps, want := range map[int]string{0: "0", 1: "1/16", 8: "1/2", 16: "1", 60: "3 3/4", 1919: "119 15/16"} {
		if got := us.Mark(steps); got != want {
			t.Errorf("%d sixteenths: %q, want %q", steps, got, want)
		}
	}
	if got := metric.Mark(3048); got != "3048" || metric.MarkUnit() != "mm" || us.MarkUnit() != "in" {
		t.Errorf("3048 mm: %q", got)
	}
	if us.Ruler() != fieldwork.RulerInches || metric.Ruler() != fieldwork.RulerMillimeters {
		t.Error("rulers don't go with units")
	}
}

func TestPrinter_namesParts(t *testing.T) {
	t.Parallel()
	p := New("en", render.US, nil)
	for want, part := range map[string]fieldwork.Part{
		"tee, 3/4 in, to 1/2 in": {Kind: fieldwork.PartKind(fieldwork.FittingTee), Size: "3/4", Branch: "1/2"},
		"plastic pipe, 1/2 in schedule 40, stick of 10 ft": {
			Kind: fieldwork.PartPipe, Size: "1/2", Wall: "schedule 40", Length: unit.Feet(10),
		},
		"coupling, inside 15.9 mm": {Kind: fieldwork.PartKind(fieldwork.FittingCoupling), Size: "15.9 mm"},
		"part of later":            {Kind: "part_of_later"},
	} {
		if got := p.Part(part); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
	if Money(120507) != "1205.07" || Money(5) != "0.05" {
		t.Errorf("money %q, %q", Money(120507), Money(5))
	}
}
