package horizon

// MostTogether is how many open orders one plan over plants takes. Three thousand are what the planner is held to: a first legal plan within a
// second, the search in under 500 MB (measured in dev bench replan).
const MostTogether = 3000
