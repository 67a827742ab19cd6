package health

import (
	"context"
	"errors"
	"net/http"
	"strconv"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// Figures is how an installation stands. What rises only is told as a counter.
type Figures struct {
	Evaluations    int64 // runs of the rules that ended
	Failed         int64 // of those kept on record, how many with an error
	Raised         int64 // orders that rules raised
	Joined         int64 // occurrences that joined an open order
	Reminders      int64
	JournalEntries int64 // of all chains
	DatabaseBytes  int64
	HeldReadings   int64 // readings that wait for a person
	Sessions       int64 // people signed in
	LastEvaluation time.Time
	Pools          []Pool
}

// Pool is the connections of one kind to the database.
type Pool struct {
	Name        string // read or write
	Open, InUse int
	Waits       int64         // how often somebody had to wait for one
	Waited      time.Duration // how long in all
}

// metrics is a registry of our own: what other packages of the process might register is not told.
type metrics struct {
	requests *prometheus.HistogramVec
	readings *prometheus.CounterVec
	handler  http.Handler
}

// seconds are the steps of the histogram of answers: a page is to be there within 0.1 s, a report within some.
var seconds = []float64{0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10, 30}

func newMetrics(h *Health) *metrics {
	m := &metrics{
		requests: prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "carryside_request_seconds", Help: "How long requests took, by the pattern of their address.", Buckets: seconds},
			[]string{"method", "route", "status"}),
		readings: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "carryside_readings_total", Help: "Readings that came in by screens and by the machine interface since the program started."},
			[]string{"origin", "outcome"}),
	}
	r := prometheus.NewRegistry()
	r.MustRegister(m.requests, m.readings, newInstallation(h), collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	m.handler = promhttp.HandlerFor(r, promhttp.HandlerOpts{ErrorHandling: promhttp.ContinueOnError, MaxRequestsInFlight: 4})
	return m
}

// CountReadings counts readings that came in: origin is screen or api, outcome kept, known or held.
func (h *Health) CountReadings(origin, outcome string, n int) {
	h.metrics.readings.WithLabelValues(origin, outcome).Add(float64(n))
}

// Watch times requests by the pattern of their address: numbers of plants and things are no labels.
func (h *Health) Watch(c *gin.Context) {
	begun := h.now()
	c.Next()
	route := c.FullPath()
	if route == "" {
		route = "none"
	}
	method := c.Request.Method
	switch method {
	case http.MethodGet, http.MethodHead, http.MethodPost:
	default: // whatever somebody types must not become a label
		method = "other"
	}
	h.metrics.requests.WithLabelValues(method, route, strconv.Itoa(c.Writer.Status())).Observe(h.now().Sub(begun).Seconds())
}

// installation asks for the figures when they are collected.
type installation struct {
	h *Health

	evaluations, failed, raised, joined, reminders *prometheus.Desc
	entries, size, held, sessions, last, answers   *prometheus.Desc
	open, used, waits, waited                      *prometheus.Desc
}

func newInstallation(h *Health) *installation {
	about := func(name, help string, labels ...string) *prometheus.Desc {
		return prometheus.NewDesc("carryside_"+name, help, labels, nil)
	}
	return &installation{h: h,
		evaluations: about("rule_evaluations_total", "Runs of the rules that ended."),
		failed:      about("rule_evaluations_failed", "Runs kept on record that ended with an error."),
		raised:      about("orders_raised_total", "Orders that rules raised."),
		joined:      about("occurrences_joined_total", "Occurrences that joined an open order."),
		reminders:   about("reminders_total", "Occurrences that raised a reminder and no order."),
		entries:     about("journal_entries_total", "Entries of all chains of the journal."),
		size:        about("database_bytes", "Size of the database with its write-ahead log."),
		held:        about("held_readings", "Readings that contradict their neighbours and wait for a person."),
		sessions:    about("sessions", "People signed in."),
		last:        about("last_evaluation_timestamp_seconds", "When the rules were evaluated last."),
		answers:     about("database_answers", "1 where the database answered this collection."),
		open:        about("pool_open_connections", "Connections to the database.", "pool"),
		used:        about("pool_used_connections", "Connections to the database in use.", "pool"),
		waits:       about("pool_waits_total", "How often a connection had to be waited for.", "pool"),
		waited:      about("pool_waited_seconds_total", "How long connections were waited for.", "pool"),
	}
}

// Describe names every figure.
func (i *installation) Describe(out chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{i.evaluations, i.failed, i.raised, i.joined, i.reminders, i.entries, i.size, i.held, i.sessions, i.last, i.answers, i.open, i.used, i.waits, i.waited} {
		out <- d
	}
}

// Collect reads the figures. A database that does not answer is told as such; the rest of the figures stand.
func (i *installation) Collect(out chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), longest)
	defer cancel()
	f, err := i.h.facts.Figures(ctx)
	if err != nil {
		i.h.log.ErrorContext(ctx, "figures cannot be read", "error", err)
		out <- prometheus.MustNewConstMetric(i.answers, prometheus.GaugeValue, 0)
		return
	}
	counter := func(d *prometheus.Desc, v float64, labels ...string) {
		out <- prometheus.MustNewConstMetric(d, prometheus.CounterValue, v, labels...)
	}
	gauge := func(d *prometheus.Desc, v float64, labels ...string) {
		out <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, labels...)
	}
	gauge(i.answers, 1)
	counter(i.evaluations, float64(f.Evaluations))
	gauge(i.failed, float64(f.Failed))
	counter(i.raised, float64(f.Raised))
	counter(i.joined, float64(f.Joined))
	counter(i.reminders, float64(f.Reminders))
	counter(i.entries, float64(f.JournalEntries))
	gauge(i.size, float64(f.DatabaseBytes))
	gauge(i.held, float64(f.HeldReadings))
	gauge(i.sessions, float64(f.Sessions))
	if !f.LastEvaluation.IsZero() {
		gauge(i.last, float64(f.LastEvaluation.UnixMilli())/1000)
	}
	for _, p := range f.Pools {
		gauge(i.open, float64(p.Open), p.Name)
		gauge(i.used, float64(p.InUse), p.Name)
		counter(i.waits, float64(p.Waits), p.Name)
		counter(i.waited, p.Waited.Seconds(), p.Name)
	}
}

func asMissing(err error, why *Missing) bool { return errors.As(err, why) }
