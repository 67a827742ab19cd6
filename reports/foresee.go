package reports

import "context"

// mostForeseen is over how many plants a report still tells when splices come due. Each forecast costs more than all other
// columns of its row together; whoever asks for a whole company's register asks for ages, and for dates customer by customer.
const mostForeseen = 40

const notForeseen = "Due dates, recommended days and best ages are left out over more than 40 plants; ask for a customer or a plant to have them."

type unforeseen struct{}

// withoutForecasts asks sources to leave forecasts out.
func withoutForecasts(ctx context.Context) context.Context {
	return context.WithValue(ctx, unforeseen{}, true)
}

// Foreseen reports whether a source is to work out forecasts.
func Foreseen(ctx context.Context) bool { return ctx.Value(unforeseen{}) == nil }
