// Package enclosure says which files may be kept with a thing of the register and makes them fit to be kept: it tells
// a file's type by its contents, refuses a name whose ending says otherwise, bounds its size, and takes out of photos what tells where and
// with whose device they were taken. It knows neither database nor browser.
//
//	kind, err := enclosure.Tell(content)          // "image/jpeg", or assets.Invalid with what to do
//	kind, kept, err := enclosure.Fit(content)      // and what is kept of a photo
package enclosure
