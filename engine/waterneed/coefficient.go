package waterneed

import (
	"math"

	"rillturn.example/rillturn/engine/unit"
)

// mostCoefficient caps a crop coefficient after all factors: small plots among paving reach 2 and more, 2.5 is the most.
// Source: FAO-56 p. 202.
const mostCoefficient = 2.5

// Depletion fraction p stays between leastDepletion and mostDepletion. Source: FAO-56 Figure 41, labels from memory.
const leastDepletion, mostDepletion = 0.1, 0.8

// DepletionFraction returns p at crop evapotranspiration etc [mm/day]: p + 0.04 (5 - ETc), within 0.1 and 0.8.
// Source: FAO-56 Table 22, footnote 2.
func DepletionFraction(p float64, etc unit.Depth) float64 {
	return min(mostDepletion, max(leastDepletion, p+0.04*(5-float64(etc))))
}

// climateTerm returns [0.04 (u2 - 2) - 0.004 (RHmin - 45)] (h/3)^0.3 with u2 held to 1-6 m/s, RHmin to 20-80 % and the
// height to 0.1-10 m. Source: FAO-56 eq. 62 with its limits.
func climateTerm(u2 unit.Velocity, rhMin unit.Percent, h unit.Length) float64 {
	u := min(6, max(1, float64(u2)))
	rh := min(80, max(20, float64(rhMin)))
	height := min(10, max(0.1, float64(h)))
	return (0.04*(u-2) - 0.004*(rh-45)) * math.Pow(height/3, 0.3)
}

// ClimateCoefficientMid returns Kc or Kcb of the mid season for a climate other than RHmin 45 % and 2 m/s.
// Source: FAO-56 eq. 62, 70.
func ClimateCoefficientMid(table float64, u2 unit.Velocity, rhMin unit.Percent, h unit.Length) float64 {
	return max(0, table+climateTerm(u2, rhMin, h))
}

// ClimateCoefficientEnd returns Kc or Kcb of the end for a climate; values below 0.45 stay as they are.
// Source: FAO-56 eq. 65, 70.
func ClimateCoefficientEnd(table float64, u2 unit.Velocity, rhMin unit.Percent, h unit.Length) float64 {
	if table < 0.45 {
		return table
	}
	return max(0, table+climateTerm(u2, rhMin, h))
}

// MulchKind is what covers the soil between plants.
type MulchKind string

// The kinds of mulch.
const (
	MulchNone    MulchKind = ""
	MulchOrganic MulchKind = "organic"
	MulchPlastic MulchKind = "plastic"
)

// plasticKcIni is Kc ini under full plastic mulch, plasticBasalCut the fall of Kcb under it.
// Sources: FAO-56 p. 196 and Table 25; Example 45 p. 197.
const plasticKcIni, plasticBasalCut = 0.10, 0.10

// Setting is what changes a crop's coefficients where it stands.
type Setting struct {
	// WettedFraction fw: share of the ground that irrigation wets; 0 stands for 1.
	WettedFraction float64
	Mulch          MulchKind
	// MulchCover is the share of the ground under organic mulch.
	MulchCover float64
	// Supported plants stand on stakes, poles or a trellis.
	Supported bool
	// Exposure multiplies the coefficient of small plots among paving or dry ground: 1 (or 0 for unknown) to 1.3.
	Exposure float64
	// Wind at 2 m and RHmin are the means of the mid season; unknown ones are 2 m/s and 45 %.
	Wind  Optional[unit.Velocity]
	RHMin Optional[unit.Percent]
}

func (s Setting) wetted() float64 {
	if s.WettedFraction == 0 {
		return 1
	}
	return s.WettedFraction
}

func (s Setting) faults() InputErrors {
	var faults InputErrors
	faults.within("wetted_fraction", s.wetted(), 0.01, 1)
	if s.Mulch != MulchNone && s.Mulch != MulchOrganic && s.Mulch != MulchPlastic {
		faults.add("mulch", ReasonUnknown)
	}
	faults.within("mulch_cover", s.MulchCover, 0, 1)
	if s.Exposure != 0 {
		faults.within("exposure", s.Exposure, 1, 1.3)
	}
	optionalWithin(&faults, "wind_m_s", s.Wind, 0, windMost)
	optionalWithin(&faults, "rh_min_pct", s.RHMin, 0, 100)
	return faults
}

