package domain

import "shoalbook/domain/buying"

// The rules by which a delivery that is too small is shared out.
const (
	AllotProportional = "proportional"
	AllotMaxMin       = "max_min"
)

// AllotRules lists the rules in the order in which they are shown.
var AllotRules = []string{AllotProportional, AllotMaxMin}

// Wanted is what one line of an order wants of what there is, in pieces.
type Wanted struct {
	Ordered Pieces
	Least   Pieces // below this nothing is of use
}

// Allotment is what each line gets by a rule. What is no whole pack, or wanted by nobody
// who can use it, is left.
type Allotment struct {
	Rule  string
	Gets  []Pieces
	Left  Pieces
	Keeps []string // the properties of the rule, in words
}

// Allot shares out what there is in whole packs by a rule. Nobody gets more than was
// ordered, a line below its least gets nothing and frees its share, and what all get and
// what is left sum to what there is. The order of the lines decides between equals.
func Allot(rule string, available, pack Pieces, lines []Wanted) Allotment {
	claims := make([]buying.Claim, len(lines))
	for i, l := range lines {
		claims[i] = buying.Claim{Want: int64(ceilDiv(l.Ordered, pack)), Least: int64(ceilDiv(l.Least, pack))}
	}
	share := buying.Proportional
	if rule == AllotMaxMin {
		share = buying.MaxMin
	}
	a := Allotment{Rule: rule, Left: available, Keeps: keeps[rule]}
	for i, packs := range share(int64(available/pack), claims) {
		gets := min(Pieces(packs)*pack, lines[i].Ordered) // the last pack of a line may be a part of one
		a.Gets = append(a.Gets, gets)
		a.Left -= gets
	}
	return a
}

func ceilDiv(n, d Pieces) Pieces { return (n + d - 1) / d }

var keepAlways = []string{
	"what all get and what is left sum to what there is",
	"everyone gets whole packs, and nobody more than was ordered",
	"equal orders get the same to one pack, if all of them reach their least",
	"who ordered more never gets less, if all of them reach their least",
	"nobody gets less because more has come, as long as the same sites reach their least",
	"who would get less than is of use gets nothing, and the others share it",
}

var keeps = map[string][]string{
	AllotProportional: append([]string{
		"everyone gets the same part of what was ordered, to one pack, by the divisor method of Sainte-Laguë",
	}, keepAlways...),
	AllotMaxMin: append([]string{
		"who gets the least gets as much as possible: small orders are met first, and the big ones get the same each",
	}, keepAlways...),
}
