package calc

// geometryKinds are loops, pairs of pulleys and cutting figures.
var geometryKinds = map[string]Kind{}