// The stages of growth.
const (
	StageInitial     Code = "initial"
	StageDevelopment Code = "development"
	StageMid         Code = "mid"
	StageLate        Code = "late"
	// StagePast is after the last stage: the crop still stands and keeps the values of the end.
	StagePast Code = "past_curve"
)

// Coefficient is a crop on one day.
type Coefficient struct {
	// Day counts the day of planting as 1.
	Day   int
	Stage Code
	// Kc is the single coefficient, Kcb the basal one, both over the ground the canopy serves.
	Kc, Kcb float64
	// Height and Roots as grown by that day, before a raised bed limits the roots.
	Height, Roots unit.Length
}

// Curve is the coefficient curve of a crop in its setting, with the three values it is drawn through.
type Curve struct {
	Stages                 StageLengths
	KcIni, KcMid, KcEnd    float64
	KcbIni, KcbMid, KcbEnd float64
	Height                 unit.Length
	RootStart, RootDepth   unit.Length
}

// NewCurve adjusts the constants of a crop to its setting, in this order:
//
//  1. plants on supports take SupportedKcMid and SupportedHeight, and Kcb mid rises as Kc mid does;
//  2. Kc mid, Kc end, Kcb mid and Kcb end follow the climate (eq. 62, 65, 70);
//  3. Kc ini is multiplied by the wetted fraction (eq. 60);
//  4. mulch: plastic sets Kc ini to 0.10 and lowers Kc mid and end by the crop's cut and Kcb by 10 %; organic lowers
//     evaporation by 5 % per 10 % of cover (FAO-56 ch. 10);
//  5. exposure multiplies all, up to 2.5.
//
// Faults are InputErrors.
func NewCurve(crop Crop, s Setting) (Curve, error) {
	var faults InputErrors
	faults.join("crop", crop.faults())
	faults.join("", s.faults())
	if err := faults.err(); err != nil {
		return Curve{}, err
	}
	return newCurve(crop, s), nil
}

func newCurve(crop Crop, s Setting) Curve {
	c := Curve{
		Stages: crop.Stages, KcIni: crop.KcIni, KcMid: crop.KcMid, KcEnd: crop.KcEnd,
		KcbIni: crop.KcbIni, KcbMid: crop.KcbMid, KcbEnd: crop.KcbEnd,
		Height: crop.Height, RootStart: crop.RootStart, RootDepth: crop.RootDepth,
	}
	if s.Supported {
		c.Height = max(crop.Height, crop.SupportedHeight)
		if crop.SupportedKcMid > 0 {
			c.KcbMid += crop.SupportedKcMid - c.KcMid
			c.KcMid = crop.SupportedKcMid
		}
	}
	u2, rhMin := s.Wind.Or(assumedWind), s.RHMin.Or(45)
	c.KcMid = ClimateCoefficientMid(c.KcMid, u2, rhMin, c.Height)
	c.KcEnd = ClimateCoefficientEnd(c.KcEnd, u2, rhMin, c.Height)
	c.KcbMid = ClimateCoefficientMid(c.KcbMid, u2, rhMin, c.Height)
	c.KcbEnd = ClimateCoefficientEnd(c.KcbEnd, u2, rhMin, c.Height)
	c.KcIni *= s.wetted()
	c.mulch(crop, s)
	if s.Exposure != 0 {
		for _, k := range []*float64{&c.KcIni, &c.KcMid, &c.KcEnd, &c.KcbIni, &c.KcbMid, &c.KcbEnd} {
			*k = min(mostCoefficient, *k*s.Exposure)
		}
	}
	return c
}

// mulch lowers the coefficients. Source: FAO-56 p. 195-198 and Table 25.
func (c *Curve) mulch(crop Crop, s Setting) {
	switch s.Mulch {
	case MulchPlastic:
		c.KcIni = min(c.KcIni, plasticKcIni)
		c.KcMid *= 1 - crop.PlasticCut
		c.KcEnd *= 1 - crop.PlasticCut
		c.KcbIni = min(c.KcbIni, plasticKcIni)
		c.KcbMid *= 1 - plasticBasalCut
		c.KcbEnd *= 1 - plasticBasalCut
	case MulchOrganic:
		c.KcIni *= 1 - 0.5*s.MulchCover
		c.KcMid -= 0.5 * s.MulchCover * max(0, c.KcMid-c.KcbMid)
		c.KcEnd -= 0.5 * s.MulchCover * max(0, c.KcEnd-c.KcbEnd)
	case MulchNone:
	}
}

