package render

// CautionCode names a caution that documents and layout answers carry where it applies.
type CautionCode string

// The cautions, in the order in which they are printed.
const (
	CautionBackflow     CautionCode = "backflow"
	CautionVacuum       CautionCode = "vacuum-breaker"
	CautionCrossJoin    CautionCode = "cross-connection"
	CautionAirGap       CautionCode = "air-gap"
	CautionRoofWater    CautionCode = "roof-water"
	CautionDrinking     CautionCode = "do-not-drink"
	CautionPipePressure CautionCode = "pipe-pressure"
	CautionPipeAir      CautionCode = "pipe-air"
	CautionCement       CautionCode = "solvent-cement"
	CautionDrilling     CautionCode = "drilling"
	CautionScald        CautionCode = "scald"
	CautionTrip         CautionCode = "trip"
	CautionHeat         CautionCode = "heat"
	CautionEstimate     CautionCode = "estimate"
	CautionLocalCode    CautionCode = "local-code"
)

// CautionCodes lists all cautions in their order.
func CautionCodes() []CautionCode {
	return []CautionCode{
		CautionBackflow, CautionVacuum, CautionCrossJoin, CautionAirGap, CautionRoofWater, CautionDrinking, CautionPipePressure,
		CautionPipeAir, CautionCement, CautionDrilling, CautionScald, CautionTrip, CautionHeat, CautionEstimate, CautionLocalCode,
	}
}

// Circumstances say which cautions a document needs.
type Circumstances struct {
	DrinkingWaterTap bool // a hose connection to drinking water
	ValveAfterTap    bool // a manifold, valve or timer behind a hose connection
	StoredWater      bool // a tank, barrel or well
	RefilledFromTap  bool // a tank that drinking water refills
	RoofWater        bool // water collected from a roof
	Hose             bool // a hose lies in the garden
	PlasticPipe      bool
	CementedJoints   bool
	Drilling         bool // the document tells somebody to drill
	PeopleAtWork     bool // somebody must be there for a turn
}

// Cautions returns those that apply, in the order of CautionCodes. That every plan is an estimate and that local codes
// and licensed practice decide, applies always.
func (c Circumstances) Cautions() []CautionCode {
	applies := map[CautionCode]bool{
		CautionBackflow:     c.DrinkingWaterTap,
		CautionVacuum:       c.DrinkingWaterTap && c.ValveAfterTap,
		CautionCrossJoin:    c.StoredWater || c.RoofWater,
		CautionAirGap:       c.RefilledFromTap,
		CautionRoofWater:    c.RoofWater,
		CautionDrinking:     c.Hose || c.DrinkingWaterTap,
		CautionPipePressure: c.PlasticPipe,
		CautionPipeAir:      c.PlasticPipe,
		CautionCement:       c.CementedJoints,
		CautionDrilling:     c.Drilling,
		CautionScald:        c.PlasticPipe || c.Hose,
		CautionTrip:         c.Hose,
		CautionHeat:         c.PeopleAtWork,
		CautionEstimate:     true,
		CautionLocalCode:    true,
	}
	var codes []CautionCode
	for _, code := range CautionCodes() {
		if applies[code] {
			codes = append(codes, code)
		}
	}
	return codes
}
