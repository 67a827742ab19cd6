//go:build office

package officetest

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"
)

// convertTimeout bounds one conversion: 100,000 rows took 78 s on two busy cores.
const convertTimeout = 4 * time.Minute

// settings start the office without its tip of the day, which would be a dialog of its own making.
const settings = `<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry" xmlns:xs="http://www.w3.org/2001/XMLSchema" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance">
<item oor:path="/org.openoffice.Office.Common/Misc"><prop oor:name="ShowTipOfTheDay" oor:op="fuse"><value>false</value></prop></item>
</oor:items>
`

// Office is LibreOffice with a profile of its own, so that a run neither sees nor leaves anybody's settings.
type Office struct {
	program string
	profile string
}

// New finds the program that CARRYSIDE_TEST_SOFFICE names and gives it a fresh profile below dir.
func New(dir string) (*Office, error) {
	program := os.Getenv("CARRYSIDE_TEST_SOFFICE")
	if program == "" {
		return nil, errors.New("CARRYSIDE_TEST_SOFFICE is not set: give it the path of LibreOffice's soffice")
	}
	if _, err := os.Stat(program); err != nil {
		return nil, fmt.Errorf("CARRYSIDE_TEST_SOFFICE does not name a program: %w", err)
	}
	profile := filepath.Join(dir, "profile")
	if err := os.MkdirAll(filepath.Join(profile, "user"), 0o700); err != nil {
		return nil, err
	}
	file := filepath.Join(profile, "user", "registrymodifications.xcu")
	if err := os.WriteFile(file, []byte(settings), 0o600); err != nil {
		return nil, err
	}
	return &Office{program: program, profile: profile}, nil
}

// arguments come before those of a call: the profile, and no greeting of any kind.
func (o *Office) arguments(more ...string) []string {
	profile := url.URL{Scheme: "file", Path: o.profile}
	return append([]string{"-env:UserInstallation=" + profile.String(), "--norestore", "--nologo", "--nofirststartwizard"}, more...)
}

// csvFilter asks for UTF-8, commas, cells as they are shown, and a file for every sheet (the -1 at the end).
const csvFilter = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true,true,false,false,-1"

// Sheets converts a workbook without a screen and returns the cells of each sheet as they are shown.
// The office ends with status 0 also when it could not read the file, so a missing sheet is the error to look for.
func (o *Office) Sheets(ctx context.Context, workbook string) (map[string][][]string, error) {
	out, err := os.MkdirTemp(filepath.Dir(o.profile), "sheets-")
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(ctx, convertTimeout)
	defer cancel()
	said, err := exec.CommandContext(ctx, o.program, o.arguments("--headless", "--convert-to", csvFilter, "--outdir", out, workbook)...).CombinedOutput()
	if err != nil {
		return nil, fmt.Errorf("convert %s: %w\n%s", workbook, err, said)
	}
	base := strings.TrimSuffix(filepath.Base(workbook), filepath.Ext(workbook)) + "-"
	files, err := filepath.Glob(filepath.Join(out, "*.csv"))
	if err != nil || len(files) == 0 {
		return nil, errors.Join(fmt.Errorf("the office made no sheet of %s; it said: %s", workbook, said), err)
	}
	sheets := map[string][][]string{}
	for _, file := range files {
		name := strings.TrimSuffix(strings.TrimPrefix(filepath.Base(file), base), ".csv")
		if sheets[name], err = readCSV(file); err != nil {
			return nil, err
		}
	}
	return sheets, nil
}

func readCSV(path string) ([][]string, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	reader := csv.NewReader(f)
	reader.FieldsPerRecord = -1
	rows, err := reader.ReadAll()
	if err != nil {
		return nil, fmt.Errorf("read what the office wrote: %w", err)
	}
	return rows, nil
}
