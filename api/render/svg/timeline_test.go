package svg

import (
	"bytes"
	"testing"

	"rillturn.example/rillturn/api/render/internal/golden"
	"rillturn.example/rillturn/api/render/internal/sample"
)

func TestTimeline_golden(t *testing.T) {
	t.Parallel()
	var b bytes.Buffer
	if err := Timeline(&b, sample.Week()); err != nil {
		t.Fatal(err)
	}
	golden.Check(t, "week.svg", b.Bytes())
}

func TestFairness_golden(t *testing.T) {
	t.Parallel()
	var b bytes.Buffer
	if err := Fairness(&b, sample.Week()); err != nil {
		t.Fatal(err)
	}
	golden.Check(t, "shares.svg", b.Bytes())
}
