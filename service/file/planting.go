package file

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/engine/waterneed"
)

// Planting is a crop on a plot. Without crop constants those of the garden's own crop or of the published library are
// taken; with a layout it is watered by that layout alone, else by all of its plot.
type Planting struct {
	ID            string  `json:"id" file:"required"`
	PlotID        string  `json:"plot_id" file:"required"`
	LayoutID      *string `json:"layout_id,omitempty"`
	Crop          string  `json:"crop" file:"required"`
	CropConstants *Crop   `json:"crop_constants,omitempty"`
	PlantedOn     Day     `json:"planted_on" file:"required"`
	RemovedOn     *Day    `json:"removed_on,omitempty"` // the last day in the ground
	// Establishment is sown, transplanted or established; left out: transplanted. Sown plants are seedlings for 14 days and
	// transplants for 7.
	Establishment  string  `json:"establishment,omitempty"`
	AreaM2         float64 `json:"area_m2" file:"required"`
	WettedFraction float64 `json:"wetted_fraction" file:"required"`
	Mulch          string  `json:"mulch" file:"required"`
	MulchCover     float64 `json:"mulch_cover" file:"required"`
	// Supported plants stand on stakes, poles or a trellis.
	Supported bool `json:"supported,omitempty"`
	// ExposureFactor multiplies the use of small plots among paving or dry ground, 1 to 1.3; left out: 1.
	ExposureFactor *float64 `json:"exposure_factor,omitempty"`
	// DualCoefficient reckons evaporation from the soil apart from what the plants use.
	DualCoefficient bool `json:"dual_coefficient,omitempty"`
	// Companions share the bed with mixed canopies. GroundShare is the planting's own share of the ground then; left out:
	// what the companions leave.
	Companions  []PlantingCompanion `json:"companions,omitempty"`
	GroundShare *float64            `json:"ground_share,omitempty"`
	// Opening says what is known of the soil on the day of planting: winter_rain, full after winter rain, or given, with
	// the depletion of the wet strip. Left out: nothing is known.
	Opening            string   `json:"opening,omitempty"`
	OpeningDepletionMM *float64 `json:"opening_depletion_mm,omitempty"`
	PlantSpacingM      *float64 `json:"plant_spacing_m,omitempty"`
	RowSpacingM        *float64 `json:"row_spacing_m,omitempty"`
	// Outlets are those of the layout along whose laterals it stands, from 0; left out: all. FromM and ToM bound it on each
	// of them, from the tee; left out: the tee and the far end. BothSides: a row on either side of the pipe.
	Outlets   []int    `json:"outlets,omitempty"`
	FromM     *float64 `json:"from_m,omitempty"`
	ToM       *float64 `json:"to_m,omitempty"`
	BothSides bool     `json:"both_sides,omitempty"`
	Note      string   `json:"note,omitempty"`
}

// PlantingCompanion is another crop on a planting's bed, until a day or to the end of its stages of growth.
type PlantingCompanion struct {
	Crop          string  `json:"crop" file:"required"`
	CropConstants *Crop   `json:"crop_constants,omitempty"`
	PlantedOn     Day     `json:"planted_on" file:"required"`
	RemovedOn     *Day    `json:"removed_on,omitempty"`
	GroundShare   float64 `json:"ground_share" file:"required"`
}

// Watering is water that a plot or layout was given on a day before the horizon, as published and as reported. Without an
// outcome nobody reported it: it counts as published and is marked as assumed.
type Watering struct {
	PlotID      string   `json:"plot_id" file:"required"`
	LayoutID    *string  `json:"layout_id,omitempty"`
	Day         Day      `json:"day" file:"required"`
	VolumeL     float64  `json:"volume_l" file:"required"`
	DurationMin float64  `json:"duration_min,omitempty"`
	Outcome     string   `json:"outcome,omitempty"` // done, part, missed, skipped_wet, pressure_lost, overran
	RanMin      *float64 `json:"ran_min,omitempty"`
	MeteredL    *float64 `json:"metered_l,omitempty"` // by a meter or counted cans; prevails over minutes
}

// Dig is a look into the soil of a plot, or of one planting, in the morning of a day.
type Dig struct {
	PlotID      string   `json:"plot_id" file:"required"`
	PlantingID  *string  `json:"planting_id,omitempty"`
	Day         Day      `json:"day" file:"required"`
	Finding     string   `json:"finding,omitempty"`      // wet, moist or dry at a hand's depth
	DepletionMM *float64 `json:"depletion_mm,omitempty"` // measured; prevails over the finding
}

