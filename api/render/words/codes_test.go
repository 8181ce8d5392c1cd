package words

import (
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/waterneed"
)

// code is a constant that an engine package declares.
type code struct{ name, kind, value string }

// declaredCodes reads the constants of string types that a package declares, from its source.
func declaredCodes(t *testing.T, folder string) []code {
	t.Helper()
	files, err := filepath.Glob(filepath.Join("..", "..", "..", "engine", folder, "*.go"))
	if err != nil {
		t.Fatal(err)
	}
	var codes []code
	for _, path := range files {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(file, func(n ast.Node) bool {
			spec, ok := n.(*ast.ValueSpec)
			if !ok || spec.Type == nil {
				return true
			}
			kind, ok := spec.Type.(*ast.Ident)
			if !ok {
				return true
			}
			for i, name := range spec.Names {
				literal, ok := ast.Node(nil), false
				if i < len(spec.Values) {
					literal, ok = spec.Values[i], true
				}
				basic, isBasic := literal.(*ast.BasicLit)
				if !ok || !isBasic || basic.Kind != token.STRING {
					continue
				}
				value, err := strconv.Unquote(basic.Value)
				if err != nil {
					t.Fatal(err)
				}
				codes = append(codes, code{name.Name, kind.Name, value})
			}
			return true
		})
	}
	if len(files) == 0 {
		t.Fatalf("no files in engine/%s: has it moved?", folder)
	}
	return codes
}

// has reports whether a table has an entry for a code.
func has[K ~string, V any](table map[K]V) func(string) bool {
	return func(value string) bool { _, ok := table[K(value)]; return ok }
}

// A code of the engine without a sentence would reach people as a word for machines.
func TestSentences_everyCodeOfTheEngineHasOne(t *testing.T) {
	t.Parallel()
	for language, table := range languages {
		// sentence returns the check for a family of codes: the type, and the beginning of the constant's name where one
		// type serves several families.
		families := map[string]func(string) bool{
			"hydraulics.WarningCode":     has(table.hydraulics),
			"hydraulics.FaultCode":       has(table.layoutFaults),
			"hydraulics.AssumptionCode":  has(table.supply),
			"hydraulics.SensitivityCode": has(table.varied),
			"waterneed.Code/Flag":        has(table.need.flags),
			"waterneed.Code/NoteDemand":  has(table.need.flags),
			"waterneed.Code/Note":        has(table.need.notes),
			"waterneed.Code/Rung":        has(table.need.rungs),
			"waterneed.Code/Humidity":    has(table.need.humidity),
			"waterneed.Code/Radiation":   has(table.need.radiation),
			"waterneed.Code/Wind":        has(table.need.wind),
			"waterneed.Code/Stage":       has(table.need.stages),
			"waterneed.Code/Efficiency":  has(table.need.efficiency),
			"waterneed.Code/Reason":      has(table.needFaults),
			"problem.Reason":             has(table.rotation.unservable),
			"problem.Rule": func(value string) bool {
				return has(table.rotation.rules)(value) && has(table.changes.forced)(value)
			},
			"plan.BoundReason":  has(table.rotation.bounds),
			"rotation.PartKind": has(table.report.shortfall.limits),
		}
		used := map[string]bool{}
		for _, folder := range []string{"hydraulics", "waterneed", "problem", "zoning", "rotation", "plan"} {
			for _, c := range declaredCodes(t, folder) {
				family, ok := familyOf(families, folder, c)
				switch {
				case !ok && !strings.HasSuffix(c.kind, "Code") && !strings.HasSuffix(c.kind, "Reason") && c.kind != "Rule":
					// A choice of the caller, such as an effort: it is never told to people by the engine.
				case !ok:
					t.Errorf("%s: engine/%s declares %s of type %s, which belongs to no family of sentences", language, folder, c.name, c.kind)
				case !families[family](c.value):
					t.Errorf("%s: no sentence for %s.%s (%q)", language, folder, c.name, c.value)
				}
				used[family] = true
			}
		}
		for family := range families {
			if !used[family] {
				t.Errorf("%s: the engine declares no code of %s any more", language, family)
			}
		}
	}
}

// familyOf finds the family with the longest beginning that fits a constant.
func familyOf(families map[string]func(string) bool, folder string, c code) (string, bool) {
	best, found := "", false
	for family := range families {
		kind, beginning, _ := strings.Cut(family, "/")
		if kind == folder+"."+c.kind && strings.HasPrefix(c.name, beginning) && len(family) > len(best) {
			best, found = family, true
		}
	}
	return best, found
}

