package api

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/api/render/html"
	sentence "rillturn.example/rillturn/api/render/words"
	"rillturn.example/rillturn/service"
)

const problemMedia = "application/problem+json"

// kind is a kind of refusal: what its problem document says, and the status code it travels with. Status codes are known
// in this file only.
type kind struct {
	slug   string // its type is /problems/<slug>
	title  string
	status int
}

var (
	badRequest     = kind{"invalid-request", "The request does not fit the contract.", http.StatusBadRequest}
	unauthorized   = kind{"unauthenticated", "A valid token is needed.", http.StatusUnauthorized}
	forbidden      = kind{"forbidden", "The token may not do this.", http.StatusForbidden}
	notFound       = kind{"not-found", "There is no such thing.", http.StatusNotFound}
	wrongMethod    = kind{"method-not-allowed", "This path does not take this method.", http.StatusMethodNotAllowed}
	notAcceptable  = kind{"not-acceptable", "None of the accepted media types can be given.", http.StatusNotAcceptable}
	conflict       = kind{"conflict", "It contradicts what is stored.", http.StatusConflict}
	stale          = kind{"stale", "Somebody else changed it meanwhile.", http.StatusPreconditionFailed}
	tooLarge       = kind{"too-large", "The body is too large.", http.StatusRequestEntityTooLarge}
	wrongMediaType = kind{"unsupported-media-type", "The body is not of a media type that this operation takes.", http.StatusUnsupportedMediaType}
	unprocessable  = kind{"invalid-values", "The values cannot be accepted.", http.StatusUnprocessableEntity}
	keyReused      = kind{"idempotency-key-reused", "The Idempotency-Key was used for another request.", http.StatusUnprocessableEntity}
	matchMissing   = kind{"precondition-required", "If-Match is needed.", http.StatusPreconditionRequired}
	tooMany        = kind{"too-many-requests", "Too many requests.", http.StatusTooManyRequests}
	fault          = kind{"fault", "Something went wrong in the service.", http.StatusInternalServerError}
	unavailable    = kind{"unavailable", "The service cannot answer now.", http.StatusServiceUnavailable}
)

// kinds of the service's refusals.
var serviceKinds = map[service.Kind]kind{
	service.Invalid:         unprocessable,
	service.Unauthenticated: unauthorized,
	service.Forbidden:       forbidden,
	service.NotFound:        notFound,
	service.Conflict:        conflict,
	service.Stale:           stale,
	service.Reused:          keyReused,
}

// refusal is a refusal on its way to the client.
type refusal struct {
	kind       kind
	detail     string
	errors     []gen.ProblemError
	retryAfter time.Duration
}

func (r *refusal) Error() string { return r.kind.slug + ": " + r.detail }

func refuse(k kind, format string, args ...any) *refusal {
	return &refusal{kind: k, detail: fmt.Sprintf(format, args...)}
}

// refuseAll lists faults; detail counts them.
func refuseAll(k kind, errs []gen.ProblemError) *refusal {
	count := "1 fault was found."
	if len(errs) != 1 {
		count = fmt.Sprintf("%d faults were found.", len(errs))
	}
	return &refusal{kind: k, detail: count, errors: errs}
}

// refusalOf finds the refusal in an error. Any error that is none is a fault of ours: its text goes to the log alone.
func refusalOf(err error) *refusal {
	var r *refusal
	if errors.As(err, &r) {
		return r
	}
	var s *service.Error
	if errors.As(err, &s) {
		r := &refusal{kind: serviceKinds[s.Kind], detail: s.Detail}
		for _, f := range s.Fields {
			r.errors = append(r.errors, gen.ProblemError{Pointer: f.Pointer, Reason: f.Reason})
		}
		return r
	}
	if errors.Is(err, context.DeadlineExceeded) {
		return &refusal{kind: unavailable, detail: "The request took too long; try again later.", retryAfter: time.Second}
	}
	return refuse(fault, "The service failed; its log has the reason under the request id.")
}

// write ends the request with the problem document of err. It is the only writer of refusals.
func write(c *gin.Context, err error) {
	r := refusalOf(err)
	if r.kind == fault {
		_ = c.Error(err) // for the log
	}
	h := c.Writer.Header()
	for _, name := range []string{"ETag", "Location", "Content-Length", "Content-Disposition"} {
		h.Del(name)
	}
	if r.kind == unauthorized {
		h.Set("WWW-Authenticate", `Bearer realm="rillturn"`)
	}
	if r.kind == tooMany || r.kind == unavailable {
		h.Set("Retry-After", strconv.Itoa(max(1, int((r.retryAfter+time.Second-1)/time.Second))))
	}
	instance := c.Request.URL.EscapedPath()
	if len(instance) > 2000 {
		instance = instance[:2000]
	}
	c.Abort()
	if negotiate(strings.Join(c.Request.Header.Values("Accept"), ","), []string{problemMedia, htmlMedia}) == htmlMedia {
		writePage(c, r)
		return
	}
	body, err := json.Marshal(gen.Problem{
		Type: "/problems/" + r.kind.slug, Title: r.kind.title, Status: int32(r.kind.status), Detail: r.detail,
		Instance: &instance, RequestId: requestID(c), Errors: append([]gen.ProblemError{}, r.errors...),
	})
	if err != nil { // strings and numbers always have a JSON text
		panic(err)
	}
	c.Data(r.kind.status, problemMedia, append(body, '\n'))
}

// writePage says a refusal to somebody with a browser.
func writePage(c *gin.Context, r *refusal) {
	var problems []html.Problem
	for _, e := range r.errors {
		problems = append(problems, html.Problem{Field: e.Pointer, Reason: e.Reason})
	}
	op, _ := c.Request.Context().Value(operationKey{}).(*operation)
	var b bytes.Buffer
	if err := html.Refusal(&b, sentence.New("", "", nil), op != nil && op.form, r.kind.title+" "+r.detail, problems); err != nil {
		panic(err) // a buffer takes everything
	}
	c.Data(r.kind.status, htmlMedia+"; charset=utf-8", b.Bytes())
}
