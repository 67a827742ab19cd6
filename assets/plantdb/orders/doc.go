// Package orders is the statements of rules, occurrences, work orders and job runs, all on plantdb's
// transaction. What may be raised and which step an order may take is decided in schedule/rules and
// schedule/workorder; the unique key of an occurrence decides that each is raised once.
package orders
