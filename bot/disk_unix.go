//go:build unix

package main

import "golang.org/x/sys/unix"

// freeSpace returns how many bytes this user may still write in a folder.
func freeSpace(folder string) (uint64, bool) {
	var s unix.Statfs_t
	if unix.Statfs(folder, &s) != nil || s.Bsize <= 0 {
		return 0, false
	}
	return uint64(s.Bavail) * uint64(s.Bsize), true
}
