package file

import (
	"cmp"
	"encoding/json"
	"io"
	"math"
	"slices"
	"time"

	"rillturn.example/rillturn/engine/unit"
)

// Garden is one whole garden: what the demo loads, what `rillturn plan` reads, and the input that every rotation stores.
// Ids are any text in a file written by hand and UUIDs in one that the service wrote. Days are dates in the garden's
// zone.
type Garden struct {
	Garden       GardenSettings `json:"garden" file:"required"`
	Members      []Member       `json:"members,omitempty"`
	ServiceLines []ServiceLine  `json:"service_lines,omitempty"`
	WaterSources []WaterSource  `json:"water_sources" file:"required"`
	WaterHours   []WaterHours   `json:"water_hours" file:"required"`
	Outages      []Outage       `json:"outages,omitempty"`
	Closures     []Closure      `json:"closures,omitempty"`
	Plots        []Plot         `json:"plots" file:"required"`
	Layouts      []LayoutOnPlot `json:"layouts,omitempty"`
	// Crops are the garden's own; one with the code of a published crop takes its place.
	Crops     []Crop     `json:"crops,omitempty"`
	Plantings []Planting `json:"plantings,omitempty"`
	// Normals are mean days of the twelve months, for days without weather.
	Normals  []MonthNormals   `json:"climate_normals,omitempty"`
	Stations []WeatherStation `json:"weather_stations,omitempty"`
	Weather  []WeatherDay     `json:"weather_days,omitempty"`
	// RainReadings are what people read from gauges on their plots.
	RainReadings []RainReading `json:"rain_readings,omitempty"`
	Waterings    []Watering    `json:"waterings,omitempty"`
	Digs         []Dig         `json:"digs,omitempty"`
	Planning     *Planning     `json:"planning,omitempty"`
	Replan       *Replan       `json:"replan,omitempty"`
	// StoredPipes and Workshop are no input of plans, and no rotation stores them.
	StoredPipes []StoredPipe `json:"stored_pipes,omitempty"`
	Workshop    Workshop     `json:"workshop,omitzero"`
	Horizon     Horizon      `json:"horizon" file:"required"`
}

// GardenSettings are the garden's own facts and choices.
type GardenSettings struct {
	ID            string  `json:"id" file:"required"`
	Name          string  `json:"name" file:"required"`
	TimeZone      string  `json:"time_zone" file:"required"`
	LatitudeDeg   float64 `json:"latitude_deg" file:"required"`
	LongitudeDeg  float64 `json:"longitude_deg" file:"required"`
	ElevationM    float64 `json:"elevation_m" file:"required"`
	Coastal       bool    `json:"coastal,omitempty"`        // a large water body governs the air
	HumidityClass string  `json:"humidity_class,omitempty"` // arid, semi_arid, sub_humid, humid, very_humid
	Units         string  `json:"units" file:"required"`
	Language      string  `json:"language" file:"required"`
	WaterOn       *Day    `json:"water_on,omitempty"`
	WaterOff      *Day    `json:"water_off,omitempty"`
	Fairness      string  `json:"fairness" file:"required"`
	FreeShare     float64 `json:"free_share" file:"required"`
	StartGridMin  float64 `json:"start_grid_min" file:"required"`
	NoticePeriodH float64 `json:"notice_period_h" file:"required"`
}

// Member is one person of the garden.
type Member struct {
	ID   string `json:"id" file:"required"`
	Name string `json:"name" file:"required"`
	Role string `json:"role" file:"required"`
}

// ServiceLine is a metered pipe that feeds sources.
type ServiceLine struct {
	ID                string   `json:"id" file:"required"`
	Name              string   `json:"name" file:"required"`
	FlowLimitLPerMin  float64  `json:"flow_limit_l_per_min" file:"required"`
	DailyVolumeLimitL *float64 `json:"daily_volume_limit_l,omitempty"`
	// ElsewhereLPerMin is what taps outside the plan usually draw during water hours: a house, neighbours.
	ElsewhereLPerMin *float64 `json:"elsewhere_l_per_min,omitempty"`
}

// WaterSource is a spigot, hydrant or raised tank with its flow tests.
type WaterSource struct {
	ID                   string     `json:"id" file:"required"`
	Name                 string     `json:"name" file:"required"`
	Kind                 string     `json:"kind" file:"required"`
	ServiceLineID        *string    `json:"service_line_id,omitempty"`
	HoseConnections      int        `json:"hose_connections" file:"required"`
	HoseLengthM          *float64   `json:"hose_length_m,omitempty"`
	HoseInsideDiameterMM *float64   `json:"hose_inside_diameter_mm,omitempty"`
	StaticHeadM          *float64   `json:"static_head_m,omitempty"`
	ChangeoverMin        float64    `json:"changeover_min" file:"required"`
	MinRunMin            float64    `json:"min_run_min" file:"required"`
	FlowLimitLPerMin     *float64   `json:"flow_limit_l_per_min,omitempty"`
	DailyVolumeLimitL    *float64   `json:"daily_volume_limit_l,omitempty"`
	TankVolumeL          *float64   `json:"tank_volume_l,omitempty"`
	TankLevelM           *float64   `json:"tank_level_m,omitempty"`
	TankOutletDiameterMM *float64   `json:"tank_outlet_diameter_mm,omitempty"` // left out: the bore of the hose, as an assumption
	TankOutletK          *float64   `json:"tank_outlet_k,omitempty"`           // left out: 0.5, a sharp entrance, as an assumption
	TankRefillLPerDay    *float64   `json:"tank_refill_l_per_day,omitempty"`
	FlowTests            []FlowTest `json:"flow_tests,omitempty"`
}

