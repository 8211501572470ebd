package domain_test

import (
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"shoalbook/domain"
)

// given returns the advice of a situation on the first day that it is given.
func (s situation) given(t *testing.T, tongue domain.Tongue, change func(*domain.SiteView)) domain.Advice {
	t.Helper()
	o := s.scene.at(t, s.days[0])
	if change != nil {
		change(o)
	}
	x, ok := found(o.Advise(tongue), s.code, s.measure)
	if !ok {
		t.Fatalf("%s: no %s", s.name, s.code)
	}
	return x
}

func debts() []domain.Debt {
	return []domain.Debt{
		{Party: id[domain.Party](71), Name: "Hotel Nam Lolwe", Phone: new("+254 700 000003"), Amount: 12_500_00, From: day(20)},
		{Party: id[domain.Party](72), Name: "Lake Feeds", Ours: true, Amount: 48_000_00, From: day(25)},
	}
}

// everyAdvice calls a test with every advice there is, in both languages, at a site
// changed as given.
func everyAdvice(t *testing.T, change func(*domain.SiteView), rename func(*domain.Debt), test func(t *testing.T, name string, tongue domain.Tongue, x domain.Advice, want *situation)) {
	t.Helper()
	for _, tongue := range []domain.Tongue{domain.English, domain.French} {
		for _, s := range situations() {
			if len(s.days) > 0 {
				test(t, s.name, tongue, s.given(t, tongue, change), &s)
			}
		}
		for _, d := range debts() {
			if rename != nil {
				rename(&d)
			}
			test(t, d.Name, tongue, d.Advise(tongue, "KES", day(60)), nil)
		}
	}
}

// gsmAlphabet is the basic alphabet of GSM 03.38, from memory of the standard, less
// the two characters that end a line.
const gsmAlphabet = "@£$¥èéùìòÇØøÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"

// longNames gives everything the longest name there may be, of characters that no
// short message has.
func longNames(o *domain.SiteView) {
	long := func(s string) string {
		return s + strings.Repeat(" École «ÿœ» Ngāti₃", 20)[:200-len(s)]
	}
	o.Name = long("Groupe scolaire")
	for _, u := range o.Units {
		u.Name = long("Bassin")
	}
	for _, l := range o.Loops {
		l.Name = long("Boucle")
	}
	for _, p := range o.Products {
		p.Name = long("Aliment")
	}
	for i := range o.Calendar {
		o.Calendar[i].Name = long("Vacances")
	}
	for id := range o.Suppliers {
		o.Suppliers[id] = domain.Contact{Name: long("Vendeur")}
	}
}

// TestShortMessages: every advice fits into one short message in both languages,
// whatever the names, with characters of its alphabet only, and names its place.
func TestShortMessages(t *testing.T) {
	t.Parallel()
	check := func(t *testing.T, name string, tongue domain.Tongue, x domain.Advice, _ *situation) {
		t.Helper()
		if n := utf8.RuneCountInString(x.SMS); n > 160 || n < 40 {
			t.Errorf("%s, %s: %d characters: %s", name, tongue, n, x.SMS)
		}
		for _, r := range x.SMS {
			if !strings.ContainsRune(gsmAlphabet, r) {
				t.Errorf("%s, %s: %q is not in the alphabet: %s", name, tongue, r, x.SMS)
			}
		}
		place, rest, ok := strings.Cut(x.SMS, ": ")
		if !ok || utf8.RuneCountInString(strings.SplitN(place, ", ", 2)[0]) < 6 || rest == "" {
			t.Errorf("%s, %s: hardly any place is named: %s", name, tongue, x.SMS)
		}
	}
	everyAdvice(t, nil, nil, check)
	everyAdvice(t, longNames, func(d *domain.Debt) { d.Name, d.Amount = strings.Repeat("Hôtel ", 33), 9_999_999_999_99 }, check)
}

// TestWhatIsSaid: every advice says why, what to do, whom to call and what ends it, in
// a language of its own, with figures and the entries behind it.
func TestWhatIsSaid(t *testing.T) {
	t.Parallel()
	english := map[string]domain.Advice{}
	everyAdvice(t, nil, nil, func(t *testing.T, name string, tongue domain.Tongue, x domain.Advice, want *situation) {
		t.Helper()
		t.Logf("%s (%d)\n  %s\n  %s\n  until: %s\n  %s", x.Code, x.Severity, x.Why, x.Do, x.Until, x.SMS)
		for _, text := range []string{x.Why, x.Do, x.Until, x.SMS} {
			if text == "" || strings.Contains(text, "%!") || strings.Contains(text, "  ") || strings.Contains(text, "1 days") || strings.Contains(text, "1 jours") {
				t.Errorf("%s, %s: %q", name, tongue, text)
			}
		}
		if !strings.HasSuffix(x.Why, ".") || !strings.HasSuffix(x.Do, ".") || len(x.Call) == 0 || len(x.Figures) == 0 || x.Since == 0 {
			t.Errorf("%s, %s: %+v", name, tongue, x)
		}
		for _, n := range x.Figures {
			if n.Known() && n.Source == "" {
				t.Errorf("%s: %s has no source", name, n.Name)
			}
		}
		if tongue == domain.English {
			english[name+x.Code] = x
			return
		}
		if e := english[name+x.Code]; e.Why == x.Why || e.Do == x.Do || e.Until == x.Until || e.SMS == x.SMS || e.Severity != x.Severity {
			t.Errorf("%s: the French is the English: %s", name, x.Why)
		}
	})
}

// TestCautionsOfAdvice lists which advice must carry which caution, each in the
// language asked for.
func TestCautionsOfAdvice(t *testing.T) {
	t.Parallel()
	everyAdvice(t, nil, nil, func(t *testing.T, name string, tongue domain.Tongue, x domain.Advice, want *situation) {
		t.Helper()
		var cautions []string
		if want != nil {
			cautions = want.cautions
		}
		if tongue == domain.English && !slices.Equal(slices.Sorted(slices.Values(x.Cautions)), slices.Sorted(slices.Values(cautions))) {
			t.Errorf("%s: the cautions are\n%q, want\n%q", name, x.Cautions, cautions)
		}
		for _, c := range x.Cautions {
			if c == "" || tongue == domain.French && slices.Contains(cautions, c) {
				t.Errorf("%s: a caution of the %s list is %q", name, tongue, c)
			}
		}
		if len(x.Cautions) != len(cautions) {
			t.Errorf("%s, %s: %d cautions, want %d", name, tongue, len(x.Cautions), len(cautions))
		}
	})
}

// TestEveryCodeIsTested: no advice is without a situation.
func TestEveryCodeIsTested(t *testing.T) {
	t.Parallel()
	tested := map[string]bool{"debt_overdue": true}
	for _, s := range situations() {
		tested[s.code] = tested[s.code] || len(s.days) > 0
	}
	for _, code := range domain.AdviceCodes() {
		if !tested[code] {
			t.Errorf("nothing tests %s", code)
		}
	}
}
