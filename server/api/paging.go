package api

import (
	"encoding/base64"
	"fmt"
	"math"
	"sort"
	"strings"

	"carryside/assets"
)

// Paging is which page of a list is asked for.
type Paging struct {
	Limit  int    `query:"limit" default:"100" minimum:"1" maximum:"1000" doc:"how many at most"`
	Cursor string `query:"cursor" maxLength:"200" doc:"where the page before ended: its next"`
}

// List is a page of a list.
type List[T any] struct {
	Items []T    `json:"items" nullable:"false"`
	Next  string `json:"next,omitempty" doc:"cursor of the page after; absent on the last one"`
}

// cut returns the page of a list whose keys rise. A key stays its thing's, so that what is added or ended meanwhile
// neither doubles nor hides another.
func cut[T any](list []T, key func(T) string, p Paging) (page []T, next string, err error) {
	from, err := p.from()
	if err != nil {
		return nil, "", err
	}
	first := 0
	if from != "" {
		first = sort.Search(len(list), func(i int) bool { return key(list[i]) > from })
	}
	list = list[first:]
	if len(list) <= p.Limit {
		return list, "", nil
	}
	list = list[:p.Limit]
	return list, base64.RawURLEncoding.EncodeToString([]byte(key(list[len(list)-1]))), nil
}

// from is the key the page before ended with.
func (p Paging) from() (string, error) {
	key, err := base64.RawURLEncoding.DecodeString(p.Cursor)
	if err != nil {
		return "", assets.Invalid{"query.cursor": "this is no cursor; give the next of the page before, as it came"}
	}
	return string(key), nil
}

// rising writes numbers so that their texts sort as they do.
func rising(numbers ...int64) string {
	parts := make([]string, len(numbers))
	for i, n := range numbers {
		parts[i] = fmt.Sprintf("%020d", uint64(n)^(1<<63))
	}
	return strings.Join(parts, "-")
}

// falling is rising for what is listed from new to old.
func falling(n int64) int64 { return math.MaxInt64 - n }

// pageOf makes the answer of a list: the page, each of its things as it is told.
func pageOf[T, O any](list []T, key func(T) string, p Paging, tell func(T) O) (*listed[O], error) {
	page, next, err := cut(list, key, p)
	if err != nil {
		return nil, err
	}
	out := &listed[O]{}
	out.Body.Items, out.Body.Next = make([]O, len(page)), next
	for i, one := range page {
		out.Body.Items[i] = tell(one)
	}
	return out, nil
}

// listed is the answer of a list.
type listed[O any] struct{ Body List[O] }

// single is the answer of one thing.
type single[O any] struct{ Body O }

func one[O any](o O) *single[O] { return &single[O]{Body: o} }
