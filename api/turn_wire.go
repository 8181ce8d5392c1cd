package api

import (
	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
)

func turnView(r repo.ScheduledTurn) gen.Turn {
	return gen.Turn{
		Id:            r.ID,
		RotationId:    r.RotationID,
		WaterSourceId: r.WaterSourceID,
		Zone:          r.Zone,
		Kind:          gen.TurnKind(r.Kind),
		StartsAt:      r.StartsAt,
		EndsAt:        r.EndsAt,
		FlowLPerMin:   r.FlowLPerMin,
		Status:        gen.TurnStatus(r.Status),
		Sequence:      r.Sequence,
		OpenerId:      r.OpenerID,
		Locked:        r.Locked,
		Revision:      r.Revision,
		CreatedAt:     r.CreatedAt,
		UpdatedAt:     r.UpdatedAt,
		Members:       views(r.Members, turnMemberView),
	}
}

func turnMemberView(r repo.ScheduledMember) gen.TurnMember {
	return gen.TurnMember{
		PlotId:   r.PlotID,
		LayoutId: r.LayoutID,
		VolumeL:  r.VolumeL,
		ClosesAt: r.ClosesAt,
	}
}

func turnReportValues(b gen.TurnReportValues) repo.TurnReportValues {
	return repo.TurnReportValues{
		Outcome:     string(b.Outcome),
		DurationMin: b.DurationMin,
		Note:        b.Note,
	}
}

func turnReportView(r repo.TurnReport) gen.TurnReport {
	return gen.TurnReport{
		Id:          r.ID,
		TurnId:      r.TurnID,
		Outcome:     gen.TurnOutcome(r.Outcome),
		DurationMin: r.DurationMin,
		Note:        r.Note,
		Reporter:    r.Reporter,
		CreatedAt:   r.CreatedAt,
	}
}