// FlowSource returns a source of the garden as a flow file has it: its tank, or its flow tests with the working hose, the
// hours in which it is to run, and what is drawn elsewhere on its line. That is what taps outside the plan draw and,
// where the source was tested with other taps open, what the other sources of the line may draw at the same time.
// Otherwise a line is a limit on flow and no coupling of pressures.
func (g Garden) FlowSource(w WaterSource) FlowSource {
	if w.TankLevelM != nil {
		return FlowSource{Tank: w.tank(), FlowLimitLPerMin: w.FlowLimitLPerMin}
	}
	s := FlowSource{
		FlowTests: w.FlowTests, StaticHeadM: w.StaticHeadM, FlowLimitLPerMin: w.FlowLimitLPerMin, TimeZone: g.Garden.TimeZone,
		WaterHours: g.clockHours(w.ID),
	}
	if w.HoseLengthM != nil && w.HoseInsideDiameterMM != nil {
		s.Hose = &SourceHose{LengthM: *w.HoseLengthM, DiameterMM: *w.HoseInsideDiameterMM}
	}
	for _, l := range g.ServiceLines {
		if w.ServiceLineID != nil && l.ID == *w.ServiceLineID {
			s.ElsewhereLPerMin = or(l.ElsewhereLPerMin, 0)
			if slices.ContainsFunc(w.FlowTests, FlowTest.joint) {
				s.ElsewhereLPerMin += math.Min(g.othersOn(l.ID, w.ID), l.FlowLimitLPerMin)
			}
		}
	}
	return s
}

// tank is the tank of a source, its outlet assumed where nobody measured it.
func (w WaterSource) tank() *SourceTank {
	t := &SourceTank{LevelM: *w.TankLevelM, OutletK: w.TankOutletK}
	switch {
	case w.TankOutletDiameterMM != nil:
		t.OutletDiameterMM = *w.TankOutletDiameterMM
	case w.HoseInsideDiameterMM != nil:
		t.OutletDiameterMM, t.OutletAssumed = *w.HoseInsideDiameterMM, true
	default:
		t.OutletDiameterMM, t.OutletAssumed = usualOutletMM, true
	}
	return t
}

// clockHours are the hours of the day in which a source is to run, on whatever days, those that overlap or touch joined.
func (g Garden) clockHours(source string) []ClockHours {
	var all []ClockHours
	for _, h := range g.WaterHours {
		if h.WaterSourceID == nil || *h.WaterSourceID == source {
			all = append(all, ClockHours{h.StartLocal, h.EndLocal})
		}
	}
	slices.SortFunc(all, func(a, b ClockHours) int { return cmp.Compare(a.StartLocal, b.StartLocal) })
	var out []ClockHours
	for _, h := range all {
		if n := len(out); n > 0 && h.StartLocal <= out[n-1].EndLocal {
			out[n-1].EndLocal = max(out[n-1].EndLocal, h.EndLocal)
			continue
		}
		out = append(out, h)
	}
	return out
}

// othersOn is what the other spigots of a service line give together when they are open [L/min]. One without a flow test
// counts nothing: it does not run either.
func (g Garden) othersOn(line, source string) float64 {
	sum := 0.0
	for _, w := range g.WaterSources {
		if w.ID == source || w.ServiceLineID == nil || *w.ServiceLineID != line || w.TankLevelM != nil {
			continue
		}
		alone := w
		alone.ServiceLineID = nil
		if supply, _, err := g.FlowSource(alone).Supply(""); err == nil {
			sum += unit.Flow(supply.MaxFlow).LitersPerMinute()
		}
	}
	return sum
}

// WaterHours are clock times on ISO weekdays (1 = Monday) at which a source, or every source, may run.
type WaterHours struct {
	ID            string  `json:"id" file:"required"`
	WaterSourceID *string `json:"water_source_id,omitempty"`
	Weekdays      []int   `json:"weekdays" file:"required"`
	StartLocal    string  `json:"start_local" file:"required"`
	EndLocal      string  `json:"end_local" file:"required"`
	ValidFrom     *Day    `json:"valid_from,omitempty"`
	ValidTo       *Day    `json:"valid_to,omitempty"`
	Note          string  `json:"note,omitempty"`
}

