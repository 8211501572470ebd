package domain

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// Pieces counts what a round buys: fish, or whole units of the product (kg, l, piece,
// kWh).
type Pieces int64

// mostPieces bounds what anybody asks for or offers.
const mostPieces Pieces = 1_000_000_000

// RoundState is how far a round has come.
type RoundState string

// The states of a round, in their order; a cancelled one has ended early.
const (
	RoundOpen       RoundState = "open"       // takes requests
	RoundClosed     RoundState = "closed"     // takes no more requests from sites
	RoundPlanned    RoundState = "planned"    // has a plan, which may be made anew
	RoundOrdered    RoundState = "ordered"    // suppliers have orders
	RoundDelivering RoundState = "delivering" // something has arrived
	RoundSettled    RoundState = "settled"    // who pays what is fixed
	RoundCancelled  RoundState = "cancelled"
)

// What the need of a round is counted by.
const (
	NeedArrival = "arrival" // fish alive when they arrive; always so for products
	NeedDay30   = "day_30"  // fish alive on the thirtieth day after
)

// What fees that no site causes alone are shared by.
const (
	FeesByCount  = "count"
	FeesByWeight = "weight"
)

// Round is a purchase that the sites of a co-operative make together: of fish of one
// species, or of one product.
type Round struct {
	ID         RoundID
	Species    *string    // ASFIS 3-alpha code; nil: it buys a product. Never changes.
	Product    *ProductID // nil: it buys fish. Never changes.
	Name       string
	Deadline   time.Time // of requests
	WindowFrom Date      // of delivery, both days included
	WindowTo   Date
	Need       string // [NeedArrival], [NeedDay30]
	FeesBy     string // [FeesByCount], [FeesByWeight]
	Note       *string
	State      RoundState
	Reason     *string // for the last step, where somebody gave one
	Version    int64
	CreatedAt  time.Time
}

// Fish reports whether the round buys fish, and not a product.
func (r *Round) Fish() bool { return r.Species != nil }

// Check refuses a round that cannot be. Whether species and product are there is for
// the one who has them.
func (r *Round) Check() error {
	c := &checker{}
	c.name(r.Name)
	c.require((r.Species == nil) != (r.Product == nil), "/species", "give a species or a product_id, and not both")
	c.require(r.Species == nil || isCode(*r.Species, 3), "/species", "must be an ASFIS code of three letters, such as CLZ")
	c.span(r.WindowFrom, r.WindowTo, "/window_from", "/window_to")
	c.oneOf(r.Need, "/need", NeedArrival, NeedDay30)
	c.require(r.Fish() || r.Need == NeedArrival, "/need", "a product is needed on arrival")
	c.oneOf(r.FeesBy, "/fees_by", FeesByCount, FeesByWeight)
	c.require(r.Deadline.Year() > 1990 && r.Deadline.Year() < 2200, "/deadline", "must be after 1990")
	c.note(r.Note)
	c.require(r.Reason == nil || fits(*r.Reason, 300), "/reason", "must be 1 to 300 characters")
	if err := c.refuse("the round"); err != nil {
		return err
	}
	c.require(r.Deadline.Before(r.WindowTo.Time().Add(48*time.Hour)), "/deadline", "must not be after the last day of delivery")
	return c.deny("impossible_round", "the round does not fit together")
}

// steps says which states may follow each, whoever takes the step.
var steps = map[RoundState][]RoundState{
	RoundOpen:       {RoundClosed, RoundCancelled},
	RoundClosed:     {RoundOpen, RoundPlanned, RoundCancelled},
	RoundPlanned:    {RoundOpen, RoundPlanned, RoundOrdered, RoundCancelled},
	RoundOrdered:    {RoundDelivering, RoundCancelled},
	RoundDelivering: {RoundSettled},
}

// byWork lists the states that come with the work itself, and not by saying so: a
// plan, orders, the first delivery.
var byWork = []RoundState{RoundPlanned, RoundOrdered, RoundDelivering}

// Next returns the states that a person may put the round into.
func (s RoundState) Next() []RoundState {
	return slices.DeleteFunc(slices.Clone(steps[s]), func(to RoundState) bool { return slices.Contains(byWork, to) })
}

