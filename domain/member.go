package domain

import (
	"cmp"
	"slices"
	"strings"
	"time"
)

// Role is what somebody may do in a co-operative.
type Role string

// The roles. Which operations and kinds of entries each of them may use is said
// where operations are served.
const (
	Coordinator Role = "coordinator" // all of the co-operative
	Adviser     Role = "adviser"     // reads the books of all sites
	Keeper      Role = "keeper"      // reads and records for the own sites
	Treasurer   Role = "treasurer"   // reads the books of all sites and records money
	Funder      Role = "funder"      // what was issued to it
	Auditor     Role = "auditor"     // reads everything, the audit trail too; writes nothing
)

// Roles lists every role.
var Roles = []Role{Coordinator, Adviser, Keeper, Treasurer, Funder, Auditor}

// Member is a person of the co-operative. An archived one has no token that holds.
type Member struct {
	ID    MemberID
	Name  string
	Role  Role
	Sites []SiteID // nil: all, also those to come
	Phone *string
	Kept
}

// TokenFacts is what is kept of a token; the token itself is not.
type TokenFacts struct {
	ID         TokenID
	Member     *MemberID // whose it is; nil: of no person in particular
	Name       string
	Role       Role
	Sites      []SiteID // nil: all, also those to come
	CreatedAt  time.Time
	ExpiresAt  *time.Time
	LastUsedOn *Date // in UTC
	RevokedAt  *time.Time
}

// Check refuses a member that cannot be.
func (f *Member) Check() error {
	c := &checker{}
	c.name(f.Name)
	c.role(f.Role)
	c.sites(f.Sites)
	c.require(f.Role != Keeper || f.Sites != nil, "/sites", "a keeper needs the sites it keeps")
	c.require(f.Phone == nil || fits(*f.Phone, 40), "/phone", "must be 1 to 40 characters")
	return c.refuse("the member")
}

// Covers reports whether a token does not go beyond what the member may do: it has
// the member's role, which for a coordinator may be any, and none but the member's
// sites.
func (f *Member) Covers(t *TokenFacts) bool {
	if t.Role != f.Role && f.Role != Coordinator {
		return false
	}
	return f.Sites == nil || t.Sites != nil && !slices.ContainsFunc(t.Sites, func(id SiteID) bool { return !slices.Contains(f.Sites, id) })
}

// Check refuses a token that cannot be.
func (f *TokenFacts) Check() error {
	c := &checker{}
	c.name(f.Name)
	c.role(f.Role)
	c.sites(f.Sites)
	return c.refuse("the token")
}

// Issue completes a token that is asked for through the service, and refuses one
// that goes too far. What is left out is as with the member whose it is to be, who
// may be nil; it holds for a year if it is not said how long, and for two at most.
func (f *TokenFacts) Issue(to *Member, now time.Time) error {
	if to != nil {
		f.Name, f.Role = cmp.Or(f.Name, to.Name), cmp.Or(f.Role, to.Role)
		if f.Sites == nil {
			f.Sites = to.Sites
		}
	}
	if f.ExpiresAt == nil {
		end := now.AddDate(1, 0, 0)
		f.ExpiresAt = &end
	}
	if err := f.Check(); err != nil {
		return err
	}
	c := &checker{}
	c.require(f.Role != Keeper || f.Sites != nil, "/sites", "the token of a keeper needs the sites it is for")
	c.require(f.ExpiresAt.After(now), "/expires_at", "must be in the future")
	c.require(!f.ExpiresAt.After(now.AddDate(2, 0, 0)), "/expires_at", "must be within two years")
	if err := c.refuse("the token"); err != nil {
		return err
	}
	switch {
	case to == nil:
		return nil
	case to.Archived:
		return &Error{Kind: Refused, Code: "archived", Detail: "the member is archived", Fields: []FieldError{{Pointer: "/member_id", Detail: "is archived"}}}
	case !to.Covers(f):
		return Refuse("beyond_member", "a token can do no more than the member whose it is: choose the member's role and sites, or fewer sites")
	}
	return nil
}

func (c *checker) role(r Role) {
	names := make([]string, len(Roles))
	for i, role := range Roles {
		names[i] = string(role)
	}
	c.require(slices.Contains(Roles, r), "/role", "must be one of "+strings.Join(names, ", "))
}

// sites judges a list of sites, where none at all stands for every site.
func (c *checker) sites(ids []SiteID) {
	c.require(ids == nil || len(ids) > 0, "/sites", "leave it out for all sites")
	c.require(len(ids) <= 500, "/sites", "at most 500")
	sorted := slices.SortedFunc(slices.Values(ids), SiteID.Compare)
	c.require(len(slices.Compact(sorted)) == len(ids), "/sites", "must not repeat")
}