// Repeats tells whether another dig looked at the same ground on the same day.
func (d Dig) Repeats(other Dig) bool {
	same := d.PlantingID == other.PlantingID || d.PlantingID != nil && other.PlantingID != nil && *d.PlantingID == *other.PlantingID
	return d.PlotID == other.PlotID && d.Day.Equal(other.Day.Time) && same
}

// CropBy returns a crop by its constants, else the garden's own crop of that code, else the published one. Faults are
// Faults with pointers below at.
func CropBy(code string, constants *Crop, own []Crop, at string) (waterneed.Crop, error) {
	if constants != nil {
		crop, err := constants.Constants()
		return crop, below(at+"/crop_constants", err)
	}
	if i := ownCrop(code, own); i >= 0 {
		crop, err := own[i].Constants()
		if err != nil { // what is wrong with the garden's own crop is said there
			err = Faults{{Pointer: at + "/crop", Reason: fmt.Sprintf("%q is a crop of the garden whose constants can't be used", code)}}
		}
		return crop, err
	}
	crop, known := waterneed.CropByCode(code)
	if !known {
		return crop, Faults{{Pointer: at + "/crop", Reason: fmt.Sprintf("%q is neither a published crop nor one of the garden's own", code)}}
	}
	return crop, nil
}

// CopyCrop returns the complete constants of a crop by its code, the garden's own before the published one, as a planting
// keeps them. Faults are Faults with pointers below at.
func CopyCrop(code string, own []Crop, at string) (Crop, error) {
	if i := ownCrop(code, own); i >= 0 {
		return own[i].Complete(at)
	}
	crop, err := CropBy(code, nil, nil, at)
	return CropOf(crop), err
}

// Complete returns the crop with all that it leaves out. Faults are Faults with pointers below at.
func (c Crop) Complete(at string) (Crop, error) {
	crop, err := c.Constants()
	out := CropOf(crop)
	out.PlantSpacingM = c.PlantSpacingM
	return out, below(at, err)
}

func ownCrop(code string, own []Crop) int {
	return slices.IndexFunc(own, func(c Crop) bool { return c.Code == code })
}

// OwnCropFaults lists what is wrong with the garden's own crops.
func (g Garden) OwnCropFaults() Faults {
	var faults Faults
	seen := map[string]bool{}
	for i, c := range g.Crops {
		if seen[c.Code] {
			faults.Add(Point("crops", i, "code"), "appears twice")
		}
		seen[c.Code] = true
		var own Faults
		if _, err := c.Constants(); errors.As(below(Point("crops", i), err), &own) {
			faults = append(faults, own...)
		}
	}
	return faults
}

// below puts a pointer in front of an error's faults.
func below(at string, err error) error {
	var faults Faults
	if !errors.As(err, &faults) {
		return err
	}
	out := make(Faults, len(faults))
	for i, f := range faults {
		out[i] = Fault{Pointer: at + f.Pointer, Reason: f.Reason}
	}
	return out
}

// Engine returns the planting as the engine reads it, on all of its ground, with the garden's own crops beside the
// library. Faults are Faults with pointers below at.
func (p Planting) Engine(own []Crop, at string) (waterneed.Planting, error) {
	crop, err := CropBy(p.Crop, p.CropConstants, own, at)
	if err != nil {
		return waterneed.Planting{}, err
	}
	out := waterneed.Planting{
		ID: p.ID, Crop: crop, From: p.PlantedOn.EngineDate(), To: p.RemovedOn.engineDate(),
		Establishment: waterneed.Establishment(p.Establishment), GroundArea: unit.Area(p.AreaM2), WetArea: unit.Area(p.AreaM2 * p.WettedFraction),
		Setting: waterneed.Setting{
			Mulch: mulchOf(p.Mulch), MulchCover: p.MulchCover, Supported: p.Supported, Exposure: optional[float64](p.ExposureFactor).Value,
		},
		Dual:    p.DualCoefficient,
		Opening: waterneed.Opening{Kind: waterneed.OpeningKind(p.Opening), Depletion: optional[unit.Depth](p.OpeningDepletionMM).Value},
	}
	if err := p.join(&out, own, at); err != nil {
		return out, err
	}
	return out, p.refuse(out, at)
}

