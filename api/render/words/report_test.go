package words

import (
	"bytes"
	"testing"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/internal/golden"
	"rillturn.example/rillturn/api/render/internal/sample"
)

func mustReport(t interface{ Fatalf(string, ...any) }, view render.Report) []byte {
	var b bytes.Buffer
	if err := Report(&b, view); err != nil {
		t.Fatalf("report: %v", err)
	}
	return b.Bytes()
}

func TestReport_golden(t *testing.T) {
	t.Parallel()
	plan := sample.Plan()
	golden.Check(t, "plan.txt", mustReport(t, plan))
	plan.Schedule.Units = render.US
	golden.Check(t, "plan_us.txt", mustReport(t, plan))
}
