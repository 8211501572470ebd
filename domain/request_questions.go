package domain

import (
	"fmt"
	"math"

	"shoalbook/domain/husbandry"
)

// Complete takes from the round what the request leaves out.
func (q *Request) Complete(r *Round) {
	q.Round = r.ID
	if q.Earliest == 0 {
		q.Earliest = r.WindowFrom
	}
	if q.Latest == 0 {
		q.Latest = r.WindowTo
	}
}

// HasRoom refuses more fish than a unit could hold on the day they come: even the
// smallest that are asked for would fill it beyond what any water carries. Where the
// water or their size is not known, nobody can say.
func (q *Request) HasRoom(unit *Unit) error {
	if unit.Kind == "bed" {
		return Refuse("no_fish_here", "%s is a bed for plants: ask for the tank that shares its water", unit.Name)
	}
	if unit.WaterVolumeL == nil || q.SizeFrom == nil {
		return nil
	}
	density := float64(q.Quantity) * q.SizeFrom.Kilograms() / (float64(*unit.WaterVolumeL) / 1e6)
	if density <= mostDensity {
		return nil
	}
	return &Error{Kind: Refused, Code: "impossible_request", Fields: []FieldError{{"/quantity", "would not have room"}},
		Detail: fmt.Sprintf("%d fish of %s g would be %s kg in a cubic metre of %s on the day they come, and there is no room for more than %d: look at the number, the size and the water volume of the tank",
			q.Quantity, spoken(float64(*q.SizeFrom)/1000), spoken(density), unit.Name, mostDensity)}
}

// The questions about a request.
const (
	AskCapacity = "above_capacity"
	AskUnknown  = "capacity_unknown"
	AskEmpty    = "not_empty"
	AskWindow   = "outside_window"
)

// RequestQuestion is what somebody should look at about a request, with what it is
// asked by.
type RequestQuestion struct {
	Code    string
	Text    string
	Figures []NamedNumber
}

// marketWeight is what fish are taken to be grown to where no plan says, in g (common
// practice, no source).
const marketWeight = 400

// Questions returns what is to be asked about a request, by how its site stands.
func (q *Request) Questions(r *Round, k *Keeping) []RequestQuestion {
	var asked []RequestQuestion
	if q.Withdrawn {
		return nil
	}
	if q.Earliest < r.WindowFrom || q.Latest > r.WindowTo {
		asked = append(asked, RequestQuestion{AskWindow, fmt.Sprintf("The round delivers from %s to %s, and this can be taken from %s to %s: would other days do?", r.WindowFrom, r.WindowTo, q.Earliest, q.Latest), nil})
	}
	if q.Unit == nil || k.Units[*q.Unit] == nil {
		return asked
	}
	stays := q.staying(k)
	asked = append(asked, stays...)
	return append(asked, q.carried(r, k)...)
}

// staying asks about fish that will still be in the unit when the others come.
func (q *Request) staying(k *Keeping) (asked []RequestQuestion) {
	unit := k.Units[*q.Unit]
	for _, s := range k.stocks(*q.Unit) {
		figures := []NamedNumber{{"fish", computed(float64(s.Fish), "fish", "fish of the book in "+s.Name)}}
		p, err := k.Prospect(s.ID, Asked{})
		var when string
		switch {
		case err != nil || p.Goal == nil:
			when = "nobody has said when they are to be harvested"
		case p.Goal.On == nil:
			when = fmt.Sprintf("they are not expected to weigh %s g within a year and a half", spoken(p.Goal.WeightG))
		case *p.Goal.On < q.Earliest:
			continue
		default:
			when = fmt.Sprintf("they are expected to weigh %s g on %s", spoken(p.Goal.WeightG), *p.Goal.On)
			figures = append(figures, NamedNumber{"days_too_late", computed(float64(*p.Goal.On-q.Earliest), "d", "the day by the forecast − the first day of delivery")})
		}
		asked = append(asked, RequestQuestion{AskEmpty, fmt.Sprintf("%s has %d fish of %s, and %s: will it be empty on %s?", unit.Name, s.Fish, s.Name, when, q.Earliest), figures})
	}
	return asked
}

// carried asks about more fish than the unit carries once they are grown.
func (q *Request) carried(r *Round, k *Keeping) []RequestQuestion {
	unit := k.Units[*q.Unit]
	question := CapacityQuestion{Species: r.Species}
	target := k.plannedWeight(*q.Unit, r.Species)
	if !target.Known() {
		target = fact(husbandry.Fact{Value: marketWeight, Unit: "g", Source: "common practice, no source", Provenance: husbandry.Practice})
	}
	question.TargetG = new(Thousandths(math.Round(target.Value * 1000)))
	c, err := k.Capacity(*q.Unit, question)
	if err != nil || c.Binding == nil {
		return []RequestQuestion{{AskUnknown, fmt.Sprintf("Nobody can say how many fish %s carries: is its water volume in the registry?", unit.Name), nil}}
	}
	most := c.Binding.Fish
	if !most.Known() || float64(q.Quantity) <= most.Value {
		return nil
	}
	return []RequestQuestion{{AskCapacity,
		fmt.Sprintf("%d fish are asked for, and %s carries %s of %s g: will some be taken out before they are grown? %s", q.Quantity, unit.Name, spoken(most.Value), spoken(target.Value), c.Binds),
		[]NamedNumber{{"carries_fish", most}, {"carries_kg", c.Binding.Carries}, {"target_weight_g", target}}}}
}

// plannedWeight returns the target weight of the plan of the fish of a species in a unit.
func (k *Keeping) plannedWeight(unit UnitID, species *string) Number {
	for _, s := range k.stocks(unit) {
		if s.Target.Known() && species != nil && s.Species == *species {
			return s.Target
		}
	}
	return none("g", "there is no plan that names a target weight")
}