// Closure is a run of days on which a source, or every source, may not run, but for exempt watering methods. Weekdays
// and parity narrow the run of days; an empty list means every weekday.
type Closure struct {
	ID            string   `json:"id" file:"required"`
	WaterSourceID *string  `json:"water_source_id,omitempty"`
	FirstDay      Day      `json:"first_day" file:"required"`
	LastDay       Day      `json:"last_day" file:"required"`
	Weekdays      []int    `json:"weekdays,omitempty"`
	DayParity     string   `json:"day_parity" file:"required"`
	ExemptMethods []string `json:"exempt_methods,omitempty"`
	Rule          string   `json:"rule" file:"required"`
}

// Outage is a time in which the water of a source, or of every source of a service line, is off: a burst pipe, not a rule.
// Without an end it lasts to the end of the horizon.
type Outage struct {
	WaterSourceID *string    `json:"water_source_id,omitempty"`
	ServiceLineID *string    `json:"service_line_id,omitempty"`
	From          time.Time  `json:"from" file:"required"`
	Until         *time.Time `json:"until,omitempty"`
	Reason        string     `json:"reason,omitempty"`
}

// Closes tells whether the outage is one of a source.
func (o Outage) Closes(s WaterSource) bool {
	return o.WaterSourceID != nil && *o.WaterSourceID == s.ID ||
		o.ServiceLineID != nil && s.ServiceLineID != nil && *o.ServiceLineID == *s.ServiceLineID
}

// Plot is a piece of ground, its soil, and how it is watered.
type Plot struct {
	ID              string   `json:"id" file:"required"`
	Label           string   `json:"label" file:"required"`
	AreaM2          float64  `json:"area_m2" file:"required"`
	Method          string   `json:"method" file:"required"`
	Communal        bool     `json:"communal,omitempty"`
	WaterSourceID   *string  `json:"water_source_id,omitempty"`
	HoseFlowLPerMin *float64 `json:"hose_flow_l_per_min,omitempty"`
	CanVolumeL      *float64 `json:"can_volume_l,omitempty"`
	CanMinutesEach  *float64 `json:"can_minutes_each,omitempty"`
	MaxDayMin       *float64 `json:"max_day_min,omitempty"`
	SoilTexture     *string  `json:"soil_texture,omitempty"`
	FieldCapacity   *float64 `json:"field_capacity,omitempty"`
	WiltingPoint    *float64 `json:"wilting_point,omitempty"`
	BedDepthM       *float64 `json:"bed_depth_m,omitempty"`
	Holders         []Holder `json:"holders,omitempty"`
}

// Holder is one person's time on a plot.
type Holder struct {
	MemberID string `json:"member_id" file:"required"`
	HeldFrom Day    `json:"held_from" file:"required"`
	HeldTo   *Day   `json:"held_to,omitempty"`
}

// LayoutOnPlot is a layout document with where it lies and what feeds it.
type LayoutOnPlot struct {
	ID            string   `json:"id" file:"required"`
	PlotID        string   `json:"plot_id" file:"required"`
	WaterSourceID string   `json:"water_source_id" file:"required"`
	Name          string   `json:"name" file:"required"`
	OwnValve      bool     `json:"own_valve,omitempty"`
	MeasuredDU    *float64 `json:"measured_du,omitempty"`
	Spec          Layout   `json:"spec" file:"required"`
}

// Horizon is what is to be planned. A plan made twice from the same file is the same to the byte.
type Horizon struct {
	FirstDay Day    `json:"first_day" file:"required"`
	Days     int    `json:"days" file:"required"`
	Effort   string `json:"effort" file:"required"`
	Seed     int64  `json:"seed" file:"required"`
}

// Day is a calendar date, written 2026-07-06.
type Day struct{ time.Time }

// DayOf returns the calendar date of t in t's own zone.
func DayOf(t time.Time) Day {
	y, m, d := t.Date()
	return Day{time.Date(y, m, d, 0, 0, 0, 0, time.UTC)}
}

// MarshalText writes the date.
func (d Day) MarshalText() ([]byte, error) { return []byte(d.Format(time.DateOnly)), nil }

// UnmarshalText reads the date.
func (d *Day) UnmarshalText(b []byte) error {
	t, err := time.Parse(time.DateOnly, string(b))
	if err != nil {
		return err
	}
	d.Time = t
	return nil
}

// MarshalJSON writes the date as a string; without it the embedded time would write itself.
func (d Day) MarshalJSON() ([]byte, error) { return []byte(`"` + d.Format(time.DateOnly) + `"`), nil }

// UnmarshalJSON reads the date from a string.
func (d *Day) UnmarshalJSON(b []byte) error {
	t, err := time.Parse(`"`+time.DateOnly+`"`, string(b))
	if err != nil {
		return &time.ParseError{Layout: time.DateOnly, Value: string(b), Message: ": want a date such as \"2026-07-06\""}
	}
	d.Time = t
	return nil
}

// ReadGarden reads a garden file. Its errors are Faults.
func ReadGarden(r io.Reader) (Garden, error) {
	var g Garden
	err := Decode(r, &g)
	return g, err
}

// HasField tells whether a JSON document is an object with a field of that name; text that is not JSON has none.
func HasField(document []byte, name string) bool {
	var fields map[string]json.RawMessage
	return json.Unmarshal(document, &fields) == nil && fields[name] != nil
}
