package server

import (
	"net"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"
)

// TestSlowClientsAreLetGo drips headers, and then a body, more slowly than the server waits: the limits are those of the
// program, a fiftieth of their length.
func TestSlowClientsAreLetGo(t *testing.T) {
	read := make(chan error, 1)
	s := HTTP("127.0.0.1:0", http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		_, err := r.Body.Read(make([]byte, 100))
		for err == nil {
			_, err = r.Body.Read(make([]byte, 100))
		}
		read <- err
	}))
	s.ReadHeaderTimeout, s.ReadTimeout = s.ReadHeaderTimeout/50, s.ReadTimeout/400
	ts := httptest.NewUnstartedServer(nil)
	ts.Config = s
	ts.Start()
	t.Cleanup(ts.Close)
	for name, head := range map[string]string{"headers": "POST / HTTP/1.1\r\nHost: localhost\r\n", "body": "POST / HTTP/1.1\r\nHost: localhost\r\nContent-Length: 100000\r\n\r\n"} {
		c, err := net.Dial("tcp", ts.Listener.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		begun := time.Now()
		if _, err := c.Write([]byte(head)); err != nil {
			t.Fatal(err)
		}
		let := make(chan struct{})
		go func() {
			defer close(let)
			_ = c.SetReadDeadline(time.Now().Add(10 * time.Second))
			for err := error(nil); err == nil; {
				_, err = c.Read(make([]byte, 512))
			}
		}()
		for alive := true; alive; {
			select {
			case <-let:
				alive = false
			case <-time.After(20 * time.Millisecond):
				_, _ = c.Write([]byte("X")) // one byte at a time, for as long as it takes
			}
		}
		if took := time.Since(begun); took > 5*time.Second {
			t.Errorf("%s: held for %v", name, took)
		}
		_ = c.Close()
	}
	if err := <-read; err == nil {
		t.Error("the body that never came was read")
	}
}
