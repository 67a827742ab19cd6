package life

import "math"

// normalRoot is the two-sided normal quantile z of a confidence in (0, 1); z squared is the chi-square quantile with 1 degree of
// freedom.
func normalRoot(confidence float64) float64 { return math.Sqrt2 * math.Erfcinv(1-confidence) }

// chiSquareAbove is the chance that chi-square with df degrees of freedom exceeds x (Abramowitz and Stegun 26.4.19).
func chiSquareAbove(x float64, df int) float64 {
	switch {
	case !(x > 0):
		return 1
	case df == 1:
		return math.Erfc(math.Sqrt(x / 2))
	}
	return gammaAbove(float64(df)/2, x/2)
}

// gammaBelow is the regularised lower incomplete gamma function P(a, x), a above 0, x not negative.
//
// The series 6.5.29 of Abramowitz and Stegun where x < a + 1 or below 12, where its few dozen terms, all of one sign, cost less
// than the fraction; elsewhere 1 - Q. Relative error below 1e-13 for a up to a thousand.
func gammaBelow(a, x float64) float64 {
	switch {
	case x <= 0:
		return 0
	case x >= max(a+1, 12):
		return 1 - gammaAbove(a, x)
	}
	return gammaSeries(a, x)
}

// gammaSeries is P(a, x) by its series.
func gammaSeries(a, x float64) float64 {
	sum, term := 1/a, 1/a
	for n := 1.0; term > sum*1e-17 && n < 1e6; n++ {
		term *= x / (a + n)
		sum += term
	}
	return math.Exp(a*math.Log(x)-x-logGamma(a)) * sum
}

// gammaAbove is the regularised upper incomplete gamma function Q(a, x) = 1 - P(a, x); small ones keep their digits.
func gammaAbove(a, x float64) float64 {
	switch {
	case x <= 0:
		return 1
	case x < a+1:
		return 1 - gammaSeries(a, x)
	}
	return math.Exp(a*math.Log(x)-x-logGamma(a)) * gammaFraction(a, x)
}

// gammaFraction is Gamma(a, x) exp(x) x^-a by its continued fraction (Abramowitz and Stegun 6.5.31, evaluated by Lentz's method);
// x at least a + 1.
func gammaFraction(a, x float64) float64 {
	const tiny = 1e-300
	b := x + 1 - a
	c, d := 1/tiny, 1/b
	h := d
	for i := 1.0; i < 1e6; i++ {
		an := -i * (i - a)
		b += 2
		d = 1 / nonZero(an*d+b, tiny)
		c = nonZero(b+an/c, tiny)
		h *= c * d
		if math.Abs(c*d-1) < lastDigits {
			break
		}
	}
	return h
}

// lastDigits is how near to 1 a factor of a continued fraction is when it changes nothing any more: it is a product of two rounded
// numbers, which need not come nearer.
const lastDigits = 3e-16

func nonZero(v, tiny float64) float64 {
	if math.Abs(v) < tiny {
		return tiny
	}
	return v
}

// logGamma is ln Gamma(a) for a above 0.
func logGamma(a float64) float64 {
	v, _ := math.Lgamma(a)
	return v
}

// studentRoot is the two-sided Student quantile t of a confidence in (0, 1) with df degrees of freedom: P(|T| <= t) = confidence.
//
// Found by halving on P(|T| > t) = I(df/(df+t^2); df/2, 1/2), Abramowitz and Stegun 26.7.1, in ln(t); relative error below 1e-13.
func studentRoot(confidence float64, df int) float64 {
	n, outside := float64(df), 1-confidence
	lo, hi := -40.0, 300.0
	for range 200 {
		mid := lo + (hi-lo)/2
		if mid == lo || mid == hi {
			break
		}
		if studentOutside(math.Exp(mid), n) > outside {
			lo = mid
		} else {
			hi = mid
		}
	}
	return math.Exp(lo + (hi-lo)/2)
}

// studentOutside is P(|T| > t).
func studentOutside(t, n float64) float64 {
	if t*t < n { // near the middle the complement keeps the digits
		return 1 - betaBelow(0.5, n/2, t*t/(n+t*t))
	}
	return betaBelow(n/2, 0.5, n/(n+t*t))
}

// betaBelow is the regularised incomplete beta function I(x; a, b) by its continued fraction (Abramowitz and Stegun 26.5.8, Lentz).
func betaBelow(a, b, x float64) float64 {
	switch {
	case x <= 0:
		return 0
	case x >= 1:
		return 1
	case x > (a+1)/(a+b+2):
		return 1 - betaBelow(b, a, 1-x)
	}
	const tiny = 1e-300
	front := math.Exp(logGamma(a+b) - logGamma(a) - logGamma(b) + a*math.Log(x) + b*math.Log1p(-x))
	c, d := 1.0, 1/nonZero(1-(a+b)*x/(a+1), tiny)
	h := d
	for m := 1.0; m < 1e5; m++ {
		even := m * (b - m) * x / ((a + 2*m - 1) * (a + 2*m))
		d = 1 / nonZero(1+even*d, tiny)
		c = nonZero(1+even/c, tiny)
		h *= c * d
		odd := -(a + m) * (a + b + m) * x / ((a + 2*m) * (a + 2*m + 1))
		d = 1 / nonZero(1+odd*d, tiny)
		c = nonZero(1+odd/c, tiny)
		h *= c * d
		if math.Abs(c*d-1) < lastDigits {
			break
		}
	}
	return front * h / a
}
