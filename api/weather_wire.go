package api

import (
	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service/file"
)

func weatherDay(b gen.WeatherDay) repo.WeatherDay {
	return repo.WeatherDay{
		Station:          b.Station,
		Day:              b.Day.Time,
		Kind:             string(b.Kind),
		TmaxC:            b.TmaxC,
		TminC:            b.TminC,
		DewPointC:        b.DewPointC,
		RhMaxPct:         b.RhMaxPct,
		RhMinPct:         b.RhMinPct,
		RhMeanPct:        b.RhMeanPct,
		WindMS:           b.WindMS,
		WindHeightM:      b.WindHeightM,
		RadiationMjM2:    b.RadiationMjM2,
		SunshineH:        b.SunshineH,
		RainMm:           b.RainMm,
		VaporPressureKpa: b.VaporPressureKpa,
		DryBulbC:         b.DryBulbC,
		WetBulbC:         b.WetBulbC,
		Psychrometer:     text(b.Psychrometer),
		Et0Mm:            b.Et0Mm,
	}
}

func weatherDayView(r repo.WeatherDay) gen.WeatherDay {
	return gen.WeatherDay{
		Station:          r.Station,
		Day:              date(r.Day),
		Kind:             gen.WeatherKind(r.Kind),
		TmaxC:            r.TmaxC,
		TminC:            r.TminC,
		DewPointC:        r.DewPointC,
		RhMaxPct:         r.RhMaxPct,
		RhMinPct:         r.RhMinPct,
		RhMeanPct:        r.RhMeanPct,
		WindMS:           r.WindMS,
		WindHeightM:      r.WindHeightM,
		RadiationMjM2:    r.RadiationMjM2,
		SunshineH:        r.SunshineH,
		RainMm:           r.RainMm,
		VaporPressureKpa: r.VaporPressureKpa,
		DryBulbC:         r.DryBulbC,
		WetBulbC:         r.WetBulbC,
		Psychrometer:     word[gen.Psychrometer](r.Psychrometer),
		Et0Mm:            r.Et0Mm,
	}
}

func referenceEtDay(d file.SeriesDayResult) gen.ReferenceEtDay {
	return gen.ReferenceEtDay{Day: date(needTime(d.Date)), Et0Mm: d.ET0Mm, Rung: d.Rung, RainMm: d.RainMm, RainMissing: d.RainMm == nil, RainRead: d.RainRead}
}
