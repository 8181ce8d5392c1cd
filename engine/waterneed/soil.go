package waterneed

import (
	_ "embed"
	"slices"

	"rillturn.example/rillturn/engine/unit"
)

// Texture is a class of soil by its grains.
type Texture string

// The classes of FAO-56 Table 19.
const (
	Sand          Texture = "sand"
	LoamySand     Texture = "loamy_sand"
	SandyLoam     Texture = "sandy_loam"
	Loam          Texture = "loam"
	SiltLoam      Texture = "silt_loam"
	Silt          Texture = "silt"
	SiltyClayLoam Texture = "silty_clay_loam"
	SiltyClay     Texture = "silty_clay"
	Clay          Texture = "clay"
)

// Range is a low and a high value.
type Range struct{ Low, High float64 }

// Middle returns the middle of the range.
func (r Range) Middle() float64 { return (r.Low + r.High) / 2 }

// Soil holds water between field capacity and wilting point.
type Soil struct {
	Texture Texture
	// FieldCapacity and WiltingPoint are water contents θ [m³/m³].
	FieldCapacity, WiltingPoint float64
	// ReadilyEvaporable (REW) and TotallyEvaporable (TEW) water of the top 0.10 m.
	ReadilyEvaporable, TotallyEvaporable unit.Depth
	// Infiltration is the basic rate at which the soil takes water for long.
	Infiltration unit.Intensity
	// InfiltrationLow and InfiltrationHigh are the range that the texture allows; equal when measured.
	InfiltrationLow, InfiltrationHigh unit.Intensity
	// SurfaceStorage is the water that stands on the surface before it runs off.
	SurfaceStorage unit.Depth
	// Assumed says that nobody knows the soil and that it was taken as loam.
	Assumed bool
}

// SurfaceStorage is what stands on a raked bed before it runs off: own judgement, 2 to 5 mm.
const SurfaceStorage unit.Depth = 3

// AvailableWater returns FC - WP [m³/m³].
func (s Soil) AvailableWater() float64 { return s.FieldCapacity - s.WiltingPoint }

// TotalAvailableWater returns TAW over a root depth: 1000 (FC - WP) Zr. Source: FAO-56 eq. 82.
func (s Soil) TotalAvailableWater(roots unit.Length) unit.Depth {
	return unit.Depth(1000 * s.AvailableWater() * float64(roots))
}

// TextureRow is a printed row of the table of textures.
type TextureRow struct {
	Texture                                                                                    Texture
	FieldCapacity, WiltingPoint, Available, ReadilyEvaporable, TotallyEvaporable, Infiltration Range
}

//go:embed textures.csv
var texturesText string

var textureRows = readTextures()

func readTextures() []TextureRow {
	t := readTable("textures.csv", texturesText)
	rows := make([]TextureRow, len(t.rows))
	for i := range rows {
		span := func(name string) Range {
			r := Range{t.number(i, name+"_low"), t.number(i, name+"_high")}
			if r.Low <= 0 || r.High < r.Low {
				panic("textures.csv: bad range of " + name)
			}
			return r
		}
		rows[i] = TextureRow{
			Texture: Texture(t.text(i, "texture")), FieldCapacity: span("fc"), WiltingPoint: span("wp"), Available: span("aw"),
			ReadilyEvaporable: span("rew"), TotallyEvaporable: span("tew"), Infiltration: span("infiltration"),
		}
	}
	return rows
}

// Textures returns the rows of the table of textures, coarse to fine.
func Textures() []TextureRow { return slices.Clone(textureRows) }

// SoilOf returns the soil of a texture at the middle of its printed ranges: field capacity and available water are
// taken at their middle, the wilting point is their difference.
func SoilOf(t Texture) (Soil, error) {
	for _, row := range textureRows {
		if row.Texture != t {
			continue
		}
		return Soil{
			Texture: t, FieldCapacity: row.FieldCapacity.Middle(),
			WiltingPoint:      row.FieldCapacity.Middle() - row.Available.Middle(),
			ReadilyEvaporable: unit.Depth(row.ReadilyEvaporable.Middle()),
			TotallyEvaporable: unit.Depth(row.TotallyEvaporable.Middle()),
			Infiltration:      unit.Intensity(row.Infiltration.Middle()),
			InfiltrationLow:   unit.Intensity(row.Infiltration.Low), InfiltrationHigh: unit.Intensity(row.Infiltration.High),
			SurfaceStorage: SurfaceStorage,
		}, nil
	}
	return Soil{}, InputErrors{{Field: "texture", Reason: ReasonUnknown}}
}

