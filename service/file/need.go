package file

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"

	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/engine/waterneed"
)

// Need is a need file: questions about water need at one place, answered by RunNeed without a database. All parts may be
// left out; the place is needed for days, months, a series and units.
type Need struct {
	Place *NeedPlace `json:"place,omitempty"`
	NeedSteps
	// Days are single days whose reference evapotranspiration is wanted.
	Days []NeedDay `json:"days,omitempty"`
	// Months are mean days of months.
	Months []NeedMonth `json:"months,omitempty"`
	// Weather is what the series, ledgers and demands below draw on.
	Weather NeedWeather `json:"weather,omitempty"`
	// Series asks for a run of days without a gap.
	Series *NeedSpan   `json:"series,omitempty"`
	Curves []NeedCurve `json:"curves,omitempty"`
	Units  []NeedUnit  `json:"units,omitempty"`
}

// NeedPlace is where the weather is.
type NeedPlace struct {
	LatitudeDeg   float64 `json:"latitude_deg"   file:"required"`
	ElevationM    float64 `json:"elevation_m,omitempty"`
	Coastal       bool    `json:"coastal,omitempty"`
	HumidityClass string  `json:"humidity_class,omitempty"`
}

// NeedDate is a date written YYYY-MM-DD.
type NeedDate waterneed.Date

// UnmarshalJSON reads a date that exists; null is the zero date, as it is written.
func (d *NeedDate) UnmarshalJSON(text []byte) error {
	if string(text) == "null" {
		*d = NeedDate{}
		return nil
	}
	var s string
	if err := json.Unmarshal(text, &s); err != nil {
		return errors.New("must be a date like \"2015-07-06\"")
	}
	var got waterneed.Date
	if n, err := fmt.Sscanf(s, "%4d-%2d-%2d", &got.Year, &got.Month, &got.Day); err != nil || n != 3 || got.String() != s || !got.Valid() {
		return fmt.Errorf("%q is not a date like \"2015-07-06\"", s)
	}
	*d = NeedDate(got)
	return nil
}

// MarshalJSON writes a date; the zero date is null.
func (d NeedDate) MarshalJSON() ([]byte, error) {
	if d == (NeedDate{}) {
		return []byte("null"), nil
	}
	return json.Marshal(waterneed.Date(d).String())
}

// NeedConditions is weather as measured; unknown values are left out.
type NeedConditions struct {
	TmaxC            *float64 `json:"tmax_c,omitempty"`
	TminC            *float64 `json:"tmin_c,omitempty"`
	VaporPressureKpa *float64 `json:"vapor_pressure_kpa,omitempty"`
	DewPointC        *float64 `json:"dew_point_c,omitempty"`
	DryBulbC         *float64 `json:"dry_bulb_c,omitempty"`
	WetBulbC         *float64 `json:"wet_bulb_c,omitempty"`
	Psychrometer     string   `json:"psychrometer,omitempty"` // ventilated, naturally_ventilated or indoor; left out: ventilated
	RhMaxPct         *float64 `json:"rh_max_pct,omitempty"`
	RhMinPct         *float64 `json:"rh_min_pct,omitempty"`
	RhMeanPct        *float64 `json:"rh_mean_pct,omitempty"`
	RadiationMjM2    *float64 `json:"radiation_mj_m2,omitempty"`
	SunshineH        *float64 `json:"sunshine_h,omitempty"`
	WindMS           *float64 `json:"wind_m_s,omitempty"`
	WindHeightM      *float64 `json:"wind_height_m,omitempty"`
	RainMm           *float64 `json:"rain_mm,omitempty"`
	ET0Mm            *float64 `json:"et0_mm,omitempty"` // computed elsewhere; prevails in a series
}

// NeedDay is the weather of a date, or of a day of any year by its number, which a single day may have instead.
type NeedDay struct {
	Date      NeedDate `json:"date,omitzero"`
	DayOfYear int      `json:"day_of_year,omitempty"`
	NeedConditions
}