// join adds the companions.
func (p Planting) join(out *waterneed.Planting, own []Crop, at string) error {
	left := 1.0
	for i, c := range p.Companions {
		crop, err := CropBy(c.Crop, c.CropConstants, own, at+Point("companions", i))
		if err != nil {
			return err
		}
		out.Companions = append(out.Companions, waterneed.Companion{
			Crop: crop, From: c.PlantedOn.EngineDate(), To: c.RemovedOn.engineDate(), Ground: c.GroundShare,
		})
		left -= c.GroundShare
	}
	if len(p.Companions) > 0 {
		out.Ground = optional[float64](p.GroundShare).Or(left)
	}
	return nil
}

// plantingNames are the fields that a garden's planting calls otherwise than the engine.
var plantingNames = strings.NewReplacer(
	"setting/exposure", "exposure_factor", "setting/", "", "opening/kind", "opening", "opening/depletion_mm", "opening_depletion_mm",
	"ground_area_m2", "area_m2", "wet_area_m2", "wetted_fraction", "crop/", "crop_constants/", "from", "planted_on",
)

// refuse returns what the engine holds against the planting, in the file's names.
func (p Planting) refuse(out waterneed.Planting, at string) error {
	var faults Faults
	if err := enginePointers("", out.Validate()); !errors.As(err, &faults) {
		return err
	}
	for i, f := range faults {
		name := plantingNames.Replace(f.Pointer)
		switch {
		case name == "/to":
			name = "/removed_on"
		case strings.HasSuffix(name, "/to"):
			name = strings.TrimSuffix(name, "to") + "removed_on"
		case strings.HasSuffix(name, "/ground"):
			name = strings.TrimSuffix(name, "ground") + "ground_share"
		}
		faults[i].Pointer = at + name
	}
	return faults
}

func mulchOf(kind string) waterneed.MulchKind {
	if kind == "none" {
		return waterneed.MulchNone
	}
	return waterneed.MulchKind(kind)
}

// Engine returns the watering as the engine reads it.
func (w Watering) Engine(id string) waterneed.Turn {
	t := waterneed.Turn{
		ID: id, Date: w.Day.EngineDate(), Volume: unit.Liters(w.VolumeL), Minutes: unit.Minutes(w.DurationMin),
		Outcome: waterneed.Outcome(w.Outcome), Ran: optional[unit.Minutes](w.RanMin),
	}
	if w.MeteredL != nil {
		t.Metered = waterneed.Given(unit.Liters(*w.MeteredL))
	}
	return t
}

// Engine returns the dig as the engine reads it.
func (d Dig) Engine() waterneed.Dig {
	out := waterneed.Dig{Date: d.Day.EngineDate(), Finding: waterneed.Finding(d.Finding), Depletion: optional[unit.Depth](d.DepletionMM)}
	if d.PlantingID != nil {
		out.Planting = *d.PlantingID
	}
	return out
}

// Soil returns the plot's soil: its own water contents, else those of its texture, else loam, flagged. The table of
// textures has no clay loam; its neighbour silty clay loam stands in. Faults are Faults with pointers below at.
func (p Plot) Soil(at string) (waterneed.Soil, error) {
	soil := waterneed.UnknownSoil()
	if p.SoilTexture != nil {
		texture := waterneed.Texture(*p.SoilTexture)
		if texture == "clay_loam" {
			texture = waterneed.SiltyClayLoam
		}
		var err error
		if soil, err = waterneed.SoilOf(texture); err != nil {
			return soil, Faults{{Pointer: at + "/soil_texture", Reason: fmt.Sprintf("%q is not a known texture", *p.SoilTexture)}}
		}
	}
	if p.FieldCapacity != nil && p.WiltingPoint != nil {
		soil = soil.WithWaterContents(*p.FieldCapacity, *p.WiltingPoint)
	}
	if err := soil.Validate(); err != nil {
		err = enginePointers("", err)
		var faults Faults
		if errors.As(err, &faults) {
			for i := range faults {
				faults[i].Pointer = at + strings.TrimSuffix(faults[i].Pointer, "_m3_m3")
			}
		}
		return soil, err
	}
	return soil, nil
}
