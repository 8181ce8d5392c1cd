package service

import (
	"errors"
	"strconv"
	"strings"

	"github.com/jackc/pgx/v5"

	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/file"
)

// constraintFields says, for the constraints that compare several columns or rows, which field of the body is at fault
// and what would be right. Those on one column are named by fieldOf.
var constraintFields = map[string]Field{
	"garden_season_order":              {"/water_off", "must come after water_on"},
	"member_name_unique":               {"/name", "is the name of another member"},
	"token_member_fkey":                {"/member_id", "names no member of this garden"},
	"token_member_fits_role":           {"/member_id", "is needed for coordinator and gardener and must be left out for integration and link"},
	"token_document_fits_role":         {"/document", "is needed for a link and must be left out for other roles"},
	"token_layout_fits_document":       {"/layout_id", "is needed for the document layout_sheet and must be left out otherwise"},
	"token_layout_fkey":                {"/layout_id", "names no layout of this garden"},
	"service_line_name_unique":         {"/name", "is the name of another service line"},
	"water_source_name_unique":         {"/name", "is the name of another water source"},
	"water_source_service_line_fkey":   {"/service_line_id", "names no service line of this garden"},
	"water_source_tank_complete":       {"/tank_volume_l", "tank_volume_l, tank_level_m and tank_refill_l_per_day belong to the kind tank, all three, and to no other kind"},
	"water_source_tank_outlet_fits":    {"/tank_outlet_diameter_mm", "tank_outlet_diameter_mm and tank_outlet_k belong to the kind tank"},
	"service_line_elsewhere_order":     {"/elsewhere_l_per_min", "must be below flow_limit_l_per_min: the rest is what the plan may draw"},
	"water_source_hose_complete":       {"/hose_inside_diameter_mm", "hose_length_m and hose_inside_diameter_mm go together"},
	"flow_test_water_source_fkey":      {"", "the water source is not in this garden"},
	"flow_test_static_values":          {"/kind", "a static test has head_m and nothing else"},
	"flow_test_residual_values":        {"/kind", "a residual test has head_m and flow_l_per_min and no bucket"},
	"flow_test_bucket_values":          {"/kind", "a bucket test has volume_l and duration_s and no head"},
	"water_hours_water_source_fkey":    {"/water_source_id", "names no water source of this garden"},
	"water_hours_order":                {"/end_local", "must be later than start_local; hours over midnight are two entries"},
	"water_hours_valid_order":          {"/valid_to", "must not come before valid_from"},
	"closure_water_source_fkey":        {"/water_source_id", "names no water source of this garden"},
	"closure_order":                    {"/last_day", "must not come before first_day"},
	"water_off_water_source_fkey":      {"/water_source_id", "names no water source of this garden"},
	"water_off_service_line_fkey":      {"/service_line_id", "names no service line of this garden"},
	"water_off_one_place":              {"", "the water is off at one source or at one service line"},
	"water_off_expected_order":         {"/expected_until", "must lie in the future"},
	"water_off_order":                  {"", "the water can't be on before it was off"},
	"water_off_once":                   {"", "the water is off there already"},
	"plot_label_unique":                {"/label", "is the label of another plot"},
	"plot_water_source_fkey":           {"/water_source_id", "names no water source of this garden"},
	"plot_hose_complete":               {"/hose_flow_l_per_min", "a hose plot needs water_source_id and hose_flow_l_per_min"},
	"plot_can_complete":                {"/can_volume_l", "a can plot needs water_source_id, can_volume_l and can_minutes_each"},
	"plot_soil_order":                  {"/wilting_point", "field_capacity and wilting_point go together, and the wilting point is the smaller"},
	"plot_holder_plot_fkey":            {"", "the plot is not in this garden"},
	"plot_holder_member_fkey":          {"/member_id", "names no member of this garden"},
	"plot_holder_order":                {"/held_to", "must not come before held_from"},
	"plot_holder_no_overlap":           {"/held_from", "this member already holds the plot on some of these days"},
	"layout_name_unique":               {"/name", "is the name of another layout of this plot"},
	"layout_plot_fkey":                 {"/plot_id", "names no plot of this garden"},
	"layout_water_source_fkey":         {"/water_source_id", "names no water source of this garden"},
	"layout_revision_keep_accepted":    {"/spec", "a submitted or accepted revision never changes: send a new one"},
	"planting_plot_fkey":               {"/plot_id", "names no plot of this garden"},
	"planting_layout_fkey":             {"/layout_id", "names no layout of this garden"},
	"planting_order":                   {"/removed_on", "must not come before planted_on"},
	"planting_stretch_order":           {"/to_m", "must be farther from the tee than from_m"},
	"planting_outlets_of_layout":       {"/outlets", "are those of a layout: name it as layout_id"},
	"planting_opening_given":           {"/opening_depletion_mm", "goes with the opening given, and with no other"},
	"dig_plot_fkey":                    {"/plot_id", "names no plot of this garden"},
	"dig_planting_fkey":                {"/planting_id", "names no planting of this garden"},
	"dig_something_found":              {"/finding", "say what you found (wet, moist or dry), or depletion_mm when it was measured"},
	"own_crop_code_unique":             {"/code", "is the code of another crop of the garden's own"},
	"rain_reading_plot_fkey":           {"/plot_id", "names no plot of this garden"},
	"stored_pipe_label_unique":         {"/label", "is written on another stored pipe"},
	"stored_pipe_owner_fkey":           {"/owner_id", "names no member of this garden"},
	"stored_pipe_reserved_layout_fkey": {"/reserved_layout_id", "names no layout of this garden"},
	"stored_pipe_from_layout_fkey":     {"/from_layout_id", "names no layout of this garden"},
	"weather_day_temperature_order":    {"/tmax_c", "must not be lower than tmin_c"},
	"weather_day_humidity_order":       {"/rh_max_pct", "must not be lower than rh_min_pct"},
	"weather_day_bulbs_complete":       {"/wet_bulb_c", "dry_bulb_c and wet_bulb_c go together"},
	"weather_day_bulbs_order":          {"/wet_bulb_c", "must not be higher than dry_bulb_c"},
	"weather_day_forecast_rain":        {"/rain_mm", "forecast rain is not booked: leave it out"},
	"rotation_one_planning":            {"", "a rotation of this garden is being planned; wait for it, or cancel it"},
	"turn_follows_fkey":                {"", "the published turn is not in this garden"},
	"rotation_one_published":           {"", "another rotation is published for some of these days"},
	"turn_one_per_source":              {"", "another published turn runs at that source at that time"},
	"turn_report_duration_given":       {"/duration_min", "is needed for part, overran and pressure_lost"},
	"turn_report_turn_fkey":            {"", "the turn is not in this garden"},
}

