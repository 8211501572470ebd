package domain

import (
	"fmt"
	"slices"
	"strings"
)

// reasons counts why something cannot be, the most frequent one first when they are told.
type reasons []given

type given struct {
	reason  string
	details []string // that differ
	times   int
}

// mostReasons is how many reasons are told one by one.
const mostReasons = 4

func (r *reasons) add(reason, detail string) {
	n := slices.IndexFunc(*r, func(c given) bool { return c.reason == reason })
	if n < 0 {
		n, *r = len(*r), append(*r, given{reason: reason})
	}
	c := &(*r)[n]
	if c.times++; detail != "" && !slices.Contains(c.details, detail) {
		c.details = append(c.details, detail)
	}
}

// tell says the reasons, with how many things each is of.
func (r reasons) tell(thing string) string {
	slices.SortStableFunc(r, func(a, b given) int { return b.times - a.times })
	var told []string
	others := 0
	for n, c := range r {
		if n >= mostReasons {
			others += c.times
			continue
		}
		says := several(float64(c.times), thing) + ": " + c.reason
		switch len(c.details) {
		case 0:
		case 1:
			says += " (" + c.details[0] + ")"
		default:
			says += " (such as: " + c.details[0] + ")"
		}
		told = append(told, says)
	}
	if others > 0 {
		told = append(told, several(float64(others), thing)+": for other reasons")
	}
	return strings.Join(told, "; ")
}

// whyNot says why nobody can serve a request.
func (p *planning) whyNot(i int) string {
	var why reasons
	for k := range p.Quotes {
		if len(p.all[k]) == 0 {
			why.add(p.leftOut[k], "")
			continue
		}
		why.add(p.why(k, i))
	}
	if len(why) == 0 {
		return "there is no quote"
	}
	return "nobody can serve it; " + why.tell("quote")
}

// whyNone says why a quote can serve no request.
func (p *planning) whyNone(k int) string {
	var why reasons
	for i := range p.Requests {
		why.add(p.why(k, i))
	}
	if len(why) == 0 {
		return "it can serve no request; there is none"
	}
	return "it can serve no request; " + why.tell("request")
}

// why says why a quote that can come cannot serve a request, with the figures.
func (p *planning) why(k, i int) (reason, detail string) {
	q := &p.Quotes[k]
	reason = otherDays
	for _, w := range p.all[k] {
		l := w.lots[i]
		fits := l.reason == "" || l.reason == tooSmallShare
		switch {
		case l.reason == otherDays:
		case !fits:
			reason, detail = l.reason, l.detail
		case w.most < q.smallest():
			reason, detail = fmt.Sprintf("it can send no more than %d at once, and takes no order of less than %d", w.most, q.smallest()), ""
		case l.pieces > w.most:
			reason, detail = "it can send too few at once", fmt.Sprintf("%d where it takes %d", w.most, l.pieces)
		case l.reason != "":
			reason, detail = l.reason, ""
		default:
			reason, detail = "there are more ways to order than are looked at", ""
		}
	}
	return reason, detail
}
