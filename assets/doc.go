// Package assets is the asset register's words and rules: the service company, its customers and
// their plants, lines, conveyors with their pulleys, belts, splices, hour meters with readings,
// findings, and the catalogues behind them.
//
// It knows what a thing is and what may be said of it. It does not know how rows are stored
// (assets/plantdb), how a clock runs (schedule/clock) or what falls due (schedule/due).
//
// Every quantity carries its unit at the end of its name and is SI inside. Every instant is UTC.
// A fact of the register is kept at two times: when it was so at the plant (ValidFrom, ValidTo) and
// when the register knew it (KnownFrom, KnownTo: positions in the journal chain of its customer).
package assets