// Step puts the round into another state, as a person says it. A step that may not
// follow is a conflict that says which may; to cancel needs a reason.
func (r *Round) Step(to RoundState, reason *string) error {
	if !slices.Contains(r.State.Next(), to) {
		return roundState("the round is %s: %s", r.State, r.State.follows())
	}
	if to == RoundCancelled && reason == nil {
		return invalidMember("the step", "/reason", "say why the round is cancelled")
	}
	r.State, r.Reason = to, reason
	return nil
}

// Advance puts the round into the state that comes with work that was done; it stays
// in it, if it is there already. What may not follow is a conflict.
func (r *Round) Advance(to RoundState) error {
	if r.State == to {
		return nil
	}
	if !slices.Contains(steps[r.State], to) {
		return roundState("the round is %s, and cannot become %s: %s", r.State, to, r.State.follows())
	}
	r.State, r.Reason = to, nil
	return nil
}

// Require refuses to do something with the round unless it is in one of some states.
// What is a sentence's beginning, such as "an order can be placed".
func (r *Round) Require(what string, states ...RoundState) error {
	if slices.Contains(states, r.State) {
		return nil
	}
	names := make([]string, len(states))
	for i, s := range states {
		names[i] = string(s)
	}
	return roundState("the round is %s; %s while it is %s", r.State, what, strings.Join(names, " or "))
}

// TakesRequests refuses a request that is made or changed at some time: everybody's
// unless the round is open and before its deadline; a coordinator's only once it is
// planned.
func (r *Round) TakesRequests(now time.Time, by Role) error {
	if by == Coordinator {
		return r.Require("a coordinator makes and changes requests", RoundOpen, RoundClosed)
	}
	if err := r.Require("sites make and change requests", RoundOpen); err != nil {
		return err
	}
	if now.After(r.Deadline) {
		return Errorf(Conflict, "deadline_passed", "the deadline for requests was %s: ask the coordinator, who can still change them",
			r.Deadline.UTC().Format("2006-01-02 15:04 UTC"))
	}
	return nil
}

// TakesQuotes refuses a quote that is added or changed after the round was ordered.
func (r *Round) TakesQuotes() error {
	return r.Require("quotes are added and changed", RoundOpen, RoundClosed, RoundPlanned)
}

// TakesChanges refuses to change what the round says of itself once orders are out.
func (r *Round) TakesChanges() error {
	return r.Require("a round is changed", RoundOpen, RoundClosed, RoundPlanned)
}

// follows says which states may follow.
func (s RoundState) follows() string {
	next := s.Next()
	if len(steps[s]) == 0 {
		return "nothing follows"
	}
	list := make([]string, 0, len(next)+1)
	for _, n := range next {
		list = append(list, string(n))
	}
	switch s {
	case RoundClosed:
		list = append(list, "planned (by making a plan)")
	case RoundPlanned:
		list = append(list, "planned (by another plan)", "ordered (by its orders)")
	case RoundOrdered:
		list = append(list, "delivering (by its first delivery)")
	}
	return "it may become " + strings.Join(list, ", ")
}

func roundState(format string, args ...any) error {
	return &Error{Kind: Conflict, Code: "round_state", Detail: fmt.Sprintf(format, args...)}
}

// invalidMember refuses one member of what is sent.
func invalidMember(what, pointer, detail string) error {
	c := &checker{}
	c.add(pointer, detail)
	return c.refuse(what)
}

// deny refuses what is of the right form and cannot be.
func (c *checker) deny(code, detail string) error {
	if len(c.fields) == 0 {
		return nil
	}
	return &Error{Kind: Refused, Code: code, Detail: detail, Fields: c.fields}
}

func (c *checker) note(s *string) {
	c.require(s == nil || fits(*s, 1000), "/note", "must be 1 to 1000 characters")
}

// span wants two days in their order, of at most a year.
func (c *checker) span(from, to Date, pointerFrom, pointerTo string) {
	c.require(from >= earliest && to <= latest, pointerFrom, "must be after 1990")
	c.require(to >= from, pointerTo, "must not be before "+pointerFrom[1:])
	c.require(to-from <= 366, pointerTo, "at most a year after "+pointerFrom[1:])
}

func (c *checker) pieces(n Pieces, pointer string) {
	c.require(n >= 1 && n <= mostPieces, pointer, "must be between 1 and 1 000 000 000")
}
