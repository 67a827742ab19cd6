//go:build browser

package browsertest

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"time"
)

// startTimeout is how long the program may take to print its address; the product promises 5 s on an idle machine.
const startTimeout = 60 * time.Second

// Program is the built program, serving.
type Program struct {
	URL string // address it printed, without a slash at the end

	cmd  *exec.Cmd
	dir  string
	done chan error

	mu     sync.Mutex // guards output
	output strings.Builder
}

// printedAddress finds the address in what the program prints.
var printedAddress = regexp.MustCompile(`http://[0-9A-Za-z.:\[\]-]+`)

// StartDemo builds the program from the module at root and starts its demo on a free loopback port.
// A fixed today keeps pictures and tests the same whatever the day; "" is the real one.
func StartDemo(ctx context.Context, root, today string) (*Program, error) {
	dir, err := os.MkdirTemp("", "carryside-browser-")
	if err != nil {
		return nil, err
	}
	args := []string{"demo", "--listen", "127.0.0.1:0"}
	if today != "" {
		args = append(args, "--today", today)
	}
	return startProgram(ctx, root, dir, args)
}

// StartServe builds the program and lets it serve a new installation on a free port of localhost, by that name, as
// passkeys need it.
func StartServe(ctx context.Context, root string, more ...string) (*Program, error) {
	dir, err := os.MkdirTemp("", "carryside-browser-")
	if err != nil {
		return nil, err
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0") // the port must be known before: it is part of the address
	if err != nil {
		return nil, err
	}
	port := listener.Addr().(*net.TCPAddr).Port
	if err := listener.Close(); err != nil {
		return nil, err
	}
	at := fmt.Sprintf("localhost:%d", port)
	return startProgram(ctx, root, dir, append([]string{"serve", "--listen", at, "--public-url", "http://" + at}, more...))
}

func startProgram(ctx context.Context, root, dir string, args []string) (*Program, error) {
	p := &Program{dir: dir, done: make(chan error, 1)}
	if err := p.start(ctx, root, args); err != nil {
		return nil, errors.Join(err, p.Stop())
	}
	return p, nil
}

func (p *Program) start(ctx context.Context, root string, args []string) error {
	binary := filepath.Join(p.dir, "carryside")
	build := exec.CommandContext(ctx, "go", "build", "-o", binary, "./cmd/carryside")
	build.Dir = root
	if out, err := build.CombinedOutput(); err != nil {
		return fmt.Errorf("build the program: %w\n%s", err, out)
	}
	p.cmd = exec.CommandContext(ctx, binary, args...)
	p.cmd.Dir = p.dir
	p.cmd.Env = append(os.Environ(), "TMPDIR="+p.dir)
	reader, writer := io.Pipe()
	p.cmd.Stdout, p.cmd.Stderr = writer, writer
	if err := p.cmd.Start(); err != nil {
		return fmt.Errorf("start the program: %w", err)
	}
	go func() {
		err := p.cmd.Wait()
		writer.CloseWithError(io.EOF)
		p.done <- err
	}()
	return p.awaitAddress(reader)
}

// awaitAddress reads what the program prints until the address is there, and goes on reading, so that it never blocks.
func (p *Program) awaitAddress(reader io.Reader) error {
	found := make(chan string, 1)
	go func() {
		lines := bufio.NewScanner(reader)
		for lines.Scan() {
			p.mu.Lock()
			fmt.Fprintln(&p.output, lines.Text())
			p.mu.Unlock()
			if address := printedAddress.FindString(lines.Text()); address != "" {
				select {
				case found <- address:
				default: // only the first address counts
				}
			}
		}
		close(found)
	}()
	select {
	case address, ok := <-found:
		if !ok {
			return fmt.Errorf("the program ended without an address; it said:\n%s", p.Output())
		}
		p.URL = address
		return nil
	case <-time.After(startTimeout):
		return fmt.Errorf("no address within %v; the program said:\n%s", startTimeout, p.Output())
	}
}

// Output is what the program printed so far, for a test's message.
func (p *Program) Output() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.output.String()
}

// Stop asks the program to end, as a service manager does, and waits; what it left behind is removed.
// An end other than a clean one is an error. A second call does nothing.
func (p *Program) Stop() error {
	var err error
	if p.cmd != nil && p.cmd.Process != nil {
		_ = p.cmd.Process.Signal(syscall.SIGTERM) // it may have ended by itself
		select {
		case err = <-p.done:
		case <-time.After(20 * time.Second):
			err = errors.Join(errors.New("the program did not end within 20 s of being asked"), p.cmd.Process.Kill())
		}
		p.cmd = nil
	}
	return errors.Join(err, os.RemoveAll(p.dir))
}
