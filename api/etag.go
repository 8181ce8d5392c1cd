package api

import (
	"net/http"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"rillturn.example/rillturn/api/gen"
)

// strongETag is the ETag of a resource at a revision.
func strongETag(revision int64) string { return `"` + strconv.FormatInt(revision, 10) + `"` }

// matched reads the revision from an If-Match header. A tag that no revision has is read as revision 0, which is never
// the current one.
func matched(header *string) (int64, error) {
	if header == nil {
		return 0, refuse(matchMissing, "Send the ETag of what you read as If-Match, so that nobody's change is lost.")
	}
	tag, ok := strings.CutPrefix(strings.TrimSpace(*header), `"`)
	tag, closed := strings.CutSuffix(tag, `"`)
	if !ok || !closed || strings.Contains(tag, `"`) {
		return 0, refuseAll(badRequest, []gen.ProblemError{{Pointer: "#header/If-Match", Reason: `must be one strong ETag in quotes, such as "3"`}})
	}
	if revision, err := strconv.ParseInt(tag, 10, 64); err == nil {
		return revision, nil
	}
	return 0, nil
}

// noneMatch reports whether an If-None-Match header names the tag, by weak comparison (RFC 9110 section 8.8.3.2).
func noneMatch(header, tag string) bool {
	opaque := strings.TrimPrefix(tag, "W/")
	for t := range strings.SplitSeq(header, ",") {
		t = strings.TrimSpace(t)
		if t == "*" || strings.TrimPrefix(t, "W/") == opaque {
			return true
		}
	}
	return false
}

// conditional turns a 200 into a 304 when the caller already has what its ETag names.
func conditional(c *gin.Context) {
	if header := strings.Join(c.Request.Header.Values("If-None-Match"), ","); header != "" && c.Request.Method == http.MethodGet {
		c.Writer = &conditionalWriter{ResponseWriter: c.Writer, header: header}
	}
	c.Next()
}

type conditionalWriter struct {
	gin.ResponseWriter
	header      string
	notModified bool
}

func (w *conditionalWriter) WriteHeader(code int) {
	tag := w.Header().Get("ETag")
	if code == http.StatusOK && tag != "" && noneMatch(w.header, tag) {
		w.notModified = true
		code = http.StatusNotModified
		w.Header().Del("Content-Type")
		w.Header().Del("Content-Length")
	}
	w.ResponseWriter.WriteHeader(code)
}

func (w *conditionalWriter) Write(b []byte) (int, error) {
	if w.notModified {
		return len(b), nil
	}
	return w.ResponseWriter.Write(b)
}
