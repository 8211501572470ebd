package api

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"sync"
	"time"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

// Config is what a server is told from outside.
type Config struct {
	Log     *slog.Logger
	Ready   func(context.Context) error // returns nil while requests can be taken
	Load    func() postgres.Load        // of the database's pool, for the metrics; may be nil
	Metrics bool                        // serve /metrics
	Rates   Rates                       // of requests
	Origins []string                    // of pages that may ask from a browser (CORS)
	Proxies []string                    // addresses, or ranges of them, whose X-Forwarded-For is believed
}

// service answers the operations that are about the service itself. They need no
// token and touch no co-operative.
type service struct {
	ready   func(context.Context) error
	metrics gin.HandlerFunc // nil if not served
	docs    gin.HandlerFunc
}

// ownContract reads the contract, once: it takes longer than all else at the start.
var ownContract = sync.OnceValues(func() (*validator, error) { return newValidator(openapi.YAML) })

// New returns the service as it is to be served.
func New(store *postgres.Store, cfg Config) (http.Handler, error) {
	engine, operations, own, err := newEngine(cfg, store)
	if err != nil {
		return nil, err
	}
	openapi.RegisterHandlersWithOptions(operations, &Server{service: own, store: store}, openapi.GinServerOptions{ErrorHandler: bindError})
	return wrapped(engine), nil
}

// newEngine returns an engine with all that is the same for every route, the
// routes below /docs that the contract does not name, and the group to register
// the operations of the contract with. Without a store no token is looked up.
func newEngine(cfg Config, store *postgres.Store) (engine *gin.Engine, operations *gin.RouterGroup, own service, err error) {
	contract, err := ownContract()
	if err != nil {
		return nil, nil, own, err
	}
	measured, lim := newMetrics(cfg.Load), newLimits(cfg.Rates, time.Now)
	own = service{ready: cfg.Ready, docs: newDocs()}
	if cfg.Metrics {
		own.metrics = measured.handler()
	}

	met, meet := func(postgres.Credential) bool { return true }, store.Meet
	if store != nil {
		met = store.Met
	}

	gin.SetMode(gin.ReleaseMode)
	engine = gin.New()
	engine.ContextWithFallback = true // a *gin.Context ends when its request does
	engine.HandleMethodNotAllowed = true
	engine.RedirectTrailingSlash = false
	engine.RemoteIPHeaders = []string{forwarded}
	if err := engine.SetTrustedProxies(cfg.Proxies); err != nil {
		return nil, nil, own, fmt.Errorf("the proxies that are trusted: %w", err)
	}
	engine.Use(begin(cfg.Log, RequestTimeout), measured.observe, recovery, secure, share(cfg.Origins))
	engine.NoRoute(noRoute)
	engine.NoMethod(noMethod)
	engine.GET("/docs/*page", own.docs)
	return engine, engine.Group("", contract.find, lim.authenticate(met, meet), lim.limit, contract.receive(&lim.bodies), lim.turn, contract.validate), own, nil
}

// wrapped returns the engine as it is served.
func wrapped(engine *gin.Engine) http.Handler { return withHead(suffixed(compressed(engine))) }

// bindError answers a request that passed the contract and still could not be
// bound: one of the two is wrong.
func bindError(c *gin.Context, err error, _ int) {
	writeProblem(c, errors.Join(errors.New("bind what the contract allows"), err))
}

// GetHealth says that the process is alive.
func (s *service) GetHealth(c *gin.Context) {
	c.JSON(http.StatusOK, openapi.Health{Status: openapi.HealthStatusOk})
}

// GetReadiness says whether requests can be taken.
func (s *service) GetReadiness(c *gin.Context) {
	ctx, cancel := context.WithTimeout(c.Request.Context(), 2*time.Second)
	defer cancel()
	if err := s.ready(ctx); err != nil {
		writeProblem(c, errors.Join(domain.Errorf(domain.Unavailable, "unavailable", "requests cannot be taken at the moment"), err))
		return
	}
	c.JSON(http.StatusOK, openapi.Health{Status: openapi.HealthStatusOk})
}

// GetMetrics serves the measurements in the text format of Prometheus.
func (s *service) GetMetrics(c *gin.Context) {
	if s.metrics == nil {
		noRoute(c)
		return
	}
	s.metrics(c)
}
