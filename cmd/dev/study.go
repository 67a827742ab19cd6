package main

import (
	"context"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"text/tabwriter"

	"carryside/schedule/life"
)

// runStudy runs a simulation study by its name.
func runStudy(ctx context.Context, env environment, args []string) error {
	if len(args) == 0 || args[0] != "life" {
		return fmt.Errorf("%w: name the study: life", errUsage)
	}
	flags := flag.NewFlagSet("study life", flag.ContinueOnError)
	draws := flags.Int("draws", 1000, "cohorts drawn for each line of the table")
	seed := flags.Uint64("seed", 1, "seed of the draws")
	if err := parseFlags(flags, env, args[1:]); err != nil {
		return err
	}
	if *draws < 10 || flags.NArg() > 0 {
		return fmt.Errorf("%w: study life takes --draws of 10 or more and --seed", errUsage)
	}
	return studyLife(ctx, env, *draws, *seed)
}

// trueLaw is what the study draws from: wear that sets in, its unit the scale. Sister cohorts have shapes spread about it.
var trueLaw = life.Weibull{Shape: 2.2, Scale: 1}

const (
	sisterSpread  = 0.15 // standard deviation of ln(shape) between cohorts of a family
	sisters       = 5    // cohorts with a shape of their own that a thin one may borrow from
	sisterLives   = 60
	bandShare     = 0.8 // the due band runs from the 10 % to the 90 % date
	borrowedUnder = 10  // failures from which no shape is borrowed
)

// tallies are the sums over the drawn cohorts of one line.
type tallies struct {
	drawn, fitted, banded, failures    int
	shapes, scales                     []float64
	shapeIn, scaleIn, b10In, b10Stated int
	bandIn, plugIn                     int
}

// The two ways of a cohort in the table by failures: over how many scales its lives began, and which share of them failed by today.
var censorings = []struct {
	span, failed float64
	words        string
}{{3, 0.68, "two in three failed"}, {1, 0.26, "one in four failed"}}

