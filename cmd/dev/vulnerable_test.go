package main

import (
	"testing"
	"testing/fstest"
)

// TestKnownVulnerabilitiesAreMatchedByVersionAndPackage reads reports in the format of OSV 1.3.1 with an invented module.
func TestKnownVulnerabilitiesAreMatchedByVersionAndPackage(t *testing.T) {
	u := built{versions: map[string]string{"belts.example/loop": "v1.4.2", "stdlib": "v1.26.8"}, packages: map[string]bool{"belts.example/loop/draw": true, "net/http": true}}
	report := func(module, events, more string) *fstest.MapFile {
		return &fstest.MapFile{Data: []byte(`{"id":"T","affected":[{"package":{"name":"` + module + `"},"ranges":[{"type":"SEMVER","events":[` + events + `]}]` + more + `}]}`)}
	}
	imports := func(path string) string { return `,"ecosystem_specific":{"imports":[{"path":"` + path + `"}]}` }
	for what, c := range map[string]struct {
		file  *fstest.MapFile
		hit   bool
		fixed string
	}{
		"mended later":              {report("belts.example/loop", `{"introduced":"0"},{"fixed":"1.4.3"}`, ""), true, "v1.4.3"},
		"mended in this version":    {report("belts.example/loop", `{"introduced":"0"},{"fixed":"1.4.2"}`, ""), false, ""},
		"not mended":                {report("belts.example/loop", `{"introduced":"1.4.0"}`, ""), true, "no version yet"},
		"brought in later":          {report("belts.example/loop", `{"introduced":"1.5.0"}`, ""), false, ""},
		"between two stretches":     {report("belts.example/loop", `{"introduced":"0"},{"fixed":"1.2.0"},{"introduced":"1.5.0"},{"fixed":"1.6.0"}`, ""), false, ""},
		"in the second stretch":     {report("belts.example/loop", `{"introduced":"0"},{"fixed":"1.2.0"},{"introduced":"1.4.0"},{"fixed":"1.6.0"}`, ""), true, "v1.6.0"},
		"before a pre-release":      {report("belts.example/loop", `{"introduced":"0"},{"fixed":"1.5.0-rc.1"}`, ""), true, "v1.5.0-rc.1"},
		"a package compiled in":     {report("belts.example/loop", `{"introduced":"0"}`, imports("belts.example/loop/draw")), true, "no version yet"},
		"a package that is not":     {report("belts.example/loop", `{"introduced":"0"}`, imports("belts.example/loop/print")), false, ""},
		"another module":            {report("belts.example/other", `{"introduced":"0"}`, ""), false, ""},
		"the standard library":      {report("stdlib", `{"introduced":"1.26.0"},{"fixed":"1.26.9"}`, imports("net/http")), true, "v1.26.9"},
		"the library, mended":       {report("stdlib", `{"introduced":"0"},{"fixed":"1.26.8"}`, imports("net/http")), false, ""},
		"withdrawn by its reporter": {&fstest.MapFile{Data: []byte(`{"id":"T","withdrawn":"2026-01-01T00:00:00Z","affected":[{"package":{"name":"belts.example/loop"},"ranges":[{"type":"SEMVER","events":[{"introduced":"0"}]}]}]}`)}, false, ""},
	} {
		hits, read, err := touched(fstest.MapFS{"T.json": c.file}, u)
		if err != nil || read != 1 || (len(hits) == 1) != c.hit {
			t.Errorf("%s: %+v, %v, want a hit %v", what, hits, err, c.hit)
		} else if c.hit && hits[0].fixed != c.fixed {
			t.Errorf("%s: mended in %s, want %s", what, hits[0].fixed, c.fixed)
		}
	}
	if _, _, err := touched(fstest.MapFS{"list.txt": {Data: []byte("x")}}, u); err == nil {
		t.Error("a folder without a report passes")
	}
}
