package fieldwork

// WarningCode says what a sheet should be warned of.
type WarningCode string

// The warnings. Value and Limit carry the numbers in the unit that the comment names.
const (
	// WarnHoleInSocket: a hole lies where a fitting covers it. Value: distance from the end [m]; Limit [m]; Count: hole sets.
	WarnHoleInSocket WarningCode = "hole_in_socket"
	// WarnBitDiffers: no usual bit has the size of the hole. Value: change of the hole's area with the nearest bit [-].
	WarnBitDiffers WarningCode = "bit_differs"
	// WarnSpacingDisagrees: plants of this spacing do not fall on wet marks. Value: spacing at the marks [m]; Limit: that of
	// the crop [m].
	WarnSpacingDisagrees WarningCode = "spacing_disagrees"
	// WarnPlantsBetween: several plants share a wet mark, and some stand away from it. Value: farthest from a mark [m];
	// Count: plants to a mark.
	WarnPlantsBetween WarningCode = "plants_between_wet_marks"
	// WarnUnusualSpacing: the plants' spacing is not the usual one of the crop. Value and Limit [m].
	WarnUnusualSpacing WarningCode = "unusual_plant_spacing"
	// WarnSpacingUnknown: nobody said how far apart the plants stand, so each wet mark gets one.
	WarnSpacingUnknown WarningCode = "plant_spacing_unknown"
	// WarnNoWetMarks: nothing is wet where the planting stands.
	WarnNoWetMarks WarningCode = "no_wet_marks"
	// WarnPieceSplit: a piece is longer than a stick and is made of parts. Value: piece [m]; Limit: stick [m]; Count: parts.
	WarnPieceSplit WarningCode = "piece_split"
	// WarnFittingsClose: two fittings of the manifold are closer than their sockets allow. Value and Limit [m].
	WarnFittingsClose WarningCode = "fittings_close"
	// WarnNoFilter: small holes without a filter clog.
	WarnNoFilter WarningCode = "no_filter"
	// WarnClosedOutlet: a closed outlet keeps the description of its lateral, which is not built. Count: pieces.
	WarnClosedOutlet WarningCode = "closed_outlet_not_built"
)

// Warning is one thing to tell. Path is the part of the layout or the planting that it is about.
type Warning struct {
	Code  WarningCode
	Path  string
	Value float64
	Limit float64
	Count int
}