// date returns the day's date; a day by its number lies in a common year, the 366th in a leap year.
func (d NeedDay) date() waterneed.Date {
	switch {
	case d.DayOfYear == 0:
		return waterneed.Date(d.Date)
	case d.DayOfYear > 365:
		return waterneed.Date{Year: normalYear - 1, Month: 1, Day: 1}.AddDays(d.DayOfYear - 1)
	default:
		return waterneed.Date{Year: normalYear, Month: 1, Day: 1}.AddDays(d.DayOfYear - 1)
	}
}

// dayFaults checks that a day is named once.
func (d NeedDay) dayFaults(pointer string, faults *Faults) {
	switch {
	case d.DayOfYear != 0 && d.Date != NeedDate{}:
		faults.Add(pointer+"/day_of_year", "give a date or a day of the year, not both")
	case d.DayOfYear < 0 || d.DayOfYear > 366:
		faults.Add(pointer+"/day_of_year", "%d is not between 1 and 366", d.DayOfYear)
	}
}

// NeedMonth is the mean day of a month. The mean temperatures of its neighbours, for the heat of the soil, are taken from
// the months of the file beside it where they are left out. Without a year a common year is meant.
type NeedMonth struct {
	Year           int      `json:"year,omitempty"`
	Month          int      `json:"month" file:"required"`
	PreviousTmeanC *float64 `json:"previous_tmean_c,omitempty"`
	NextTmeanC     *float64 `json:"next_tmean_c,omitempty"`
	NeedConditions
}

// NeedWeather is all that is known of the place's weather.
type NeedWeather struct {
	Measured []NeedDay        `json:"measured,omitempty"`
	Forecast []NeedDay        `json:"forecast,omitempty"`
	Normals  []NeedConditions `json:"normals,omitempty"`
}

// NeedSpan is a run of days.
type NeedSpan struct {
	From NeedDate `json:"from" file:"required"`
	Days int      `json:"days" file:"required"`
}

// CropStages are lengths of stages.
type CropStages struct {
	InitialD     int `json:"initial_d"     file:"required"`
	DevelopmentD int `json:"development_d" file:"required"`
	MidD         int `json:"mid_d"         file:"required"`
	LateD        int `json:"late_d"        file:"required"`
}

// Crop names a crop of the library and overrides what it likes; a crop outside the library gives all that has no
// default. It is also the shape of the copy that a planting keeps.
type Crop struct {
	Code              string      `json:"code" file:"required"`
	Stages            *CropStages `json:"stages,omitempty"`
	KcIni             *float64    `json:"kc_ini,omitempty"`
	KcMid             *float64    `json:"kc_mid,omitempty"`
	KcEnd             *float64    `json:"kc_end,omitempty"`
	SupportedKcMid    *float64    `json:"supported_kc_mid,omitempty"`
	KcbIni            *float64    `json:"kcb_ini,omitempty"`
	KcbMid            *float64    `json:"kcb_mid,omitempty"`
	KcbEnd            *float64    `json:"kcb_end,omitempty"`
	HeightM           *float64    `json:"height_m,omitempty"`
	SupportedHeightM  *float64    `json:"supported_height_m,omitempty"`
	RootStartM        *float64    `json:"root_start_m,omitempty"`
	RootDepthM        *float64    `json:"root_depth_m,omitempty"`
	RootDeepM         *float64    `json:"root_deep_m,omitempty"`
	DepletionFraction *float64    `json:"depletion_fraction,omitempty"`
	PlasticCut        *float64    `json:"plastic_cut,omitempty"`
	YieldResponse     *float64    `json:"yield_response,omitempty"`
	// PlantSpacingM is the distance in the row at which a garden plants its own crop, for plantings that don't say theirs.
	PlantSpacingM      *float64 `json:"plant_spacing_m,omitempty"`
	CoefficientsJudged *bool    `json:"coefficients_judged,omitempty"`
	StagesJudged       *bool    `json:"stages_judged,omitempty"`
}

// NeedSetting is what changes a crop's coefficients where it stands.
type NeedSetting struct {
	Mulch      string   `json:"mulch,omitempty"`
	MulchCover float64  `json:"mulch_cover,omitempty"`
	Supported  bool     `json:"supported,omitempty"`
	Exposure   float64  `json:"exposure,omitempty"`
	WindMS     *float64 `json:"wind_m_s,omitempty"`
	RhMinPct   *float64 `json:"rh_min_pct,omitempty"`
}

