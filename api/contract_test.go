package api

import (
	"encoding/json"
	"fmt"
	"maps"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/migrations"
	"rillturn.example/rillturn/openapi"
	"rillturn.example/rillturn/service"
	"rillturn.example/rillturn/service/file"
)

// document31 is the contract as it is written, for checks by the rules of OpenAPI 3.1.
func document31(t *testing.T) *openapi3.T {
	t.Helper()
	doc, err := openapi3.NewLoader().LoadFromData(openapi.Document)
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

// eachOperation walks the contract in a fixed order.
func eachOperation(doc *openapi3.T, visit func(path, method string, op *openapi3.Operation)) {
	for _, path := range slices.Sorted(maps.Keys(doc.Paths.Map())) {
		ops := doc.Paths.Value(path).Operations()
		for _, method := range slices.Sorted(maps.Keys(ops)) {
			visit(path, method, ops[method])
		}
	}
}

func eachSchema(doc *openapi3.T, visit func(name string, s *openapi3.Schema)) {
	for _, name := range slices.Sorted(maps.Keys(doc.Components.Schemas)) {
		visit(name, doc.Components.Schemas[name].Value)
	}
}

func TestContract_isValid(t *testing.T) {
	t.Parallel()
	if err := document31(t).Validate(t.Context()); err != nil {
		t.Error(err)
	}
}

func TestContract_operationsAreComplete(t *testing.T) {
	t.Parallel()
	doc := document31(t)
	seen := map[string]bool{}
	named := regexp.MustCompile(`^[a-z]+([A-Z][a-z]+)*(List|Create|Get|Replace|Delete|Store|Submit|Accept|Return|Retire|Publish|Cancel|Lock|Unlock|Close|Reopen)$`)
	eachOperation(doc, func(path, method string, op *openapi3.Operation) {
		bad := func(format string, args ...any) {
			t.Errorf("%s %s: %s", method, path, fmt.Sprintf(format, args...))
		}
		if !named.MatchString(op.OperationID) || seen[op.OperationID] {
			bad("operationId %q is not a new noun with a verb", op.OperationID)
		}
		seen[op.OperationID] = true
		if len(op.Tags) != 1 || doc.Tags.Get(op.Tags[0]) == nil {
			bad("tags %v, want one that the document describes", op.Tags)
		}
		if op.Summary == "" {
			bad("has no summary")
		}
		public := op.Security != nil && len(*op.Security) == 0
		if public == (len(rolesOf(t, op)) > 0) {
			bad("needs either x-roles or an empty security, not both")
		}
		for _, status := range wantedStatuses(op, public) {
			if op.Responses.Value(status) == nil {
				bad("lacks the response %s", status)
			}
		}
		for status, ref := range op.Responses.Map() {
			checkResponse(bad, op, status, ref.Value)
		}
	})
}

func rolesOf(t *testing.T, op *openapi3.Operation) []service.Role {
	t.Helper()
	list, _ := op.Extensions["x-roles"].([]any)
	var roles []service.Role
	for _, r := range list {
		role := service.Role(r.(string))
		if !slices.Contains([]service.Role{service.Coordinator, service.Gardener, service.Integration, service.Operator}, role) {
			t.Errorf("%s: x-roles has the unknown role %q", op.OperationID, role)
		}
		roles = append(roles, role)
	}
	return roles
}

// wantedStatuses are the refusals that an operation of its make can give.
func wantedStatuses(op *openapi3.Operation, public bool) []string {
	want := []string{"400", "406", "500"}
	if !public {
		want = append(want, "401", "403", "404", "429", "503")
	}
	if op.RequestBody != nil {
		want = append(want, "413", "415")
	}
	if op.Parameters.GetByInAndName("header", "If-Match") != nil {
		want = append(want, "409", "412", "428")
	}
	if op.Parameters.GetByInAndName("header", "If-None-Match") != nil {
		want = append(want, "304")
	}
	if op.Parameters.GetByInAndName("header", "Idempotency-Key") != nil {
		want = append(want, "201", "422")
	}
	return want
}

func checkResponse(bad func(string, ...any), op *openapi3.Operation, status string, r *openapi3.Response) {
	if r.Description == nil || *r.Description == "" {
		bad("%s has no description", status)
	}
	switch {
	case status[0] >= '4':
		media := r.Content[problemMedia]
		if len(r.Content) != 2 || media == nil || media.Schema.Ref != "#/components/schemas/Problem" || r.Content[htmlMedia] == nil {
			bad("%s is not a problem document, or a page for a browser", status)
		}
	case status == "201" && r.Headers["Location"] == nil:
		bad("201 has no Location")
	case status == "200" && r.Headers["ETag"] != nil && op.Parameters.GetByInAndName("header", "If-Match") == nil &&
		op.Parameters.GetByInAndName("header", "If-None-Match") == nil:
		bad("200 has an ETag, but If-None-Match is not taken")
	}
	if op.Parameters.GetByInAndName("query", "cursor") != nil && status == "200" {
		list := r.Content["application/json"].Schema.Value
		if list.Properties["items"] == nil || list.Properties["next_cursor"] == nil || op.Parameters.GetByInAndName("query", "limit") == nil {
			bad("a list has items, next_cursor and limit")
		}
	}
}

// TestContract_schemasAreComplete also keeps the contract to keywords that mean the same in OpenAPI 3.0 and 3.1: requests
// are checked by the rules of 3.0 (see loadContract).
func TestContract_schemasAreComplete(t *testing.T) {
	t.Parallel()
	var doc struct {
		Components struct{ Schemas, Parameters map[string]any }
	}
	text, err := document31(t).MarshalJSON()
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, &doc); err != nil {
		t.Fatal(err)
	}
	for name, s := range doc.Components.Schemas {
		checkSchema(t, name, s.(map[string]any), true)
	}
	for name, p := range doc.Components.Parameters {
		checkSchema(t, "parameter "+name, p.(map[string]any)["schema"].(map[string]any), false)
	}
}

