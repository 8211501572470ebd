package api

import (
	"context"
	"net/http"
	"strings"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/postgres"
)

// authenticate turns away what cannot be a token of this service, and notes what
// the transaction that does the work needs in order to find out whether there is
// such a token, and whether it may do that work. Only what the contract says is for
// anyone needs none.
//
// A token that was not met yet is looked up before anything is done for the co-operative
// that it names: by one that was made up nothing is taken from the co-operative's
// buckets, no turn of it, and no body is read. Too many wrong ones from an address and
// no other new one from there is looked at for a while; those that were met before are
// taken all the same, since many may share the address of a proxy.
func (l *limits) authenticate(met func(postgres.Credential) bool, meet func(context.Context, postgres.Credential) error) gin.HandlerFunc {
	return func(c *gin.Context) {
		r := requestOf(c)
		if r.operation.public {
			c.Next()
			return
		}
		now, address := l.now(), c.ClientIP()
		token, err := bearer(c.Request.Header)
		if err == nil {
			r.credential = postgres.Credential{Coop: token.Coop, TokenHash: token.Hash(), Roles: r.operation.roles}
		}
		if err != nil || !met(r.credential) {
			if wait := l.wrong.wait(address, now); wait > 0 {
				tooMany(c, wait, "too many wrong tokens came from your address")
				return
			}
			if err == nil {
				err = l.introduce(c.Request.Context(), r.credential, meet)
			}
		}
		if err != nil {
			writeProblem(c, err)
		} else {
			c.Next()
		}
		if c.Writer.Status() == http.StatusUnauthorized {
			l.wrong.take(address, now)
		}
	}
}

// introduce looks a token up. Strangers wait for each other, as if they were one
// co-operative.
func (l *limits) introduce(ctx context.Context, c postgres.Credential, meet func(context.Context, postgres.Credential) error) error {
	leave, err := l.atOnce.enter(ctx, domain.CoopID{})
	if err != nil {
		return err
	}
	defer leave()
	return meet(ctx, c)
}

// bearer reads the one Authorization header a request must have (RFC 6750).
func bearer(h http.Header) (domain.Token, error) {
	values := h["Authorization"]
	switch {
	case len(values) == 0:
		return domain.Token{}, domain.Errorf(domain.Unauthenticated, "unauthenticated", "send a token in the header Authorization: Bearer")
	case len(values) > 1:
		return domain.Token{}, domain.Errorf(domain.Unauthenticated, "unauthenticated", "the header Authorization is given more than once")
	}
	scheme, text, _ := strings.Cut(values[0], " ")
	if !strings.EqualFold(scheme, "Bearer") {
		return domain.Token{}, domain.Errorf(domain.Unauthenticated, "unauthenticated", "the header Authorization must be of the kind Bearer")
	}
	token, err := domain.ParseToken(text)
	if err != nil {
		return domain.Token{}, domain.Errorf(domain.Unauthenticated, "unauthenticated", "this is not a token of this service; was it copied whole?")
	}
	return token, nil
}