// NeedCurve asks for a coefficient curve, on some days or on all.
type NeedCurve struct {
	Crop    Crop        `json:"crop" file:"required"`
	Setting NeedSetting `json:"setting,omitempty"`
	// WettedFraction is the share of the ground that irrigation wets; 0 stands for all.
	WettedFraction float64 `json:"wetted_fraction,omitempty"`
	Days           []int   `json:"days,omitempty"`
}

// NeedFeel is a feel test.
type NeedFeel struct {
	Ball     bool    `json:"ball,omitempty"`
	RibbonMm float64 `json:"ribbon_mm,omitempty"`
	Gritty   bool    `json:"gritty,omitempty"`
	Smooth   bool    `json:"smooth,omitempty"`
}

// NeedSoil is a texture, a feel test, or measured water contents over one of them; nothing is loam, flagged.
type NeedSoil struct {
	Texture           string    `json:"texture,omitempty"`
	Feel              *NeedFeel `json:"feel,omitempty"`
	FieldCapacityM3M3 *float64  `json:"field_capacity_m3_m3,omitempty"`
	WiltingPointM3M3  *float64  `json:"wilting_point_m3_m3,omitempty"`
	InfiltrationMmH   *float64  `json:"infiltration_mm_h,omitempty"`
	SurfaceStorageMm  *float64  `json:"surface_storage_mm,omitempty"`
}

// NeedOpening is the state in which a ledger opens.
type NeedOpening struct {
	Kind        string    `json:"kind,omitempty"`
	Date        *NeedDate `json:"date,omitempty"`
	DepletionMm float64   `json:"depletion_mm,omitempty"`
}

// NeedCompanion is another crop on the same bed.
type NeedCompanion struct {
	Crop   Crop      `json:"crop"   file:"required"`
	From   NeedDate  `json:"from"   file:"required"`
	To     *NeedDate `json:"to,omitempty"`
	Ground float64   `json:"ground" file:"required"`
}

// NeedPlanting is a crop on a piece of ground.
type NeedPlanting struct {
	ID             string          `json:"id"             file:"required"`
	Crop           Crop            `json:"crop"           file:"required"`
	From           NeedDate        `json:"from"           file:"required"`
	To             *NeedDate       `json:"to,omitempty"`
	Establishment  string          `json:"establishment,omitempty"`
	GroundAreaM2   float64         `json:"ground_area_m2" file:"required"`
	WetAreaM2      float64         `json:"wet_area_m2,omitempty"`
	FlowShare      float64         `json:"flow_share,omitempty"`
	Setting        NeedSetting     `json:"setting,omitempty"`
	RootLimitM     float64         `json:"root_limit_m,omitempty"`
	DryBelow       float64         `json:"dry_below,omitempty"`
	FixedDepletion bool            `json:"fixed_depletion,omitempty"`
	Dual           bool            `json:"dual,omitempty"`
	Opening        NeedOpening     `json:"opening,omitempty"`
	Companions     []NeedCompanion `json:"companions,omitempty"`
	Ground         float64         `json:"ground,omitempty"`
}

// NeedUniformity is how evenly a unit waters.
type NeedUniformity struct {
	MeasuredDU *float64 `json:"measured_du,omitempty"`
	ComputedDU *float64 `json:"computed_du,omitempty"`
}

// NeedApplication is how fast water reaches the soil.
type NeedApplication struct {
	FlowLPerMin   float64 `json:"flow_l_per_min,omitempty"`
	FlowLPerHPerM float64 `json:"flow_l_per_h_per_m,omitempty"`
	StripWidthM   float64 `json:"strip_width_m,omitempty"`
}

// NeedTurn is a watering; its outcome is empty when nobody reported it.
type NeedTurn struct {
	ID          string   `json:"id,omitempty"`
	Date        NeedDate `json:"date" file:"required"`
	VolumeL     float64  `json:"volume_l,omitempty"`
	DurationMin float64  `json:"duration_min,omitempty"`
	Outcome     string   `json:"outcome,omitempty"`
	RanMin      *float64 `json:"ran_min,omitempty"`
	MeteredL    *float64 `json:"metered_l,omitempty"`
}

