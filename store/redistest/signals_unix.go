//go:build unix

package redistest

import "syscall"

const (
	stopSignal     = syscall.SIGSTOP
	continueSignal = syscall.SIGCONT
)
