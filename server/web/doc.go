// Package web is the screens a plant's people work with: pages and forms over the register, the orders and
// the rules, made with html/template and no script that they need.
//
// A screen is a page struct that embeds Page, a handler that returns an error, a template of the same name
// in templates/screens and one line in routes.go. What a screen needs to know it asks of a small interface
// declared in its own file; Sources joins them. The package knows no database and reads no clock of its own.
package web
