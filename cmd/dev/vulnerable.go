package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"

	"golang.org/x/mod/semver"
)

// vulnerabilities is the module of Go's own vulnerability database: it comes by the way every module comes, so that the
// check needs no service of its own.
const vulnerabilities = "golang.org/x/vulndb"

// advisory is a report of the database, in the format of OSV 1.3.1, as far as it is asked.
type advisory struct {
	ID        string
	Summary   string
	Withdrawn string
	Affected  []struct {
		Package struct{ Name string } // a module, or "stdlib"
		Ranges  []struct {
			Type   string
			Events []struct{ Introduced, Fixed string }
		}
		EcosystemSpecific struct {
			Imports []struct{ Path string }
		} `json:"ecosystem_specific"`
	}
}

// built is what the program is built of: versions by module, "stdlib" among them, and the packages compiled in.
type built struct {
	versions map[string]string
	packages map[string]bool
}

// hit is a report that touches the program.
type hit struct{ id, module, version, fixed, summary string }

// runVulnerable looks whether a known vulnerability touches a package that is compiled into the program, in the version
// it is compiled in. It says nothing of whether the faulty function is called.
func runVulnerable(ctx context.Context, env environment, args []string) error {
	flags := flag.NewFlagSet("vulnerable", flag.ContinueOnError)
	at := flags.String("database", "", "folder with reports in OSV format; \"\": the newest version of "+vulnerabilities)
	if err := parseFlags(flags, env, args); err != nil {
		return err
	}
	if flags.NArg() > 0 {
		return fmt.Errorf("%w: vulnerable takes no arguments", errUsage)
	}
	folder, version := *at, "given"
	if folder == "" {
		var err error
		if folder, version, err = newestReports(ctx); err != nil {
			return err
		}
	}
	u, err := compiledIn(ctx, env.root)
	if err != nil {
		return err
	}
	hits, read, err := touched(os.DirFS(folder).(dirReader), u)
	if err != nil {
		return err
	}
	fmt.Fprintf(env.stdout, "%d reports (%s), %d modules, %d packages: %d touch the program\n", read, version, len(u.versions), len(u.packages), len(hits))
	for _, h := range hits {
		fmt.Fprintf(env.stdout, "%s  %s %s (mended in %s)  %s\n", h.id, h.module, h.version, h.fixed, h.summary)
	}
	if len(hits) > 0 {
		return errors.New("known vulnerabilities touch packages that are compiled in; go get the versions that mend them")
	}
	return nil
}

// newestReports fetches the newest version of the database and returns the folder of its reports.
func newestReports(ctx context.Context) (folder, version string, err error) {
	apart, err := os.MkdirTemp("", "carryside-vulnerable-") // not within our module: it must not become a dependency
	if err != nil {
		return "", "", err
	}
	defer os.RemoveAll(apart)
	cmd := exec.CommandContext(ctx, "go", "mod", "download", "-json", vulnerabilities+"@latest")
	cmd.Dir, cmd.Env = apart, append(os.Environ(), "GOFLAGS=", "GOWORK=off")
	out, err := cmd.Output()
	var got struct{ Dir, Version, Error string }
	if bad := json.Unmarshal(out, &got); bad != nil || got.Dir == "" {
		return "", "", fmt.Errorf("the database of vulnerabilities cannot be fetched (%s); give a folder of reports with --database: %w", got.Error, errors.Join(err, bad))
	}
	return filepath.Join(got.Dir, "data", "osv"), got.Version, nil
}

// compiledIn lists what the program is built of.
func compiledIn(ctx context.Context, root string) (built, error) {
	cmd := exec.CommandContext(ctx, "go", "list", "-deps", "-json=ImportPath,Standard,Module", "./cmd/carryside")
	cmd.Dir = root
	out, err := cmd.Output()
	if err != nil {
		return built{}, fmt.Errorf("list what the program is built of: %w", err)
	}
	u := built{versions: map[string]string{}, packages: map[string]bool{}}
	for d := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p struct {
			ImportPath string
			Standard   bool
			Module     *struct{ Path, Version string }
		}
		if err := d.Decode(&p); err == io.EOF {
			break
		} else if err != nil {
			return u, err
		}
		u.packages[p.ImportPath] = true
		if p.Module != nil && p.Module.Version != "" {
			u.versions[p.Module.Path] = p.Module.Version
		}
	}
	tool, err := exec.CommandContext(ctx, "go", "env", "GOVERSION").Output()
	if err != nil {
		return u, fmt.Errorf("ask for the version of Go: %w", err)
	}
	u.versions["stdlib"] = "v" + strings.TrimPrefix(strings.Fields(string(tool))[0], "go")
	return u, nil
}

// dirReader is a folder of files.
type dirReader interface {
	ReadFile(name string) ([]byte, error)
	ReadDir(name string) ([]os.DirEntry, error)
}

// touched returns the reports of a folder that touch what is used, and how many there are.
func touched(folder dirReader, u built) (hits []hit, read int, err error) {
	files, err := folder.ReadDir(".")
	if err != nil {
		return nil, 0, fmt.Errorf("read the reports of vulnerabilities: %w", err)
	}
	for _, f := range files {
		if filepath.Ext(f.Name()) != ".json" {
			continue
		}
		text, err := folder.ReadFile(f.Name())
		if err != nil {
			return nil, read, err
		}
		var a advisory
		if err := json.Unmarshal(text, &a); err != nil {
			return nil, read, fmt.Errorf("%s: %w", f.Name(), err)
		}
		read++
		hits = append(hits, a.touches(u)...)
	}
	if read == 0 {
		return nil, 0, errors.New("no report of a vulnerability is there; the folder is not the one")
	}
	return hits, read, nil
}

// touches tells what of a report concerns the program: a module in a version within its ranges, of which a package
// named, or any where none is, is compiled in.
func (a advisory) touches(u built) (hits []hit) {
	if a.Withdrawn != "" {
		return nil
	}
	for _, m := range a.Affected {
		version, there := u.versions[m.Package.Name]
		if !there {
			continue
		}
		imports := m.EcosystemSpecific.Imports
		if len(imports) > 0 && !slices.ContainsFunc(imports, func(i struct{ Path string }) bool { return u.packages[i.Path] }) {
			continue
		}
		for _, r := range m.Ranges {
			if r.Type != "SEMVER" {
				continue
			}
			in, fixed := false, "no version yet"
			for _, e := range r.Events { // in order; each begins or ends a stretch of versions
				switch {
				case e.Introduced != "" && (e.Introduced == "0" || semver.Compare(version, "v"+e.Introduced) >= 0):
					in, fixed = true, "no version yet"
				case e.Fixed != "" && in && semver.Compare(version, "v"+e.Fixed) >= 0:
					in = false
				case e.Fixed != "" && in:
					fixed = "v" + e.Fixed
				}
				if in && fixed != "no version yet" {
					break
				}
			}
			if in {
				hits = append(hits, hit{a.ID, m.Package.Name, version, fixed, a.Summary})
			}
		}
	}
	return hits
}