// optionalByValue marks a field that may be left out and then has its zero value.
const optionalByValue = "x-go-type-skip-optional-pointer"

var sameIn30 = []string{
	"type", "format", "description", "enum", "minimum", "maximum", "minLength", "maxLength", "pattern", "items", "minProperties", "maxProperties", "minItems",
	"maxItems", "uniqueItems", "properties", "required", "additionalProperties", "examples", "default", "x-go-type", "x-go-type-import",
	optionalByValue,
}

func checkSchema(t *testing.T, at string, s map[string]any, described bool) {
	t.Helper()
	if s["$ref"] != nil {
		if len(s) != 1 {
			t.Errorf("%s: a reference with siblings means something else in 3.0", at)
		}
		return
	}
	for key := range s {
		if !slices.Contains(sameIn30, key) {
			t.Errorf("%s: the keyword %s is not one that means the same in 3.0 and 3.1", at, key)
		}
	}
	if described && s["description"] == nil {
		t.Errorf("%s: has no description", at)
	}
	switch s["type"] {
	case "object":
		if s["additionalProperties"] != false {
			t.Errorf("%s: additionalProperties is not false", at)
		}
		for name, p := range s["properties"].(map[string]any) {
			checkSchema(t, at+"/"+name, p.(map[string]any), described)
		}
	case "array":
		checkSchema(t, at+"/items", s["items"].(map[string]any), false)
	case "number":
		if s["format"] != "double" {
			t.Errorf("%s: a number without the format double becomes a float32", at)
		}
	case "integer":
		if s["format"] == nil || s["minimum"] == nil || s["maximum"] == nil {
			t.Errorf("%s: an integer needs format, minimum and maximum", at)
		}
	case "string":
		if s["maxLength"] == nil && s["enum"] == nil && s["pattern"] == nil && s["format"] == nil {
			t.Errorf("%s: nothing bounds this text", at)
		}
	case "boolean":
	default:
		t.Errorf("%s: type %v", at, s["type"])
	}
}

func TestContract_examplesFitTheirSchemas(t *testing.T) {
	t.Parallel()
	bodies := map[string]bool{}
	doc := document31(t)
	eachSchema(doc, func(name string, s *openapi3.Schema) {
		for i, example := range s.Examples {
			bodies[name] = true
			text, err := json.Marshal(example)
			if err != nil {
				t.Fatal(err)
			}
			value, faults := scanJSON(text)
			if len(faults) > 0 {
				t.Errorf("%s, example %d: %v", name, i, faults)
			}
			if err := s.VisitJSON(value, visitOptions...); err != nil {
				t.Errorf("%s, example %d, by the rules of 3.0: %v", name, i, err)
			}
			if err := s.VisitJSON(value, append(visitOptions, openapi3.EnableJSONSchema2020())...); err != nil {
				t.Errorf("%s, example %d, by the rules of 3.1: %v", name, i, err)
			}
		}
	})
	eachOperation(doc, func(_, _ string, op *openapi3.Operation) {
		if op.RequestBody == nil {
			return
		}
		for _, media := range op.RequestBody.Value.Content {
			ref := strings.TrimPrefix(media.Schema.Ref, "#/components/schemas/")
			if !bodies[ref] {
				t.Errorf("%s: the body %s has no example", op.OperationID, ref)
			}
		}
	})
}

