package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"carryside/cmd/carryside/calc"
)

// calcCommand answers a file of check cases: it lets someone outside see that the figures on the screens are right.
type calcCommand struct {
	Kind   string `arg:"" name:"kind" help:"What the cases are: ${kinds}."`
	Cases  string `arg:"" name:"cases.json" help:"The file of cases: a JSON array, or an object holding arrays."`
	Orders string `placeholder:"FILE" help:"The orders behind the cases; for kinds that need them."`
}

// maxCasesBytes bounds a case file; the largest known one is a hundredth of it.
const maxCasesBytes = 64 << 20

// Run prints one JSON array of answers, or nothing at all when a case is not whole.
func (c *calcCommand) Run(p *Program) error {
	if !calc.Known(c.Kind) {
		return &UsageError{fmt.Sprintf("unknown kind %q; the kinds are %s", c.Kind, strings.Join(calc.Names(), ", "))}
	}
	if c.Orders != "" && !calc.TakesOrders(c.Kind) {
		return &UsageError{fmt.Sprintf("the kind %s takes no --orders", c.Kind)}
	}
	document, err := readCases(c.Cases)
	if err != nil {
		return err
	}
	beside := calc.Beside{Files: os.DirFS(filepath.Dir(c.Cases))}
	if c.Orders != "" {
		if beside.Orders, err = readCases(c.Orders); err != nil {
			return err
		}
	}
	answers, err := calc.Answer(c.Kind, document, beside)
	if err != nil {
		return fmt.Errorf("%s: %w", c.Cases, err)
	}
	return printAnswers(p.Stdout, answers)
}

// readCases reads a case file whole.
func readCases(name string) ([]byte, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be read: %s", name, plainFault(err))
	}
	defer f.Close()
	document, err := io.ReadAll(io.LimitReader(f, maxCasesBytes+1))
	if err != nil {
		return nil, fmt.Errorf("%s cannot be read: %s", name, plainFault(err))
	}
	if len(document) > maxCasesBytes {
		return nil, fmt.Errorf("%s is larger than %d MB; split it", name, maxCasesBytes>>20)
	}
	return document, nil
}

// printAnswers writes the answers one to a line, so that two runs can be compared line by line.
func printAnswers(w io.Writer, answers []calc.Answered) error {
	lines := make([]string, len(answers))
	for i, a := range answers {
		var line strings.Builder
		e := json.NewEncoder(&line)
		e.SetEscapeHTML(false)
		if err := e.Encode(a); err != nil {
			return fmt.Errorf("the answer to case %v cannot be written: %w", a.ID, err)
		}
		lines[i] = strings.TrimSuffix(line.String(), "\n")
	}
	_, err := fmt.Fprintf(w, "[%s]\n", strings.Join(lines, ",\n "))
	return err
}
