package web

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"regexp"
	"sort"
	"strings"
	"sync"

	"github.com/gin-gonic/gin"

	"carryside/assets"
)

//go:embed static
var staticFiles embed.FS

//go:embed templates
var templateFiles embed.FS

// statics is the style sheets, scripts and fonts, each under a name that carries the hash of its content: a
// browser may keep it for a year, and a new version has a new name.
type statics struct {
	mu     sync.RWMutex
	hashed map[string]string // css/app.css -> css/app.0123456789.css
	files  map[string]staticFile
}

type staticFile struct {
	mime        string
	plain, gzip []byte // gzip nil where it gains nothing
}

var fontRef = regexp.MustCompile(`url\(\.\./(fonts/[^)]+)\)`)

// loadStatics reads every file below dir of files.
func loadStatics(files fs.FS) (*statics, error) {
	s := &statics{hashed: map[string]string{}, files: map[string]staticFile{}}
	var names []string
	err := fs.WalkDir(files, ".", func(name string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			names = append(names, name)
		}
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("read static files: %w", err)
	}
	// Fonts before style sheets: a sheet names them by their hashed names.
	sort.Slice(names, func(i, j int) bool {
		fi, fj := strings.HasPrefix(names[i], "fonts/"), strings.HasPrefix(names[j], "fonts/")
		if fi != fj {
			return fi
		}
		return names[i] < names[j]
	})
	for _, name := range names {
		if err := s.add(files, name); err != nil {
			return nil, err
		}
	}
	return s, nil
}

func (s *statics) add(files fs.FS, name string) error {
	body, err := fs.ReadFile(files, name)
	if err != nil {
		return fmt.Errorf("read static file: %w", err)
	}
	if path.Ext(name) == ".css" {
		body = fontRef.ReplaceAllFunc(body, func(ref []byte) []byte {
			return []byte("url(../" + s.hashed[string(fontRef.FindSubmatch(ref)[1])] + ")")
		})
	}
	sum := sha256.Sum256(body)
	ext := path.Ext(name)
	hashed := strings.TrimSuffix(name, ext) + "." + hex.EncodeToString(sum[:5]) + ext
	f := staticFile{mime: mimeOf(ext), plain: body}
	if ext != ".woff2" {
		f.gzip = squeezed(body)
	}
	s.hashed[name] = hashed
	s.files[hashed] = f
	return nil
}

func mimeOf(ext string) string {
	switch ext {
	case ".js":
		return "text/javascript; charset=utf-8"
	case ".woff2":
		return "font/woff2"
	case ".txt":
		return "text/plain; charset=utf-8"
	}
	return mime.TypeByExtension(ext)
}

func squeezed(body []byte) []byte {
	var out bytes.Buffer
	w, _ := gzip.NewWriterLevel(&out, gzip.BestCompression) // the level is a constant of the package
	// Writing to memory does not fail.
	_, _ = w.Write(body)
	_ = w.Close()
	if out.Len() >= len(body) {
		return nil
	}
	return out.Bytes()
}

// url returns the address of a static file by its plain name. An unknown name is our own mistake and shows
// at the first page of a test.
func (s *statics) url(name string) (string, error) {
	s.mu.RLock()
	defer s.mu.RUnlock()
	h, ok := s.hashed[name]
	if !ok {
		return "", fmt.Errorf("no static file %q", name)
	}
	return "/static/" + h, nil
}

// replace takes the files of another load: dev mode reads them anew.
func (s *statics) replace(by *statics) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.hashed, s.files = by.hashed, by.files
}

// serve sends a static file by its hashed name.
func (s *statics) serve(w http.ResponseWriter, r *http.Request, hashed string) error {
	s.mu.RLock()
	f, ok := s.files[strings.TrimPrefix(hashed, "/")]
	s.mu.RUnlock()
	if !ok {
		return assets.ErrNotFound
	}
	h := w.Header()
	h.Set("Content-Type", f.mime)
	h.Set("Cache-Control", "public, max-age=31536000, immutable")
	h.Set("Vary", "Accept-Encoding")
	body := f.plain
	if f.gzip != nil && strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
		h.Set("Content-Encoding", "gzip")
		body = f.gzip
	}
	h.Set("Content-Length", fmt.Sprint(len(body)))
	_, err := w.Write(body)
	return err
}

// roundWorker sends what keeps rounds open without a network. It stands at the top, since a worker reaches only what is below
// its own address, and under a plain name, since the browser asks for it again by that.
func (s *Site) roundWorker(c *gin.Context) {
	s.statics.mu.RLock()
	f := s.statics.files[s.statics.hashed["js/round-worker.js"]]
	s.statics.mu.RUnlock()
	c.Header("Cache-Control", "no-store")
	c.Data(http.StatusOK, f.mime, f.plain)
}
