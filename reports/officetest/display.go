//go:build office

package officetest

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"image"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"time"
)

const (
	openTimeout  = 90 * time.Second // for the first window to come up
	settlePeriod = 6 * time.Second  // a question about the file comes within this after its window
	lookEvery    = 300 * time.Millisecond
)

// Sight is what a person sees after opening a workbook: the titles of all windows, and the screen.
type Sight struct {
	Windows []string
	Screen  image.Image
}

// OpenOnScreen opens a workbook on a screen of its own (Xvfb) and watches until the windows have
// been the same for a while. Every window counts, with a title or without: dialogs have either.
func (o *Office) OpenOnScreen(ctx context.Context, workbook string) (Sight, error) {
	ctx, cancel := context.WithTimeout(ctx, openTimeout+10*settlePeriod)
	defer cancel()
	screen, err := startScreen(ctx, filepath.Dir(o.profile))
	if err != nil {
		return Sight{}, err
	}
	defer screen.stop()
	cmd := exec.Command(o.program, o.arguments(workbook)...)
	cmd.Env = append(os.Environ(), "DISPLAY="+screen.display, "SAL_USE_VCLPLUGIN=gen")
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} // soffice is a script around the program: both must end
	if err := cmd.Start(); err != nil {
		return Sight{}, fmt.Errorf("start the office: %w", err)
	}
	defer func() {
		_ = syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL) // our own group; nothing in it is to be saved
		_ = cmd.Wait()                                      // reports only the signal
	}()
	windows, err := screen.settle(ctx)
	if err != nil {
		return Sight{}, err
	}
	picture, err := screen.picture()
	return Sight{Windows: windows, Screen: picture}, err
}

// screen is an X server without a monitor; its picture lies in a file.
type screen struct {
	display string
	dir     string
	cmd     *exec.Cmd
}

// startScreen lets the server choose a free display and tell its number through a pipe.
func startScreen(ctx context.Context, below string) (*screen, error) {
	dir, err := os.MkdirTemp(below, "screen-")
	if err != nil {
		return nil, err
	}
	read, write, err := os.Pipe()
	if err != nil {
		return nil, err
	}
	defer read.Close()
	cmd := exec.CommandContext(ctx, "Xvfb", "-displayfd", "3", "-screen", "0", "1280x900x24", "-fbdir", dir, "-nolisten", "tcp")
	cmd.ExtraFiles = []*os.File{write}
	err = cmd.Start()
	write.Close()
	if err != nil {
		return nil, fmt.Errorf("start a screen: %w (install xvfb)", err)
	}
	number, err := bufio.NewReader(read).ReadString('\n')
	if err != nil {
		_ = cmd.Process.Kill()
		return nil, errors.Join(errors.New("the screen did not tell its number"), err, cmd.Wait())
	}
	return &screen{display: ":" + strings.TrimSpace(number), dir: dir, cmd: cmd}, nil
}

func (s *screen) stop() {
	_ = s.cmd.Process.Signal(syscall.SIGTERM) // lets it take its lock file away
	_ = s.cmd.Wait()                          // reports only the signal
}

// settle returns the windows once they have not changed for settlePeriod. While a file is being
// read its window has no title yet, so rest counts only from the first title on.
func (s *screen) settle(ctx context.Context) ([]string, error) {
	var last []string
	since := time.Now()
	opened := time.Now()
	for {
		select {
		case <-ctx.Done():
			return nil, fmt.Errorf("the windows %q never came to rest: %w", last, ctx.Err())
		case <-time.After(lookEvery):
		}
		now, err := s.windows(ctx)
		if err != nil {
			return nil, err
		}
		if !slices.Equal(now, last) {
			last, since = now, time.Now()
		}
		titled := slices.ContainsFunc(now, func(title string) bool { return title != "" })
		if titled && time.Since(since) > settlePeriod {
			return now, nil
		}
		if !titled && time.Since(opened) > openTimeout {
			return nil, fmt.Errorf("no window with a title came up within %v, only %q", openTimeout, now)
		}
	}
}

// windows lists the titles of all visible windows right below the root, the lowest id first.
func (s *screen) windows(ctx context.Context) ([]string, error) {
	ids, err := s.xdotool(ctx, "search", "--onlyvisible", "--maxdepth", "1", "--class", ".*")
	if err != nil {
		var none *exec.ExitError
		if errors.As(err, &none) && ids == "" {
			return nil, nil // it ends with 1 when it finds nothing
		}
		return nil, fmt.Errorf("list the windows: %w (install xdotool)", err)
	}
	var titles []string
	for i, id := range strings.Fields(ids) {
		if i == 0 {
			continue // the root itself
		}
		title, err := s.xdotool(ctx, "getwindowname", id)
		if err != nil {
			continue // closed between the two calls; the next look sees it gone
		}
		titles = append(titles, strings.TrimSpace(title))
	}
	return titles, nil
}

func (s *screen) xdotool(ctx context.Context, args ...string) (string, error) {
	cmd := exec.CommandContext(ctx, "xdotool", args...)
	cmd.Env = append(os.Environ(), "DISPLAY="+s.display)
	out, err := cmd.Output()
	return string(out), err
}

// picture reads the server's frame buffer.
func (s *screen) picture() (image.Image, error) {
	f, err := os.Open(filepath.Join(s.dir, "Xvfb_screen0"))
	if err != nil {
		return nil, fmt.Errorf("take a picture of the screen: %w", err)
	}
	defer f.Close()
	return decodeXWD(f)
}
