package calc

import "carryside/schedule/life"

// lifeKinds are the questions asked of a law of life, and trends.
var lifeKinds = map[string]Kind{
	"replacement": replacement,
	"conditional": conditional,
	"residual":    residual,
	"renewal":     renewal,
	"trend":       trend,
}

// law reads a Weibull law.
func law(c *Case) life.Weibull {
	return life.Weibull{Shape: c.Number("shape"), Scale: c.Number("scale")}
}

// replacement finds the best age to replace at.
func replacement(c *Case) (any, error) {
	r, err := life.Replace(law(c), life.Costs{Planned: c.Number("cost_planned"), Unplanned: c.Number("cost_unplanned")})
	if err != nil {
		return nil, err
	}
	out := map[string]any{
		"result": r.Result, "reason": nil, "T_opt": r.Age, "cost_rate": r.CostRate, "saving": r.Saving,
		"T_low_5pct": r.Low, "T_high_5pct": r.High,
	}
	if r.Reason != "" {
		out["reason"] = r.Reason
	}
	return out, nil
}

// conditional is the chance that a life sound at an age fails within x more.
func conditional(c *Case) (any, error) {
	w, age, x := law(c), c.Number("age"), c.Number("x")
	p, err := w.Risk(age, x)
	return map[string]any{"p": life.Figure(p)}, err
}

// residual is what is left of a life sound at an age.
func residual(c *Case) (any, error) {
	w, age := law(c), c.Number("age")
	r, err := w.Residual(age)
	return map[string]any{"q10": life.Figure(r.Q10), "q50": life.Figure(r.Q50), "q90": life.Figure(r.Q90), "mean": life.Figure(r.Mean)}, err
}

// renewal counts failures ahead: of a new position, or of one whose unit has an age now.
func renewal(c *Case) (any, error) {
	w := law(c)
	if c.Has("age") || c.Has("x") {
		n, err := life.AgedRenewals(w, c.Number("age"), c.Number("x"))
		return map[string]any{"expected": life.Figure(n)}, err
	}
	n, err := life.Renewals(w, c.Number("t"))
	return map[string]any{"M": life.Figure(n)}, err
}

// trend lays both lines through measurements and says when they meet the limit.
func trend(c *Case) (any, error) {
	var m life.Measurements
	c.Decode("t", "a list of numbers", &m.Times)
	c.Decode("y", "a list of numbers", &m.Values)
	m.Limit, m.Confidence = c.Number("limit"), c.NumberOr("confidence", 0.95)
	robust, err := m.Robust()
	if err != nil {
		return nil, err
	}
	squares, err := m.LeastSquares()
	if err != nil {
		return nil, err
	}
	return map[string]any{
		"theil_sen": map[string]any{
			"slope": robust.Slope, "intercept": robust.Intercept, "slope_lower": robust.SlopeLower, "slope_upper": robust.SlopeUpper,
			"crossing": robust.Crossing, "crossing_earliest": robust.CrossEarliest, "crossing_latest": robust.CrossLatest,
		},
		"ols": map[string]any{
			"slope": squares.Slope, "intercept": squares.Intercept, "residual_sd": squares.ResidualSD, "r2": squares.R2,
			"slope_lower": squares.SlopeLower, "slope_upper": squares.SlopeUpper, "crossing": squares.Crossing,
			"prediction_earliest": squares.PredictionEarliest, "prediction_latest": squares.PredictionLatest,
			"mean_earliest": squares.MeanEarliest, "mean_latest": squares.MeanLatest,
		},
	}, nil
}
