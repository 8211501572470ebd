package domain

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// Tongue is a language in which people are told what to do.
type Tongue string

// The languages.
const (
	English Tongue = "en"
	French  Tongue = "fr"
)

// say puts arguments, in their order, into the sentence of the language.
func (t Tongue) say(english, french string, args ...any) string {
	return fmt.Sprintf(t.pick(english, french), args...)
}

// pick returns the text of the language as it is.
func (t Tongue) pick(english, french string) string {
	if t == French {
		return french
	}
	return english
}

// number writes a number with no more digits than anybody needs.
func (t Tongue) number(v float64) string {
	return t.decimals(spoken(v))
}

// decimals writes a printed number with the decimal sign of the language.
func (t Tongue) decimals(printed string) string {
	if t == French {
		return strings.Replace(printed, ".", ",", 1)
	}
	return printed
}

// mass writes a weight in kg, small ones in g.
func (t Tongue) mass(kg float64) string {
	if kg < 1 {
		return t.number(round(kg*1000, 0)) + " g"
	}
	return t.number(kg) + " kg"
}

var frenchMonths = [...]string{"janvier", "février", "mars", "avril", "mai", "juin", "juillet", "août", "septembre", "octobre", "novembre", "décembre"}

// date writes a day of this year or near it: 4 May, 4 mai.
func (t Tongue) date(d Date) string {
	_, m, day := d.Time().Date()
	if t != French {
		return fmt.Sprintf("%d %s", day, m)
	}
	if day == 1 {
		return "1er " + frenchMonths[m-time.January]
	}
	return fmt.Sprintf("%d %s", day, frenchMonths[m-time.January])
}

// many writes a number with its noun: 1 fish, 27 fish; in French 0 is singular.
func (t Tongue) many(n int64, one, more, un, plusieurs string) string {
	if t == French {
		one, more = un, plusieurs
	}
	if n == 1 || t == French && n == 0 {
		more = one
	}
	return fmt.Sprintf("%d %s", n, more)
}

func (t Tongue) fish(n Fish) string {
	return t.many(int64(n), "fish", "fish", "poisson", "poissons")
}

func (t Tongue) days(n Date) string {
	return t.many(int64(n), "day", "days", "jour", "jours")
}

// ago says how long ago a day was.
func (t Tongue) ago(today, d Date) string {
	switch n := today - d; n {
	case 0:
		return t.pick("today", "aujourd'hui")
	case 1:
		return t.pick("yesterday", "hier")
	default:
		return t.say("%s ago", "il y a %s", t.days(n))
	}
}

// pace says how often something happens that happens so many times a day.
func (t Tongue) pace(aDay float64) string {
	switch {
	case aDay >= 0.95:
		return t.say("%s a day", "%s par jour", t.number(math.Round(aDay)))
	case aDay >= 1.0/7:
		return t.say("%s a week", "%s par semaine", t.number(math.Round(7*aDay)))
	case aDay >= 1.0/60:
		return t.say("1 in %s", "1 en %s", t.days(Date(math.Round(1/aDay))))
	}
	return t.pick("hardly any", "presque aucun")
}

// frenchCautions are the cautions in French.
var frenchCautions = map[string]string{
	CautionFigures:     "Ces chiffres aident à décider ; ils ne remplacent ni les règles locales ni l'avis d'un professionnel agréé.",
	CautionElectricity: "L'électricité et l'eau tuent : protégez la ligne par un disjoncteur différentiel de 30 mA au plus, gardez les prises hors des éclaboussures et la pompe à air plus haut que l'eau, et débranchez avant de mettre les mains dans l'eau. Le câblage est l'affaire d'un électricien compétent.",
	CautionChildren:    "Pas d'enfant près de l'eau sans un adulte : couvrez ou clôturez le bassin. Un enfant peut se noyer dans quelques centimètres d'eau.",
	CautionSpines:      "Le poisson-chat a des épines pointues : mettez des gants pour le manipuler.",
	CautionMedicine:    "Pas de médicament sans suivre la notice et le vétérinaire. On ne mange ni ne vend le poisson avant la fin du délai d'attente, en jours et en degrés-jours, et c'est la loi locale qui décide.",
	CautionLeaves:      "Pas de fumier d'animaux à sang chaud sur des feuilles mangées crues ; lavez ce que vous récoltez.",
}

// Caution says one of the cautions in the language.
func (t Tongue) Caution(c string) string {
	if t == French {
		return frenchCautions[c]
	}
	return c
}

// smsLength is how many characters of the GSM alphabet one short message holds
// (3GPP TS 23.038, from memory of the standard).
const smsLength = 160

// gsmLetters are the characters of the basic alphabet of GSM 03.38 (3GPP TS
// 23.038, from memory of the standard) that take one place in a short message.
const gsmLetters = "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"

// gsmFolds are what stands in for characters that are not in the alphabet.
var gsmFolds = strings.NewReplacer("â", "a", "á", "a", "ã", "a", "ê", "e", "ë", "e", "î", "i", "ï", "i", "í", "i", "ô", "o", "ó", "o", "õ", "o", "û", "u", "ú", "u", "ç", "c", "œ", "oe", "ÿ", "y",
	"À", "A", "Â", "A", "Á", "A", "Ê", "E", "È", "E", "Ë", "E", "Î", "I", "Ï", "I", "Ô", "O", "Ó", "O", "Û", "U", "Ù", "U", "Ú", "U", "Œ", "OE",
	"’", "'", "‘", "'", "`", "'", "“", "\"", "”", "\"", "«", "\"", "»", "\"", "–", "-", "—", "-", "…", "...", "\u00a0", " ", "\u202f", " ", "\t", " ",
	"[", "(", "]", ")", "{", "(", "}", ")", "|", "/", "\\", "/", "~", "-", "^", " ", "€", "EUR", "°C", "C", "°", "", "³", "3", "²", "2", "₂", "2", "₃", "3", "µ", "u", "·", "-", "×", "x")

// gsm writes a text in the alphabet of short messages; what has no place in it is
// left out.
func gsm(s string) string {
	return strings.Map(func(r rune) rune {
		if strings.ContainsRune(gsmLetters, r) && r != '\n' && r != '\r' {
			return r
		}
		return -1
	}, gsmFolds.Replace(s))
}

// sms writes a short message about a place, whose names are cut, the longest first,
// to keep within one message: the rest must leave room for some of them.
func sms(place []string, rest string) string {
	rest = ": " + gsm(rest)
	room := smsLength - len([]rune(rest))
	var names [][]rune
	for _, name := range place {
		if name = strings.TrimSpace(gsm(name)); name != "" {
			names = append(names, []rune(name))
			room -= len(", ")
		}
	}
	room += len(", ") // none before the first
	for {
		length, longest := 0, 0
		for i, n := range names {
			length += len(n)
			if len(n) > len(names[longest]) {
				longest = i
			}
		}
		if length <= room || length == 0 {
			break
		}
		n := names[longest]
		cut := strings.TrimRight(string(n[:max(0, len(n)-2)]), " .-'")
		if cut != "" {
			cut += "."
		}
		names[longest] = []rune(cut)
	}
	var texts []string
	for _, n := range names {
		if len(n) > 0 {
			texts = append(texts, string(n))
		}
	}
	return strings.Join(texts, ", ") + rest
}
