package api

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/gin-gonic/gin"

	"carryside/assets"
	"carryside/server/signin"
	"carryside/server/web"
)

// broken is a desk whose database tells more than anybody should hear.
type broken struct {
	Desk
	fail func() error
}

func (b broken) PlantList(context.Context, assets.Scope) ([]web.PlantSummary, error) {
	return nil, b.fail()
}

// anybody takes any token for a lead's.
type anybody struct{ fail error }

func (a anybody) Shown(context.Context, string, time.Time) (Bearer, error) {
	return Bearer{Who: signin.Who{Grants: []assets.Grant{{Role: assets.RoleLead}}}, TokenID: 1, May: MayRead}, a.fail
}

const internals = "dial tcp 10.0.0.7:5432: password hunter2 refused for user keeper, SELECT * FROM people"

// An error of the program's own is told by a reference; what it says goes to the log and nowhere else.
func TestNothingInsideIsTold(t *testing.T) {
	for name, tt := range map[string]struct {
		desk Desk
		keys Keys
	}{
		"the desk fails":       {broken{fail: func() error { return errors.New(internals) }}, anybody{}},
		"the tokens fail":      {broken{}, anybody{errors.New(internals)}},
		"a wrapped failure":    {broken{fail: func() error { return errors.Join(errors.New("list plants"), errors.New(internals)) }}, anybody{}},
		"a program's mistake":  {broken{fail: func() error { panic(internals) }}, anybody{}},
		"no desk behind it":    {broken{}, anybody{}},
		"the request was left": {broken{fail: func() error { return context.DeadlineExceeded }}, anybody{}},
	} {
		t.Run(name, func(t *testing.T) {
			var log bytes.Buffer
			e := gin.New()
			e.Use(gin.CustomRecoveryWithWriter(nil, func(c *gin.Context, _ any) { c.AbortWithStatus(http.StatusInternalServerError) }))
			_, err := Mount(e, Config{Desk: tt.desk, Keys: tt.keys, Now: func() time.Time { return time.Unix(1_795_000_000, 0) }, Log: slog.New(slog.NewTextHandler(&log, nil)), Version: "test"})
			if err != nil {
				t.Fatal(err)
			}
			r := httptest.NewRequest(http.MethodGet, "/api/v1/plants", nil)
			r.Header.Set("Authorization", "Bearer carryside_TEST")
			answer := httptest.NewRecorder()
			e.ServeHTTP(answer, r)
			if answer.Code != http.StatusInternalServerError {
				t.Errorf("status %d", answer.Code)
			}
			for _, word := range []string{"hunter2", "10.0.0.7", "SELECT", "keeper", "runtime", "goroutine", "deadline"} {
				if strings.Contains(answer.Body.String(), word) {
					t.Errorf("the answer tells %q: %s", word, answer.Body)
				}
			}
			if answer.Body.Len() == 0 { // a panic is the server's recovery to answer
				return
			}
			var p struct{ Title, Reference string }
			if err := json.Unmarshal(answer.Body.Bytes(), &p); err != nil || p.Title == "" || p.Reference == "" || !strings.Contains(log.String(), p.Reference) {
				t.Errorf("%v: %s; the log: %s", err, answer.Body, log.String())
			}
		})
	}
}

// Places in what was sent are told with their names.
func TestWhatIsWrongIsNamedByItsPlace(t *testing.T) {
	err := at("body.readings[3]", assets.Invalid{"shown_h": "too much", "": "not so"})
	var bad assets.Invalid
	if !errors.As(err, &bad) || bad["body.readings[3].shown_h"] != "too much" || bad["body.readings[3]"] != "not so" {
		t.Errorf("%v", err)
	}
	if other := errors.New("broken"); at("body", other) != other {
		t.Error("another error must stay what it is")
	}
}

// A page ends where the next begins, also when what the cursor names is gone.
func TestCursorOutlivesWhatItNames(t *testing.T) {
	key := func(n int64) string { return rising(n) }
	list := []int64{-5, 0, 2, 7, 11}
	page, next, err := cut(list, key, Paging{Limit: 3})
	if err != nil || len(page) != 3 || next == "" {
		t.Fatalf("%v %q %v", page, next, err)
	}
	page, next, err = cut([]int64{-5, 0, 7, 11}, key, Paging{Limit: 3, Cursor: next})
	if err != nil || len(page) != 2 || page[0] != 7 || next != "" {
		t.Errorf("%v %q %v", page, next, err)
	}
	if _, _, err := cut(list, key, Paging{Limit: 3, Cursor: "§"}); err == nil {
		t.Error("a cursor that is none was taken")
	}
	if rising(falling(3)) < rising(falling(9)) {
		t.Error("falling does not fall")
	}
}