// sentences says everything that the tables can say, in one unit system.
func sentences(p Printer) []string {
	var all []string
	keep := func(n Notice) { all = append(all, n.String()) }
	for _, code := range slices.Sorted(maps.Keys(p.language.hydraulics)) {
		for _, path := range []string{"", "manifold", "manifold.outlets[2].lateral", "manifold.outlets[2].lateral.pieces[1].pipe"} {
			keep(p.HydraulicWarning(hydraulics.Warning{Code: code, Path: path, Value: 0.0123, Limit: 0.03, Count: 1}))
			keep(p.HydraulicWarning(hydraulics.Warning{Code: code, Path: path, Value: 12.3, Limit: 1.5, Count: 31}))
		}
	}
	for _, code := range slices.Sorted(maps.Keys(p.language.layoutFaults)) {
		all = append(all, p.LayoutFault(hydraulics.Fault{Code: code, Path: "manifold.length_m", Got: 14.2, Least: 0.05, Most: 12.19}))
	}
	for _, code := range slices.Sorted(maps.Keys(p.language.supply)) {
		keep(p.SupplyAssumption(hydraulics.Assumption{Code: code, Value: 1.8, Low: 1.2, High: 2}))
	}
	for _, code := range slices.Sorted(maps.Keys(p.language.varied)) {
		keep(p.Sensitivity(hydraulics.Sensitivity{
			Code: code, Low: 0.59, High: 0.86, AtLow: hydraulics.Outcome{Flow: 2e-4, Distribution: 0.7}, AtHigh: hydraulics.Outcome{Flow: 4e-4, Distribution: 0.8},
		}, hydraulics.Outcome{Flow: 3e-4, Distribution: 0.9}))
	}
	for _, n := range answerNotices(p) {
		keep(n)
	}
	for _, code := range slices.Sorted(maps.Keys(p.language.need.flags)) {
		keep(p.NeedFlag(NeedFact{Code: code, Days: 1, Depth: 1.3}))
		keep(p.NeedFlag(NeedFact{Code: code, Days: 4, Depth: 12}))
	}
	for _, code := range slices.Sorted(maps.Keys(p.language.need.rungs)) {
		all = append(all, p.Rung(code, 3))
	}
	for _, code := range slices.Sorted(maps.Keys(p.language.need.notes)) {
		keep(p.EvaporationNote(code, 2))
	}
	for _, code := range slices.Sorted(maps.Keys(p.language.need.efficiency)) {
		keep(p.Efficiency(waterneed.Efficiency{Source: code, Value: 0.72, Low: 0.6, High: 0.9}))
	}
	for _, code := range slices.Sorted(maps.Keys(p.language.needFaults)) {
		all = append(all, p.NeedFault(waterneed.InputError{Reason: code, Field: "weather.wind_m_s", Value: 45, Low: 0, High: 12}))
	}
	for _, code := range slices.Sorted(maps.Keys(p.language.rotation.unservable)) {
		keep(p.Unservable(problem.Unservable{Reason: code, Layout: "Plot 6", Takes: 31_200, Gives: 28_000}))
	}
	for _, code := range slices.Sorted(maps.Keys(p.language.rotation.bounds)) {
		all = append(all, p.PlanBound(plan.Bound{Reason: code, Share: 0.63, Source: "North tap", Line: "the main line", Layout: "Plot 6"}))
	}
	for _, code := range slices.Sorted(maps.Keys(p.language.planFlags)) {
		all = append(all, p.PlanFlag(code, []string{"Plot 6", "Plot 7"}))
	}
	for _, code := range slices.Sorted(maps.Keys(p.language.unplanned)) {
		all = append(all, p.Unplanned(code, "Plot 6"))
	}
	all = append(all, p.Served("Plot 6", 1), p.Served("Plot 6", 0.97))
	monday := time.Date(2026, time.July, 6, 0, 0, 0, 0, time.UTC)
	for _, code := range slices.Sorted(maps.Keys(p.language.rotation.rules)) {
		v := problem.Violation{Rule: code, Zone: "Lower row", Source: "North tap", Line: "the main line", Window: "morning", Day: 2, Have: 95_000, Limit: 90_000}
		if code == problem.RuleHydraulic || code == problem.RuleOverlap {
			all = append(all, p.Violation(v, monday))
		}
		v.Layout, v.Have, v.Limit = "Plot 6", 5, 3
		all = append(all, p.Violation(v, monday))
		v.Have = -5_000
		all = append(all, p.Violation(v, monday))
	}
	for _, code := range slices.Sorted(maps.Keys(p.language.changes.forced)) {
		all = append(all, p.Forced([]Forced{{code, 1}}), p.Forced([]Forced{{code, 3}, {problem.RuleInterval, 2}}))
	}
	all = append(all, p.TurnChanges(TurnChanges{}), p.TurnChanges(TurnChanges{Kept: 1}),
		p.TurnChanges(TurnChanges{Kept: 8, Resized: 3, Moved: 2, Added: 1, Cancelled: 1}))
	for _, code := range render.CautionCodes() {
		all = append(all, p.Caution(code))
	}
	return all
}

