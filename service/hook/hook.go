// Package hook sends signed events to addresses that members of a garden name. It reaches the public internet only: an address
// that names a machine of the network where the service runs is refused when it is dialled.
package hook

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"time"
)

// Event is what is sent, by CloudEvents 1.0, section "Context Attributes", in the structured mode of its JSON format.
type Event struct {
	SpecVersion     string    `json:"specversion"`
	ID              string    `json:"id"`     // the same however often it is sent
	Source          string    `json:"source"` // the path of the garden
	Type            string    `json:"type"`
	Time            time.Time `json:"time"` // when it happened
	Subject         string    `json:"subject"`
	DataContentType string    `json:"datacontenttype"`
	Data            Data      `json:"data"`
}

// Data is what an event says; what its type does not have is left out.
type Data struct {
	RotationID    string            `json:"rotation_id,omitempty"`
	WaterSourceID string            `json:"water_source_id,omitempty"`
	ServiceLineID string            `json:"service_line_id,omitempty"`
	Reason        string            `json:"reason,omitempty"`
	FirstDay      string            `json:"first_day,omitempty"`
	Days          int32             `json:"days,omitempty"`
	Turns         *int              `json:"turns,omitempty"`     // in force
	Cancelled     *int64            `json:"cancelled,omitempty"` // turns that will not run
	CutShort      *int64            `json:"cut_short,omitempty"` // turns that ran and have ended
	Restored      *int64            `json:"restored,omitempty"`  // cancelled turns that will run after all
	Links         map[string]string `json:"links"`               // paths of the service
}

// Media is the media type of an event.
const Media = "application/cloudevents+json"

// The headers of a delivery.
const (
	EventHeader     = "Rillturn-Event"     // the event's id
	TimestampHeader = "Rillturn-Timestamp" // of the attempt, seconds since 1970
	SignatureHeader = "Rillturn-Signature" // Sign
)

// NewSecret makes what deliveries are signed with: 256 random bits.
func NewSecret() string {
	raw := make([]byte, sha256.Size)
	_, _ = rand.Read(raw) // never fails: the program ends when the system has no randomness
	return "rts_" + base64.RawURLEncoding.EncodeToString(raw)
}

// Sign is the signature of a delivery: HMAC-SHA256 (RFC 2104) under the secret over id, timestamp and body, parted by full stops.
func Sign(secret, id, timestamp string, body []byte) string {
	mac := hmac.New(sha256.New, []byte(secret))
	fmt.Fprintf(mac, "%s.%s.%s", id, timestamp, body)
	return "v1=" + hex.EncodeToString(mac.Sum(nil))
}

// Send posts an event once and returns the status of the answer, 0 when there was none. Any status but 2xx is a *Trouble, and
// so is an address that can't be reached.
func (c *Client) Send(ctx context.Context, url, secret string, e Event, at time.Time) (status int, err error) {
	body, err := json.Marshal(e)
	if err != nil {
		return 0, fmt.Errorf("event %s: %w", e.ID, err)
	}
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, url, bytes.NewReader(body))
	if err != nil {
		return 0, fmt.Errorf("event %s: %w", e.ID, err)
	}
	timestamp := strconv.FormatInt(at.Unix(), 10)
	r.Header.Set("Content-Type", Media)
	r.Header.Set("User-Agent", "rillturn")
	r.Header.Set(EventHeader, e.ID)
	r.Header.Set(TimestampHeader, timestamp)
	r.Header.Set(SignatureHeader, Sign(secret, e.ID, timestamp, body))
	res, err := c.http.Do(r)
	if err != nil {
		return 0, troubleOf(err)
	}
	_ = res.Body.Close() // unread: the status says all
	if res.StatusCode/100 != 2 {
		return res.StatusCode, &Trouble{fmt.Sprintf("The answer had the status %d.", res.StatusCode)}
	}
	return res.StatusCode, nil
}

// Trouble is why an event was not taken, in a sentence that shows nothing of the network where the service runs.
type Trouble struct{ Sentence string }

func (t *Trouble) Error() string { return t.Sentence }

// troubleOf puts what went wrong on the way into a sentence. The error itself holds the address, which may be a secret of the
// receiver, so it goes into no log.
func troubleOf(err error) error {
	var slow interface{ Timeout() bool }
	switch {
	case errors.Is(err, context.Canceled):
		return context.Canceled // the service stops: nobody is to blame
	case errors.Is(err, errNotPublic):
		return &Trouble{"The address is not on the public internet: nothing was sent."}
	case errors.As(err, &slow) && slow.Timeout():
		return &Trouble{fmt.Sprintf("There was no answer within %s.", patience)}
	}
	return &Trouble{"The address could not be reached, or its certificate is not valid."}
}
