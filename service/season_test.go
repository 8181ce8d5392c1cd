package service

import (
	"encoding/json"
	"reflect"
	"testing"

	"github.com/google/uuid"

	"rillturn.example/rillturn/repo"
)

// Whatever a planting knows is planted again: a field that nobody copies would be lost without a word.
func TestPlantedAgain_losesNothing(t *testing.T) {
	t.Parallel()
	var old repo.Planting
	full := reflect.ValueOf(&old).Elem()
	for i := range full.NumField() {
		full.Field(i).Set(something(full.Field(i).Type()))
	}
	old.Companions = json.RawMessage(`[{"crop":"lettuce","planted_on":"2026-05-02","removed_on":"2026-06-02","ground_share":0.3}]`)
	values, err := plantedAgain(old, 1, uuid.New())
	if err != nil {
		t.Fatal(err)
	}
	if want := `[{"crop":"lettuce","planted_on":"2027-05-02","removed_on":"2027-06-02","ground_share":0.3}]`; string(values.Companions) != want {
		t.Errorf("companions are %s, want %s", values.Companions, want)
	}
	again := reflect.ValueOf(values)
	for i := range again.NumField() {
		if again.Field(i).IsZero() {
			t.Errorf("%s is not planted again", again.Type().Field(i).Name)
		}
	}
}

// something is a value of a type that is not zero.
func something(of reflect.Type) reflect.Value {
	v := reflect.New(of).Elem()
	switch of.Kind() {
	case reflect.Pointer:
		v.Set(reflect.New(of.Elem()))
	case reflect.Slice:
		v.Set(reflect.MakeSlice(of, 1, 1))
	case reflect.String:
		v.SetString("x")
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Float64:
		v.SetFloat(1)
	case reflect.Int64, reflect.Int32, reflect.Int16:
		v.SetInt(1)
	case reflect.Array: // a UUID
		v.Index(0).SetUint(1)
	default: // a time, which becomes another by adding years
	}
	return v
}
