package api

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"time"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/service"
)

var alive = gen.Health{Status: gen.Ok, Version: service.EngineVersion}

// HealthGet says that the process is alive.
func (a *API) HealthGet(context.Context, gen.HealthGetRequestObject) (gen.HealthGetResponseObject, error) {
	return gen.HealthGet200JSONResponse(alive), nil
}

// ReadinessGet says whether requests can be answered, database included.
func (a *API) ReadinessGet(ctx context.Context, _ gen.ReadinessGetRequestObject) (gen.ReadinessGetResponseObject, error) {
	if err := a.svc.Ping(ctx); err != nil {
		a.options.Log.WarnContext(ctx, "not ready", "error", err)
		return nil, &refusal{kind: unavailable, detail: "The database does not answer.", retryAfter: 5 * time.Second}
	}
	return gen.ReadinessGet200JSONResponse(alive), nil
}

// DocumentGet answers the contract itself.
func (a *API) DocumentGet(context.Context, gen.DocumentGetRequestObject) (gen.DocumentGetResponseObject, error) {
	sum := sha256.Sum256(a.contract.json)
	return document{media: jsonMedia, etag: `"` + hex.EncodeToString(sum[:16]) + `"`, body: a.contract.json}, nil
}