// What a caller sends and what it gets back have the same fields, so that an answer can be changed and sent again.
func TestContract_answersHoldWhatWasSent(t *testing.T) {
	t.Parallel()
	schemas := document31(t).Components.Schemas
	for name, ref := range schemas {
		whole, ok := strings.CutSuffix(name, "Values")
		if !ok {
			continue
		}
		answer := schemas[whole].Value
		for field, sent := range ref.Value.Properties {
			got := answer.Properties[field]
			if got == nil {
				t.Errorf("%s lacks %s of %s", whole, field, name)
				continue
			}
			if !reflect.DeepEqual(jsonOf(t, sent), jsonOf(t, got)) {
				t.Errorf("%s of %s and of %s differ", field, whole, name)
			}
		}
	}
}

// jsonOf is a schema as plain JSON, without how its Go type is written.
func jsonOf(t *testing.T, v any) (out map[string]any) {
	t.Helper()
	text, err := json.Marshal(v)
	if err == nil {
		err = json.Unmarshal(text, &out)
	}
	if err != nil {
		t.Fatal(err)
	}
	delete(out, optionalByValue)
	return out
}

// shared are the schemas whose Go shape is written by hand in service/file.
var shared = map[string]reflect.Type{
	"LayoutSpec": reflect.TypeFor[gen.LayoutSpec](), "LayoutFeed": reflect.TypeFor[gen.LayoutFeed](),
	"LayoutFilter": reflect.TypeFor[gen.LayoutFilter](), "LayoutPipe": reflect.TypeFor[gen.LayoutPipe](),
	"LayoutManifold": reflect.TypeFor[gen.LayoutManifold](), "LayoutOutlet": reflect.TypeFor[gen.LayoutOutlet](),
	"LayoutLateral": reflect.TypeFor[gen.LayoutLateral](), "LayoutPiece": reflect.TypeFor[gen.LayoutPiece](),
	"LayoutPattern": reflect.TypeFor[gen.LayoutPattern](), "LayoutRated": reflect.TypeFor[gen.LayoutRated](),
	"LayoutPlugged": reflect.TypeFor[gen.LayoutPlugged](), "LayoutCheck": reflect.TypeFor[gen.LayoutCheck](),
	"SupplyFlowTest": reflect.TypeFor[gen.SupplyFlowTest](),
	"SupplyCurve":    reflect.TypeFor[gen.SupplyCurve](), "SupplyAssumption": reflect.TypeFor[gen.SupplyAssumption](),
	"FlowSet": reflect.TypeFor[gen.FlowSet](), "FlowLayout": reflect.TypeFor[gen.FlowLayout](),
	"FlowLateral": reflect.TypeFor[gen.FlowLateral](), "FlowHoleSet": reflect.TypeFor[gen.FlowHoleSet](),
	"FlowWarning": reflect.TypeFor[gen.FlowWarning](), "Crop": reflect.TypeFor[gen.Crop](),
	"CropStages":           reflect.TypeFor[gen.CropStages](),
	"FlowConditions":       reflect.TypeFor[gen.FlowConditions](),
	"FlowOptions":          reflect.TypeFor[gen.FlowOptions](),
	"FlowOpenHose":         reflect.TypeFor[gen.FlowOpenHose](),
	"FlowQuestions":        reflect.TypeFor[gen.FlowQuestions](),
	"FlowMeasured":         reflect.TypeFor[gen.FlowMeasured](),
	"FlowPieceNeed":        reflect.TypeFor[gen.FlowPieceNeed](),
	"FlowAnswers":          reflect.TypeFor[gen.FlowAnswers](),
	"FlowCount":            reflect.TypeFor[gen.FlowCount](),
	"FlowCup":              reflect.TypeFor[gen.FlowCup](),
	"FlowHose":             reflect.TypeFor[gen.FlowHose](),
	"FlowMost":             reflect.TypeFor[gen.FlowMost](),
	"FlowPattern":          reflect.TypeFor[gen.FlowPattern](),
	"FlowPlug":             reflect.TypeFor[gen.FlowPlug](),
	"FlowPlugged":          reflect.TypeFor[gen.FlowPlugged](),
	"FlowSensitivity":      reflect.TypeFor[gen.FlowSensitivity](),
	"FlowStandpipe":        reflect.TypeFor[gen.FlowStandpipe](),
	"FlowValve":            reflect.TypeFor[gen.FlowValve](),
	"FlowWish":             reflect.TypeFor[gen.FlowWish](),
	"SupposedLoss":         reflect.TypeFor[gen.SupposedLoss](),
	"SupposedHours":        reflect.TypeFor[gen.SupposedHours](),
	"SupposedWaterOff":     reflect.TypeFor[gen.SupposedWaterOff](),
	"PlanFigures":          reflect.TypeFor[gen.PlanFigures](),
	"UnitDifference":       reflect.TypeFor[gen.UnitDifference](),
	"UnitFigures":          reflect.TypeFor[gen.UnitFigures](),
	"TurnDifference":       reflect.TypeFor[gen.TurnDifference](),
	"HoursPlan":            reflect.TypeFor[gen.HoursPlan](),
	"PlanningRules":        reflect.TypeFor[gen.PlanningRules](),
	"PlanningPin":          reflect.TypeFor[gen.PlanningPin](),
	"PlanningApart":        reflect.TypeFor[gen.PlanningApart](),
	"PlanningSmallChanges": reflect.TypeFor[gen.PlanningSmallChanges](),
	"Sheet":                reflect.TypeFor[gen.Sheet](),
	"SheetLayout":          reflect.TypeFor[gen.SheetLayout](),
	"SheetPart":            reflect.TypeFor[gen.SheetPart](),
	"SheetPipe":            reflect.TypeFor[gen.SheetPipe](),
	"SheetDrill":           reflect.TypeFor[gen.SheetDrill](),
	"SheetMark":            reflect.TypeFor[gen.SheetMark](),
	"SheetPlantMarks":      reflect.TypeFor[gen.SheetPlantMarks](),
	"SheetPlantRow":        reflect.TypeFor[gen.SheetPlantRow](),
	"SheetTask":            reflect.TypeFor[gen.SheetTask](),
	"SheetBundle":          reflect.TypeFor[gen.SheetBundle](),
	"SheetExpected":        reflect.TypeFor[gen.SheetExpected](),
	"SheetExpectedLateral": reflect.TypeFor[gen.SheetExpectedLateral](),
	"SheetCutList":         reflect.TypeFor[gen.SheetCutList](),
	"SheetStick":           reflect.TypeFor[gen.SheetStick](),
	"SheetCut":             reflect.TypeFor[gen.SheetCut](),
	"SheetStock":           reflect.TypeFor[gen.SheetStock](),
	"SheetPrice":           reflect.TypeFor[gen.SheetPrice](),
	"PlantingCompanion":    reflect.TypeFor[gen.PlantingCompanion](),
	"StoredPlug":           reflect.TypeFor[gen.StoredPlug](),
	"WeatherStation":       reflect.TypeFor[gen.WeatherStation](),
	"Workshop":             reflect.TypeFor[gen.Workshop](),
	"SheetReservation":     reflect.TypeFor[gen.SheetReservation](),
}

