package api

import (
	"net/http"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
)

// authenticate turns away what cannot be a token of this service, and notes the
// co-operative and the hash of what can. Whether such a token exists and holds is
// found out in the transaction that does the work. Only what the contract says is
// for anyone needs none.
func authenticate(c *gin.Context) {
	if requestOf(c).operation.public {
		c.Next()
		return
	}
	cred, err := bearer(c.Request.Header)
	if err != nil {
		writeProblem(c, err)
		return
	}
	requestOf(c).credential = cred
	c.Next()
}

// bearer reads the one Authorization header a request must have (RFC 6750).
func bearer(h http.Header) (credential, error) {
	values := h["Authorization"]
	switch {
	case len(values) == 0:
		return credential{}, domain.Errorf(domain.Unauthenticated, "unauthenticated", "send a token in the header Authorization: Bearer")
	case len(values) > 1:
		return credential{}, domain.Errorf(domain.Unauthenticated, "unauthenticated", "the header Authorization is given more than once")
	}
	scheme, text, _ := strings.Cut(values[0], " ")
	if !strings.EqualFold(scheme, "Bearer") {
		return credential{}, domain.Errorf(domain.Unauthenticated, "unauthenticated", "the header Authorization must be of the kind Bearer")
	}
	token, err := domain.ParseToken(text)
	if err != nil {
		return credential{}, domain.Errorf(domain.Unauthenticated, "unauthenticated", "this is not a token of this service; was it copied whole?")
	}
	return credential{Coop: token.Coop, TokenHash: token.Hash()}, nil
}

// permit refuses a role that the contract does not name for the operation.
func permit(c *gin.Context, role string) error {
	op := requestOf(c).operation
	if slices.Contains(op.roles, role) {
		return nil
	}
	return domain.Errorf(domain.Forbidden, "forbidden", "this needs a token with the role %s", strings.Join(op.roles, " or "))
}

// A credential names a token by its co-operative and its hash.
type credential struct {
	Coop      domain.CoopID
	TokenHash [32]byte
}
