package problem

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"carryside/assets"
)

func TestEachKindOfErrorHasItsStatus(t *testing.T) {
	tests := []struct {
		name   string
		err    error
		status int
	}{
		{"a field that does not hold", fmt.Errorf("save conveyor: %w", assets.Invalid{"tag": "give a tag"}), 422},
		{"a thing nobody may see", fmt.Errorf("get order 9: %w", assets.ErrNotFound), 404},
		{"changed meanwhile", fmt.Errorf("save rule: %w", assets.ErrConflict), 409},
		{"changed meanwhile, both sides known", fmt.Errorf("save rule: %w", &Conflict{What: "Rule 3"}), 409},
		{"role that may not", fmt.Errorf("sign: %w", assets.ErrForbidden), 403},
		{"body over its limit", fmt.Errorf("read form: %w", &http.MaxBytesError{Limit: 4}), 413},
		{"status known where it arises", Status{Code: 405, Title: "no"}, 405},
		{"anything else", errors.New("disk full"), 500},
	}
	for _, tt := range tests {
		var log bytes.Buffer
		r := httptest.NewRequest("POST", "/plants/3", nil)
		p := Of(slog.New(slog.NewTextHandler(&log, nil)), r, tt.err)
		if p.Status != tt.status {
			t.Errorf("%s: status %d, want %d", tt.name, p.Status, tt.status)
		}
		if trouble := tt.status >= 500; trouble != (p.Reference != "") || trouble != strings.Contains(log.String(), "disk full") {
			t.Errorf("%s: reference %q, log %q", tt.name, p.Reference, log.String())
		}
	}
}

func TestDetailOfOurOwnTroubleStaysInTheLog(t *testing.T) {
	var log bytes.Buffer
	rec := httptest.NewRecorder()
	WriteJSON(rec, Of(slog.New(slog.NewTextHandler(&log, nil)), httptest.NewRequest("GET", "/api/v1/x", nil), errors.New("password in plain sight")))
	if strings.Contains(rec.Body.String(), "plain sight") {
		t.Error("the reply tells the error's own text")
	}
	if got := rec.Header().Get("Content-Type"); got != "application/problem+json" {
		t.Errorf("content type %q; RFC 9457 section 3 names application/problem+json", got)
	}
	var doc map[string]any
	if err := json.Unmarshal(rec.Body.Bytes(), &doc); err != nil {
		t.Fatal(err)
	}
	for _, member := range []string{"type", "title", "status", "detail", "instance", "reference"} {
		if doc[member] == nil || doc[member] == "" {
			t.Errorf("member %q of the problem document is missing", member)
		}
	}
	if !strings.Contains(log.String(), doc["reference"].(string)) {
		t.Error("the log cannot be found by the reference")
	}
}

func TestMessageOfFieldsIsASentence(t *testing.T) {
	p := of(assets.Invalid{"tag": "give a tag"})
	if p.Detail != "Give a tag." || p.Errors["tag"] != "give a tag" {
		t.Errorf("detail %q, errors %v", p.Detail, p.Errors)
	}
	if !(Side{Yours: "a", Theirs: "b"}).Differs() || (Side{Yours: "a", Theirs: "a"}).Differs() {
		t.Error("sides of a conflict are told apart wrongly")
	}
}

// diskFull is an error of the storage as people at screens are told it.
type diskFull struct{}

func (diskFull) Error() string { return "write /var/lib/belts.db: no space left on device" }
func (diskFull) Trouble() string {
	return "the disk is full; nothing was kept. Tell whoever runs the program"
}

func TestAFullDiskIsToldWithoutItsPath(t *testing.T) {
	log := slog.New(slog.DiscardHandler)
	p := Of(log, httptest.NewRequest("POST", "/plants/3/readings", nil), fmt.Errorf("keep a reading: %w", diskFull{}))
	if p.Status != http.StatusServiceUnavailable || p.Detail != "The disk is full; nothing was kept. Tell whoever runs the program." || p.Reference == "" {
		t.Errorf("%+v", p)
	}
	if p.Title != "Nothing can be kept at the moment" {
		t.Errorf("whoever sends something is told %q", p.Title)
	}
	if p := Of(log, httptest.NewRequest("GET", "/plants/3", nil), diskFull{}); p.Title != "Nothing can be shown at the moment" || p.Status != http.StatusServiceUnavailable {
		t.Errorf("whoever looks is told %d %q", p.Status, p.Title)
	}
}
