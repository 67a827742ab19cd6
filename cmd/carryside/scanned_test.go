package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/server/scan"
)

// scanner finds malware where a file says so, and can be out.
type scanner struct{ out bool }

func (s *scanner) Clean(_ context.Context, content []byte) error {
	switch {
	case s.out:
		return fmt.Errorf("%w: nobody listens", scan.ErrSilent)
	case bytes.Contains(content, []byte("malware")):
		return assets.Invalid{"file": "the scanner refuses this file"}
	}
	return nil
}

// sendFile sends a file by a form.
func (a *asker) sendFile(path, name, content string) reply {
	a.t.Helper()
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	part, err := form.CreateFormFile("file", name)
	must(a.t, err)
	_, err = io.WriteString(part, content)
	must(a.t, err)
	must(a.t, form.Close())
	req, err := http.NewRequestWithContext(a.t.Context(), http.MethodPost, a.base+path, &body)
	must(a.t, err)
	req.Header.Set("Content-Type", form.FormDataContentType())
	res, err := a.client.Do(req)
	must(a.t, err)
	defer res.Body.Close()
	text, err := io.ReadAll(res.Body)
	must(a.t, err)
	return reply{status: res.StatusCode, to: res.Header.Get("Location"), header: res.Header, body: string(text)}
}

// TestEveryFileSentIsLookedAtForMalware sends files by every way that takes some: what the scanner knows, and what it
// could not be asked about, is not kept; nor is a file whose ending says something else than its contents.
func TestEveryFileSentIsLookedAtForMalware(t *testing.T) {
	t.Parallel() // plants of its own
	w := openWalls(t)
	s := &scanner{}
	c := w.servingAt(func() time.Time { return plantDay.Add(time.Hour) })
	c.Scanner = s
	w.elsewhere(c)
	a := w.asker(assets.RoleLead, "all")
	rows := func() (n int64) {
		must(t, w.db.SQL(t.Context()).Raw("SELECT (SELECT count(*) FROM attachments) + (SELECT count(*) FROM journal_entries)").Scan(&n).Error)
		return n
	}
	ways := []string{"/plants/:plant/conveyors/:conveyor/files", "/plants/:plant/splices/:splice/files", "/plants/:plant/findings/:finding/files", "/plants/:plant/orders/:order/files", "/plants/:plant/import"}
	before := rows()
	for _, way := range ways {
		path := w.home.address(way, "", "")
		if got := a.sendFile(path, "list.csv", "tag,malware\nQ1,1\n"); got.status != http.StatusUnprocessableEntity || !strings.Contains(got.body, "The scanner refuses this file") {
			t.Errorf("%s: malware: %d %s", way, got.status, complaints(got.body))
		}
		if got := a.sendFile(path, "list.pdf", "tag,name\nQ1,1\n"); got.status != http.StatusUnprocessableEntity {
			t.Errorf("%s: a text called PDF: %d", way, got.status)
		}
		s.out = true
		if got := a.sendFile(path, "list.csv", "tag,name\nQ1,1\n"); got.status != http.StatusServiceUnavailable {
			t.Errorf("%s: while the scanner is out: %d", way, got.status)
		}
		s.out = false
	}
	if now := rows(); now != before {
		t.Errorf("%d rows and entries came of what was refused", now-before)
	}
	for _, way := range ways {
		if got := a.sendFile(w.home.address(way, "", ""), "list.csv", "tag,name\nQ1,"+way+"\n"); got.status != http.StatusSeeOther {
			t.Errorf("%s: a clean file: %d %s", way, got.status, complaints(got.body))
		}
	}
}
