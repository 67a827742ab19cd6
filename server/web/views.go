package web

import (
	"bytes"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"path"
	"slices"
	"strings"
	"sync"
)

// views is the templates: one set per screen, each the layout, the parts and the screen's own file.
type views struct {
	mu    sync.RWMutex
	sets  map[string]*template.Template
	sizes sync.Map // screen -> how many bytes it had last, an int: so much room the next one gets
}

// loadViews parses layout.html, parts and screens of files. It fails when a screen's file and the list of
// screens disagree, so that a forgotten line or file shows at start and not at a plant.
func loadViews(files fs.FS, screens []string, url func(string) (string, error)) (*views, error) {
	base, err := template.New("layout").Funcs(template.FuncMap{
		"static": url,
		"int":    Int, "num": Num, "short": Short, "percent": Percent, "with": With,
		"count": Count, "figure": Figure, "capital": Capital, "list": List, "hours": Hours, "duration": Duration,
		"dict": dict,
	}).ParseFS(files, "layout.html", "parts/*.html")
	if err != nil {
		return nil, fmt.Errorf("read templates: %w", err)
	}
	names, err := fs.Glob(files, "screens/*.html")
	if err != nil {
		return nil, fmt.Errorf("list screens: %w", err)
	}
	v := &views{sets: map[string]*template.Template{}}
	for _, file := range names {
		name := strings.TrimSuffix(path.Base(file), ".html")
		if !slices.Contains(screens, name) {
			return nil, fmt.Errorf("templates/%s belongs to no screen: name it in the list of screens or remove it", file)
		}
		if v.sets[name], err = parseScreen(base, files, file); err != nil {
			return nil, err
		}
	}
	for _, name := range screens {
		if v.sets[name] == nil {
			return nil, fmt.Errorf("screen %q has no template templates/screens/%s.html", name, name)
		}
	}
	return v, nil
}

func parseScreen(base *template.Template, files fs.FS, file string) (*template.Template, error) {
	set, err := base.Clone()
	if err != nil {
		return nil, fmt.Errorf("read templates: %w", err)
	}
	if set, err = set.ParseFS(files, file); err != nil {
		return nil, fmt.Errorf("read templates: %w", err)
	}
	if set.Lookup("main") == nil {
		return nil, fmt.Errorf("templates/%s defines no \"main\"", file)
	}
	return set, nil
}

// replace takes the sets of another load: dev mode reads them anew.
func (v *views) replace(by *views) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.sets = by.sets
}

// render fills a screen. Nothing is sent before the whole page stands, so that an error half way is a
// page of its own and not a torn one.
func (v *views) render(screen string, page any) (*bytes.Buffer, error) {
	v.mu.RLock()
	set := v.sets[screen]
	v.mu.RUnlock()
	if set == nil {
		return nil, fmt.Errorf("no screen %q", screen)
	}
	var b bytes.Buffer
	last, _ := v.sizes.Load(screen)
	size, _ := last.(int)
	b.Grow(size + size/8 + 4<<10)
	if err := set.ExecuteTemplate(&b, "layout.html", page); err != nil {
		return nil, fmt.Errorf("fill screen %s: %w", screen, err)
	}
	v.sizes.Store(screen, b.Len())
	return &b, nil
}

// dict hands a part several named values.
func dict(pairs ...any) (map[string]any, error) {
	if len(pairs)%2 != 0 {
		return nil, errors.New("dict wants name and value in pairs")
	}
	m := make(map[string]any, len(pairs)/2)
	for i := 0; i < len(pairs); i += 2 {
		name, ok := pairs[i].(string)
		if !ok {
			return nil, fmt.Errorf("dict: %v is no name", pairs[i])
		}
		m[name] = pairs[i+1]
	}
	return m, nil
}
