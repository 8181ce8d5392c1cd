package api

import (
	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/service/file"
)

func monthNormals(b gen.MonthNormals) file.MonthNormals {
	out := file.MonthNormals{Month: int(b.Month), NeedConditions: file.NeedConditions{
		TmaxC: b.TmaxC, TminC: b.TminC, VaporPressureKpa: b.VaporPressureKpa, DewPointC: b.DewPointC, DryBulbC: b.DryBulbC,
		WetBulbC: b.WetBulbC, RhMaxPct: b.RhMaxPct, RhMinPct: b.RhMinPct, RhMeanPct: b.RhMeanPct, WindMS: b.WindMS, WindHeightM: b.WindHeightM, RadiationMjM2: b.RadiationMjM2, SunshineH: b.SunshineH, RainMm: b.RainMm, ET0Mm: b.Et0Mm,
	}}
	if b.Psychrometer != nil {
		out.Psychrometer = string(*b.Psychrometer)
	}
	return out
}

func monthNormalsView(m file.MonthNormals) gen.MonthNormals {
	out := gen.MonthNormals{
		Month: int32(m.Month),
		TmaxC: m.TmaxC, TminC: m.TminC, VaporPressureKpa: m.VaporPressureKpa, DewPointC: m.DewPointC, DryBulbC: m.DryBulbC,
		WetBulbC: m.WetBulbC, RhMaxPct: m.RhMaxPct, RhMinPct: m.RhMinPct, RhMeanPct: m.RhMeanPct, WindMS: m.WindMS, WindHeightM: m.WindHeightM, RadiationMjM2: m.RadiationMjM2, SunshineH: m.SunshineH, RainMm: m.RainMm, Et0Mm: m.ET0Mm,
	}
	if m.Psychrometer != "" {
		out.Psychrometer = new(gen.Psychrometer(m.Psychrometer))
	}
	return out
}
