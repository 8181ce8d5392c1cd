package api

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"rillturn.example/rillturn/service"
)

type requestIDKey struct{}

// identify gives the request an id, which the answer carries and the log repeats.
func identify(c *gin.Context) {
	id := uuid.Must(uuid.NewV7()).String()
	c.Header("X-Request-Id", id)
	c.Request = c.Request.WithContext(context.WithValue(c.Request.Context(), requestIDKey{}, id))
	c.Next()
}

func requestID(ctx context.Context) string {
	id, _ := ctx.Value(requestIDKey{}).(string)
	return id
}

// logged writes one line for each request, with the reason if it failed by a fault of ours. It names the route and never the query or a header: feed addresses carry a
// token in their query.
func (a *API) logged(c *gin.Context) {
	start := time.Now()
	c.Next()
	attrs := []slog.Attr{
		slog.String("request_id", requestID(c)), slog.String("method", c.Request.Method), slog.String("route", c.FullPath()),
		slog.Int("status", c.Writer.Status()), slog.Int("bytes", max(0, c.Writer.Size())), slog.Duration("took", time.Since(start)),
	}
	if p, ok := c.Request.Context().Value(principalKey{}).(service.Principal); ok {
		attrs = append(attrs, slog.String("garden", p.Garden.String()), slog.String("token", p.Token.String()))
	} else {
		attrs = append(attrs, slog.String("address", c.ClientIP()))
	}
	level := slog.LevelInfo
	if err := c.Errors.Last(); err != nil {
		attrs = append(attrs, slog.String("error", err.Error()))
		if !errors.Is(err, context.Canceled) { // the caller went away
			level = slog.LevelError
		}
	}
	a.options.Log.LogAttrs(c, level, "request", attrs...)
}

// recovered answers a panic like any other fault of ours.
func recovered(c *gin.Context, cause any) {
	if err, ok := cause.(error); ok && errors.Is(err, http.ErrAbortHandler) {
		panic(cause) // the server's own way to drop a connection
	}
	write(c, fmt.Errorf("panic: %v", cause))
}

// secured sets the headers that keep answers out of frames, scripts and shared caches.
func secured(c *gin.Context) {
	h := c.Writer.Header()
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'")
	h.Set("Cache-Control", "private, no-cache")
	h.Set("Vary", "Authorization, Accept")
	c.Next()
}

type principalKey struct{}

// principal is who asks. Every operation that is not public has one.
func principal(ctx context.Context) service.Principal {
	return ctx.Value(principalKey{}).(service.Principal)
}

// authenticated finds out who asks. Its rules:
//
//  1. The token comes as `Authorization: Bearer …`; feeds take it from the query too.
//  2. Without a valid token the answer is 401, and failures of one address are limited.
//  3. For a valid token of another garden the answer is that of a garden that does not exist. An operator belongs to no
//     garden; the service refuses it what concerns one.
//  4. A link opens the operations of its document alone; the service sees to it that it is the document of its layout.
func (a *API) authenticated(c *gin.Context) {
	op := operationOf(c)
	if op.public {
		c.Next()
		return
	}
	now := time.Now()
	address := c.ClientIP()
	if wait, empty := a.failures.empty(address, now); empty {
		write(c, &refusal{kind: tooMany, detail: "Too many failed authentications from this address.", retryAfter: wait})
		return
	}
	p, err := a.svc.Authenticate(c, bearer(c, op))
	if err != nil {
		if refusalOf(err).kind == unauthorized {
			a.failures.take(address, now)
		}
		write(c, err)
		return
	}
	if wait, ok := a.tokens.take(p.Token.String(), now); !ok {
		write(c, &refusal{kind: tooMany, detail: "Too many requests of this token.", retryAfter: wait})
		return
	}
	if garden, err := uuid.Parse(c.Param("garden")); err == nil && garden != p.Garden && p.Role != service.Operator {
		write(c, refuse(notFound, "There is no garden %s that this token can see.", garden))
		return
	}
	if p.Role == service.Link {
		if err := a.linked(p, op, now); err != nil {
			write(c, err)
			return
		}
	}
	c.Request = c.Request.WithContext(context.WithValue(c.Request.Context(), principalKey{}, p))
	c.Next()
}

// linked refuses a link what is not its document, and more reports than a garden's people make: whoever passes by the shed has it.
func (a *API) linked(p service.Principal, op *operation, now time.Time) error {
	if !slices.Contains(op.links, p.Document) {
		return refuse(forbidden, "This link opens one document and nothing else.")
	}
	if op.route.Method != http.MethodGet {
		if wait, ok := a.reports.take(p.Token.String(), now); !ok {
			return &refusal{kind: tooMany, detail: "Too many reports by this link.", retryAfter: wait}
		}
	}
	return nil
}

// bearer returns the token of the request, or "" when it has none.
func bearer(c *gin.Context, op *operation) string {
	scheme, token, _ := strings.Cut(c.GetHeader("Authorization"), " ")
	if strings.EqualFold(scheme, "Bearer") {
		return strings.TrimSpace(token)
	}
	if op.feed {
		return c.Query(feedToken)
	}
	return ""
}
