package calendar

import "time"

// Window is a stretch of time in which a line stands still: wall times of start and end with their instants.
//
// It includes its start and excludes its end. Both are wall times, so over a clock change it is shorter or longer than planned.
type Window struct {
	StartLocal, EndLocal Local
	Start, End           time.Time // UTC
}

// Minutes returns the minutes that truly elapse between start and end.
func (w Window) Minutes() float64 { return w.End.Sub(w.Start).Minutes() }

// longestWindow bounds a window, in wall minutes; a longer shutdown is planned as several.
const longestWindow = 366 * 24 * 60

// NewWindow places a window given by its wall times; wallMinutes is its length on the wall.
func NewWindow(zone Zone, start Local, wallMinutes int) (Window, error) {
	if wallMinutes < 1 || wallMinutes > longestWindow {
		return Window{}, refuse(BadTime, "a window of %d minutes is not one; write a length from 1 minute to 366 days", wallMinutes)
	}
	return window(zone, zone.Occurrence(start), wallMinutes), nil
}

// window places a window of a checked length. A window that the clock leaves nothing of ends when it starts.
func window(zone Zone, start Occurrence, wallMinutes int) Window {
	end := start.Planned.Add(time.Duration(wallMinutes) * time.Minute)
	w := Window{StartLocal: start.Planned, EndLocal: end, Start: start.At, End: zone.Instant(end)}
	if w.End.Before(w.Start) {
		w.End = w.Start
	}
	return w
}

// Windows are stop windows that recur: every start of the rule opens a window of the same length on the wall.
type Windows struct {
	starts      *Recurrence
	wallMinutes int
}

// NewWindows checks recurring windows.
func NewWindows(starts *Recurrence, wallMinutes int) (Windows, error) {
	if wallMinutes < 1 || wallMinutes > longestWindow {
		return Windows{}, refuse(BadTime, "a window of %d minutes is not one; write a length from 1 minute to 366 days", wallMinutes)
	}
	return Windows{starts, wallMinutes}, nil
}

// First returns the first windows, at most limit of them.
func (w Windows) First(zone Zone, limit int) []Window {
	return w.placed(zone, w.starts.First(zone, limit))
}

// Between returns the windows that start after one instant and at the latest at another.
func (w Windows) Between(zone Zone, after, until time.Time) []Window {
	return w.placed(zone, w.starts.Between(zone, after, until))
}

// placed opens a window at every start.
func (w Windows) placed(zone Zone, starts []Occurrence) []Window {
	windows := make([]Window, len(starts))
	for i, start := range starts {
		windows[i] = window(zone, start, w.wallMinutes)
	}
	return windows
}