// NeedDig is a look into the soil.
type NeedDig struct {
	Date        NeedDate `json:"date" file:"required"`
	Planting    string   `json:"planting,omitempty"`
	Finding     string   `json:"finding,omitempty"`
	DepletionMm *float64 `json:"depletion_mm,omitempty"`
}

// NeedUnit is a layout or a hand-watered plot, what happened to it, and what is asked: its ledgers up to a morning, its
// demand over a horizon, the effect of a plan of litres, or a season irrigated when readily available water is used.
type NeedUnit struct {
	ID          string          `json:"id"        file:"required"`
	Soil        NeedSoil        `json:"soil,omitempty"`
	Plantings   []NeedPlanting  `json:"plantings" file:"required"`
	Uniformity  NeedUniformity  `json:"uniformity,omitempty"`
	Application NeedApplication `json:"application,omitempty"`
	Turns       []NeedTurn      `json:"turns,omitempty"`
	Digs        []NeedDig       `json:"digs,omitempty"`
	// LedgerUntil is the morning up to which ledgers run; it is the start of the horizon too.
	LedgerUntil    *NeedDate `json:"ledger_until,omitempty"`
	WithoutAssumed bool      `json:"without_assumed,omitempty"`
	HorizonDays    int       `json:"horizon_days,omitempty"`
	PlanL          []float64 `json:"plan_l,omitempty"`
	Season         bool      `json:"season,omitempty"`
}

// ReadNeed reads a need file. Faults are Faults.
func ReadNeed(r io.Reader) (Need, error) {
	var n Need
	if err := Decode(r, &n); err != nil {
		return Need{}, err
	}
	var faults Faults
	if n.Place == nil && (len(n.Days) > 0 || len(n.Months) > 0 || n.Series != nil || len(n.Units) > 0) {
		faults.Add("/place", "is required with days, months, a series or units")
	}
	for i, d := range n.Days {
		d.dayFaults(Point("days", i), &faults)
	}
	for i, u := range n.Units {
		if u.LedgerUntil == nil && (u.HorizonDays != 0 || len(u.PlanL) > 0) {
			faults.Add(Point("units", i, "ledger_until"), "is required with a horizon or a plan")
		}
	}
	return n, faults.Err()
}

// enginePointers turns the fields of an engine's faults into JSON pointers under a prefix. The engine calls weather.x
// what the file writes as x, and history.x what a unit writes as x.
func enginePointers(prefix string, err error) error {
	var errs waterneed.InputErrors
	if !errors.As(err, &errs) {
		return err
	}
	var faults Faults
	for _, e := range errs {
		field := strings.NewReplacer("[", "/", "]", "", ".", "/").Replace(e.Field)
		field = strings.TrimPrefix(strings.TrimPrefix(field, "weather/"), "history/")
		at := prefix + "/" + field
		if strings.HasPrefix(field, "place/") {
			at = "/" + field
		}
		faults = append(faults, Fault{Pointer: at, Reason: needReason(e)})
	}
	return faults
}

func needReason(e waterneed.InputError) string {
	switch e.Reason {
	case waterneed.ReasonMissing:
		return "is missing"
	case waterneed.ReasonUnknown:
		return "is not a known value"
	case waterneed.ReasonDuplicate:
		return "appears twice"
	case waterneed.ReasonNotFinite:
		return "is not a finite number"
	case waterneed.ReasonOrder:
		return orderReason(e)
	case waterneed.ReasonUnit:
		return fmt.Sprintf("%g is not between %.4g and %.4g; is it in another unit?", e.Value, e.Low, e.High)
	default:
		return fmt.Sprintf("%g is not between %.4g and %.4g", e.Value, e.Low, e.High)
	}
}

// orderReason says what comes before what.
func orderReason(e waterneed.InputError) string {
	switch {
	case strings.HasSuffix(e.Field, "tmax_c"):
		return fmt.Sprintf("%g is lower than tmin_c, %g", e.Value, e.Low)
	case strings.HasSuffix(e.Field, "rh_max_pct"):
		return fmt.Sprintf("%g is lower than rh_min_pct, %g", e.Value, e.Low)
	case e.Value < e.Low:
		return "lies before the first day"
	default:
		return fmt.Sprintf("lies more than %g days after the first day", e.High)
	}
}

