package redistest

import (
	"os/exec"
	"syscall"
)

// endWithUs lets the kernel end the server when the test ends in any way, a
// panic or a kill included.
func endWithUs(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
}
