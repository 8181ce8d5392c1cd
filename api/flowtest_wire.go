package api

import (
	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
)

func flowTestValues(b gen.FlowTestValues) repo.FlowTestValues {
	return repo.FlowTestValues{
		TestedAt:         b.TestedAt,
		Kind:             string(b.Kind),
		HeadM:            b.HeadM,
		FlowLPerMin:      b.FlowLPerMin,
		VolumeL:          b.VolumeL,
		DurationS:        b.DurationS,
		AfterHose:        b.AfterHose,
		OtherFlowLPerMin: b.OtherFlowLPerMin,
		Note:             b.Note,
	}
}

func flowTestView(r repo.FlowTest) gen.FlowTest {
	return gen.FlowTest{
		Id:               r.ID,
		WaterSourceId:    r.WaterSourceID,
		TestedAt:         r.TestedAt,
		Kind:             gen.FlowTestKind(r.Kind),
		HeadM:            r.HeadM,
		FlowLPerMin:      r.FlowLPerMin,
		VolumeL:          r.VolumeL,
		DurationS:        r.DurationS,
		AfterHose:        r.AfterHose,
		OtherFlowLPerMin: r.OtherFlowLPerMin,
		Note:             r.Note,
		Revision:         r.Revision,
		CreatedAt:        r.CreatedAt,
	}
}