// constraintColumns says, for the constraints on one column whose names leave out a part of it, such as its unit, which
// field of the body the column is.
var constraintColumns = map[string]string{
	"closure_methods_known":            "exempt_methods",
	"closure_parity_known":             "day_parity",
	"dig_depletion_range":              "depletion_mm",
	"planting_exposure_range":          "exposure_factor",
	"planting_opening_depletion_range": "opening_depletion_mm",
	"flow_test_duration_range":         "duration_s",
	"flow_test_flow_range":             "flow_l_per_min",
	"flow_test_head_range":             "head_m",
	"flow_test_other_flow_range":       "other_flow_l_per_min",
	"flow_test_volume_range":           "volume_l",
	"garden_elevation_range":           "elevation_m",
	"garden_humidity_known":            "humidity_class",
	"garden_latitude_range":            "latitude_deg",
	"garden_longitude_range":           "longitude_deg",
	"garden_notice_range":              "notice_period_h",
	"garden_start_grid_range":          "start_grid_min",
	"planting_area_range":              "area_m2",
	"planting_from_range":              "from_m",
	"planting_to_range":                "to_m",
	"planting_plant_spacing_range":     "plant_spacing_m",
	"planting_row_spacing_range":       "row_spacing_m",
	"planting_wetted_range":            "wetted_fraction",
	"plot_area_range":                  "area_m2",
	"plot_bed_depth_range":             "bed_depth_m",
	"plot_can_minutes_range":           "can_minutes_each",
	"plot_can_volume_range":            "can_volume_l",
	"plot_hose_flow_range":             "hose_flow_l_per_min",
	"plot_max_day_range":               "max_day_min",
	"rain_reading_rain_range":          "rain_mm",
	"service_line_flow_range":          "flow_limit_l_per_min",
	"service_line_elsewhere_range":     "elsewhere_l_per_min",
	"service_line_volume_range":        "daily_volume_limit_l",
	"turn_report_duration_range":       "duration_min",
	"water_hours_end_clock":            "end_local",
	"water_hours_start_clock":          "start_local",
	"water_source_changeover_range":    "changeover_min",
	"water_source_connections_range":   "hose_connections",
	"water_source_flow_range":          "flow_limit_l_per_min",
	"water_source_hose_diameter_range": "hose_inside_diameter_mm",
	"water_source_hose_length_range":   "hose_length_m",
	"water_source_min_run_range":       "min_run_min",
	"water_source_static_head_range":   "static_head_m",
	"water_source_tank_level_range":    "tank_level_m",
	"water_source_tank_outlet_range":   "tank_outlet_diameter_mm",
	"water_source_tank_outlet_k_range": "tank_outlet_k",
	"water_source_tank_refill_range":   "tank_refill_l_per_day",
	"water_source_tank_volume_range":   "tank_volume_l",
	"water_source_volume_range":        "daily_volume_limit_l",
	"weather_day_dew_point_range":      "dew_point_c",
	"weather_day_dry_bulb_range":       "dry_bulb_c",
	"weather_day_et0_range":            "et0_mm",
	"weather_day_vapor_pressure_range": "vapor_pressure_kpa",
	"weather_day_wet_bulb_range":       "wet_bulb_c",
	"weather_day_radiation_range":      "radiation_mj_m2",
	"weather_day_rain_range":           "rain_mm",
	"weather_day_rh_max_range":         "rh_max_pct",
	"weather_day_rh_mean_range":        "rh_mean_pct",
	"weather_day_rh_min_range":         "rh_min_pct",
	"weather_day_sunshine_range":       "sunshine_h",
	"weather_day_tmax_range":           "tmax_c",
	"weather_day_tmin_range":           "tmin_c",
	"weather_day_wind_height_range":    "wind_height_m",
	"weather_day_wind_range":           "wind_m_s",
}