// The contract describes the shapes of service/file field by field; neither may drift from the other.
func TestContract_sharedShapesDoNotDrift(t *testing.T) {
	t.Parallel()
	eachSchema(document31(t), func(name string, s *openapi3.Schema) {
		typ, ok := shared[name]
		if _, written := s.Extensions["x-go-type"]; written != ok {
			t.Errorf("%s: x-go-type %v, known to this test %v", name, written, ok)
		}
		if ok {
			compareShape(t, name, s, typ)
		}
	})
}

func compareShape(t *testing.T, name string, s *openapi3.Schema, typ reflect.Type) {
	t.Helper()
	fields := map[string]bool{}
	for i := range typ.NumField() {
		f := typ.Field(i)
		tag, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		fields[tag] = true
		p := s.Properties[tag]
		if p == nil {
			t.Errorf("%s.%s (%s) is not in the schema", name, f.Name, tag)
			continue
		}
		compareField(t, name+"/"+tag, p, f.Type)
		always := f.Tag.Get("file") == "required" || !strings.Contains(options, "omit") && f.Tag.Get("file") == "" && !readsByFile(typ)
		if required := slices.Contains(s.Required, tag); required != always {
			t.Errorf("%s/%s: required %v in the schema, %v in Go", name, tag, required, always)
		}
	}
	for tag := range s.Properties {
		if !fields[tag] {
			t.Errorf("%s/%s is not in %s", name, tag, typ)
		}
	}
}

