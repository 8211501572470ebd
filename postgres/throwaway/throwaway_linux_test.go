package throwaway_test

import (
	"bufio"
	"fmt"
	neturl "net/url"
	"os"
	"os/exec"
	"testing"
)

// TestDiesWithParent kills the process that started a server and expects the
// server to be gone.
func TestDiesWithParent(t *testing.T) {
	t.Parallel()
	cmd := exec.Command(os.Args[0])
	cmd.Env, cmd.Stderr = append(os.Environ(), helperVariable+"=1"), os.Stderr
	input, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	defer input.Close()
	output, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	line, err := bufio.NewReader(output).ReadString('\n')
	if err != nil {
		t.Fatal(err, cmd.Wait())
	}
	var pid int
	var url string
	if _, err := fmt.Sscan(line, &pid, &url); err != nil {
		t.Fatalf("%q: %v", line, err)
	}
	if !alive(pid) {
		t.Fatalf("the server, process %d, is not there to begin with", pid)
	}
	if err := cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err == nil {
		t.Error("the killed process ended well")
	}
	waitGone(t, pid)

	// The folder stays until a later Start; sweeping is tested elsewhere.
	u, err := neturl.Parse(url)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.RemoveAll(u.Query().Get("host")); err != nil {
		t.Error(err)
	}
}
