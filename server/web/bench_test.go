package web

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"testing"

	"carryside/assets"
)

// BenchmarkPages renders what a plant with 100 conveyors and 150 splices looks at all day. The aim is at most
// 10 ms of CPU a page, storage apart.
func BenchmarkPages(b *testing.B) {
	f := skarrow()
	for i := range 94 {
		id := int64(200 + i)
		f.conveyor(id, int64(i%3)+1, fmt.Sprintf("K-%02d", i), "Bench conveyor", 100, 3, 210)
		f.splice(1000+2*id, id, "1", 30, 0.3, "2028-03-24")
		if i%2 == 0 {
			f.splice(1001+2*id, id, "2", 150, 0.9, "2027-01-24")
		}
	}
	f.fleet.Register.Arrange()
	v := as(b, f, assets.RolePlanner)
	for _, path := range []string{"/plants/3", "/plants/3/belts", "/plants/3/conveyors/3", "/plants/3/orders"} {
		b.Run(path, func(b *testing.B) {
			for b.Loop() {
				r := httptest.NewRequest("GET", path, nil)
				if rec := v.do(r, http.StatusOK); rec.Body.Len() == 0 {
					b.Fatal("an empty page")
				}
			}
		})
	}
}
