package api

import (
	"mime"
	"strconv"
	"strings"
)

// negotiate returns the offer that an Accept header prefers, or "" when it takes none. Without a header the first offer
// is taken; among equals the earlier offer wins. The most specific range that names an offer decides (RFC 9110 section
// 12.5.1).
func negotiate(header string, offers []string) string {
	if strings.TrimSpace(header) == "" {
		return offers[0]
	}
	ranges := acceptRanges(header)
	best, bestQuality := "", 0.0
	for _, offer := range offers {
		if q := quality(ranges, offer); q > bestQuality {
			best, bestQuality = offer, q
		}
	}
	return best
}

type acceptRange struct {
	media   string
	quality float64
}

func acceptRanges(header string) []acceptRange {
	var ranges []acceptRange
	for part := range strings.SplitSeq(header, ",") {
		media, params, err := mime.ParseMediaType(part)
		if err != nil {
			continue
		}
		q := 1.0
		if text, ok := params["q"]; ok {
			if q, err = strconv.ParseFloat(text, 64); err != nil || q < 0 || q > 1 {
				continue
			}
		}
		ranges = append(ranges, acceptRange{media, q})
	}
	return ranges
}

func quality(ranges []acceptRange, offer string) float64 {
	group, _, _ := strings.Cut(offer, "/")
	q, specific := 0.0, 0
	for _, r := range ranges {
		level := map[string]int{offer: 3, group + "/*": 2, "*/*": 1}[r.media]
		if level > specific {
			q, specific = r.quality, level
		}
	}
	return q
}
