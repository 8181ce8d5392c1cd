package words

import "rillturn.example/rillturn/api/render"

// Caution returns the sentence of a caution.
func (p Printer) Caution(code render.CautionCode) string {
	if text, ok := p.language.cautions[code]; ok {
		return text
	}
	return p.language.unknownCode(string(code))
}

var englishCautions = map[render.CautionCode]string{
	render.CautionBackflow: "Backflow: every hose connection to drinking water needs the protection that your local code asks for. " +
		"Never leave a hose end in a barrel, a pool or fertilizer.",
	render.CautionVacuum: "A hose-bib vacuum breaker must not have a valve after it nor stay under pressure for long (one municipal rule: 12 hours), " +
		"and a manifold with valves or a timer is just that: ask the water utility or a licensed plumber which device is right.",
	render.CautionCrossJoin:    "Never join the pipes of a tank, barrel or well to drinking water. Label outlets whose water is not for drinking.",
	render.CautionAirGap:       "Refill a tank over an air gap: the filling end stays above the highest water level.",
	render.CautionRoofWater:    "Roof water on food: on the soil only, not on leaves, and not shortly before harvest.",
	render.CautionDrinking:     "Do not drink from garden hoses, drip pipes or their brass fittings: those not rated for drinking water can leach lead.",
	render.CautionPipePressure: "Plastic pipe holds less pressure when it is warm: stay well under its rating, and keep it out of the sun or covered.",
	render.CautionPipeAir:      "Never test or blow out plastic pipe with compressed air: it can burst into splinters.",
	render.CautionCement:       "Solvent cement and primer: work in moving air, away from flames, with gloves, as the can says.",
	render.CautionDrilling:     "Drilling: wear eye protection, clamp the pipe, and use ground-fault protection outdoors.",
	render.CautionScald:        "Water that stood in sunlit pipe or hose can scald hands and seedlings: let it run into a can first.",
	render.CautionTrip:         "Hoses across paths trip people: lay them along the beds or take them up after the turn.",
	render.CautionHeat:         "Heat: water early, drink, rest in the shade, and do not work alone when a heat warning is out.",
	render.CautionEstimate:     "Every plan is an estimate: dig and look whether the soil is moist a hand deep.",
	render.CautionLocalCode:    "Where this says otherwise than your local code or a licensed professional, they decide.",
}
