package api

import (
	"strconv"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"shoalbook/postgres"
)

// metrics are the figures of one running service about itself, and about the pool
// of connections to the database if its load is known.
type metrics struct {
	registry *prometheus.Registry
	requests *prometheus.HistogramVec
}

func newMetrics(load func() postgres.Load) *metrics {
	m := &metrics{
		registry: prometheus.NewRegistry(),
		requests: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name:    "http_request_duration_seconds",
			Help:    "Time from the arrival of a request to the end of its answer.",
			Buckets: []float64{.001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 5, 10},
		}, []string{"method", "route", "status"}),
	}
	m.registry.MustRegister(m.requests, collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	if load == nil {
		return m
	}
	m.registry.MustRegister(
		gauge("database_connections_in_use", "Connections that a transaction holds.", func() float64 { return float64(load().InUse) }),
		gauge("database_connections_idle", "Connections that wait for a transaction.", func() float64 { return float64(load().Idle) }),
		gauge("database_connections_max", "Connections there may be.", func() float64 { return float64(load().Max) }),
		counter("database_connection_waits_total", "Transactions that had to wait for a connection.", func() float64 { return float64(load().Waited) }),
		counter("database_connection_wait_seconds_total", "How long they waited together.", func() float64 { return load().WaitedFor.Seconds() }),
	)
	return m
}

func gauge(name, help string, value func() float64) prometheus.Collector {
	return prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: name, Help: help}, value)
}

func counter(name, help string, value func() float64) prometheus.Collector {
	return prometheus.NewCounterFunc(prometheus.CounterOpts{Name: name, Help: help}, value)
}

// observe counts and times a request under its route, never under its path: the
// number of series must not depend on what clients ask for.
func (m *metrics) observe(c *gin.Context) {
	start := time.Now()
	defer func() {
		route := c.FullPath()
		if route == "" {
			route = "none"
		}
		m.requests.WithLabelValues(knownMethod(c.Request.Method), route, strconv.Itoa(c.Writer.Status())).
			Observe(time.Since(start).Seconds())
	}()
	c.Next()
}

func (m *metrics) handler() gin.HandlerFunc {
	return gin.WrapH(promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{}))
}