func optional[T ~float64](v *float64) waterneed.Optional[T] {
	if v == nil {
		return waterneed.Optional[T]{}
	}
	return waterneed.Given(T(*v))
}

func date(d *NeedDate) waterneed.Date {
	if d == nil {
		return waterneed.Date{}
	}
	return waterneed.Date(*d)
}

func (p *NeedPlace) engine() waterneed.Place {
	if p == nil {
		return waterneed.Place{}
	}
	return waterneed.Place{
		Latitude: unit.Degrees(p.LatitudeDeg), Elevation: unit.Length(p.ElevationM), Coastal: p.Coastal,
		Humidity: waterneed.HumidityClass(p.HumidityClass),
	}
}

func (c NeedConditions) engine() waterneed.Weather {
	return waterneed.Weather{
		TMax: optional[unit.Temperature](c.TmaxC), TMin: optional[unit.Temperature](c.TminC),
		VaporPressure: optional[unit.Pressure](c.VaporPressureKpa), DewPoint: optional[unit.Temperature](c.DewPointC),
		DryBulb: optional[unit.Temperature](c.DryBulbC), WetBulb: optional[unit.Temperature](c.WetBulbC),
		Ventilation: waterneed.Ventilation(c.Psychrometer), ET0: optional[unit.Depth](c.ET0Mm),
		RHMax: optional[unit.Percent](c.RhMaxPct), RHMin: optional[unit.Percent](c.RhMinPct),
		RHMean: optional[unit.Percent](c.RhMeanPct), Radiation: optional[unit.Irradiation](c.RadiationMjM2),
		Sunshine: optional[unit.Hours](c.SunshineH), Wind: optional[unit.Velocity](c.WindMS),
		WindHeight: optional[unit.Length](c.WindHeightM).Value, Rain: optional[unit.Depth](c.RainMm),
	}
}

func (w NeedWeather) engine(p waterneed.Place) waterneed.Climate {
	c := waterneed.Climate{Place: p}
	for _, d := range w.Measured {
		c.Measured = append(c.Measured, waterneed.Day{Date: d.date(), Weather: d.engine()})
	}
	for _, d := range w.Forecast {
		c.Forecast = append(c.Forecast, waterneed.Day{Date: d.date(), Weather: d.engine()})
	}
	for _, n := range w.Normals {
		c.Normals = append(c.Normals, n.engine())
	}
	return c
}

// engine returns the crop: the library's with the overrides given. A crop outside the library must give its stages, Kc
// and Kcb values, height, root depth and depletion fraction.
func (c Crop) engine(pointer string, faults *Faults) waterneed.Crop {
	crop, known := waterneed.CropByCode(c.Code)
	if !known {
		c.complete(pointer, faults)
		crop = waterneed.Crop{Code: c.Code, RootStart: 0.10}
	}
	if c.Stages != nil {
		crop.Stages = waterneed.StageLengths{
			Initial: c.Stages.InitialD, Development: c.Stages.DevelopmentD, Mid: c.Stages.MidD, Late: c.Stages.LateD,
		}
		crop.StagesJudged = false
	}
	for _, f := range []struct {
		from *float64
		to   *float64
	}{
		{c.KcIni, &crop.KcIni},
		{c.KcMid, &crop.KcMid},
		{c.KcEnd, &crop.KcEnd},
		{c.SupportedKcMid, &crop.SupportedKcMid},
		{c.KcbIni, &crop.KcbIni},
		{c.KcbMid, &crop.KcbMid},
		{c.KcbEnd, &crop.KcbEnd},
		{c.HeightM, (*float64)(&crop.Height)},
		{c.SupportedHeightM, (*float64)(&crop.SupportedHeight)},
		{c.RootStartM, (*float64)(&crop.RootStart)},
		{c.RootDepthM, (*float64)(&crop.RootDepth)},
		{c.RootDeepM, (*float64)(&crop.RootDeep)},
		{c.DepletionFraction, &crop.DepletionFraction},
		{c.PlasticCut, &crop.PlasticCut},
		{c.YieldResponse, &crop.YieldResponse},
	} {
		if f.from != nil {
			*f.to = *f.from
		}
	}
	if c.RootStartM == nil {
		crop.RootStart = min(crop.RootStart, max(crop.RootDepth, 0.02))
	}
	if c.CoefficientsJudged != nil {
		crop.CoefficientsJudged = *c.CoefficientsJudged
	}
	if c.StagesJudged != nil {
		crop.StagesJudged = *c.StagesJudged
	}
	return crop
}

