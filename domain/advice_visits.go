package domain

import (
	"fmt"
	"slices"
)

// visitDays is after how many days without a visit a site with fish is looked after
// again (common practice, no source).
const visitDays = 60

// SiteVisit is a site that is to be visited, and why.
type SiteVisit struct {
	Site      SiteID
	SiteName  string
	Urgent    int // advice by severity
	Soon      int
	Later     int
	VisitedOn *Date
	NextOn    *Date // as promised at the last visit
	Overdue   bool  // the promised day is over, or nobody came for long
	Why       string
	Take      []string // what to take along
	Advice    []Advice // what it is ranked by
}

// Visit says why a site is to be visited; ok is false where nothing calls for it.
func (o *SiteView) Visit(t Tongue, advice []Advice) (v SiteVisit, ok bool) {
	v = SiteVisit{Site: o.Site, SiteName: o.Name, VisitedOn: o.VisitedOn, NextOn: o.NextVisit, Advice: advice}
	for _, x := range advice {
		switch x.Severity {
		case Urgent:
			v.Urgent++
		case Soon:
			v.Soon++
		case Later:
			v.Later++
		case Note:
		}
	}
	fish := len(o.growing()) > 0
	promised := o.NextVisit != nil && *o.NextVisit <= o.Day
	v.Overdue = promised || fish && (o.VisitedOn == nil || o.Day-*o.VisitedOn >= visitDays)
	if v.Urgent+v.Soon == 0 && !v.Overdue {
		return v, false
	}
	v.Why = t.visitWhy(o, &v, promised)
	v.Take = t.take(advice)
	return v, true
}

func (t Tongue) visitWhy(o *SiteView, v *SiteVisit, promised bool) string {
	var s string
	switch {
	case v.Urgent > 0:
		s = t.many(int64(v.Urgent), "urgent matter", "urgent matters", "urgence", "urgences")
		if v.Soon > 0 {
			s += t.say(" and %d for this week", " et %d à régler cette semaine", v.Soon)
		}
	case v.Soon > 0:
		s = t.say("%d for this week", "%d à régler cette semaine", v.Soon)
	default:
		s = t.pick("Nothing urgent", "Rien d'urgent")
	}
	switch {
	case promised:
		s += t.say("; a visit was promised for %s.", " ; une visite était promise pour le %s.", t.date(*o.NextVisit))
	case o.VisitedOn == nil:
		s += t.pick("; nobody has visited yet.", " ; pas encore de visite.")
	default:
		s += t.say("; last visited on %s, %s.", " ; dernière visite le %s, %s.", t.date(*o.VisitedOn), t.ago(o.Day, *o.VisitedOn))
	}
	return s
}

// equipment is what is needed at a site for advice of a code.
var equipment = []struct {
	codes           []string
	english, french string
}{
	{[]string{"water", "deaths"}, "water test kit and thermometer", "trousse d'analyse d'eau et thermomètre"},
	{[]string{"deaths"}, "gloves, plastic bags and a cool box for samples", "gants, sachets et glacière pour les prélèvements"},
	{[]string{"sample_due", "growth_behind", "density", "ready", "ration_change"}, "scale, hand net, bucket and gloves", "balance, épuisette, seau et gants"},
	{[]string{"turnover", "drain"}, "bucket of known volume and watch, brush for pipes", "seau gradué et montre, écouvillon pour les tuyaux"},
	{[]string{"feed_runs_out"}, "a bag of feed", "un sac d'aliment"},
	{[]string{"no_records"}, "a new record sheet", "un cahier de suivi neuf"},
	{[]string{"unaccounted"}, "netting wire and a padlock", "fil à filet et cadenas"},
}

func (t Tongue) take(advice []Advice) []string {
	list := []string{}
	for _, e := range equipment {
		if slices.ContainsFunc(advice, func(x Advice) bool { return slices.Contains(e.codes, x.Code) }) {
			list = append(list, t.pick(e.english, e.french))
		}
	}
	return list
}

// VisitKeys is how many keys visits are sorted by.
const VisitKeys = 5

// Key returns what visits are sorted by; no two have the same.
func (v *SiteVisit) Key() []string {
	fewest := func(n int) string { return fmt.Sprintf("%04d", 9999-min(n, 9999)) } // the most first
	waited, last := "1", earliest
	if v.Overdue {
		waited = "0"
	}
	if v.VisitedOn != nil {
		last = *v.VisitedOn
	}
	return []string{fewest(v.Urgent), fewest(v.Soon), waited, last.String(), v.Site.String()}
}

// RankVisits sorts the sites to visit: where most is urgent first, then where most is
// to be done this week, then where a visit is overdue and longest ago.
func RankVisits(visits []SiteVisit) []SiteVisit {
	slices.SortFunc(visits, func(a, b SiteVisit) int { return slices.Compare(a.Key(), b.Key()) })
	return visits
}
