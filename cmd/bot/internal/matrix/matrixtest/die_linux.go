//go:build goolm

package matrixtest

import (
	"os/exec"
	"syscall"
)

// dieWithUs lets a program end with the test, however that ends.
func dieWithUs(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
}
