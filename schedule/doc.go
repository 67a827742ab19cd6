// Package schedule is what runs when: jobs, the ticks that start them, and catching up after a stop.
//
// cron only says when to look. What is raised follows from rules (schedule/rules) and from the mark through
// which each rule and plant was evaluated, so that a week without a server, a clock change or a second server
// neither loses an occurrence nor raises one twice: the key of an occurrence decides, not the tick.
//
// The package knows no tables; a Store loads one plant, and keeps what it raises in one transaction.
//
//	evaluator := schedule.NewEvaluator(store, log)
//	runner := schedule.NewRunner(log, time.Now, schedule.EvaluationJob(evaluator, store, time.Now))
//	runner.Run(ctx) // at once, then at every tick, until ctx ends
package schedule
