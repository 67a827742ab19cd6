package main

import (
	"io"
	"log/slog"
	"regexp"
)

// quiet is the format of a log that tells what went wrong and nothing else: the demonstration's address is to stay on
// the terminal.
const quiet = "quiet"

// newLog returns the log of a server: lines of text for people, or JSON for a program that gathers them.
func newLog(w io.Writer, format string) *slog.Logger {
	options := &slog.HandlerOptions{ReplaceAttr: hushed}
	switch format {
	case "json":
		return slog.New(slog.NewJSONHandler(w, options))
	case quiet:
		options.Level = slog.LevelWarn
	}
	return slog.New(slog.NewTextHandler(w, options))
}

// secretWord is a token of the machine interface as it is shown, or what stands behind an Authorization.
var secretWord = regexp.MustCompile(`carryside_[A-Z2-7]{8,}|(?i:bearer|basic) [A-Za-z0-9._~+/=-]{8,}|://[^/@\s]+@`)

// hushed keeps secrets out of the log should one ever stand in an error's text: tokens, credentials, the password of a
// database's address. Nothing of ours logs them; this is the second door.
func hushed(_ []string, a slog.Attr) slog.Attr {
	switch v := a.Value.Any().(type) {
	case string:
		if secretWord.MatchString(v) {
			a.Value = slog.StringValue(secretWord.ReplaceAllString(v, "(secret)"))
		}
	case error:
		if v != nil && secretWord.MatchString(v.Error()) {
			a.Value = slog.StringValue(secretWord.ReplaceAllString(v.Error(), "(secret)"))
		}
	}
	return a
}
