package plan

// Bound is a share that no plan can exceed, and why.
type Bound struct {
	Share  float64
	Reason BoundReason
	Source string
	Layout string
}

// BoundReason is a code for what a bound rests on.
type BoundReason string

// The reasons of bounds.
const (
	BoundNeed BoundReason = "need" // nobody needs more than the whole need
)

// Shortage is the proof that a set of zones cannot get more.
type Shortage struct {
	Zones []string
}
