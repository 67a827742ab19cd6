// Package life learns from a plant's lives how long splices and belts last, and says what that means for the next one.
//
// It fits Weibull lives to what was observed (failed, still sound, failed between two looks, watched from a later age on), sets
// the product-limit curve beside the fit, and works out replacement ages, conditional risks, spares and trends. It knows no
// registry, no clock and no units: an age is a number above zero in whichever unit the caller counts, the same for all lives of a
// call, and every figure comes back in that unit.
//
//	report, err := life.Fit([]life.Cohort{{Name: "all", Lives: lives}}, life.Settings{Confidence: 0.95, Quantiles: []float64{0.1}})
//
// The model is S(t) = exp(-H(t)), H(t) = (t/scale)^shape. Sources: Lawless, Statistical Models and Methods for Lifetime Data,
// 2nd ed. 2003; Meeker and Escobar, Statistical Methods for Reliability Data, 1998; Kalbfleisch and Prentice, The Statistical
// Analysis of Failure Time Data, 2nd ed. 2002.
package life
