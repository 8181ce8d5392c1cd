package api

import (
	"encoding/json"
	"strings"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/service/file"
)

// gardenPart is a list of a garden file whose items are what the API takes as a schema of the contract, with fields of the
// file's own beside it and ids that need not be UUIDs.
type gardenPart struct {
	list, schema string
	own          []string // fields that only the file has
	refs         []string // fields that hold an id of the file
	parts        []gardenPart
}

var gardenParts = []gardenPart{
	{list: "members", schema: "MemberValues", own: []string{"id"}},
	{list: "service_lines", schema: "ServiceLineValues", own: []string{"id"}},
	{
		list: "water_sources", schema: "WaterSourceValues", own: []string{"id", "flow_tests"}, refs: []string{"service_line_id"},
		parts: []gardenPart{{list: "flow_tests", schema: "FlowTestValues"}},
	},
	{list: "water_hours", schema: "WaterHoursValues", own: []string{"id"}, refs: []string{"water_source_id"}},
	{list: "closures", schema: "ClosureValues", own: []string{"id"}, refs: []string{"water_source_id"}},
	{
		list: "plots", schema: "PlotValues", own: []string{"id", "holders"}, refs: []string{"water_source_id"},
		parts: []gardenPart{{list: "holders", schema: "HolderValues", refs: []string{"member_id"}}},
	},
	{list: "layouts", schema: "LayoutValues", own: []string{"id"}, refs: []string{"plot_id", "water_source_id"}},
	{
		list: "plantings", schema: "PlantingValues", refs: []string{"plot_id", "layout_id"},
		own: []string{"id"},
	},
	{list: "crops", schema: "Crop"},
	{list: "climate_normals", schema: "MonthNormals"},
	{list: "weather_stations", schema: "WeatherStation"},
	{list: "weather_days", schema: "WeatherDay"},
	{list: "rain_readings", schema: "RainReadingValues", refs: []string{"plot_id"}},
	{list: "digs", schema: "DigValues", refs: []string{"plot_id", "planting_id"}},
	{list: "stored_pipes", schema: "StoredPipeValues", own: []string{"id"}, refs: []string{"owner_id", "reserved_layout_id", "from_layout_id"}},
}

// CheckGardenFile holds a garden file against the contract, so that it is refused for the same reasons as the requests
// that would store its parts. Its errors are file.Faults.
func CheckGardenFile(body []byte) error {
	value, faults := scanJSON(body)
	if len(faults) > 0 {
		return fileFaults(faults)
	}
	root, ok := value.(map[string]any)
	if !ok {
		return file.Faults{{Reason: "must be an object"}}
	}
	c, err := loadContract()
	if err != nil {
		return err
	}
	faults = c.checkObject("/garden", root["garden"], gardenPart{schema: "GardenValues", own: []string{"id"}})
	if shop, given := root["workshop"]; given {
		faults = append(faults, c.checkObject("/workshop", shop, gardenPart{schema: "Workshop"})...)
	}
	for _, part := range gardenParts {
		faults = append(faults, c.checkPart("", root, part)...)
	}
	return fileFaults(faults)
}

func fileFaults(faults []gen.ProblemError) error {
	var out file.Faults
	for _, f := range faults {
		out = append(out, file.Fault{Pointer: f.Pointer, Reason: f.Reason})
	}
	return out.Err()
}

// checkPart checks a list of an object; a list of the wrong type is left to the file's decoder.
func (c *contract) checkPart(at string, object map[string]any, part gardenPart) []gen.ProblemError {
	items, _ := object[part.list].([]any)
	var faults []gen.ProblemError
	for i, item := range items {
		here := at + file.Point(part.list, i)
		faults = append(faults, c.checkObject(here, item, part)...)
		if inner, ok := item.(map[string]any); ok {
			for _, sub := range part.parts {
				faults = append(faults, c.checkPart(here, inner, sub)...)
			}
		}
	}
	return faults
}

// anyID stands for an id of a file where the contract asks for a UUID.
const anyID = "00000000-0000-7000-8000-000000000000"

func (c *contract) checkObject(at string, value any, part gardenPart) []gen.ProblemError {
	object, ok := value.(map[string]any)
	if !ok {
		return []gen.ProblemError{{Pointer: at, Reason: "must be an object"}}
	}
	schema := c.doc.Components.Schemas[part.schema].Value
	wire := map[string]any{}
	for name, property := range schema.Properties { // what the file may leave out
		if d := property.Value.Default; d != nil {
			wire[name] = d
		}
	}
	for name, v := range object {
		wire[name] = v
	}
	for _, name := range part.own {
		delete(wire, name)
	}
	for _, name := range part.refs {
		if id, ok := wire[name].(string); ok && strings.TrimSpace(id) != "" {
			wire[name] = anyID
		}
	}
	return schemaFaults(at, schema.VisitJSON(asJSON(wire), visitOptions...))
}

// asJSON gives defaults, which the contract's reader decoded its own way, the types that the validator walks.
func asJSON(v map[string]any) any {
	text, err := json.Marshal(v)
	if err != nil { // what a JSON reader produced always has a JSON text
		panic(err)
	}
	value, _ := scanJSON(text)
	return value
}
