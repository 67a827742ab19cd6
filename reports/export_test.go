package reports

// CanonicalNumber and CanonicalString open the canonical form to the test of its standard.
func CanonicalNumber(v float64) string { return string(appendNumber(nil, v)) }

// CanonicalString writes a string in the canonical form.
func CanonicalString(s string) string { return string(appendString(nil, s)) }
