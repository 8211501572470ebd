package domain_test

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"shoalbook/domain"
)

// reason returns the code of a refusal and the members it names; nothing for none.
func reason(err error) string {
	var refusal *domain.Error
	if !errors.As(err, &refusal) {
		return ""
	}
	words := []string{refusal.Code}
	for _, f := range refusal.Fields {
		words = append(words, f.Pointer)
	}
	return strings.Join(words, " ")
}

func sitesOf(numbers ...int) (ids []domain.SiteID) {
	for _, n := range numbers {
		ids = append(ids, id[domain.SiteFacts](n))
	}
	return ids
}

func TestMemberCheck(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		member domain.Member
		want   string
	}{
		{domain.Member{Name: "Mutale", Role: domain.Keeper, Sites: sitesOf(1)}, ""},
		{domain.Member{Name: "Mutale", Role: domain.Coordinator}, ""},
		{domain.Member{Name: "Mutale", Role: domain.Coordinator, Sites: sitesOf(2, 1), Phone: new("+260 97 0000000")}, ""},
		{domain.Member{Name: "Mutale", Role: domain.Keeper}, "invalid_request /sites"},
		{domain.Member{Name: "Mutale", Role: domain.Auditor, Sites: []domain.SiteID{}}, "invalid_request /sites"},
		{domain.Member{Name: "Mutale", Role: domain.Auditor, Sites: sitesOf(1, 2, 1)}, "invalid_request /sites"},
		{domain.Member{Name: " ", Role: "owner", Phone: new("")}, "invalid_request /name /role /phone"},
	} {
		if got := reason(c.member.Check()); got != c.want {
			t.Errorf("%+v is refused for %q, want %q", c.member, got, c.want)
		}
	}
	for _, role := range domain.Roles {
		m := domain.Member{Name: "Mutale", Role: role, Sites: sitesOf(1)}
		if err := m.Check(); err != nil {
			t.Errorf("%s: %v", role, err)
		}
	}
}

func TestTokenIsNoMoreThanItsMember(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)
	in := func(years, months, days int) *time.Time { return new(now.AddDate(years, months, days)) }
	keeper := &domain.Member{Name: "Mutale", Role: domain.Keeper, Sites: sitesOf(1, 2)}
	north := &domain.Member{Name: "Chanda", Role: domain.Coordinator, Sites: sitesOf(1, 2)}
	coordinator := &domain.Member{Name: "Bwalya", Role: domain.Coordinator}
	left := &domain.Member{Name: "Phiri", Role: domain.Auditor, Kept: domain.Kept{Archived: true}}
	for _, c := range []struct {
		asked domain.TokenFacts
		of    *domain.Member
		want  string // the refusal, or else the token in short
	}{
		{domain.TokenFacts{}, keeper, "Mutale keeper 2"},
		{domain.TokenFacts{Name: "phone in the store"}, keeper, "phone in the store keeper 2"},
		{domain.TokenFacts{Sites: sitesOf(2)}, keeper, "Mutale keeper 1"},
		{domain.TokenFacts{Sites: sitesOf(2, 3)}, keeper, "beyond_member"},
		{domain.TokenFacts{Role: domain.Adviser}, keeper, "beyond_member"},
		{domain.TokenFacts{Role: domain.Coordinator}, keeper, "beyond_member"},
		{domain.TokenFacts{}, coordinator, "Bwalya coordinator 0"},
		{domain.TokenFacts{Role: domain.Treasurer}, coordinator, "Bwalya treasurer 0"},
		{domain.TokenFacts{Role: domain.Keeper}, coordinator, "invalid_request /sites"},
		{domain.TokenFacts{Role: domain.Keeper, Sites: sitesOf(9)}, coordinator, "Bwalya keeper 1"},
		{domain.TokenFacts{Role: domain.Keeper}, north, "Chanda keeper 2"},
		{domain.TokenFacts{Sites: sitesOf(3)}, north, "beyond_member"},
		{domain.TokenFacts{}, left, "archived /member_id"},
		{domain.TokenFacts{}, nil, "invalid_request /name /role"},
		{domain.TokenFacts{Name: "scale", Role: domain.Keeper}, nil, "invalid_request /sites"},
		{domain.TokenFacts{Name: "scale", Role: domain.Keeper, Sites: sitesOf(7)}, nil, "scale keeper 1"},
		{domain.TokenFacts{Name: "screen", Role: domain.Adviser, ExpiresAt: in(2, 0, 0)}, nil, "screen adviser 0"},
		{domain.TokenFacts{Name: "screen", Role: domain.Adviser, ExpiresAt: in(2, 0, 1)}, nil, "invalid_request /expires_at"},
		{domain.TokenFacts{Name: "screen", Role: domain.Adviser, ExpiresAt: in(0, 0, 0)}, nil, "invalid_request /expires_at"},
	} {
		token := c.asked
		got := reason(token.Issue(c.of, now))
		if got == "" {
			got = token.Name + " " + string(token.Role) + " " + string(rune('0'+len(token.Sites)))
		}
		if got != c.want {
			t.Errorf("%+v of %+v becomes %q, want %q", c.asked, c.of, got, c.want)
		}
	}
	token := domain.TokenFacts{}
	if err := token.Issue(coordinator, now); err != nil || !token.ExpiresAt.Equal(*in(1, 0, 0)) {
		t.Errorf("without a word it holds until %v, %v", token.ExpiresAt, err)
	}
}

func TestCoversLooksAtRoleAndSites(t *testing.T) {
	t.Parallel()
	for _, role := range domain.Roles {
		var covered []domain.Role
		for _, of := range domain.Roles {
			if (&domain.Member{Role: of}).Covers(&domain.TokenFacts{Role: role}) {
				covered = append(covered, of)
			}
		}
		want := []domain.Role{domain.Coordinator}
		if role != domain.Coordinator {
			want = append(want, role)
		}
		if slices.Sort(covered); !slices.Equal(covered, slices.Sorted(slices.Values(want))) {
			t.Errorf("a token of the role %s may belong to %v, want %v", role, covered, want)
		}
	}
	some := domain.Member{Role: domain.Adviser, Sites: sitesOf(1)}
	if some.Covers(&domain.TokenFacts{Role: domain.Adviser}) {
		t.Error("a token for all sites belongs to a member for one")
	}
}
