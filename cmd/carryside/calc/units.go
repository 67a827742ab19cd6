package calc

// unitKinds are typed lengths, factors and temperatures.
var unitKinds = map[string]Kind{}
