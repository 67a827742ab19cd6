package loop

// most bounds every figure typed: 1000 km in millimetres, and beyond any mass, count or percentage of the trade.
const most = maxMM

// first returns the first error of a list of checks.
func first(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// above refuses what is not above zero; a NaN is above nothing.
func above(field, what string, v float64) error {
	if v > 0 && v <= most {
		return nil
	}
	return bad(field, "%s must be above zero; %g given", what, v)
}

// atLeast0 refuses what is below zero.
func atLeast0(field, what string, v float64) error {
	if v >= 0 && v <= most {
		return nil
	}
	return bad(field, "%s must be zero or above; %g given", what, v)
}

// within refuses what is outside closed bounds.
func within(field, what string, v, low, high float64, sign string) error {
	if v >= low && v <= high {
		return nil
	}
	return bad(field, "%s must be from %g to %g %s; %g given", what, low, high, sign, v)
}

// inRange refuses what is no length at all.
func inRange(field, what string, v float64) error { return within(field, what, v, -most, most, "mm") }
