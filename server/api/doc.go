// Package api is the machine interface under /api/v1: JSON over HTTP with a description in OpenAPI 3.1, problem
// documents (RFC 9457), pages by cursor and keys that make a request write once. What it tells comes from the same
// functions as the screens'; what it may tell is the grants' of whoever the shown token stands for.
//
//	api.Mount(engine, api.Config{Desk: desk, Keys: keys, Now: time.Now, Log: log})
package api