// At returns the crop on a day, 1 on the day of planting; days before that are taken as the first.
//
//	Kc = Kc of the last stage + (i - lengths of earlier stages)/length of this stage · (Kc next - Kc last)
//
// in the development and late stages, constant otherwise. Height and roots grow from planting to the end of the
// development stage (roots: own judgement). Source: FAO-56 eq. 66.
func (c Curve) At(day int) Coefficient {
	day = max(1, day)
	s := c.Stages
	k := Coefficient{Day: day}
	ini, dev := s.Initial, s.Initial+s.Development
	mid, late := dev+s.Mid, s.Total()
	switch {
	case day <= ini:
		k.Stage, k.Kc, k.Kcb = StageInitial, c.KcIni, c.KcbIni
	case day <= dev:
		share := float64(day-ini) / float64(s.Development)
		k.Stage, k.Kc, k.Kcb = StageDevelopment, between(c.KcIni, c.KcMid, share), between(c.KcbIni, c.KcbMid, share)
	case day <= mid:
		k.Stage, k.Kc, k.Kcb = StageMid, c.KcMid, c.KcbMid
	case day <= late:
		share := float64(day-mid) / float64(s.Late)
		k.Stage, k.Kc, k.Kcb = StageLate, between(c.KcMid, c.KcEnd, share), between(c.KcbMid, c.KcbEnd, share)
	default:
		k.Stage, k.Kc, k.Kcb = StagePast, c.KcEnd, c.KcbEnd
	}
	grown := 1.0
	if day < dev {
		grown = float64(day-1) / float64(dev-1)
	}
	k.Height = unit.Length(grown) * c.Height
	k.Roots = c.RootStart + unit.Length(grown)*(c.RootDepth-c.RootStart)
	return k
}

// between interpolates from a to b; share 1 gives b to the last bit.
func between(a, b, share float64) float64 {
	if share >= 1 {
		return b
	}
	return a + share*(b-a)
}

// MaxCoefficient returns Kc max, the most that any cover evaporates after wetting:
// max(1.2 + climate term, Kcb + 0.05). Source: FAO-56 eq. 72.
func MaxCoefficient(kcb float64, u2 unit.Velocity, rhMin unit.Percent, h unit.Length) float64 {
	return max(1.2+climateTerm(u2, rhMin, h), kcb+0.05)
}

// Canopy is one of several crops that share a bed with mixed canopies.
type Canopy struct {
	// Ground is the share of the ground under the crop.
	Ground float64
	Height unit.Length
	Kc     float64
}

// MixedCoefficient returns Kc of crops with mixed canopies, weighted by ground and height, not above kcMax:
//
//	Kc = Σ f h Kc / Σ f h
//
// Source: FAO-56 eq. 104.
func MixedCoefficient(canopies []Canopy, kcMax float64) (float64, error) {
	var faults InputErrors
	var sum, weight float64
	for _, c := range canopies {
		faults.within("canopies.ground", c.Ground, 0, 1)
		faults.within("canopies.height_m", float64(c.Height), 0, 20)
		faults.within("canopies.kc", c.Kc, 0, mostCoefficient)
		sum += c.Ground * float64(c.Height) * c.Kc
		weight += c.Ground * float64(c.Height)
	}
	if len(faults) == 0 && weight <= 0 {
		faults.add("canopies", ReasonMissing)
	}
	if err := faults.err(); err != nil {
		return 0, err
	}
	return min(kcMax, sum/weight), nil
}

// RelativeYield returns the share of the yield that is left when the crop evaporates only a share etRatio of what it
// would: 1 - Ky (1 - ETa/ETc), not below 0. Source: FAO-56 Table 24, from FAO-33.
func RelativeYield(ky, etRatio float64) float64 { return max(0, 1-ky*(1-etRatio)) }
