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
// and what would be right. Constraints on one column need no entry: their names tell the field.
var constraintFields = map[string]Field{
	"garden_season_order":            {"/water_off", "must come after water_on"},
	"member_name_unique":             {"/name", "is the name of another member"},
	"token_member_fkey":              {"/member_id", "names no member of this garden"},
	"token_member_fits_role":         {"/member_id", "is needed for coordinator and gardener and must be left out for integration"},
	"service_line_name_unique":       {"/name", "is the name of another service line"},
	"water_source_name_unique":       {"/name", "is the name of another water source"},
	"water_source_service_line_fkey": {"/service_line_id", "names no service line of this garden"},
	"water_source_tank_complete":     {"/tank_volume_l", "tank_volume_l, tank_level_m and tank_refill_l_per_day belong to the kind tank, all three, and to no other kind"},
	"water_source_hose_complete":     {"/hose_inside_diameter_mm", "hose_length_m and hose_inside_diameter_mm go together"},
	"flow_test_water_source_fkey":    {"", "the water source is not in this garden"},
	"flow_test_static_values":        {"/kind", "a static test has head_m and nothing else"},
	"flow_test_residual_values":      {"/kind", "a residual test has head_m and flow_l_per_min and no bucket"},
	"flow_test_bucket_values":        {"/kind", "a bucket test has volume_l and duration_s and no head"},
	"water_hours_water_source_fkey":  {"/water_source_id", "names no water source of this garden"},
	"water_hours_order":              {"/end_local", "must be later than start_local; hours over midnight are two entries"},
	"water_hours_valid_order":        {"/valid_to", "must not come before valid_from"},
	"closure_water_source_fkey":      {"/water_source_id", "names no water source of this garden"},
	"closure_order":                  {"/last_day", "must not come before first_day"},
	"plot_label_unique":              {"/label", "is the label of another plot"},
	"plot_water_source_fkey":         {"/water_source_id", "names no water source of this garden"},
	"plot_hose_complete":             {"/hose_flow_l_per_min", "a hose plot needs water_source_id and hose_flow_l_per_min"},
	"plot_can_complete":              {"/can_volume_l", "a can plot needs water_source_id, can_volume_l and can_minutes_each"},
	"plot_soil_order":                {"/wilting_point", "field_capacity and wilting_point go together, and the wilting point is the smaller"},
	"plot_holder_plot_fkey":          {"", "the plot is not in this garden"},
	"plot_holder_member_fkey":        {"/member_id", "names no member of this garden"},
	"plot_holder_order":              {"/held_to", "must not come before held_from"},
	"plot_holder_no_overlap":         {"/held_from", "this member already holds the plot on some of these days"},
	"layout_name_unique":             {"/name", "is the name of another layout of this plot"},
	"layout_plot_fkey":               {"/plot_id", "names no plot of this garden"},
	"layout_water_source_fkey":       {"/water_source_id", "names no water source of this garden"},
	"layout_revision_keep_accepted":  {"/spec", "a submitted or accepted revision never changes: send a new one"},
	"planting_plot_fkey":             {"/plot_id", "names no plot of this garden"},
	"planting_layout_fkey":           {"/layout_id", "names no layout of this garden"},
	"planting_order":                 {"/removed_on", "must not come before planted_on"},
	"weather_day_temperature_order":  {"/tmax_c", "must not be lower than tmin_c"},
	"weather_day_humidity_order":     {"/rh_max_pct", "must not be lower than rh_min_pct"},
	"weather_day_forecast_rain":      {"/rain_mm", "forecast rain is not booked: leave it out"},
	"rotation_one_published":         {"", "another rotation is published for some of these days"},
	"turn_one_per_source":            {"", "another published turn runs at that source at that time"},
	"turn_report_duration_given":     {"/duration_min", "is needed for part, overran and pressure_lost"},
	"turn_report_turn_fkey":          {"", "the turn is not in this garden"},
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
		column := strings.TrimPrefix(c.Constraint, c.Table+"_")
		column = column[:max(0, strings.LastIndexByte(column, '_'))]
		field = Field{"/" + column, "is outside what can be stored"}
	}
	refused := invalid(field)
	if c.Kind == repo.Unique || c.Kind == repo.Exclusion {
		refused.Kind, refused.Detail = Conflict, "The request contradicts what is stored."
	}
	refused.cause = c
	return refused
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

func isConstraint(err error, name string) bool {
	var c *repo.ConstraintError
	return errors.As(err, &c) && c.Constraint == name
}
