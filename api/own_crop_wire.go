package api

import (
	"encoding/json"
	"fmt"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/repo"
	"rillturn.example/rillturn/service"
)

func listedCropView(c service.ListedCrop) gen.ListedCrop {
	return gen.ListedCrop{Crop: c.Crop, OwnCropId: c.Own}
}

// ownCropView shows a crop as it was entered.
func ownCropView(r repo.OwnCrop) (gen.OwnCrop, error) {
	view := gen.OwnCrop{Id: r.ID, Revision: r.Revision, CreatedAt: r.CreatedAt, UpdatedAt: r.UpdatedAt}
	if err := json.Unmarshal(r.Constants, &view.Crop); err != nil {
		return view, fmt.Errorf("stored constants of crop %s: %w", r.ID, err)
	}
	return view, nil
}