// studyLife prints what the fit and the due band are worth by the size of a cohort.
func studyLife(ctx context.Context, env environment, draws int, seed uint64) error {
	table := tabwriter.NewWriter(env.stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintf(env.stdout, "Lives drawn from a Weibull law of shape %g, %d cohorts a line, seed %d; limits at 95 %%, due band from 10 to 90 %%.\n", trueLaw.Shape, draws, seed)
	fmt.Fprintln(env.stdout, "Lives begin over the years and are still running today (censored); a third of them began before anybody recorded (entered late).")
	fmt.Fprintln(env.stdout, "With fewer than 10 failures the shape is borrowed from sister cohorts, whose shapes differ by 15 %.")
	fmt.Fprintf(env.stdout, "Of %d draws a share of 80 %% has a standard error of %.1f points, one of 95 %% of %.1f.\n", draws, 100*math.Sqrt(0.8*0.2/float64(draws)), 100*math.Sqrt(0.95*0.05/float64(draws)))
	fmt.Fprintln(table, "lives\tfailures\tfitted %\tshape median, bias %\tscale median, bias %\tshape limits hold %\tscale limits hold %\tB10 limits hold %\tdue band holds %\tplug-in band holds %\t")
	for _, n := range []int{3, 5, 10, 20, 50, 100, 300} {
		var t tallies
		r := rand.New(rand.NewPCG(seed, uint64(n)))
		for range draws {
			if err := ctx.Err(); err != nil {
				return err
			}
			law := drawLaw(r)
			lives, running := drawLives(r, law, n, censorings[0].span)
			if err := t.judge(r, law, lives, running); err != nil {
				return err
			}
		}
		t.print(table, n)
	}
	if err := table.Flush(); err != nil {
		return err
	}
	return studyByFailures(ctx, env, draws, seed)
}

// studyByFailures prints what the due band is worth by the number of failures it rests on, of a splice that still runs.
func studyByFailures(ctx context.Context, env environment, draws int, seed uint64) error {
	fmt.Fprintf(env.stdout, "\nThe due band of a running splice by the failures of its cohort: of %d cohorts with exactly so many failures, in how many it fails inside the band.\n", draws)
	table := tabwriter.NewWriter(env.stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprint(table, "failures\t")
	for _, c := range censorings {
		fmt.Fprintf(table, "%s: due band holds %%\tplug-in band holds %%\t", c.words)
	}
	fmt.Fprintln(table)
	var many tallies
	for _, k := range []int{1, 2, 3, 5, 7, 10, 15, 20, 50, 100} {
		fmt.Fprintf(table, "%d\t", k)
		for i, c := range censorings {
			var t tallies
			r := rand.New(rand.NewPCG(seed, uint64(1000*k+i)))
			for t.banded < draws {
				if err := ctx.Err(); err != nil {
					return err
				}
				law := drawLaw(r)
				lives, running := drawLives(r, law, max(k+1, int(math.Round(float64(k)/c.failed))), c.span)
				if running < 0 || failed(lives) != k {
					continue
				}
				if err := t.judge(r, law, lives, running); err != nil {
					return err
				}
			}
			fmt.Fprintf(table, "%s\t%s\t", share(t.bandIn, t.banded), share(t.plugIn, t.banded))
			if k >= borrowedUnder {
				many.banded, many.bandIn, many.plugIn = many.banded+t.banded, many.bandIn+t.bandIn, many.plugIn+t.plugIn
			}
		}
		fmt.Fprintln(table)
	}
	if err := table.Flush(); err != nil {
		return err
	}
	_, err := fmt.Fprintf(env.stdout, "From %d failures up the due band holds %s %% of %d, a plug-in band %s %%; it promises %.0f %%.\n",
		borrowedUnder, share(many.bandIn, many.banded), many.banded, share(many.plugIn, many.banded), 100*bandShare)
	return err
}

// drawLaw draws the law of a cohort of the family.
func drawLaw(r *rand.Rand) life.Weibull {
	return life.Weibull{Shape: trueLaw.Shape * math.Exp(sisterSpread*r.NormFloat64()), Scale: trueLaw.Scale}
}

func failed(lives []life.Observation) (n int) {
	for _, o := range lives {
		if o.Event == life.Failed {
			n++
		}
	}
	return n
}

// judge sees whether the figures of one cohort hold what they promise, for a splice that still runs (at an age of -1: none does).
func (t *tallies) judge(r *rand.Rand, law life.Weibull, lives []life.Observation, running float64) error {
	t.drawn++
	rep, err := life.Fit([]life.Cohort{{Name: "one", Lives: lives}}, life.Settings{Confidence: 0.95, Quantiles: []float64{0.1}})
	if err != nil {
		return err
	}
	f := rep.Cohorts[0]
	t.failures += int(f.RestsOn.Failures)
	if f.Method == life.MaximumLikelihood {
		t.hold(f, law)
	}
	if f.RestsOn.Failures == 0 || running < 0 {
		return nil
	}
	var prior *life.Prior
	if f.Method != life.MaximumLikelihood || f.RestsOn.Failures < borrowedUnder {
		if prior, err = sisterPrior(r); err != nil {
			return err
		}
	}
	p, err := life.Predict(lives, prior)
	if err != nil {
		return nil // no maximum even with the borrowed shape: no band is shown either
	}
	t.banded++
	rest := law.ResidualQuantile(running, r.Float64())
	if float64(p.ResidualQuantile(running, (1-bandShare)/2)) <= rest && rest <= float64(p.ResidualQuantile(running, (1+bandShare)/2)) {
		t.bandIn++
	}
	if p.Best.ResidualQuantile(running, (1-bandShare)/2) <= rest && rest <= p.Best.ResidualQuantile(running, (1+bandShare)/2) {
		t.plugIn++
	}
	return nil
}

// hold counts which limits hold the law that was drawn from.
func (t *tallies) hold(f life.Fitted, law life.Weibull) {
	t.fitted++
	t.shapes, t.scales = append(t.shapes, float64(f.Shape)/law.Shape), append(t.scales, float64(f.Scale)/law.Scale)
	within := func(low, high life.Figure, v float64) int {
		if float64(low) > v || float64(high) < v { // an open limit holds everything; NaN compares false
			return 0
		}
		return 1
	}
	t.shapeIn += within(f.Limits.Shape[0], f.Limits.Shape[1], law.Shape)
	t.scaleIn += within(f.Limits.Scale[0], f.Limits.Scale[1], law.Scale)
	if len(f.Quantiles) > 0 {
		t.b10Stated++
		t.b10In += within(f.Quantiles[0].Lower, f.Quantiles[0].Upper, law.Quantile(0.1))
	}
}

// drawLives draws the lives of a cohort as a plant would know them today, and the age of one that still runs (-1: none).
//
// Lives begin evenly over so many scales before today; recording began after a third of that: of those that began earlier only
// the survivors are known, from their age at that time.
func drawLives(r *rand.Rand, law life.Weibull, n int, span float64) (lives []life.Observation, running float64) {
	running = -1
	for recorded := span * 2 / 3; len(lives) < n; {
		ago := span * r.Float64()
		o := life.Observation{Count: 1, Entry: max(0, ago-recorded)}
		failsAt := law.Quantile(r.Float64())
		switch {
		case failsAt <= o.Entry:
			continue // failed before anybody recorded
		case failsAt < ago:
			o.Event, o.Life = life.Failed, failsAt
		default:
			o.Event, o.Life = life.Censored, ago
			running = ago
		}
		lives = append(lives, o)
	}
	return lives, running
}

// sisterPrior is what the other cohorts of a family say of the shape.
func sisterPrior(r *rand.Rand) (*life.Prior, error) {
	var shapes []life.ShapeEstimate
	for range sisters {
		law := drawLaw(r)
		lives, _ := drawLives(r, law, sisterLives, censorings[0].span)
		rep, err := life.Fit([]life.Cohort{{Name: "sister", Lives: lives}}, life.Settings{Confidence: 0.95})
		if err != nil {
			return nil, err
		}
		if f := rep.Cohorts[0]; f.Method == life.MaximumLikelihood {
			shapes = append(shapes, life.ShapeEstimate{LogShape: math.Log(float64(f.Shape)), StdError: float64(f.StdError.LogShape)})
		}
	}
	prior, err := life.ShapePrior(shapes)
	return &prior, err
}

func (t *tallies) print(w *tabwriter.Writer, n int) {
	bias := func(v []float64) string {
		if len(v) == 0 {
			return "none"
		}
		slices.Sort(v)
		return fmt.Sprintf("%+.1f", 100*(v[len(v)/2]-1))
	}
	fmt.Fprintf(w, "%d\t%.1f\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t\n", n, float64(t.failures)/float64(max(1, t.drawn)), share(t.fitted, t.drawn),
		bias(t.shapes), bias(t.scales), share(t.shapeIn, t.fitted), share(t.scaleIn, t.fitted), share(t.b10In, t.b10Stated), share(t.bandIn, t.banded), share(t.plugIn, t.banded))
}

// share is a part in per cent.
func share(part, whole int) string {
	if whole == 0 {
		return "none"
	}
	return fmt.Sprintf("%.1f", 100*float64(part)/float64(whole))
}
