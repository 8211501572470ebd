package api

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"net/http"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

type wirePerson struct {
	ID       domain.MemberID `json:"id"`
	Name     string          `json:"name"`
	Role     domain.Role     `json:"role"`
	Sites    []domain.SiteID `json:"sites,omitempty"`
	Phone    *string         `json:"phone,omitempty"`
	Archived bool            `json:"archived"`
}

var members = noun[domain.Member, wirePerson]{
	store: &postgres.Members,
	key:   func(f *domain.Member) (domain.MemberID, int64) { return f.ID, f.Version },
	begin: func(_ *wirePerson, id domain.MemberID) domain.Member { return domain.Member{ID: id} },
	read: func(_ *reading, w *wirePerson, f *domain.Member) {
		f.Name, f.Role, f.Sites, f.Phone, f.Archived = w.Name, w.Role, w.Sites, w.Phone, w.Archived
	},
	write: func(f *domain.Member, _ domain.Currency) wirePerson {
		return wirePerson{ID: f.ID, Name: f.Name, Role: f.Role, Sites: f.Sites, Phone: f.Phone, Archived: f.Archived}
	},
}

// ListMembers lists the people of the co-operative.
func (s *Server) ListMembers(c *gin.Context, q openapi.ListMembersParams) {
	members.list(s, c, asked{q.After, q.Limit, q.Archived, nil})
}

// CreateMember adds a person.
func (s *Server) CreateMember(c *gin.Context, p openapi.CreateMemberParams) {
	members.create(s, c, p.IdempotencyKey)
}

// GetMember shows a person.
func (s *Server) GetMember(c *gin.Context, id openapi.MemberPath) {
	members.get(s, c, domain.MemberID(id))
}

// ReviseMember changes a person, and what the tokens of the person may do with it.
func (s *Server) ReviseMember(c *gin.Context, id openapi.MemberPath, _ openapi.ReviseMemberParams) {
	members.revise(s, c, domain.MemberID(id))
}

type wireToken struct {
	ID         domain.TokenID   `json:"id"`
	Member     *domain.MemberID `json:"member_id,omitempty"`
	Name       string           `json:"name"`
	Role       domain.Role      `json:"role"`
	Sites      []domain.SiteID  `json:"sites,omitempty"`
	CreatedAt  time.Time        `json:"created_at"`
	ExpiresAt  *time.Time       `json:"expires_at,omitempty"`
	LastUsedOn *domain.Date     `json:"last_used_on,omitempty"`
	RevokedAt  *time.Time       `json:"revoked_at,omitempty"`
	Secret     string           `json:"secret,omitempty"` // only of one that was made just now
}

func newWireToken(f domain.TokenFacts) wireToken {
	return wireToken{ID: f.ID, Member: f.Member, Name: f.Name, Role: f.Role, Sites: f.Sites, CreatedAt: f.CreatedAt.UTC(),
		ExpiresAt: inUTC(f.ExpiresAt), LastUsedOn: f.LastUsedOn, RevokedAt: inUTC(f.RevokedAt)}
}

func inUTC(t *time.Time) *time.Time {
	if t == nil {
		return nil
	}
	utc := t.UTC()
	return &utc
}

// ListTokens lists what is kept of tokens.
func (s *Server) ListTokens(c *gin.Context, q openapi.ListTokensParams) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		p, after, err := pageAfter[domain.Token](c, q.After, q.Limit)
		if err != nil {
			return reply{}, err
		}
		found, more, err := tx.Tokens(ctx, after, p.limit)
		if err != nil {
			return reply{}, err
		}
		items := make([]wireToken, len(found))
		for i, f := range found {
			items[i] = newWireToken(f)
		}
		return listReply(c, p, items, more, func(w wireToken) []string { return []string{w.ID.String()} })
	})
}

// CreateToken makes a token and shows it, this once.
func (s *Server) CreateToken(c *gin.Context, p openapi.CreateTokenParams) {
	kept, err := sealed(c.Request.Header, p.IdempotencyKey)
	if err != nil {
		writeProblem(c, err)
		return
	}
	s.onceKept(c, p.IdempotencyKey, kept, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		var w wireToken
		if err := json.Unmarshal(bodyOf(c), &w); err != nil {
			return reply{}, err
		}
		token, err := domain.NewToken(credentialOf(c).Coop, rand.Reader)
		if err != nil {
			return reply{}, err
		}
		made, err := issue(ctx, tx, w, token)
		if err != nil {
			return reply{}, err
		}
		return jsonReply(http.StatusCreated, made)
	})
}

// issue makes a token that is asked for in these words.
func issue(ctx context.Context, tx *postgres.Tx, w wireToken, token domain.Token) (wireToken, error) {
	id, err := uuid.NewV7()
	if err != nil {
		return w, err
	}
	made, err := tx.IssueToken(ctx, domain.TokenFacts{
		ID: domain.TokenID(id), Member: w.Member, Name: w.Name, Role: w.Role, Sites: w.Sites, ExpiresAt: w.ExpiresAt,
	}, token.Hash())
	w = newWireToken(made)
	w.Secret = token.Text()
	return w, err
}

// RevokeToken ends a token.
func (s *Server) RevokeToken(c *gin.Context, id openapi.TokenPath, _ openapi.RevokeTokenParams) {
	s.update(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		return reply{status: http.StatusNoContent}, tx.RevokeToken(ctx, domain.TokenID(id))
	})
}
