package api

import (
	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
)

func holderValues(b gen.HolderValues) repo.PlotHolderValues {
	return repo.PlotHolderValues{
		MemberID: b.MemberId,
		HeldFrom: b.HeldFrom.Time,
		HeldTo:   dayOf(b.HeldTo),
	}
}

func holderView(r repo.PlotHolder) gen.Holder {
	return gen.Holder{
		Id:        r.ID,
		PlotId:    r.PlotID,
		MemberId:  r.MemberID,
		HeldFrom:  date(r.HeldFrom),
		HeldTo:    datePointer(r.HeldTo),
		Revision:  r.Revision,
		CreatedAt: r.CreatedAt,
		UpdatedAt: r.UpdatedAt,
	}
}
