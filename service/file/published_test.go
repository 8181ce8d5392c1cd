package file

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// publishedExample is a worked example as a need file, with what its source prints and how far the print may be off.
type publishedExample struct {
	Source string                `json:"source"`
	Need   json.RawMessage       `json:"need"`
	Want   map[string][2]float64 `json:"want"` // by JSON pointer into the answer: value, tolerance
}

// The worked examples of the sources, as anybody would give them to the need command. Each case names its source, example
// and page; the tolerance is what the print allows.
func TestRunNeed_publishedExamples(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile(filepath.Join(needFolder, "published.json"))
	if err != nil {
		t.Fatal(err)
	}
	var examples []publishedExample
	if err := json.Unmarshal(text, &examples); err != nil {
		t.Fatal(err)
	}
	for _, e := range examples {
		t.Run(e.Source, func(t *testing.T) {
			t.Parallel()
			n, err := ReadNeed(bytes.NewReader(e.Need))
			if err != nil {
				t.Fatal(err)
			}
			r, err := RunNeed(n)
			if err != nil {
				t.Fatal(err)
			}
			answer, err := json.Marshal(r)
			if err != nil {
				t.Fatal(err)
			}
			var tree any
			if err := json.Unmarshal(answer, &tree); err != nil {
				t.Fatal(err)
			}
			if len(e.Want) == 0 {
				t.Error("nothing is compared")
			}
			for pointer, want := range e.Want {
				if got, ok := numberAt(tree, pointer); !ok || math.Abs(got-want[0]) > want[1] {
					t.Errorf("%s = %v (found: %v), printed %v ± %v", pointer, got, ok, want[0], want[1])
				}
			}
		})
	}
}

// numberAt follows a JSON pointer to a number.
func numberAt(tree any, pointer string) (float64, bool) {
	for _, token := range strings.Split(strings.TrimPrefix(pointer, "/"), "/") {
		switch node := tree.(type) {
		case map[string]any:
			tree = node[token]
		case []any:
			i, err := strconv.Atoi(token)
			if err != nil || i < 0 || i >= len(node) {
				return 0, false
			}
			tree = node[i]
		default:
			return 0, false
		}
	}
	v, ok := tree.(float64)
	return v, ok
}