// UnknownSoil returns loam, flagged as assumed.
func UnknownSoil() Soil {
	s, err := SoilOf(Loam)
	if err != nil {
		panic(err)
	}
	s.Assumed = true
	return s
}

// SurfaceLayer is the depth of soil that evaporation dries, Ze [m]. Source: FAO-56 p. 144.
const SurfaceLayer unit.Length = 0.10

// TotallyEvaporableWater returns TEW: 1000 (FC - 0.5 WP) Ze. Source: FAO-56 eq. 73.
func TotallyEvaporableWater(fieldCapacity, wiltingPoint float64, layer unit.Length) unit.Depth {
	return unit.Depth(1000 * (fieldCapacity - 0.5*wiltingPoint) * float64(layer))
}

// WithWaterContents returns the soil with its own field capacity and wilting point, and TEW from them.
func (s Soil) WithWaterContents(fieldCapacity, wiltingPoint float64) Soil {
	s.FieldCapacity, s.WiltingPoint, s.Assumed = fieldCapacity, wiltingPoint, false
	s.TotallyEvaporable = TotallyEvaporableWater(fieldCapacity, wiltingPoint, SurfaceLayer)
	s.ReadilyEvaporable = min(s.ReadilyEvaporable, s.TotallyEvaporable)
	return s
}

// WithInfiltration returns the soil with a measured rate of infiltration.
func (s Soil) WithInfiltration(rate unit.Intensity) Soil {
	s.Infiltration, s.InfiltrationLow, s.InfiltrationHigh = rate, rate, rate
	return s
}

func (s Soil) faults() InputErrors {
	var faults InputErrors
	if faults.within("field_capacity_m3_m3", s.FieldCapacity, 0.02, 0.7) {
		faults.within("wilting_point_m3_m3", s.WiltingPoint, 0.005, s.FieldCapacity-0.005)
	}
	faults.within("tew_mm", float64(s.TotallyEvaporable), 0.5, 60)
	faults.within("rew_mm", float64(s.ReadilyEvaporable), 0.1, float64(s.TotallyEvaporable))
	faults.within("infiltration_mm_h", float64(s.Infiltration), 0.1, 1000)
	faults.within("surface_storage_mm", float64(s.SurfaceStorage), 0, 50)
	return faults
}

// Feel is what a moist handful of soil tells.
type Feel struct {
	// Ball says that it holds together when squeezed.
	Ball bool
	// Ribbon is the length that it can be pressed out to between thumb and finger before it breaks.
	Ribbon unit.Length
	// Gritty says that sand is felt when a pinch is wetted; Smooth that it feels like flour.
	Gritty, Smooth bool
}

// Texture returns the class that the feel test points to (common practice, no source). Classes that the table of
// textures does not hold are named by their neighbour: clay loam as silty clay loam; sandy clay loam as loam, whose
// infiltration is the nearest; sandy clay as clay.
//
//  1. No ball: sand. A ball without a ribbon: loamy sand.
//  2. A ribbon under 2.5 cm: sandy loam when gritty, silt loam when smooth, else loam.
//  3. A ribbon of 2.5 to 5 cm: loam when gritty, else silty clay loam.
//  4. A longer ribbon: silty clay when smooth, else clay.
func (f Feel) Texture() Texture {
	const short, long = 0.025, 0.05 // [m]
	switch {
	case !f.Ball:
		return Sand
	case f.Ribbon <= 0:
		return LoamySand
	case f.Ribbon < short:
		if f.Gritty {
			return SandyLoam
		}
		if f.Smooth {
			return SiltLoam
		}
		return Loam
	case f.Ribbon <= long:
		if f.Gritty {
			return Loam
		}
		return SiltyClayLoam
	case f.Smooth:
		return SiltyClay
	default:
		return Clay
	}
}