func TestSentences_areSentences(t *testing.T) {
	t.Parallel()
	for language := range languages {
		for _, units := range []render.Units{render.Metric, render.US} {
			all := sentences(New(language, units, nil))
			for _, s := range all {
				first := s[0]
				lower := first >= 'a' && first <= 'z'
				if lower || !strings.HasSuffix(s, ".") || strings.Contains(s, "%!") || strings.Contains(s, "  ") || strings.Contains(s, "?") || strings.HasPrefix(s, "Note: ") {
					t.Errorf("%s, %s: %q", language, units, s)
				}
			}
		}
	}
}

func TestPrinter_saysSomethingAboutAnUnknownCode(t *testing.T) {
	t.Parallel()
	p := New("en", render.Metric, nil)
	for _, got := range []string{
		p.HydraulicWarning(hydraulics.Warning{Code: "of_a_later_version"}).String(),
		p.NeedFlag(NeedFact{Code: "of_a_later_version"}).String(),
		p.EvaporationNote("of_a_later_version", 1).String(),
		p.Efficiency(waterneed.Efficiency{Source: "of_a_later_version"}).String(),
		p.SupplyAssumption(hydraulics.Assumption{Code: "of_a_later_version"}).String(),
		p.Sensitivity(hydraulics.Sensitivity{Code: "of_a_later_version"}, hydraulics.Outcome{}).String(),
		p.Unservable(problem.Unservable{Reason: "of_a_later_version"}).String(),
		p.PlanBound(plan.Bound{Reason: "of_a_later_version"}),
		p.Violation(problem.Violation{Rule: "of_a_later_version"}, time.Time{}),
		p.LayoutFault(hydraulics.Fault{Code: "of_a_later_version"}), p.NeedFault(waterneed.InputError{Reason: "of_a_later_version"}),
		p.Limit(render.Limit{Kind: "of_a_later_version"}), p.PlanFlag("of_a_later_version", nil), p.Unplanned("of_a_later_version", ""),
		p.Rung("of_a_later_version", 1), p.Stage("of_a_later_version"), p.Caution("of_a_later_version"),
	} {
		if want := "Note: of a later version."; got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// A second language must say all that the first one says.
func TestLanguages_sayTheSame(t *testing.T) {
	t.Parallel()
	for language, table := range languages {
		everythingSaid(t, language, reflect.ValueOf(english), reflect.ValueOf(table))
	}
}

func everythingSaid(t *testing.T, path string, want, got reflect.Value) {
	t.Helper()
	switch want.Kind() {
	case reflect.Struct:
		for i := range want.NumField() {
			everythingSaid(t, path+"."+want.Type().Field(i).Name, want.Field(i), got.Field(i))
		}
	case reflect.Map:
		if want.Len() == 0 {
			t.Errorf("%s is empty", path)
		}
		for _, key := range want.MapKeys() {
			if v := got.MapIndex(key); !v.IsValid() {
				t.Errorf("%s lacks %v", path, key)
			} else {
				everythingSaid(t, path, want.MapIndex(key), v)
			}
		}
	default:
		if got.IsZero() {
			t.Errorf("%s is missing", path)
		}
	}
}

func TestLabels_allDeclaredOnesAreThere(t *testing.T) {
	t.Parallel()
	file, err := parser.ParseFile(token.NewFileSet(), "picture.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	ast.Inspect(file, func(node ast.Node) bool {
		spec, ok := node.(*ast.ValueSpec)
		if ok && strings.HasPrefix(spec.Names[0].Name, "Label") {
			value, err := strconv.Unquote(spec.Values[0].(*ast.BasicLit).Value)
			if err != nil {
				t.Fatal(err)
			}
			if New("en", render.Metric, nil).Label(Label(value)) == "" {
				t.Errorf("no text for %s", spec.Names[0].Name)
			}
			n++
		}
		return true
	})
	if n != len(english.labels) {
		t.Errorf("%d labels declared, %d texts", n, len(english.labels))
	}
}
