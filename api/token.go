package api

import (
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
func authenticate(c *gin.Context) {
	if requestOf(c).operation.public {
		c.Next()
		return
	}
	token, err := bearer(c.Request.Header)
	if err != nil {
		writeProblem(c, err)
		return
	}
	r := requestOf(c)
	r.credential = postgres.Credential{Coop: token.Coop, TokenHash: token.Hash(), Roles: r.operation.roles}
	c.Next()
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
