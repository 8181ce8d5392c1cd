// Package api is HTTP: it decodes a request, calls one method of the service and encodes its answer. Requests are held
// against the contract in package openapi before a handler sees them; refusals are problem documents by RFC 9457.
package api

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"slices"
	"time"

	"github.com/gin-gonic/gin"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/service"
)

// Options are the limits of the API. The zero value of a field takes the default named there.
type Options struct {
	Log *slog.Logger // where requests are logged; slog.Default() by default
	// Timeout ends a request; 15 s by default. Planning a rotation gets PlanTimeout, 2 min by default.
	Timeout, PlanTimeout time.Duration
	// TokenPerSecond and TokenBurst bound the requests of one token; 50 and 200 by default.
	TokenPerSecond float64
	TokenBurst     int
	// FailurePerSecond and FailureBurst bound failed authentications from one address; 1 and 30 by default.
	FailurePerSecond float64
	FailureBurst     int
	// ReportPerSecond and ReportBurst bound the reports by one link; 0.1 and 30 by default.
	ReportPerSecond float64
	ReportBurst     int
	// TrustedProxies are the addresses or networks whose X-Forwarded-For names the caller's address; none by default.
	TrustedProxies []string
}

func (o Options) withDefaults() Options {
	if o.Log == nil {
		o.Log = slog.Default()
	}
	o.Timeout = orDefault(o.Timeout, 15*time.Second)
	o.PlanTimeout = orDefault(o.PlanTimeout, 2*time.Minute)
	o.TokenPerSecond = orDefault(o.TokenPerSecond, 50)
	o.TokenBurst = orDefault(o.TokenBurst, 200)
	o.FailurePerSecond = orDefault(o.FailurePerSecond, 1)
	o.FailureBurst = orDefault(o.FailureBurst, 30)
	o.ReportPerSecond = orDefault(o.ReportPerSecond, 0.1)
	o.ReportBurst = orDefault(o.ReportBurst, 30)
	return o
}

func orDefault[T comparable](v, fallback T) T {
	var zero T
	if v == zero {
		return fallback
	}
	return v
}

// API answers the requests of the contract.
type API struct {
	svc      *service.Service
	contract *contract
	options  Options
	tokens   *limiter // requests, by token
	failures *limiter // failed authentications, by address
	reports  *limiter // reports, by link
}

var _ gen.StrictServerInterface = (*API)(nil)

// New returns the handler of the whole API on a service.
func New(svc *service.Service, options Options) (http.Handler, error) {
	contract, err := loadContract()
	if err != nil {
		return nil, err
	}
	o := options.withDefaults()
	a := &API{
		svc: svc, contract: contract, options: o,
		tokens:   newLimiter(o.TokenPerSecond, o.TokenBurst),
		failures: newLimiter(o.FailurePerSecond, o.FailureBurst),
		reports:  newLimiter(o.ReportPerSecond, o.ReportBurst),
	}
	return a.router()
}

func (a *API) router() (*gin.Engine, error) {
	gin.SetMode(gin.ReleaseMode)
	e := gin.New()
	e.ContextWithFallback = true // handlers see the deadline and the values of the request's context
	e.HandleMethodNotAllowed = true
	e.RedirectTrailingSlash = false
	if err := e.SetTrustedProxies(a.options.TrustedProxies); err != nil {
		return nil, fmt.Errorf("trusted proxies: %w", err)
	}
	e.Use(identify, a.logged, gin.CustomRecoveryWithWriter(nil, recovered), secured)
	e.NoRoute(func(c *gin.Context) { write(c, refuse(notFound, "There is no such path.")) })
	e.NoMethod(func(c *gin.Context) {
		write(c, refuse(wrongMethod, "This path takes %s.", c.Writer.Header().Get("Allow")))
	})
	fail := func(c *gin.Context, err error) { write(c, err) }
	unbound := func(c *gin.Context, err error) { write(c, refuse(badRequest, "%s", err)) }
	handler := gen.NewStrictHandlerWithOptions(a, nil, gen.StrictGinServerOptions{
		RequestErrorHandlerFunc: unbound, HandlerErrorFunc: fail, ResponseErrorHandlerFunc: fail,
	})
	routes := e.Group("", a.bounded, a.authenticated, conditional, checkRequest)
	gen.RegisterHandlersWithOptions(routes, handler, gen.GinServerOptions{
		ErrorHandler: func(c *gin.Context, err error, _ int) { unbound(c, err) },
	})
	return e, nil
}

// bounded finds the operation in the contract and gives the request its deadline.
func (a *API) bounded(c *gin.Context) {
	op := a.contract.operations[c.Request.Method+" "+c.FullPath()]
	timeout := a.options.Timeout
	if slices.Contains([]string{"rotationCreate", "whatIfCreate", "layoutEffectGet"}, op.id) {
		timeout = a.options.PlanTimeout
	}
	ctx, cancel := context.WithTimeout(context.WithValue(c.Request.Context(), operationKey{}, op), timeout)
	defer cancel()
	c.Request = c.Request.WithContext(ctx)
	c.Next()
}
