package render

import (
	"fmt"
	"strings"
	"time"
)

// A tongue has the few words that a representation adds by itself, and how numbers and
// dates are written in a language.
type tongue struct {
	lang, point                   string
	page                          string // of how many
	total, notes, sources, issued string
	caution, limits               string
	contents, lost                string
	low, high, scroll             string
	months                        [12]string
	verdicts                      [3]string // by Verdict
	limit95, limit998, centre     string    // of a funnel
	cutAxis                       string
}

var english = &tongue{lang: "en", point: ".", page: "Page %d of %d", total: "Total", notes: "Notes", sources: "Sources", issued: "Issued by",
	caution: "Caution", limits: "Limits of the data", contents: "Contents",
	lost: "Letters that this print has no shape for are shown as □.",
	low:  "low", high: "high", scroll: "can be moved sideways",
	months:   [12]string{"Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"},
	verdicts: [3]string{"no difference shown", "worth a look", "different"}, limit95: "95 % limits", limit998: "99.8 % limits", centre: "all together",
	cutAxis: "The axis does not begin at zero: lengths are differences."}

var french = &tongue{lang: "fr", point: ",", page: "Page %d sur %d", total: "Total", notes: "Notes", sources: "Sources", issued: "Établi par",
	caution: "Attention", limits: "Limites des données", contents: "Contenu",
	lost: "Les lettres que cette impression ne peut dessiner sont remplacées par □.",
	low:  "bas", high: "haut", scroll: "défile sur le côté",
	months:   [12]string{"janv.", "févr.", "mars", "avr.", "mai", "juin", "juil.", "août", "sept.", "oct.", "nov.", "déc."},
	verdicts: [3]string{"aucune différence établie", "à regarder de près", "différent"}, limit95: "limites à 95 %", limit998: "limites à 99,8 %", centre: "tous ensemble",
	cutAxis: "L'axe ne commence pas à zéro : les longueurs sont des écarts."}

func (d *Document) tongue() *tongue { return tongueOf(d.Lang) }

func tongueOf(lang string) *tongue {
	if strings.HasPrefix(lang, "fr") {
		return french
	}
	return english
}

func (t *tongue) day(d time.Time) string {
	return fmt.Sprintf("%d%s%s%s%d", d.Day(), wide, t.months[d.Month()-1], wide, d.Year())
}
