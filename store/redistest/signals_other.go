//go:build !unix

package redistest

import "os"

// There is no stopping a process here, and no Redis to be stopped.
var stopSignal, continueSignal = os.Kill, os.Kill