// explain turns what came out of a transaction into the service's vocabulary. Refusals pass through; what is unknown
// stays a fault of ours.
func explain(err error, e effect) error {
	var ours *Error
	var c *repo.ConstraintError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &ours):
		return ours
	case errors.Is(err, pgx.ErrNoRows):
		return missing(err, e.entity)
	case errors.Is(err, repo.ErrOverflow), errors.Is(err, repo.ErrText):
		refused := refuse(Invalid, "A value can't be stored: a number or date is out of range, or a text holds a NUL character.")
		refused.cause = err
		return refused
	case errors.Is(err, repo.ErrConflict):
		refused := refuse(Conflict, "Somebody else changed the same things at this moment; send the request again.")
		refused.cause = err
		return refused
	case errors.As(err, &c):
		return explainConstraint(c, e)
	}
	return err
}

func explainConstraint(c *repo.ConstraintError, e effect) error {
	if c.Kind == repo.ForeignKey && e.action == "delete" {
		refused := refuse(Conflict, "The %s is still used by a %s; remove that first.", e.entity, strings.ReplaceAll(c.Table, "_", " "))
		refused.cause = c
		return refused
	}
	field, known := constraintFields[c.Constraint]
	if !known {
		field = fieldOf(c)
	}
	refused := invalid(field)
	if c.Kind == repo.Unique || c.Kind == repo.Exclusion {
		refused.Kind, refused.Detail = Conflict, "The request contradicts what is stored."
	}
	refused.cause = c
	return refused
}

// fieldOf names the field of a constraint on one column: by constraintColumns, else by the constraint's name.
func fieldOf(c *repo.ConstraintError) Field {
	if c.Kind == repo.NotNull { // goes by the name of the column
		return Field{"/" + c.Constraint, "is needed"}
	}
	column, known := constraintColumns[c.Constraint]
	if !known {
		column = strings.TrimPrefix(c.Constraint, c.Table+"_")
		column = column[:max(0, strings.LastIndexByte(column, '_'))]
	}
	return Field{"/" + column, "is outside what can be stored"}
}

// missing says that a thing is not in the garden, when that is what err says.
func missing(err error, entity string) error {
	if !errors.Is(err, pgx.ErrNoRows) {
		return err
	}
	refused := refuse(NotFound, "There is no %s with this id in the garden.", entity)
	refused.cause = err
	return refused
}

// fieldIfMissing says that a field of the body names nothing, when that is what err says.
func fieldIfMissing(err error, f Field) error {
	if errors.Is(err, pgx.ErrNoRows) {
		return invalid(f)
	}
	return err
}

// fieldsOf turns the faults of a document into fields; nil when there are none.
func fieldsOf(err error) []Field {
	var faults file.Faults
	if !errors.As(err, &faults) {
		return nil
	}
	fields := make([]Field, len(faults))
	for i, f := range faults {
		fields[i] = Field(f)
	}
	return fields
}

// number prints a number the way people write it.
func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
