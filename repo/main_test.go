package repo_test

import (
	"testing"

	"rillturn.example/rillturn/repo/repotest"
)

func TestMain(m *testing.M) { repotest.Main(m) }
