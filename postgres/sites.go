package postgres

import (
	"fmt"
	"slices"
	"strings"

	"shoalbook/domain"
)

// bind writes out own_site, which stands in every statement beside each table of a
// site: own_site(e.site_id) is true of the sites of the token, whose list becomes the
// next argument, and own_site(null) of what is for tokens of all sites alone. For these
// it is not more than true, so that the planner does not reckon with a condition that
// leaves nothing out.
//
// This is the first wall between sites. The list comes from this program, and not from
// the settings of the transaction that row-level security, the second, goes by.
func bind(sql string, args []any, sites []domain.SiteID) (string, []any) {
	const name = "own_site("
	if !strings.Contains(sql, name) {
		return sql, args
	}
	var bound strings.Builder
	for {
		before, rest, found := strings.Cut(sql, name)
		bound.WriteString(before)
		if !found {
			break
		}
		var site string
		site, sql, _ = strings.Cut(rest, ")")
		if sites == nil {
			bound.WriteString("true")
		} else {
			fmt.Fprintf(&bound, "(%s = any($%d::uuid[]))", site, len(args)+1)
		}
	}
	if sites != nil {
		args = append(slices.Clip(args), sites)
	}
	return bound.String(), args
}

// forAll refuses what is for tokens of all sites alone.
func (tx *Tx) forAll() error {
	if tx.sites != nil {
		return domain.Errorf(domain.Forbidden, "forbidden", "this token is not for that")
	}
	return nil
}

// sameSites compares two lists; none at all stands for all sites.
func sameSites(a, b []domain.SiteID) bool {
	return (a == nil) == (b == nil) && slices.Equal(a, b)
}