func (c Crop) complete(pointer string, faults *Faults) {
	if c.Stages == nil {
		faults.Add(pointer+"/stages", "is required: %q is not in the library", c.Code)
	}
	for _, f := range []struct {
		name  string
		value *float64
	}{
		{"kc_ini", c.KcIni},
		{"kc_mid", c.KcMid},
		{"kc_end", c.KcEnd},
		{"kcb_ini", c.KcbIni},
		{"kcb_mid", c.KcbMid},
		{"kcb_end", c.KcbEnd},
		{"height_m", c.HeightM},
		{"root_depth_m", c.RootDepthM},
		{"depletion_fraction", c.DepletionFraction},
	} {
		if f.value == nil {
			faults.Add(pointer+"/"+f.name, "is required: %q is not in the library", c.Code)
		}
	}
}

// CropOf returns the complete copy of a crop that a planting keeps.
func CropOf(c waterneed.Crop) Crop {
	f := func(v float64) *float64 { return &v }
	return Crop{
		Code: c.Code,
		Stages: &CropStages{
			InitialD: c.Stages.Initial, DevelopmentD: c.Stages.Development, MidD: c.Stages.Mid, LateD: c.Stages.Late,
		},
		KcIni: f(c.KcIni), KcMid: f(c.KcMid), KcEnd: f(c.KcEnd), SupportedKcMid: f(c.SupportedKcMid),
		KcbIni: f(c.KcbIni), KcbMid: f(c.KcbMid), KcbEnd: f(c.KcbEnd),
		HeightM: f(float64(c.Height)), SupportedHeightM: f(float64(c.SupportedHeight)),
		RootStartM: f(float64(c.RootStart)), RootDepthM: f(float64(c.RootDepth)), RootDeepM: f(float64(c.RootDeep)),
		DepletionFraction: f(c.DepletionFraction), PlasticCut: f(c.PlasticCut), YieldResponse: f(c.YieldResponse),
		CoefficientsJudged: &c.CoefficientsJudged, StagesJudged: &c.StagesJudged,
	}
}

// Constants returns the crop that a file describes. Faults are Faults with pointers under the crop.
func (c Crop) Constants() (waterneed.Crop, error) {
	var faults Faults
	crop := c.engine("", &faults)
	if s := c.PlantSpacingM; s != nil && (*s < 0.01 || *s > 10) {
		faults.Add("/plant_spacing_m", "%g is not between 0.01 and 10", *s)
	}
	if err := faults.Err(); err != nil {
		return waterneed.Crop{}, err
	}
	if err := crop.Validate(); err != nil {
		return waterneed.Crop{}, enginePointers("", err)
	}
	return crop, nil
}

func (s NeedSetting) engine() waterneed.Setting {
	return waterneed.Setting{
		Mulch: waterneed.MulchKind(s.Mulch), MulchCover: s.MulchCover, Supported: s.Supported, Exposure: s.Exposure,
		Wind: optional[unit.Velocity](s.WindMS), RHMin: optional[unit.Percent](s.RhMinPct),
	}
}

