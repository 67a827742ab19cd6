package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"os"

	"carryside/cmd/carryside/livesfile"
	"carryside/schedule/life"
)

// fitCommand fits the lives of a file: it lets someone outside see how long splices last by the method the screens use.
type fitCommand struct {
	Lives      string    `arg:"" name:"lives.csv" help:"The lives: a CSV with the columns event, life, lower, upper, entry, count, cohort."`
	Confidence float64   `env:"-" default:"0.95" placeholder:"C" help:"Confidence of every limit, between 0 and 1."`
	Quantile   []float64 `env:"-" sep:"none" placeholder:"P" help:"Share of lives that fail before the age asked for, between 0 and 1; may be repeated. 0.1 when left out: B10."`
	FixedShape *float64  `env:"-" placeholder:"B" help:"Shape of cohorts too thin to be fitted, above 0."`
}

// maxLivesBytes bounds a file of lives; ten million lives are a fifth of it.
const maxLivesBytes = 1 << 30

// fitDocument is what is printed.
type fitDocument struct {
	Format     string        `json:"format"`
	Confidence float64       `json:"confidence"`
	Ignored    []string      `json:"ignored_columns"`
	Cohorts    []life.Fitted `json:"cohorts"`
	Common     *life.Common  `json:"common_shape"`
}

// Run prints the fit as one JSON object, or nothing at all when a line cannot be read.
func (c *fitCommand) Run(p *Program) error {
	settings, err := c.settings()
	if err != nil {
		return err
	}
	text, err := readLives(c.Lives)
	if err != nil {
		return err
	}
	file, err := livesfile.Read(text)
	if err != nil {
		return fmt.Errorf("%s: %w", c.Lives, err)
	}
	report, err := life.Fit(file.Cohorts, settings)
	if err != nil {
		return fmt.Errorf("%s: %w", c.Lives, err)
	}
	return printFit(p.Stdout, &fitDocument{"carryside-fit/1", settings.Confidence, file.Ignored, report.Cohorts, report.Common})
}

// settings are the flags, judged.
func (c *fitCommand) settings() (life.Settings, error) {
	s := life.Settings{Confidence: c.Confidence, Quantiles: c.Quantile}
	if len(s.Quantiles) == 0 {
		s.Quantiles = []float64{0.1}
	}
	if c.FixedShape != nil {
		if s.FixedShape = *c.FixedShape; s.FixedShape == 0 {
			return s, &UsageError{"the fixed shape must be above 0"}
		}
	}
	if err := s.Check(); err != nil {
		return s, &UsageError{err.Error()}
	}
	return s, nil
}

// readLives reads a file of lives whole.
func readLives(name string) ([]byte, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, fmt.Errorf("the lives cannot be read: %w", err)
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, maxLivesBytes+1))
	if err != nil {
		return nil, fmt.Errorf("the lives cannot be read: %w", err)
	}
	if len(text) > maxLivesBytes {
		return nil, fmt.Errorf("%s is larger than %d MB; split it by cohort", name, maxLivesBytes>>20)
	}
	return text, nil
}

// printFit writes the document as one line of JSON.
func printFit(w io.Writer, d *fitDocument) error {
	out := bufio.NewWriterSize(w, 1<<16)
	e := json.NewEncoder(out)
	e.SetEscapeHTML(false)
	if err := e.Encode(d); err != nil {
		return fmt.Errorf("the fit cannot be written: %w", err)
	}
	return out.Flush()
}
