package main

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
)

func TestFlow_explainsInWordsBesideTheJSON(t *testing.T) {
	t.Parallel()
	var out, words bytes.Buffer
	if code := run(t.Context(), []string{"flow", "--explain", "../../testdata/examples/flow.json"}, streams{nil, &out, &words}); code != 0 {
		t.Fatalf("exit code %d: %s", code, words.String())
	}
	if !json.Valid(out.Bytes()) {
		t.Error("standard output is not JSON alone")
	}
	for _, want := range []string{
		"How pressure falls with flow is assumed", "plot 11 alone", "A clear open tube on the manifold shows 2.6 m of water", "A cup of 200 mL fills in 22 s",
		"Plug outlet 1:", "A hose opened on the same source takes 14 L/min", "Close the layout's valve until", "joints pushed together hold",
		"Measure the height of water in a clear tube", "Backflow:",
	} {
		if !strings.Contains(words.String(), want) {
			t.Errorf("%q is not said in:\n%s", want, words.String())
		}
	}
	for _, line := range strings.Split(words.String(), "\n") {
		if strings.Contains(line, "_") || strings.Contains(line, "Note: ") {
			t.Errorf("a code reached people: %q", line)
		}
	}
}