func (s NeedSoil) engine(pointer string, faults *Faults) waterneed.Soil {
	soil := waterneed.UnknownSoil()
	texture := waterneed.Texture(s.Texture)
	if s.Feel != nil {
		if s.Texture != "" {
			faults.Add(pointer+"/feel", "give a texture or a feel test, not both")
		}
		f := *s.Feel
		texture = waterneed.Feel{Ball: f.Ball, Ribbon: unit.Millimeters(f.RibbonMm), Gritty: f.Gritty, Smooth: f.Smooth}.Texture()
	}
	if texture != "" {
		var err error
		if soil, err = waterneed.SoilOf(texture); err != nil {
			faults.Add(pointer+"/texture", "%q is not a known texture", s.Texture)
			return waterneed.UnknownSoil()
		}
	}
	if s.FieldCapacityM3M3 != nil && s.WiltingPointM3M3 != nil {
		soil = soil.WithWaterContents(*s.FieldCapacityM3M3, *s.WiltingPointM3M3)
	} else if s.FieldCapacityM3M3 != nil || s.WiltingPointM3M3 != nil {
		faults.Add(pointer+"/field_capacity_m3_m3", "field capacity and wilting point go together")
	}
	if s.InfiltrationMmH != nil {
		soil = soil.WithInfiltration(unit.Intensity(*s.InfiltrationMmH))
	}
	if s.SurfaceStorageMm != nil {
		soil.SurfaceStorage = unit.Depth(*s.SurfaceStorageMm)
	}
	return soil
}

func (p NeedPlanting) engine(pointer string, faults *Faults) waterneed.Planting {
	out := waterneed.Planting{
		ID: p.ID, Crop: p.Crop.engine(pointer+"/crop", faults), From: waterneed.Date(p.From), To: date(p.To),
		Establishment: waterneed.Establishment(p.Establishment), GroundArea: unit.Area(p.GroundAreaM2), WetArea: unit.Area(p.WetAreaM2),
		FlowShare: p.FlowShare, Setting: p.Setting.engine(), RootLimit: unit.Length(p.RootLimitM), DryBelow: p.DryBelow,
		FixedDepletion: p.FixedDepletion, Dual: p.Dual, Ground: p.Ground,
		Opening: waterneed.Opening{
			Kind: waterneed.OpeningKind(p.Opening.Kind), Date: date(p.Opening.Date), Depletion: unit.Depth(p.Opening.DepletionMm),
		},
	}
	for i, c := range p.Companions {
		out.Companions = append(out.Companions, waterneed.Companion{
			Crop: c.Crop.engine(fmt.Sprintf("%s/companions/%d/crop", pointer, i), faults), From: waterneed.Date(c.From), To: date(c.To), Ground: c.Ground,
		})
	}
	return out
}

func (u NeedUnit) engine(pointer string, faults *Faults) waterneed.Unit {
	out := waterneed.Unit{
		ID: u.ID, Soil: u.Soil.engine(pointer+"/soil", faults),
		Uniformity: waterneed.Uniformity{
			Measured: optional[float64](u.Uniformity.MeasuredDU), Computed: optional[float64](u.Uniformity.ComputedDU),
		},
		Application: waterneed.Application{
			Flow: unit.LitersPerMinute(u.Application.FlowLPerMin), FlowPerMeter: unit.LitersPerHour(u.Application.FlowLPerHPerM),
			StripWidth: unit.Length(u.Application.StripWidthM),
		},
	}
	for i, p := range u.Plantings {
		out.Plantings = append(out.Plantings, p.engine(fmt.Sprintf("%s/plantings/%d", pointer, i), faults))
	}
	return out
}

func (u NeedUnit) history() waterneed.History {
	var h waterneed.History
	for _, t := range u.Turns {
		turn := waterneed.Turn{
			ID: t.ID, Date: waterneed.Date(t.Date), Volume: unit.Liters(t.VolumeL), Minutes: unit.Minutes(t.DurationMin),
			Outcome: waterneed.Outcome(t.Outcome), Ran: optional[unit.Minutes](t.RanMin),
		}
		if t.MeteredL != nil {
			turn.Metered = waterneed.Given(unit.Liters(*t.MeteredL))
		}
		h.Turns = append(h.Turns, turn)
	}
	for _, d := range u.Digs {
		h.Digs = append(h.Digs, waterneed.Dig{
			Date: waterneed.Date(d.Date), Planting: d.Planting, Finding: waterneed.Finding(d.Finding), Depletion: optional[unit.Depth](d.DepletionMm),
		})
	}
	return h
}
