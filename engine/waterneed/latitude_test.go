package waterneed

import (
	"flag"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"rillturn.example/rillturn/engine/unit"
)

var update = flag.Bool("update", false, "rewrite computed files")

const latitudeHeader = `# Reference evapotranspiration by month and latitude [mm/day], the rung for gardens without any weather.
# Computed by this package (go test ./engine/waterneed -run TestLatitudeTable -update), not published: Penman-Monteith of
# the 15th from assumed temperatures at sea level, inland, wind 2 m/s, air saturated at the lowest temperature, without
# soil heat. Assumed (own judgement): yearly mean 28 - 0.008 L² °C and half the yearly swing 0.22 L °C at L degrees from
# the equator, warmest on 20 July in the north and 20 January in the south; day's range 11 °C. Use within 30 %.
# Columns: latitude_deg, north positive; 1 to 12, the month.
`

// assumedDay returns the temperatures that the table assumes.
func assumedDay(latitude float64, d Date) Weather {
	warmest := 201.0
	if latitude < 0 {
		warmest = 20
	}
	swing := 0.22 * math.Abs(latitude) * math.Cos(2*math.Pi*(float64(d.DayOfYear())-warmest)/365)
	mean := 28 - 0.008*latitude*latitude + swing
	return Weather{TMax: Given(unit.Temperature(mean + 5.5)), TMin: Given(unit.Temperature(mean - 5.5))}
}

func TestLatitudeTable_isWhatItsHeaderSays(t *testing.T) {
	var b strings.Builder
	b.WriteString(latitudeHeader)
	b.WriteString("latitude_deg,1,2,3,4,5,6,7,8,9,10,11,12\n")
	for i := range latitudeRows {
		latitude := float64(latitudeFirst + i*latitudeStep)
		fmt.Fprintf(&b, "%g", latitude)
		for month := 1; month <= 12; month++ {
			d := Date{normalYear, month, 15}
			r, err := DailyReferenceET(Place{Latitude: unit.Degrees(latitude)}, d, assumedDay(latitude, d))
			if err != nil {
				t.Fatal(err)
			}
			fmt.Fprintf(&b, ",%.1f", float64(r.ET0))
		}
		b.WriteString("\n")
	}
	if *update {
		if err := os.WriteFile("latitude.csv", []byte(b.String()), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if b.String() != latitudeText {
		t.Errorf("latitude.csv is not what its header says; computed:\n%s", b.String())
	}
}
