package main

import (
	"fmt"
	"io"
	"os"
	"strings"
	"time"
)

// benchTable prints what is measured as it is measured: a line each, under one heading for each group, with what is
// aimed at beside it.
type benchTable struct{ out io.Writer }

// benchLine is one line: what, its figures, and the aim or a note. Figures that mean nothing for it are "".
type benchLine struct {
	what, cpu, wall, slow, size, aim string
}

// head begins a group; slow and size say what their columns hold in it.
func (t benchTable) head(group, cpu, wall, slow, size string) {
	fmt.Fprintln(t.out)
	t.line(benchLine{strings.ToUpper(group[:1]) + group[1:], cpu, wall, slow, size, "aim"})
	fmt.Fprintln(t.out, strings.Repeat("-", 148))
}

func (t benchTable) line(l benchLine) {
	fmt.Fprintf(t.out, "%-50s %12s %12s %12s %12s  %s\n", l.what, l.cpu, l.wall, l.slow, l.size, l.aim)
}

// began says when and under which load of the machine a measurement is made: figures of a busy machine are not those
// of an idle one.
func (t benchTable) began(file string, now time.Time) {
	fmt.Fprintf(t.out, "%s, %s; load of the machine over 1, 5 and 15 minutes: %s\n", file, now.UTC().Format(time.DateTime+" UTC"), loadAverage())
}

// loadAverage is the machine's load; Linux tells it.
func loadAverage() string {
	raw, err := os.ReadFile("/proc/loadavg")
	if f := strings.Fields(string(raw)); err == nil && len(f) >= 3 {
		return strings.Join(f[:3], ", ")
	}
	return "not known here"
}

func seconds(d time.Duration) string { return fmt.Sprintf("%.2f s", d.Seconds()) }

func millis(d time.Duration) string { return fmt.Sprintf("%.1f ms", float64(d.Microseconds())/1000) }

func mebibytes(v float64) string { return fmt.Sprintf("%.0f MiB", v) }
