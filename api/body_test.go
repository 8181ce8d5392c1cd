package api

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestScanJSON_refusesWhatAPlainDecoderLetsPass(t *testing.T) {
	t.Parallel()
	deep := strings.Repeat("[", 66) + strings.Repeat("]", 66)
	cases := []struct {
		name, text string
		want       []string // pointers and reasons
	}{
		{"a field twice", `{"a":1,"b":{"c":1,"c":2}}`, []string{"/b/c is given twice"}},
		{"two faults at once", `{"a":1e999,"b":[-1e999]}`, []string{"/a is a number that no double holds", "/b/0 is a number that no double holds"}},
		{"NUL in a text", `{"a":"x\u0000y"}`, []string{"/a holds a control character"}},
		{"escape in a text", `{"a":"\u001b[2J"}`, []string{"/a holds a control character"}},
		{"a name to be escaped", `{"a/b~c":1e999}`, []string{"/a~1b~0c is a number that no double holds"}},
		{"too deep", deep, []string{" is nested deeper than 64"}},
		{"not UTF-8", "{\"a\":\"\xff\"}", []string{" is not UTF-8 text"}},
		{"NaN", "{\n\"a\":NaN}", []string{" is not JSON near line 2: invalid character 'N' looking for beginning of value"}},
		{"cut short", `{"a":[1,`, []string{" is not JSON near line 1: the text ends too early"}},
		{"text after the end", `{} {}`, []string{" text follows the document"}},
		{"empty", ``, []string{" is not JSON near line 1: the text ends too early"}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			_, faults := scanJSON([]byte(c.text))
			var got []string
			for _, f := range faults {
				got = append(got, f.Pointer+" "+f.Reason)
			}
			if diff := cmp.Diff(c.want, got); diff != "" {
				t.Error(diff)
			}
		})
	}
}

func TestScanJSON_readsWhatIsRight(t *testing.T) {
	t.Parallel()
	text := `{"a":[1,2.5,"ä\n",true,null],"b":{}}`
	value, faults := scanJSON([]byte(text))
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	want := map[string]any{"a": []any{json.Number("1"), json.Number("2.5"), "ä\n", true, nil}, "b": map[string]any{}}
	if diff := cmp.Diff(any(want), value); diff != "" {
		t.Error(diff)
	}
}

// Whatever bytes come, the scan answers, and what it lets pass is JSON that the standard decoder reads to the same text.
func FuzzScanJSON(f *testing.F) {
	for _, seed := range []string{`{"a":1}`, `[[],{}]`, `"x"`, `1e999`, `{"a":1,"a":1}`, "\xff", `{`, `nul`} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		value, faults := scanJSON(body)
		if len(faults) > 0 {
			return
		}
		var plain any
		if err := json.Unmarshal(body, &plain); err != nil {
			t.Fatalf("%q passed, but is not JSON: %v", body, err)
		}
		got, err := json.Marshal(value)
		if err != nil {
			t.Fatal(err)
		}
		var again any
		if err := json.Unmarshal(got, &again); err != nil || fmt.Sprint(again) != fmt.Sprint(plain) {
			t.Errorf("%q was read as %s", body, got)
		}
	})
}