// readsByFile reports whether a type is read from documents: then tags say what is required, else everything is that is
// always written.
func readsByFile(typ reflect.Type) bool {
	if strings.HasPrefix(typ.Name(), "Layout") && !strings.HasSuffix(typ.Name(), "Result") {
		return true
	}
	return strings.HasPrefix(typ.Name(), "Crop")
}

func compareField(t *testing.T, at string, p *openapi3.SchemaRef, typ reflect.Type) {
	t.Helper()
	if typ.Kind() == reflect.Pointer {
		typ = typ.Elem()
	}
	want := map[reflect.Kind]string{
		reflect.String: "string", reflect.Bool: "boolean", reflect.Float64: "number", reflect.Int: "integer", reflect.Int64: "integer",
		reflect.Struct: "object", reflect.Slice: "array", reflect.Array: "array",
	}[typ.Kind()]
	if typ == reflect.TypeFor[time.Time]() || typ == reflect.TypeFor[file.Day]() {
		want = "string"
	}
	if !p.Value.Type.Is(want) {
		t.Errorf("%s: %v in the schema, %s in Go", at, p.Value.Type, typ)
		return
	}
	switch want {
	case "array":
		compareField(t, at+"/items", p.Value.Items, typ.Elem())
	case "object":
		name := strings.TrimPrefix(p.Ref, "#/components/schemas/")
		if shared[name] != typ {
			t.Errorf("%s: refers to %q, which is not %s", at, name, typ)
		}
	}
}

// The database refuses what lies outside its ranges; the contract says so before.
func TestContract_rangesAreThoseOfTheDatabase(t *testing.T) {
	t.Parallel()
	sql, err := migrations.Files.ReadFile("0001_schema.up.sql")
	if err != nil {
		t.Fatal(err)
	}
	schemaOf := map[string]string{"plot_holder": "Holder", "water_hours": "WaterHours"}
	schemas := document31(t).Components.Schemas
	table, compared := "", 0
	create := regexp.MustCompile(`^CREATE TABLE (\w+)`)
	between := regexp.MustCompile(`CHECK \((?:length\((\w+)\)|(\w+)) BETWEEN (\S+) AND ([^\s)]+)\)`)
	for line := range strings.SplitSeq(string(sql), "\n") {
		if m := create.FindStringSubmatch(line); m != nil {
			table = m[1]
		}
		m := between.FindStringSubmatch(line)
		if m == nil {
			continue
		}
		name := schemaOf[table]
		if name == "" {
			for part := range strings.SplitSeq(table, "_") {
				name += strings.ToUpper(part[:1]) + part[1:]
			}
		}
		if schemas[name] == nil || schemas[name].Value.Properties[m[1]+m[2]] == nil {
			continue
		}
		compared++
		p := schemas[name].Value.Properties[m[1]+m[2]].Value
		least, most := p.Min, p.Max
		if m[1] != "" {
			l, h := float64(p.MinLength), float64(*p.MaxLength)
			least, most = &l, &h
		}
		if least == nil || most == nil || number(t, m[3]) != *least || number(t, m[4]) != *most {
			t.Errorf("%s/%s differs from %s", name, m[1]+m[2], strings.TrimSpace(line))
		}
	}
	if compared < 50 {
		t.Errorf("compared %d ranges: the reading of the schema no longer works", compared)
	}
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestContract_routesAreThoseOfTheRouter(t *testing.T) {
	t.Parallel()
	c, err := loadContract()
	if err != nil {
		t.Fatal(err)
	}
	a := &API{contract: c, options: Options{}.withDefaults()}
	router, err := a.router()
	if err != nil {
		t.Fatal(err)
	}
	routed := map[string]bool{}
	for _, r := range router.Routes() {
		routed[r.Method+" "+r.Path] = true
		if c.operations[r.Method+" "+r.Path] == nil {
			t.Errorf("%s %s is routed, but not in the contract", r.Method, r.Path)
		}
	}
	for key := range c.operations {
		if !routed[key] {
			t.Errorf("%s is in the contract, but not routed", key)
		}
	}
}
