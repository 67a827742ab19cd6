package server

import (
	"compress/gzip"
	"io"
	"net/http"
	"strconv"
	"strings"
	"sync"
)

// smallest is the size from which an answer gains by compression.
const smallest = 1 << 10

// writers are kept: each holds some 800 kB of tables.
var writers = sync.Pool{New: func() any {
	w, _ := gzip.NewWriterLevel(io.Discard, 3) // the level is within the range; 100 rows of belts are 10 kB at it, 9 kB at the usual one, which costs more time
	return w
}}

// squeeze compresses pages, problem documents and tables for clients that take gzip. Workbooks, fonts and
// what is compressed already pass as they are.
func squeeze(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") || r.Method == http.MethodHead {
			next.ServeHTTP(w, r)
			return
		}
		s := &squeezer{ResponseWriter: w}
		defer s.close()
		next.ServeHTTP(s, r)
	})
}

// squeezer decides at the first byte whether an answer is compressed.
type squeezer struct {
	http.ResponseWriter
	status  int
	decided bool
	gz      *gzip.Writer
}

// WriteHeader keeps the status until the first byte: headers may still change then.
func (s *squeezer) WriteHeader(status int) {
	if s.status == 0 {
		s.status = status
	}
	if status == http.StatusNoContent || status == http.StatusNotModified || status >= 300 && status < 400 {
		s.decide(0)
	}
}

// Write compresses or passes on.
func (s *squeezer) Write(p []byte) (int, error) {
	if !s.decided {
		s.decide(len(p))
	}
	if s.gz != nil {
		return s.gz.Write(p)
	}
	return s.ResponseWriter.Write(p)
}

// Unwrap lets http.ResponseController reach the connection.
func (s *squeezer) Unwrap() http.ResponseWriter { return s.ResponseWriter }

// Flush sends what is there: long work shows its progress.
func (s *squeezer) Flush() {
	if !s.decided {
		s.decide(smallest)
	}
	if s.gz != nil {
		// A failure shows at the next write.
		_ = s.gz.Flush()
	}
	if f, ok := s.ResponseWriter.(http.Flusher); ok {
		f.Flush()
	}
}

func (s *squeezer) decide(first int) {
	s.decided = true
	h := s.Header()
	if gains(h, first) {
		h.Set("Content-Encoding", "gzip")
		h.Add("Vary", "Accept-Encoding")
		h.Del("Content-Length")
		s.gz = writers.Get().(*gzip.Writer)
		s.gz.Reset(s.ResponseWriter)
	}
	if s.status != 0 {
		s.ResponseWriter.WriteHeader(s.status)
	}
}

// gains tells whether compressing pays: text, not compressed yet, not tiny.
func gains(h http.Header, first int) bool {
	if h.Get("Content-Encoding") != "" || first < smallest {
		return false
	}
	if n, err := strconv.Atoi(h.Get("Content-Length")); err == nil && n < smallest {
		return false
	}
	ct, _, _ := strings.Cut(h.Get("Content-Type"), ";")
	return strings.HasPrefix(ct, "text/") || strings.HasSuffix(ct, "json") || strings.HasSuffix(ct, "+xml")
}

func (s *squeezer) close() {
	if !s.decided {
		s.decide(0)
	}
	if s.gz == nil {
		return
	}
	// The client is gone when this fails; there is nobody left to tell.
	_ = s.gz.Close()
	s.gz.Reset(io.Discard)
	writers.Put(s.gz)
}
