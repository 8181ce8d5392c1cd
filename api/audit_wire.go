package api

import (
	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
)

func auditEntryView(r repo.AuditEntry) gen.AuditEntry {
	return gen.AuditEntry{
		Id:        r.ID,
		Actor:     r.Actor,
		Action:    r.Action,
		Entity:    r.Entity,
		EntityId:  r.EntityID,
		CreatedAt: r.CreatedAt,
	}
}
