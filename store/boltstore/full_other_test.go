//go:build !unix

package boltstore

import "errors"

func fillUp(string) error { return errors.New("there is no limit on the size of a file here") }
