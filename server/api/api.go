package api

import (
	"encoding/json"
	"fmt"
	"log/slog"
	"net/http"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humagin"
	"github.com/gin-gonic/gin"
)

// Root is the address below which the machine interface stands.
const Root = "/api/v1"

// Config is what the machine interface is built from.
type Config struct {
	Desk     Desk
	Keys     Keys
	Sessions Sessions // browsers of people signed in may read too; nil: tokens only
	Now      func() time.Time
	Log      *slog.Logger
	Version  string // of the program
}

// service is the machine interface, ready to answer.
type service struct {
	Desk
	keys     Keys
	sessions Sessions
	now      func() time.Time
	log      *slog.Logger
	pace     *pace
}

// Mount puts the machine interface and its description on an engine and returns its description.
func Mount(e *gin.Engine, c Config) (*huma.OpenAPI, error) {
	s := &service{Desk: c.Desk, keys: c.Keys, sessions: c.Sessions, now: c.Now, log: c.Log, pace: newPace(c.Now)}
	ownProblems()
	group := e.Group(Root)
	a := humagin.NewWithGroup(e, group, config(c.Version))
	a.UseMiddleware(s.ask)
	s.register(a)
	headToo(e)
	return a.OpenAPI(), s.describe(group, a)
}

// headToo lets every address that is read answer HEAD as well (RFC 9110, section 9.1): the same, without its body.
func headToo(e *gin.Engine) {
	for _, r := range e.Routes() {
		if r.Method == http.MethodGet && strings.HasPrefix(r.Path, Root+"/") {
			e.HEAD(r.Path, r.HandlerFunc)
		}
	}
}

func config(version string) huma.Config {
	c := huma.DefaultConfig("Carryside machine interface", version)
	c.Info.Description = "Reads the registry, orders and reports of the plants a token reaches, and takes readings of hour meters. " +
		"Lengths, speeds and hours are SI; the unit stands at the end of a name (_m, _mm, _mps, _h). Instants are RFC 3339 in UTC; a day is " +
		"YYYY-MM-DD in the plant's own time zone. What a token does not reach answers as what is not there. Nothing here says that a conveyor is safe to run."
	c.Servers = []*huma.Server{{URL: Root}}
	c.DocsPath, c.OpenAPIPath, c.SchemasPath = "", "", "" // one description at one address; no pages from elsewhere
	c.CreateHooks = nil                                   // no addresses made of the Host header
	c.RejectUnknownQueryParameters = true                 // a misspelt filter must not read as no filter
	c.Components.SecuritySchemes = map[string]*huma.SecurityScheme{
		"token": {Type: "http", Scheme: "bearer", Description: "A token made on the page Tokens. It is shown once and ends by itself."},
	}
	c.Security = []map[string][]string{{"token": {}}}
	return c
}

func (s *service) register(a huma.API) {
	for _, group := range []func(huma.API){s.plants, s.conveyors, s.belts, s.splices, s.findings, s.meters, s.entering, s.orders, s.dueList, s.stores, s.standstills, s.reports} {
		group(a)
	}
}

// describe serves the description as it is once everything is registered. It tells nothing of a plant and needs no token.
func (s *service) describe(group *gin.RouterGroup, a huma.API) error {
	text, err := json.Marshal(a.OpenAPI())
	if err != nil {
		return fmt.Errorf("write the description of the machine interface: %w", err)
	}
	serve := func(c *gin.Context) {
		c.Header("Cache-Control", "public, max-age=300")
		c.Data(http.StatusOK, "application/openapi+json", text)
	}
	group.GET("/openapi.json", serve)
	group.HEAD("/openapi.json", serve)
	return nil
}

// read describes an operation that reads.
func read(id, path, tag, summary, description string) huma.Operation {
	return huma.Operation{OperationID: id, Method: http.MethodGet, Path: path, Tags: []string{tag}, Summary: summary, Description: description,
		Errors: []int{http.StatusUnauthorized, http.StatusForbidden, http.StatusNotFound, http.StatusUnprocessableEntity, http.StatusTooManyRequests}}
}
